"""What each reading says of how a neck stands, against a neck built of points in space and read off there."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pytest
from drawn_neck import PLAN, SIDES, X_EDGE_MM, Y_EDGE_MM, spot, with_lengths
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.analysis.neck_rows import UNKNOWNS, Said, saddle_top, said_by, underside_said
from gaugelog.model.instrument import Instrument, Place

POST_Y_MM = 37.0
HALF_WIDTH_AT_BRIDGE_MM = 29.3
WIDENING = 0.0119
LAST_FRET_HALF_MM = 53.9 / 2


@dataclass(frozen=True)
class Solid:
    """A neck in space: three corners of the fret plane, one of the underside, two points of the centreline."""

    slope: float
    tilt: float
    height: float
    underside: float
    offset: float
    heading: float

    def _on(self, height: float, x: float, y: float) -> float:
        """Where an upright line meets a plane given by three of its points."""
        corners = np.array([[0, 0, height], [100, 0, height + 100 * self.slope], [0, 50, height + 50 * self.tilt]])
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        foot, up = np.array([x, y, 0.0]), np.array([0.0, 0.0, 1.0])
        return float(normal @ (corners[0] - foot) / (normal @ up))

    def fret_top(self, x: float, y: float) -> float:
        """The plane of the middle frets, less what a circle of 305 mm falls off to the side."""
        angle = math.asin(y / 305.0)
        return self._on(self.height, x, y) - 305.0 * (1 - math.cos(angle))

    def edge_over_body(self, x: float, y: float) -> float:
        return self._on(self.underside, x, y)

    def centre(self, x: float) -> float:
        start, end = np.array([0.0, self.offset]), np.array([1000.0, self.offset + 1000.0 * self.heading])
        return float(start[1] + (end - start)[1] * x / 1000.0)

    def edge(self, x: float, side: int) -> float:
        """Y of an edge of the fretboard carried on, straight and growing wider."""
        return self.centre(x) + side * (HALF_WIDTH_AT_BRIDGE_MM + WIDENING * (x - 274.5))

    def string_margin(self, side: int, compensation: float) -> float:
        """In the fretboard's own frame: the bridge's middle lies as far to the other side as the centreline misses."""
        nut = np.array([0.0, side * 18.0])
        saddle = np.array([686.0 + compensation, side * 26.0 - self.centre(274.5)])
        last = 686.0 - 686.0 / 2 ** (22 / 12)
        y = np.interp(last, [nut[0], saddle[0]], [nut[1], saddle[1]])
        return float(LAST_FRET_HALF_MM - side * y)


solids = st.builds(
    Solid,
    slope=st.floats(-0.05, 0.15),
    tilt=st.floats(-0.02, 0.02),
    height=st.floats(1.0, 15.0),
    underside=st.floats(0.0, 3.0),
    offset=st.floats(-2.0, 2.0),
    heading=st.floats(-0.01, 0.01),
)


def read_off(solid: Solid) -> dict[str, float]:
    """Every reading of PLAN, taken off the solid."""
    saddle = 15.4 + 0.8 + 1.6
    return {
        "angle": math.degrees(math.atan2(solid.fret_top(100.0, 0.0) - solid.fret_top(0.0, 0.0), 100.0)),
        "roll-read": math.degrees(math.atan2(solid._on(0.0, 0.0, 1.0) - solid._on(0.0, 0.0, 0.0), 1.0)),
        "clearance-bass": solid.fret_top(274.5, -26.0) - saddle,
        "clearance-treble": solid.fret_top(274.5, 26.0) - saddle,
        "edge-bass": solid.edge_over_body(X_EDGE_MM, -Y_EDGE_MM),
        "edge-treble": solid.edge_over_body(X_EDGE_MM, Y_EDGE_MM),
        "end": solid.edge_over_body(86.0, 0.0),
        "centre-bridge": (solid.edge(274.5, 1) + solid.edge(274.5, -1)) / 2,
        "centre-pickup": (solid.edge(150.0, 1) + solid.edge(150.0, -1)) / 2,
        "post-bass": solid.edge(274.5, -1) + POST_Y_MM,
        "post-treble": POST_Y_MM - solid.edge(274.5, 1),
        "margin-bass": solid.string_margin(-1, 4.0),
        "margin-treble": solid.string_margin(1, 1.5),
    }


def amount(said: Said, unknowns: Mapping[str, float]) -> float:
    return sum(part * unknowns[name] for part, name in zip(said.row, UNKNOWNS, strict=True))


@given(solid=solids)
def test_every_reading_of_a_solid_neck_says_how_it_stands(solid: Solid) -> None:
    plan = with_lengths(PLAN, {"neck.plane_height": solid.height, "neck.underside_height": solid.underside})
    unknowns = {name: getattr(solid, name, 0.0) for name in UNKNOWNS}
    unknowns["posts"] = POST_Y_MM - HALF_WIDTH_AT_BRIDGE_MM
    readings = read_off(solid)
    told = said_by(plan, readings)
    assert [each.id for each in told] == [*readings, "neck.plane_height"]
    for each in (*told, underside_said(plan)):
        assert amount(each, unknowns) == pytest.approx(each.value, abs=1e-9), each.id


def ids(plan: Instrument, readings: Mapping[str, float]) -> list[str]:
    return [each.id for each in said_by(with_lengths(plan, {"neck.plane_height": None}), readings)]


def test_what_says_nothing_of_the_plane_is_left_out() -> None:
    others = {"nut": 688.0, "block": 0.1, "relief-read": 0.1, "saddle-bass": 17.8}
    assert ids(PLAN, others) == []
    assert ids(PLAN, {"angle": 90.0, "roll-read": -45.0}) == []
    assert ids(PLAN, {"angle": 44.0, "roll-read": -44.0}) == ["angle", "roll-read"]


@pytest.mark.parametrize(
    ("left_open", "silent"),
    [
        ("bridge.position", {"clearance-bass", "centre-bridge", "post-treble", "margin-bass"}),
        ("bridge.string_spread", {"clearance-bass", "post-treble", "margin-bass"}),
        ("bridge.bearing_low", {"clearance-bass"}),
        ("neck.overhang", {"end"}),
        ("neck.scale_length", {"margin-bass"}),
        ("neck.frets", {"margin-bass"}),
        ("neck.edge_width_at_last_fret", {"margin-bass"}),
        ("neck.string_spread_at_nut", {"margin-bass"}),
        ("neck.fretboard_radius", set()),
        ("bridge.spacer", set()),
        ("neck.compensation_bass", set()),
    ],
)
def test_a_length_left_open_silences_only_what_needs_it(left_open: str, silent: set[str]) -> None:
    readings = dict.fromkeys(
        ("angle", "clearance-bass", "edge-bass", "end", "centre-bridge", "centre-pickup", "post-treble", "margin-bass"),
        1.0,
    )
    assert set(readings) - set(ids(with_lengths(PLAN, {left_open: None}), readings)) == silent


def test_a_point_of_its_own_goes_before_the_saddle_line() -> None:
    moved = tuple(
        replace(each, place=Place((260.0, -24.0, 17.0))) if each.id == "clearance-bass" else each
        for each in PLAN.checkpoints
    )
    said = said_by(with_lengths(replace(PLAN, checkpoints=moved), {"bridge.position": None}), {"clearance-bass": 0.5})
    assert said[0].row[:3] == (260.0, -24.0, 1.0)
    assert said[0].value == pytest.approx(0.5 + 15.4 + 0.8 + 1.6 + 305.0 - math.sqrt(305.0**2 - 24.0**2))


def test_a_height_on_an_edge_without_a_place_says_nothing() -> None:
    bare = replace(PLAN, checkpoints=(spot("edge", "fretboard-edge-height", "bass"), spot("end", "fretboard-end-rise")))
    assert ids(bare, {"edge": 4.0, "end": 4.2}) == ["end"]


def test_the_saddles_top_is_as_read_on_its_own_side_else_as_the_file_says() -> None:
    read = {"saddle-bass": 18.3}
    assert saddle_top(PLAN, "bass", read) == 18.3
    assert saddle_top(PLAN, "treble", read) == pytest.approx(15.4 + 0.8 + 1.6)
    bare = with_lengths(PLAN, {"bridge.saddle_slot_depth": None, "bridge.spacer": None})
    assert saddle_top(bare, "treble", {}) == 15.4
    assert saddle_top(with_lengths(PLAN, {"bridge.bearing_low": None}), "treble", read) is None
    assert set(SIDES) == {each.side for each in PLAN.checkpoints if each.kind.slug == "saddle-height"}


def test_a_fretboard_that_touches_has_its_underside_on_the_body() -> None:
    assert underside_said(PLAN).value == 0.0
    assert underside_said(with_lengths(PLAN, {"neck.underside_height": 1.2})).value == 1.2
