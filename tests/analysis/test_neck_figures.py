"""The figures of a neck set against points, planes and vectors in space, and roots found by scipy."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from drawn_neck import FLOATS, PLAN, SIDES, Drawn, lengths_of, with_lengths
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from gaugelog.analysis.neck_figures import FIGURES, NEEDS, by_name, figures
from gaugelog.analysis.neck_rows import UNKNOWNS
from gaugelog.model.instrument import Action

Unknowns = dict[str, float]

unknowns = st.fixed_dictionaries(
    {
        "slope": st.floats(-0.02, 0.12),
        "tilt": st.floats(-0.03, 0.03),
        "height": st.floats(1.0, 12.0),
        "underside": st.just(0.0),
        "offset": st.floats(-2.0, 2.0),
        "heading": st.floats(-0.01, 0.01),
        "posts": st.just(7.7),
    }
)
A_NECK = {
    "slope": math.tan(math.radians(2.8)),
    "tilt": 0.004,
    "height": 6.0,
    "underside": 0.0,
    "offset": 0.2,
    "heading": -0.001,
    "posts": 7.7,
}
ACROSS_MM = {"bass": -26.0, "treble": 26.0}


def over_plane(side: str) -> float:
    return float(Drawn(lengths_of(PLAN), FLOATS).over_plane(side))


def distance(neck: Unknowns, point: tuple[float, float, float]) -> float:
    """How far a point stands off the fret plane, square to it, by three points of the plane."""
    corners = np.array(
        [
            [0.0, 0.0, neck["height"]],
            [1.0, 0.0, neck["height"] + neck["slope"]],
            [0.0, 1.0, neck["height"] + neck["tilt"]],
        ]
    )
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    return float((np.array(point) - corners[0]) @ normal / np.linalg.norm(normal))


def root(function: Callable[[float], float], low: float, high: float) -> float:
    return float(brentq(function, low, high, xtol=1e-12))


def bearing(neck: Unknowns, side: str, x_mm: float = 274.5) -> float:
    """The height over the body at which a point is a_s off the plane."""
    wanted = over_plane(side)
    return root(lambda z: distance(neck, (x_mm, ACROSS_MM[side], z)) - wanted, -500.0, 500.0)


@given(neck=unknowns)
def test_the_strings_bear_square_off_the_plane_in_space(neck: Unknowns) -> None:
    found = figures(PLAN, neck)
    bearings = {side: bearing(neck, side) for side in SIDES}
    for side in SIDES:
        plane = root(lambda z, side=side: distance(neck, (274.5, ACROSS_MM[side], z)), -500.0, 500.0)
        assert found[f"plane_at_saddle.{side}"] == pytest.approx(plane, abs=1e-8)
        assert found[f"required_bearing.{side}"] == pytest.approx(bearings[side], abs=1e-8)
    assert found["travel.margin_low"] == pytest.approx(min(bearings.values()) - 15.4)
    assert found["travel.margin_high"] == pytest.approx(25.2 - max(bearings.values()))
    assert found["centreline_offset"] == pytest.approx(neck["offset"] + neck["heading"] * 274.5)


@given(neck=unknowns)
def test_the_window_of_angles_ends_where_a_string_meets_the_reserve(neck: Unknowns) -> None:
    def beyond(angle_deg: float, side: str, height_mm: float) -> float:
        turned = {**neck, "slope": math.tan(math.radians(angle_deg))}
        return bearing(turned, side) - height_mm

    found = figures(PLAN, neck)
    lowest = [root(lambda angle, s=side: beyond(angle, s, 15.4 + 1.0), -30.0, 30.0) for side in SIDES]
    highest = [root(lambda angle, s=side: beyond(angle, s, 25.2 - 1.0), -30.0, 30.0) for side in SIDES]
    assert found["angle_window.low"] == pytest.approx(max(lowest), abs=1e-8)
    assert found["angle_window.high"] == pytest.approx(min(highest), abs=1e-8)


@given(neck=unknowns)
def test_millimetres_a_degree_are_the_mean_slope_of_the_bearings(neck: Unknowns) -> None:
    def turned(step_deg: float) -> Unknowns:
        return {**neck, "slope": math.tan(math.atan(neck["slope"]) + math.radians(step_deg))}

    rises = [(bearing(turned(0.01), side) - bearing(turned(-0.01), side)) / 0.02 for side in SIDES]
    assert figures(PLAN, neck)["mm_per_degree"] == pytest.approx(sum(rises) / 2, rel=1e-6)


@given(neck=unknowns)
def test_the_break_is_the_angle_between_the_two_halves_of_a_string(neck: Unknowns) -> None:
    turn = complex(1.0, neck["slope"]) / abs(complex(1.0, neck["slope"]))
    nut = complex(0.0, neck["height"]) + turn * complex(-686.0 * (1 - 2 ** (-16 / 12)), 0.5)
    bends = []
    for side in SIDES:
        saddle, tail = complex(274.5, bearing(neck, side)), complex(322.0, 8.0)
        bends.append(math.degrees(np.angle((saddle - nut) / (tail - saddle))))
    assert figures(PLAN, neck)["break_angle"] == pytest.approx(min(bends), abs=1e-8)


@given(neck=unknowns)
def test_an_outer_string_keeps_what_two_straight_lines_leave(neck: Unknowns) -> None:
    """The string from nut to saddle and the edge, as lines in the body's top view; the nut on the centreline."""
    found = figures(PLAN, neck)
    centre = neck["offset"] + neck["heading"] * 274.5
    for side, sign, back in (("bass", -1, 4.0), ("treble", 1, 1.5)):
        last = 686.0 * (1 - 2 ** (-22 / 12))
        string = np.interp(last, [0.0, 686.0 + back], [sign * 18.0, sign * 26.0 - centre])
        assert found[f"string_margin.{side}"] == pytest.approx(53.9 / 2 - abs(string), abs=1e-9)


def test_a_neck_that_points_to_the_treble_side_leaves_the_treble_string_more_edge() -> None:
    straight, aside = (figures(PLAN, {**A_NECK, "offset": offset, "heading": 0.0}) for offset in (0.0, 1.0))
    assert aside["string_margin.treble"] > straight["string_margin.treble"]
    assert aside["string_margin.bass"] < straight["string_margin.bass"]


@given(neck=unknowns)
def test_an_undrilled_bridge_stands_at_the_scale_length_along_the_neck(neck: Unknowns) -> None:
    """Turned about the joint by complex numbers; z as in space, above the place that this gives."""
    plan = with_lengths(PLAN, {"bridge.position": None})
    found = figures(plan, neck)
    turn = complex(1.0, neck["slope"]) / abs(complex(1.0, neck["slope"]))
    places = []
    for side, back in (("bass", 4.0), ("treble", 1.5)):
        place = turn * complex(686.0 * 2 ** (-16 / 12) + back, over_plane(side))
        places.append(place.real)
        assert found[f"required_bearing.{side}"] == pytest.approx(bearing(neck, side, place.real), abs=1e-8)
    assert found["centreline_offset"] == pytest.approx(neck["offset"] + neck["heading"] * sum(places) / 2)


def test_every_figure_has_its_unit_and_every_need_is_a_key() -> None:
    assert set(figures(PLAN, A_NECK)) == set(FIGURES)
    families = {name.partition(".")[0] for name in FIGURES}
    assert set(NEEDS) <= families
    for keys in NEEDS.values():
        for key in keys:
            table, _, name = key.partition(".")
            assert hasattr(getattr(PLAN, table), name)


@pytest.mark.parametrize("family", sorted(NEEDS))
def test_a_figure_waits_for_every_key_that_it_needs(family: str) -> None:
    """One key left open at a time; that of the bridge with the action, for the strings would place an undrilled one."""
    for key in NEEDS[family]:
        plan = with_lengths(PLAN, {key: None})
        if key == "bridge.position":
            plan = replace(plan, action=Action())
        assert not any(name.partition(".")[0] == family for name in figures(plan, A_NECK)), key


def test_a_travel_that_no_angle_reaches_has_no_window() -> None:
    high = with_lengths(PLAN, {"bridge.bearing_high": 1e6})
    found = figures(high, A_NECK)
    assert found["travel.high"] == 1e6
    drilled_at_the_nut = with_lengths(PLAN, {"bridge.position": 0.5})
    assert "angle_window.low" not in figures(drilled_at_the_nut, {**A_NECK, "height": 40.0})


def test_unknowns_go_by_their_names() -> None:
    assert by_name((1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0)) == dict(zip(UNKNOWNS, range(1, 8), strict=True))
