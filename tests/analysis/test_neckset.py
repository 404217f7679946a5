"""The geometry of a neck set against published fret positions, rules of thumb, and a drawing worked in points."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.analysis.neckset import SIDES, NeckSet, StringLine, break_angle, fret_distance, relief_at, sag

BARITONE = NeckSet(
    scale_length=686.0,
    joint_fret=16,
    frets=24,
    bass=StringLine(3.5, 2.4, 21.5, 26.0),
    treble=StringLine(1.8, 1.9, 21.5, 26.0),
    nut_height=0.4,
    relief=0.2,
    radius=305.0,
    bridge_position=266.0,
)
angles = st.floats(-2.0, 8.0)
heights = st.floats(0.5, 15.0)


@pytest.mark.parametrize(
    ("scale", "frets"),
    [
        (650.0, [36.482, 70.916, 103.417, 163.050, 216.177, 325.000, 376.709, 406.525, 433.089, 467.600, 487.500]),
        (628.65, [35.283, 68.587, 100.020, 157.695, 209.076, 314.325, 364.335, 393.172, 418.863, 452.241, 471.487]),
        (647.7, [36.353, 70.665, 103.051, 162.473, 215.412, 323.850, 375.376, 405.087, 431.556, 465.945, 485.775]),
    ],
)
def test_frets_lie_where_equal_temperament_puts_them(scale: float, frets: list[float]) -> None:
    """Values computed from d = L(1 - 2^(-n/12)), the formula as documented by general-purpose music libraries."""
    places = [fret_distance(scale, fret) for fret in (1, 2, 3, 5, 7, 12, 15, 17, 19, 22, 24)]
    assert places == pytest.approx(frets, abs=5e-4)


def test_sag_is_that_of_a_circle() -> None:
    assert sag(305.0, 26.0) == pytest.approx(1.1102, abs=1e-4)
    assert sag(math.inf, 26.0) == 0.0
    assert (305.0 - sag(305.0, 26.0)) ** 2 + 26.0**2 == pytest.approx(305.0**2)
    with pytest.raises(ValueError, match="radius"):
        sag(20.0, 26.0)


def test_relief_is_deepest_in_the_middle_and_nothing_at_the_ends() -> None:
    assert relief_at(0.2, 686.0, 24, 0) == 0.0
    assert relief_at(0.2, 686.0, 24, 24) == pytest.approx(0.0)
    assert max(relief_at(0.2, 686.0, 24, fret) for fret in range(25)) == pytest.approx(0.2, abs=0.005)


def _line_through(first: tuple[float, float], second: tuple[float, float], x: float) -> float:
    share = (x - first[0]) / (second[0] - first[0])
    return first[1] + share * (second[1] - first[1])


@given(angle=angles, height=heights, side=st.sampled_from(SIDES))
def test_the_required_bearing_is_where_a_straight_string_over_a_drawn_neck_ends(
    angle: float, height: float, side: str
) -> None:
    """The neck drawn in points in its own frame, turned into the body's by complex numbers: another way to the same."""
    neck = replace(BARITONE, bridge_position=None)
    string = neck.string(side)
    length = neck.scale_length + string.compensation
    nut_along = -neck.scale_length * (1 - 2 ** (-neck.joint_fret / 12))
    across_at_twelfth = string.at_nut + (string.at_bridge - string.at_nut) * (neck.scale_length / 2) / length
    fret_top = -sag(neck.radius, across_at_twelfth) - relief_at(neck.relief, neck.scale_length, neck.frets, 12)
    at_nut = (nut_along, neck.nut_height - sag(neck.radius, string.at_nut))
    at_twelfth = (nut_along + neck.scale_length / 2, fret_top + string.action)
    bearing = complex(nut_along + length, _line_through(at_nut, at_twelfth, nut_along + length))
    turned = bearing * complex(math.cos(math.radians(angle)), math.sin(math.radians(angle)))
    assert neck.bearing_place(angle, side) == pytest.approx(turned.real)
    assert neck.required_bearing(angle, height, side) == pytest.approx(turned.imag + height)


@given(angle=angles, height=heights, side=st.sampled_from(SIDES), drilled=st.booleans())
def test_bearing_angle_and_action_are_inverses(angle: float, height: float, side: str, drilled: bool) -> None:
    neck = BARITONE if drilled else replace(BARITONE, bridge_position=None)
    bearing = neck.required_bearing(angle, height, side)
    assert neck.angle_for(bearing, height, side) == pytest.approx(angle, abs=1e-7)
    assert neck.action_at_twelfth(angle, height, bearing, side) == pytest.approx(neck.string(side).action)


@given(angle=angles, height=heights, side=st.sampled_from(SIDES))
def test_millimetres_a_degree_are_the_slope_of_the_bearing(angle: float, height: float, side: str) -> None:
    step = 1e-4
    rise = BARITONE.required_bearing(angle + step, height, side) - BARITONE.required_bearing(angle - step, height, side)
    assert BARITONE.mm_per_degree(angle, side) == pytest.approx(rise / (2 * step), rel=1e-6)


def test_what_no_angle_reaches_has_none() -> None:
    assert replace(BARITONE, bridge_position=None).angle_for(900.0, 5.0, "bass") is None


def test_the_trades_rules_of_thumb() -> None:
    """Common practice, no source.

    A tenth of a degree is about half a millimetre at the bridge; raising the saddle by two raises the action at the
    12th fret by one; 0.2 mm of relief changes the bearing by about 0.36 mm.
    """
    assert BARITONE.mm_per_degree(2.85, "bass") / 10 == pytest.approx(0.47, abs=0.03)
    bearing = BARITONE.required_bearing(2.85, 6.5, "bass")
    raised = BARITONE.action_at_twelfth(2.85, 6.5, bearing + 2.0, "bass")
    assert raised - BARITONE.bass.action == pytest.approx(1.0, abs=0.02)
    flat = replace(BARITONE, relief=0.0).required_bearing(2.85, 6.5, "bass")
    assert flat - bearing == pytest.approx(0.36, abs=0.01)


def test_the_break_angle_of_a_drawn_string() -> None:
    assert break_angle((-480.0, 0.0), (266.0, 20.0), (326.0, 8.0)) == pytest.approx(
        math.degrees(math.atan(20 / 746) + math.atan(12 / 60))
    )
    assert break_angle((-100.0, 0.0), (0.0, 0.0), (100.0, 0.0)) == 0.0
