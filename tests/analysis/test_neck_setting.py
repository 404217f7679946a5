"""How a neck stands before the glue: uncertainty against GTC and Monte Carlo, adjustment against numpy, facts of trade.

The neck in these tests is worked out a second time, on its own: `Drawn` knows nothing of the modules it checks.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import GTC
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from gaugelog.analysis.neck_figures import FIGURES, NEEDS
from gaugelog.analysis.neck_rows import UNKNOWNS
from gaugelog.analysis.neck_setting import NO_ROLL, NO_ROLL_DEG, TOUCHING, NeckSetting, Origin, neck_setting
from gaugelog.analysis.stage_means import StageMean
from gaugelog.analysis.uncertainty import Scatter
from gaugelog.model.instrument import Action, Bridge, Checkpoint, Instrument, Neck, Place
from gaugelog.model.kinds import KIND_BY_SLUG
from gaugelog.model.quantities import Quantity

SIDES = ("bass", "treble")
X_EDGE_MM, Y_EDGE_MM = 80.0, 27.0
X_PICKUP_MM = 150.0


def spot(name: str, kind: str, side: str = "", point: tuple[float, float, float] | None = None) -> Checkpoint:
    quantity = KIND_BY_SLUG[kind].quantity or Quantity.ANGLE
    unit = "deg" if quantity is Quantity.ANGLE else "mm"
    return Checkpoint(name, KIND_BY_SLUG[kind], quantity, unit, "", side=side, place=Place(point))


PLAN = Instrument(
    "baritone, invented",
    (
        spot("angle", "neck-angle"),
        spot("roll-read", "neck-roll"),
        *(spot(f"clearance-{side}", "fret-to-bridge-clearance", side) for side in SIDES),
        spot("edge-bass", "fretboard-edge-height", "bass", (X_EDGE_MM, -Y_EDGE_MM, 4.0)),
        spot("edge-treble", "fretboard-edge-height", "treble", (X_EDGE_MM, Y_EDGE_MM, 4.0)),
        spot("end", "fretboard-end-rise"),
        spot("centre-bridge", "centreline-offset"),
        spot("centre-pickup", "centreline-offset", point=(X_PICKUP_MM, 0.0, 13.0)),
        *(spot(f"post-{side}", "post-to-edge", side) for side in SIDES),
        *(spot(f"margin-{side}", "string-to-edge", side) for side in SIDES),
        *(spot(f"saddle-{side}", "saddle-height", side) for side in SIDES),
        spot("relief-read", "neck-relief"),
        spot("nut", "nut-to-saddle"),
        spot("block", "control"),
    ),
    neck=Neck(
        scale_length=686.0,
        compensation_bass=4.0,
        compensation_treble=1.5,
        frets=22,
        joint_fret=16,
        plane_height=6.0,
        fretboard_radius=305.0,
        edge_width_at_last_fret=53.9,
        overhang=86.0,
        nut_height=0.5,
        string_spread_at_nut=36.0,
        relief=0.15,
    ),
    bridge=Bridge(
        position=274.5,
        bearing_low=15.4,
        bearing_high=25.2,
        travel_reserve=1.0,
        saddle_slot_depth=0.8,
        spacer=1.6,
        string_spread=52.0,
        tail_anchor_x=322.0,
        tail_anchor_z=8.0,
    ),
    action=Action(2.2, 1.8),
)
STEPS = {
    "neck.scale_length": 0.5,
    "neck.compensation_bass": 0.5,
    "neck.compensation_treble": 0.1,
    "neck.plane_height": 0.1,
    "neck.fretboard_radius": 0.5,
    "neck.edge_width_at_last_fret": 0.1,
    "neck.overhang": 0.5,
    "neck.nut_height": 0.1,
    "neck.string_spread_at_nut": 0.5,
    "neck.relief": 0.01,
    "bridge.position": 0.5,
    "bridge.bearing_low": 0.1,
    "bridge.bearing_high": 0.1,
    "bridge.saddle_slot_depth": 0.1,
    "bridge.spacer": 0.01,
    "bridge.string_spread": 0.5,
    "bridge.tail_anchor_x": 0.5,
    "bridge.tail_anchor_z": 0.5,
}
READ_U = {
    "angle": 0.021,
    "roll-read": 0.022,
    "clearance-bass": 0.023,
    "clearance-treble": 0.024,
    "edge-bass": 0.041,
    "edge-treble": 0.042,
    "end": 0.043,
    "centre-bridge": 0.051,
    "centre-pickup": 0.052,
    "post-bass": 0.061,
    "post-treble": 0.062,
    "margin-bass": 0.071,
    "margin-treble": 0.072,
}
TRUTH = {
    "slope": math.tan(math.radians(2.8)),
    "tilt": math.tan(math.radians(0.15)),
    "height": 6.0,
    "underside": 0.0,
    "offset": 0.1,
    "heading": -0.0007,
    "posts": 7.7,
}


def mean(plan: Instrument, name: str, value: float, u: float, dof: float = math.inf, step: float = 0.05) -> StageMean:
    """A mean of 4 placements; all of its u is scatter, of `dof` degrees of freedom."""
    return StageMean(plan.checkpoint(name), value, u, u, dof, 4, step, Scatter(2 * u, dof))


def lengths_of(plan: Instrument) -> dict[str, float]:
    """The lengths of PLAN's file by dotted key."""
    return {key: getattr(getattr(plan, key.split(".")[0]), key.split(".")[1]) for key in STEPS}


@dataclass(frozen=True)
class Drawn:
    """A neck worked out anew, in whatever numbers go through `m`: floats, arrays of draws, or GTC's."""

    at: Mapping[str, Any]
    m: Any
    action: tuple[float, float] = (2.2, 1.8)
    reserve: float = 1.0

    def sag(self, across: Any) -> Any:
        radius = self.at["neck.fretboard_radius"]
        return radius - self.m.sqrt(radius * radius - across * across)

    def saddle_top(self) -> Any:
        at = self.at
        return at["bridge.bearing_low"] + at["bridge.saddle_slot_depth"] + at["bridge.spacer"]

    def last_fret_share(self, side: str) -> Any:
        """How far along a string the last fret lies, 0 at the nut and 1 at the saddle."""
        scale = self.at["neck.scale_length"]
        return scale * (1 - 2 ** (-22 / 12)) / (scale + self.at[f"neck.compensation_{side}"])

    def told(self) -> list[tuple[str, list[Any], Any]]:
        """What each reading says: its name, what of T Q h g o k p it feels, and how much."""
        at, x = self.at, self.at["bridge.position"]
        half = at["bridge.string_spread"] / 2
        lift = self.saddle_top() + self.sag(half)
        rows = [
            ("angle", [1, 0, 0, 0, 0, 0, 0], self.m.tan(at["angle"] * math.pi / 180)),
            ("roll-read", [0, 1, 0, 0, 0, 0, 0], self.m.tan(at["roll-read"] * math.pi / 180)),
            ("clearance-bass", [x, -half, 1, 0, 0, 0, 0], at["clearance-bass"] + lift),
            ("clearance-treble", [x, half, 1, 0, 0, 0, 0], at["clearance-treble"] + lift),
            ("edge-bass", [X_EDGE_MM, -Y_EDGE_MM, 0, 1, 0, 0, 0], at["edge-bass"]),
            ("edge-treble", [X_EDGE_MM, Y_EDGE_MM, 0, 1, 0, 0, 0], at["edge-treble"]),
            ("end", [at["neck.overhang"], 0, 0, 1, 0, 0, 0], at["end"]),
            ("centre-bridge", [0, 0, 0, 0, 1, x, 0], at["centre-bridge"]),
            ("centre-pickup", [0, 0, 0, 0, 1, X_PICKUP_MM, 0], at["centre-pickup"]),
            ("post-bass", [0, 0, 0, 0, 1, x, 1], at["post-bass"]),
            ("post-treble", [0, 0, 0, 0, -1, -x, 1], at["post-treble"]),
        ]
        for side, sign in (("bass", -1), ("treble", 1)):
            share = self.last_fret_share(side)
            row = [0, 0, 0, 0, sign * share, sign * share * x, 0]
            rows.append((f"margin-{side}", row, at[f"margin-{side}"] - self.margin_without_offset(side)))
        rows.append(("neck.plane_height", [0, 0, 1, 0, 0, 0, 0], at["neck.plane_height"]))
        rows.append((TOUCHING, [0, 0, 0, 1, 0, 0, 0], at[TOUCHING]))
        return rows

    def margin_without_offset(self, side: str) -> Any:
        at = self.at
        nut, bridge = at["neck.string_spread_at_nut"] / 2, at["bridge.string_spread"] / 2
        return at["neck.edge_width_at_last_fret"] / 2 - nut - (bridge - nut) * self.last_fret_share(side)

    def over_plane(self, side: str) -> Any:
        """a_s: where a string over nut and 12th fret comes out at the saddle, over the plane of the middle frets."""
        at = self.at
        scale, length = at["neck.scale_length"], at["neck.scale_length"] + at[f"neck.compensation_{side}"]
        nut, bridge = at["neck.string_spread_at_nut"] / 2, at["bridge.string_spread"] / 2
        share = 0.5 / (1 - 2 ** (-22 / 12))
        fret_top = -4 * at["neck.relief"] * share * (1 - share) - self.sag(nut + (bridge - nut) * scale / 2 / length)
        over_nut = at["neck.nut_height"] - self.sag(nut)
        over_twelfth = fret_top + self.action[SIDES.index(side)]
        return over_nut + (over_twelfth - over_nut) / (scale / 2) * length

    def window(self, bearing: Any, side: str, tilt: Any, height: Any) -> Any:
        """The angle at which a string bears at a height: x sin ψ + a = Z cos ψ with tan θ = q tan ψ."""
        q = self.m.sqrt(1 + tilt * tilt)
        x = self.at["bridge.position"]
        rise = (bearing - height - self.across(side) * tilt) / q
        turn = self.m.acos(self.over_plane(side) / self.m.sqrt(rise * rise + x * x)) - self.m.atan2(x, rise)
        return self.m.atan(q * self.m.tan(turn)) * (180 / math.pi)

    def across(self, side: str) -> Any:
        return self.at["bridge.string_spread"] / 2 * (-1 if side == "bass" else 1)

    def figures(self, unknowns: Sequence[Any]) -> dict[str, Any]:
        m, at = self.m, self.at
        slope, tilt, height, _, offset, heading, _ = unknowns
        x, low, high = at["bridge.position"], at["bridge.bearing_low"], at["bridge.bearing_high"]
        steep = m.sqrt(1 + slope * slope + tilt * tilt)
        plane = [height + x * slope + self.across(side) * tilt for side in SIDES]
        bearing = [on + self.over_plane(side) * steep for on, side in zip(plane, SIDES, strict=True)]
        slopes = [(x + self.over_plane(side) * slope / steep) * (1 + slope * slope) * math.pi / 180 for side in SIDES]
        centre = offset + heading * x
        theta = m.atan(slope)
        behind = at["neck.scale_length"] * (1 - 2 ** (-16 / 12))
        nut_x = -behind * m.cos(theta) - at["neck.nut_height"] * m.sin(theta)
        nut_z = height - behind * m.sin(theta) + at["neck.nut_height"] * m.cos(theta)
        bends = [
            m.atan((each - nut_z) / (x - nut_x))
            + m.atan((each - at["bridge.tail_anchor_z"]) / (at["bridge.tail_anchor_x"] - x))
            for each in bearing
        ]
        return {
            "neck_angle": theta * (180 / math.pi),
            "roll": m.atan(tilt) * (180 / math.pi),
            "plane_height": height,
            **{f"plane_at_saddle.{side}": each for side, each in zip(SIDES, plane, strict=True)},
            **{f"required_bearing.{side}": each for side, each in zip(SIDES, bearing, strict=True)},
            "travel.low": low,
            "travel.high": high,
            "travel.margin_low": m.least(*bearing) - low,
            "travel.margin_high": high - m.most(*bearing),
            "angle_window.low": m.most(*(self.window(low + self.reserve, side, tilt, height) for side in SIDES)),
            "angle_window.high": m.least(*(self.window(high - self.reserve, side, tilt, height) for side in SIDES)),
            "mm_per_degree": (slopes[0] + slopes[1]) / 2,
            "centreline_offset": centre,
            "string_margin.bass": self.margin_without_offset("bass") - centre * self.last_fret_share("bass"),
            "string_margin.treble": self.margin_without_offset("treble") + centre * self.last_fret_share("treble"),
            "break_angle": m.least(*bends) * (180 / math.pi),
        }


FLOATS = SimpleNamespace(
    sqrt=np.sqrt,
    tan=np.tan,
    atan=np.arctan,
    acos=np.arccos,
    atan2=np.arctan2,
    sin=np.sin,
    cos=np.cos,
    least=np.minimum,
    most=np.maximum,
)
UNCERTAIN = SimpleNamespace(
    sqrt=GTC.sqrt,
    tan=GTC.tan,
    atan=GTC.atan,
    acos=GTC.acos,
    atan2=GTC.atan2,
    sin=GTC.sin,
    cos=GTC.cos,
    least=lambda *each: min(each, key=GTC.value),
    most=lambda *each: max(each, key=GTC.value),
)


def readings_of(truth: Mapping[str, float], lengths: Mapping[str, float]) -> dict[str, float]:
    """What every checkpoint of a neck that stands so would read."""
    zero = dict.fromkeys(READ_U, 0.0) | {TOUCHING: 0.0}
    found = {}
    for name, row, less in Drawn({**lengths, **zero}, FLOATS).told():
        said = sum(part * truth[unknown] for part, unknown in zip(row, UNKNOWNS, strict=True))
        found[name] = said - less
    found["angle"], found["roll-read"] = (math.degrees(math.atan(truth[name])) for name in ("slope", "tilt"))
    return {name: float(found[name]) for name in READ_U}


def inputs_of(plan: Instrument, readings: Mapping[str, float]) -> tuple[dict[str, float], dict[str, float]]:
    """All inputs and their standard uncertainties, by name."""
    values = {**lengths_of(plan), **readings, TOUCHING: 0.0}
    u = {**{key: step / math.sqrt(12) for key, step in STEPS.items()}, **READ_U, TOUCHING: 0.05}
    return values, u


def covariance_of(values: Mapping[str, float], u: Mapping[str, float], truth: Sequence[float]) -> np.ndarray:
    """V = J U² Jᵀ of what the readings say, less what a neck that stands as in `truth` would, by differences."""

    def misclosure(at: Mapping[str, float]) -> np.ndarray:
        return np.array([value - np.dot(row, truth) for _, row, value in Drawn(at, FLOATS).told()])

    columns = []
    for name in u:
        moved = [misclosure({**values, name: values[name] + sign * 1e-4}) for sign in (1, -1)]
        columns.append((moved[0] - moved[1]) / 2e-4 * u[name])
    return np.array(columns).T @ np.array(columns)


def setting_of(
    plan: Instrument, readings: Mapping[str, float], dof: float = math.inf, steps: Mapping[str, float] = STEPS, **more
) -> NeckSetting:
    means = {name: mean(plan, name, value, READ_U[name], dof) for name, value in readings.items()}
    return neck_setting(plan, means, steps, stage="before", **more)


READINGS = readings_of(TRUTH, lengths_of(PLAN))
TRUE_UNKNOWNS = [TRUTH[name] for name in UNKNOWNS]


def eliminated(matrix: list[list[Any]], right: list[Any]) -> list[Any]:
    """Solve equations by elimination, in any kind of number; the matrix is positive definite."""
    size = len(right)
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    for pivot in range(size):
        for below in range(pivot + 1, size):
            factor = rows[below][pivot] / rows[pivot][pivot]
            rows[below] = [low - factor * high for low, high in zip(rows[below], rows[pivot], strict=True)]
    found: list[Any] = [0.0] * size
    for place in reversed(range(size)):
        known = sum((rows[place][later] * found[later] for later in range(place + 1, size)), 0.0)
        found[place] = (rows[place][size] - known) / rows[place][place]
    return found


def test_every_figure_has_the_uncertainty_that_gtc_propagates() -> None:
    """GTC (Measurement Standards Laboratory of New Zealand): inputs, normal equations and geometry in its numbers."""
    values, u = inputs_of(PLAN, READINGS)
    weights = np.linalg.inv(covariance_of(values, u, TRUE_UNKNOWNS))
    at = {name: GTC.ureal(values[name], u[name], 7.0 if name in READ_U else math.inf, label=name) for name in values}
    drawn = Drawn(at, UNCERTAIN)
    told = drawn.told()
    weighted = [
        [sum(float(weights[i, j]) * told[j][1][k] for j in range(len(told))) for i in range(len(told))]
        for k in range(len(UNKNOWNS))
    ]
    normal = [
        [sum(weighted[k][i] * told[i][1][m] for i in range(len(told))) for m in range(len(UNKNOWNS))]
        for k in range(len(UNKNOWNS))
    ]
    right = [sum(weighted[k][i] * told[i][2] for i in range(len(told))) for k in range(len(UNKNOWNS))]
    expected = drawn.figures(eliminated(normal, right))
    found = setting_of(PLAN, READINGS, dof=7.0).figures
    assert set(found) == set(expected) == set(FIGURES)
    for name, estimate in found.items():
        assert estimate.value == pytest.approx(GTC.value(expected[name]), abs=1e-6), name
        assert estimate.u == pytest.approx(GTC.uncertainty(expected[name]), rel=1e-4), name
        assert min(estimate.dof, 1e6) == pytest.approx(min(GTC.dof(expected[name]), 1e6), rel=1e-3), name
        assert estimate.unit == FIGURES[name]


def redone(draws: Mapping[str, np.ndarray], covariance: np.ndarray, drawn: Drawn) -> dict[str, np.ndarray]:
    """The figures of many necks: each adjusted by numpy's least squares on its own."""
    count = len(next(iter(draws.values())))
    white = np.linalg.inv(np.linalg.cholesky(covariance))
    told = drawn.told()
    rows = np.array([[np.broadcast_to(part, count) for part in row] for _, row, _ in told]).transpose(2, 0, 1)
    said = np.array([np.broadcast_to(value, count) for _, _, value in told]).T
    scale = np.array([1 / 300, 1 / 50, 1, 1, 1, 1 / 300, 1])
    unknowns = (np.linalg.pinv(white @ (rows * scale)) @ (white @ said[:, :, None]))[:, :, 0] * scale
    return drawn.figures(list(unknowns.T))


def test_every_figure_has_the_uncertainty_that_monte_carlo_shows() -> None:
    """All inputs drawn, adjusted again and carried on, 20,000 times: the spread is the u told, within 3 %."""
    rng = np.random.default_rng(686)
    values, u = inputs_of(PLAN, READINGS)
    draws = {name: rng.normal(values[name], u[name], 20_000) for name in values}
    drawn = redone(draws, covariance_of(values, u, TRUE_UNKNOWNS), Drawn(draws, FLOATS))
    found = setting_of(PLAN, READINGS).figures
    for name, estimate in found.items():
        assert estimate.u == pytest.approx(float(np.std(drawn[name])), rel=0.03), name
        assert estimate.value == pytest.approx(float(np.mean(drawn[name])), abs=max(0.05 * estimate.u, 1e-3)), name


def test_margins_where_bass_and_treble_change_places_are_no_linear_matter() -> None:
    """Both strings want the same height and nobody read the roll: the lower of two is lower than either, by nature.

    The mean of the lesser of two equal normal values lies σ_d/sqrt(2π) below theirs, σ_d that of their difference
    (C. E. Clark, The greatest of a finite set of random variables, Operations Research 9, 1961; from memory). A
    straight line through the middle knows nothing of it: here 0.18 mm off, and u told a third of what it is.
    """
    alike = replace(
        PLAN, neck=replace(PLAN.neck, compensation_treble=4.0, compensation_bass=4.0), action=Action(2.0, 2.0)
    )
    steps = {**STEPS, "neck.compensation_bass": 0.1}
    found = setting_of(alike, {"angle": 2.8}, steps=steps)
    rng = np.random.default_rng(52)
    values, u = inputs_of(alike, {"angle": 2.8})
    u |= {"neck.compensation_bass": 0.1 / math.sqrt(12), "angle": READ_U["angle"]}
    draws = {name: rng.normal(values[name], u[name], 50_000) for name in values}
    unknowns = [np.tan(np.radians(draws["angle"])), np.tan(np.radians(rng.normal(0, NO_ROLL_DEG, 50_000)))]
    drawn = Drawn(draws, FLOATS, action=(2.0, 2.0)).figures([*unknowns, draws["neck.plane_height"], 0, 0, 0, 0])
    for side in SIDES:
        name = f"required_bearing.{side}"
        assert found.figures[name].u == pytest.approx(float(np.std(drawn[name])), rel=0.02)
    margin, drawn_margin = found.figures["travel.margin_low"], drawn["travel.margin_low"]
    apart = float(np.std(drawn["required_bearing.bass"] - drawn["required_bearing.treble"]))
    assert margin.value - float(np.mean(drawn_margin)) == pytest.approx(apart / math.sqrt(2 * math.pi), rel=0.03)
    assert margin.value - float(np.mean(drawn_margin)) == pytest.approx(0.18, abs=0.01)
    assert float(np.std(drawn_margin)) > 1.5 * margin.u


def test_contradicting_readings_are_adjusted_as_numpy_does() -> None:
    """numpy.linalg.lstsq on rows whitened by their own covariance; chi-square against scipy."""
    off = dict(zip(READ_U, (1, -2, 0.5, 1.5, -1, 2, 0.3, -0.7, 1.1, 0.4, -1.2, 0.8, -0.2), strict=True))
    readings = {name: READINGS[name] + off[name] * READ_U[name] for name in READINGS}
    found = setting_of(PLAN, readings)
    values, u = inputs_of(PLAN, readings)
    covariance = covariance_of(values, u, TRUE_UNKNOWNS)
    told = Drawn(values, FLOATS).told()
    rows, said = np.array([row for _, row, _ in told], dtype=float), np.array([value for *_, value in told])
    white = np.linalg.inv(np.linalg.cholesky(covariance))
    expected, squares, *_ = np.linalg.lstsq(white @ rows, white @ said, rcond=None)
    for name, value in zip(UNKNOWNS, expected, strict=True):
        assert found.unknowns[name] == pytest.approx(value, rel=1e-3, abs=2e-5), name
    assert found.p == pytest.approx(stats.chi2.sf(squares[0], len(told) - len(UNKNOWNS)), rel=0.01)
    left_over = dict(zip((name for name, *_ in told), said - rows @ expected, strict=True))
    assert {each.id: each.value for each in found.residuals} == pytest.approx(left_over, abs=2e-4)
    spread = np.linalg.inv(rows.T @ np.linalg.inv(covariance) @ rows)
    assert found.figures["plane_height"].u == pytest.approx(math.sqrt(spread[2, 2]), rel=0.01)


def test_a_height_of_the_bridge_that_both_clearances_share_does_not_average_out() -> None:
    """Two means of one error in common: u² = own²/2 + shared², by hand; in the margin over that height it cancels."""
    flat = replace(PLAN, neck=replace(PLAN.neck, plane_height=None, fretboard_radius=None))
    steps = {"bridge.bearing_low": 0.5, "bridge.saddle_slot_depth": 0.3, "bridge.spacer": 0.2}
    readings = {name: READINGS[name] for name in ("clearance-bass", "clearance-treble")}
    found = setting_of(flat, readings, steps=steps)
    shared = math.sqrt((0.5**2 + 0.3**2 + 0.2**2) / 12)
    bass, treble = (found.figures[f"plane_at_saddle.{side}"] for side in SIDES)
    assert bass.u == pytest.approx(math.hypot(READ_U["clearance-bass"], shared), rel=1e-3)
    assert treble.u == pytest.approx(math.hypot(READ_U["clearance-treble"], shared), rel=1e-3)
    assert found.figures["roll"].u == pytest.approx(math.degrees(math.hypot(0.023, 0.024) / 52), rel=1e-3)
    assert set(found.untold) >= {"slope", "height"}
    assert found.budget["plane_at_saddle.bass"]["bridge.bearing_low"] == pytest.approx(0.5 / math.sqrt(12), rel=1e-3)
    told = setting_of(flat, {**readings, "angle": 2.8}, steps=steps)
    assert abs(told.budget["travel.margin_low"].get("bridge.bearing_low", 0.0)) < 1e-4
    assert told.budget["travel.margin_low"]["bridge.spacer"] == pytest.approx(0.2 / math.sqrt(12), rel=1e-2)


necks = st.fixed_dictionaries(
    {
        "slope": st.floats(-0.03, 0.15),
        "tilt": st.floats(-0.02, 0.02),
        "height": st.floats(1.0, 15.0),
        "underside": st.just(0.0),
        "offset": st.floats(-2.0, 2.0),
        "heading": st.floats(-0.01, 0.01),
        "posts": st.floats(-5.0, 15.0),
    }
)
lengths = st.fixed_dictionaries(
    {
        "bridge.position": st.floats(200.0, 350.0),
        "bridge.string_spread": st.floats(45.0, 75.0),
        "bridge.bearing_low": st.floats(2.0, 20.0),
        "neck.fretboard_radius": st.floats(150.0, 600.0),
        "neck.overhang": st.floats(30.0, 120.0),
        "neck.scale_length": st.floats(600.0, 760.0),
    }
)


def with_lengths(plan: Instrument, given: Mapping[str, float]) -> Instrument:
    for key, value in given.items():
        table, _, name = key.partition(".")
        plan = replace(plan, **{table: replace(getattr(plan, table), **{name: value})})
    return plan


@settings(max_examples=20)
@given(truth=necks, given_lengths=lengths)
def test_the_readings_of_a_known_neck_give_that_neck(truth: dict[str, float], given_lengths: dict[str, float]) -> None:
    plan = with_lengths(PLAN, {**given_lengths, "neck.plane_height": truth["height"]})
    found = setting_of(plan, readings_of(truth, lengths_of(plan)))
    for name, value in truth.items():
        assert found.unknowns[name] == pytest.approx(value, abs=1e-8), name
    assert found.untold == ()
    assert found.misfits == ()
    assert found.p == pytest.approx(1.0)
    assert found.figures["plane_height"].value == pytest.approx(truth["height"])
    assert found.figures["centreline_offset"].value == pytest.approx(
        truth["offset"] + truth["heading"] * plan.bridge.position
    )


PLANE_READ = ("angle", "roll-read", "clearance-bass", "clearance-treble", "edge-bass", "edge-treble", "end")
PLANE = Instrument(
    "only what the fret plane asks for, invented",
    tuple(each for each in PLAN.checkpoints if each.id in PLANE_READ),
    neck=Neck(plane_height=6.0, overhang=86.0, fretboard_radius=305.0),
    bridge=replace(PLAN.bridge, bearing_high=None, tail_anchor_x=None, tail_anchor_z=None),
)
PLANE_KEYS = [key for key, value in lengths_of(PLANE).items() if value is not None]


def plane_rows() -> tuple[list[str], np.ndarray, np.ndarray]:
    """Names, rows of T Q h g and covariance of what tells the fret plane."""
    values, u = inputs_of(PLAN, READINGS)
    told = Drawn(values, FLOATS).told()
    places = [place for place, (_, row, _) in enumerate(told) if any(row[:4])]
    covariance = covariance_of(values, u, TRUE_UNKNOWNS)[np.ix_(places, places)]
    return [told[place][0] for place in places], np.array([told[place][1][:4] for place in places]), covariance


def any_day(rng: np.random.Generator, sd: Mapping[str, float] = READ_U) -> tuple[Instrument, dict[str, float]]:
    """The same neck measured anew: every length of the file, every reading, the touching edge, each with its error."""
    slips = {key: rng.normal(0.0, STEPS[key] / math.sqrt(12)) for key in PLANE_KEYS}
    plan = with_lengths(PLANE, {key: lengths_of(PLAN)[key] + slip for key, slip in slips.items()})
    readings = {name: READINGS[name] + rng.normal(0.0, sd[name]) for name in PLANE_READ}
    gap = rng.normal(0.0, 0.05)
    return plan, {name: value + gap * (name in ("edge-bass", "edge-treble", "end")) for name, value in readings.items()}


def test_a_misreading_is_found_as_often_as_baarda_says() -> None:
    """W. Baarda, A testing procedure for use in geodetic networks, 1968 (from memory): at 0.001 a misreading of the
    non-centrality 4.13 is found in 80 %; simulated, 300 times, within three standard errors.
    """
    names, rows, covariance = plane_rows()
    weights = np.linalg.inv(covariance)
    of_residuals = covariance - rows @ np.linalg.inv(rows.T @ weights @ rows) @ rows.T
    place = names.index("edge-bass")
    size_mm = 4.13 / math.sqrt((weights @ of_residuals @ weights)[place, place])
    rng = np.random.default_rng(413)
    found = 0
    for _ in range(300):
        plan, readings = any_day(rng)
        readings["edge-bass"] += size_mm
        found += any(each.id == "edge-bass" for each in setting_of(plan, readings).misfits)
    assert found / 300 == pytest.approx(0.80, abs=3 * math.sqrt(0.8 * 0.2 / 300))


def test_one_misread_edge_is_named_and_nothing_else_first() -> None:
    found = setting_of(PLAN, {**READINGS, "edge-bass": READINGS["edge-bass"] + 1.0})
    assert found.misfits[0].id == "edge-bass"
    assert found.misfits[0].value > 0.5
    assert found.p is not None
    assert found.p < 1e-6
    assert setting_of(PLAN, READINGS).misfits == ()


def test_the_probability_of_the_fit_is_uniform_where_nothing_is_wrong() -> None:
    """Kolmogorov-Smirnov, and 5 % called bad in 5 % of days: the scatter estimated from three placements each, pooled.

    Were the pooled scatters counted as many, it would be 8 % (simulated).
    """
    rng = np.random.default_rng(3)
    angle_deg, length_mm = 0.05, 0.05
    sd = {name: angle_deg if name in ("angle", "roll-read") else length_mm for name in PLANE_READ}
    chances = []
    for _ in range(400):
        plan, readings = any_day(rng, {name: value / math.sqrt(3) for name, value in sd.items()})
        means = {}
        scatters = {
            Quantity.ANGLE: Scatter(angle_deg * math.sqrt(rng.chisquare(4) / 4), 4.0),
            Quantity.LENGTH: Scatter(length_mm * math.sqrt(rng.chisquare(10) / 10), 10.0),
        }
        for name, value in readings.items():
            checkpoint = plan.checkpoint(name)
            scatter = scatters[checkpoint.quantity]
            u = scatter.sd / math.sqrt(3)
            means[name] = StageMean(checkpoint, value, u, u, scatter.dof, 3, 1e-4, scatter)
        chances.append(neck_setting(plan, means, STEPS).p)
    assert stats.kstest(chances, "uniform").pvalue > 0.01
    assert float(np.mean(np.array(chances) < 0.05)) == pytest.approx(0.05, abs=3 * math.sqrt(0.05 * 0.95 / 400))


def family(name: str) -> str:
    return name.partition(".")[0]


def test_nothing_at_all_is_no_error() -> None:
    found = neck_setting(Instrument("nothing known yet", ()), {}, {})
    assert set(found.figures) == {"roll"}
    assert found.figures["roll"].u == pytest.approx(NO_ROLL_DEG)
    assert set(found.untold) == {"slope", "height", "underside", "offset", "heading", "posts"}
    assert found.p is None
    assert found.residuals[0].unchecked
    assert set(found.missing) == set(NEEDS)
    assert found.stage == ""


def test_without_clearances_angle_and_height_say_it_all() -> None:
    found = setting_of(PLAN, {name: value for name, value in READINGS.items() if "clearance" not in name})
    assert set(found.figures) == set(FIGURES)
    assert found.missing == {}


def test_without_any_height_the_plane_is_not_told_but_its_angle_is() -> None:
    low = with_lengths(PLAN, {"neck.plane_height": None})
    found = setting_of(low, {"angle": 2.8, "roll-read": 0.1})
    assert "height" in found.untold
    assert set(found.figures) == {"neck_angle", "roll", "mm_per_degree", "travel.low", "travel.high"}
    again = setting_of(low, {name: READINGS[name] for name in ("angle", "clearance-bass", "clearance-treble")})
    assert again.figures["plane_height"].value == pytest.approx(6.0, abs=1e-6)


def test_a_roll_that_nobody_read_is_taken_as_none_and_costs_what_it_may_be() -> None:
    """26 mm times tan 0.5° is 0.227 mm a side, by hand; one clearance alone doesn't tell roll from height."""
    assert PLAN.bridge.string_spread is not None
    half_mm = PLAN.bridge.string_spread / 2 * math.tan(math.radians(NO_ROLL_DEG))
    found = setting_of(PLAN, {"angle": 2.8})
    read = setting_of(PLAN, {"angle": 2.8, "roll-read": 0.0})
    assert found.figures["roll"].value == 0.0
    assert found.figures["roll"].u == pytest.approx(NO_ROLL_DEG)
    assert [each.name for each in found.inputs if each.origin is Origin.TAKEN] == [NO_ROLL]
    for side in SIDES:
        name = f"plane_at_saddle.{side}"
        assert abs(found.budget[name][NO_ROLL]) == pytest.approx(half_mm, rel=1e-3)
        assert found.figures[name].u ** 2 - half_mm**2 == pytest.approx(
            read.figures[name].u ** 2 - read.budget[name]["roll-read"] ** 2, rel=1e-2
        )
    assert found.budget["plane_at_saddle.bass"][NO_ROLL] < 0 < found.budget["plane_at_saddle.treble"][NO_ROLL]


def test_without_a_wanted_action_the_plane_is_still_told() -> None:
    found = setting_of(replace(PLAN, action=Action()), READINGS)
    whole = setting_of(PLAN, READINGS)
    assert found.missing["required_bearing"] == ("action.bass", "action.treble")
    assert not any(family(name) in ("required_bearing", "travel", "break_angle") for name in found.figures)
    for side in SIDES:
        name = f"plane_at_saddle.{side}"
        assert found.figures[name].value == pytest.approx(whole.figures[name].value)
        assert found.figures[name].u == pytest.approx(whole.figures[name].u)


def test_an_undrilled_bridge_stands_where_the_scale_puts_it() -> None:
    """The bearing worked out from the scale: x = D cos θ - a sin θ, z = h + D sin θ + a cos θ, on a neck without roll."""
    place, tail = PLAN.bridge.position, {"bridge.position": None}
    assert place is not None
    plan = with_lengths(PLAN, tail)
    pointed = tuple(
        replace(each, place=Place((place, 0.0, 19.0))) if each.id == "centre-bridge" else each
        for each in plan.checkpoints
    )
    readings = {"angle": 2.8, "roll-read": 0.0, "centre-bridge": 0.3, "centre-pickup": 0.3, "clearance-bass": 0.5}
    found = setting_of(replace(plan, checkpoints=pointed), readings)
    drawn = Drawn(lengths_of(PLAN), FLOATS)
    turn = math.radians(2.8)
    for side in SIDES:
        along = 686.0 * 2 ** (-16 / 12) + lengths_of(PLAN)[f"neck.compensation_{side}"]
        expected = 6.0 + along * math.sin(turn) + drawn.over_plane(side) * math.cos(turn)
        assert found.figures[f"required_bearing.{side}"].value == pytest.approx(expected)
    assert found.figures["centreline_offset"].value == pytest.approx(0.3)
    assert not {"plane_at_saddle", "centreline_offset", "required_bearing"} & set(found.missing)
    assert "clearance-bass" not in {each.name for each in found.inputs}
    assert all(each.worth_mm is None for each in found.inputs)
    bare = setting_of(replace(plan, action=Action(bass=2.2)), readings)
    assert bare.missing["plane_at_saddle"] == bare.missing["centreline_offset"] == ("bridge.position",)


def test_without_a_tail_the_break_angle_waits_and_nothing_else() -> None:
    found = setting_of(with_lengths(PLAN, {"bridge.tail_anchor_z": None}), READINGS)
    assert set(FIGURES) - set(found.figures) == {"break_angle"}
    assert found.missing == {"break_angle": ("bridge.tail_anchor_z",)}


def test_a_flat_fretboard_has_no_sag() -> None:
    """Without the radius the same clearances mean a plane lower by the sag of a circle of 305 mm at 26 mm: 1.110 mm."""
    readings = {name: READINGS[name] for name in ("angle", "clearance-bass", "clearance-treble")}
    flat, round_ = (
        setting_of(with_lengths(PLAN, {"neck.plane_height": None, "neck.fretboard_radius": radius}), readings)
        for radius in (None, 305.0)
    )
    for side in SIDES:
        name = f"plane_at_saddle.{side}"
        assert round_.figures[name].value - flat.figures[name].value == pytest.approx(1.1102, abs=1e-4)
    assert "neck.fretboard_radius" not in {each.name for each in flat.inputs}


def test_saddles_that_were_read_stand_in_for_a_lowest_bearing_that_is_left_open() -> None:
    plan = with_lengths(PLAN, {"bridge.bearing_low": None, "neck.plane_height": None})
    saddles = {f"saddle-{side}": 17.8 for side in SIDES}
    readings = {name: READINGS[name] for name in ("angle", "clearance-bass", "clearance-treble")} | saddles
    means = {name: mean(plan, name, value, READ_U.get(name, 0.03)) for name, value in readings.items()}
    found = neck_setting(plan, means, STEPS)
    assert found.figures["plane_height"].value == pytest.approx(6.0, abs=1e-6)
    assert found.budget["plane_at_saddle.bass"]["saddle-bass"] == pytest.approx(0.03, rel=1e-3)
    assert found.missing["travel"] == ("bridge.bearing_low",)
    clearance = next(each for each in found.inputs if each.name == "clearance-bass")
    assert clearance.worth_mm == pytest.approx(0.05)


def test_relief_that_was_read_counts_before_the_file() -> None:
    means = {name: mean(PLAN, name, value, 0.02) for name, value in {"angle": 2.8, "relief-read": 0.35}.items()}
    found, file = neck_setting(PLAN, means, STEPS), setting_of(PLAN, {"angle": 2.8})
    moved = [found.figures[name].value - file.figures[name].value for name in ("required_bearing.bass",)]
    assert moved == pytest.approx([-0.36], abs=0.02), "0.2 mm of relief: common practice, no source"
    assert "neck.relief" not in {each.name for each in found.inputs}


LEAVABLE = [
    *(key for key in STEPS),
    *READ_U,
    "action.bass",
    "action.treble",
    "bridge.travel_reserve",
    "neck.frets",
    "neck.joint_fret",
]


@settings(max_examples=20)
@given(gone=st.sets(st.sampled_from(LEAVABLE)))
def test_whatever_is_left_out_the_rest_is_said_and_the_missing_named(gone: set[str]) -> None:
    plan = with_lengths(PLAN, {key: None for key in gone if "." in key})
    found = setting_of(plan, {name: value for name, value in READINGS.items() if name not in gone})
    for name, estimate in found.figures.items():
        assert math.isfinite(estimate.value) and estimate.u >= 0 and estimate.dof > 0, name
        assert sum(share**2 for share in found.budget[name].values()) == pytest.approx(estimate.u**2)
    for name in set(FIGURES) - set(found.figures):
        assert {family(name), "required_bearing", "travel"} & set(found.missing) or found.untold, name
    for keys in found.missing.values():
        assert set(keys) <= gone


def test_what_if_values_replace_the_readings_and_carry_no_uncertainty() -> None:
    read = setting_of(PLAN, READINGS)
    steeper = setting_of(PLAN, READINGS, assumed={"slope": math.tan(math.radians(3.2))})
    assert steeper.figures["neck_angle"].value == pytest.approx(3.2)
    assert steeper.figures["neck_angle"].u == 0.0
    assert steeper.budget["neck_angle"] == {}
    for name in ("plane_height", "roll", "centreline_offset"):
        assert steeper.figures[name] == read.figures[name]
        assert steeper.budget[name] == read.budget[name]
    rise = steeper.figures["plane_at_saddle.bass"].value - read.figures["plane_at_saddle.bass"].value
    assert rise == pytest.approx(274.5 * (math.tan(math.radians(3.2)) - math.tan(math.radians(2.8))))
    assert "angle" not in {n for n, share in steeper.budget["required_bearing.bass"].items() if abs(share) > 0.01}
    known = {"slope": 0.05, "tilt": 0.0, "height": 7.0, "offset": 0.4, "heading": 0.0}
    all_known = setting_of(PLAN, READINGS, assumed=known)
    for name in ("neck_angle", "roll", "plane_height", "centreline_offset"):
        assert all_known.figures[name].u == 0.0
    assert set(all_known.budget["required_bearing.bass"]) <= set(STEPS)
    assert all_known.figures["plane_at_saddle.bass"].value == pytest.approx(7.0 + 274.5 * 0.05)
    alone = neck_setting(PLAN, {}, STEPS, assumed=known)
    for name in ("required_bearing.bass", "travel.margin_high", "angle_window.low", "break_angle"):
        assert alone.figures[name].value == pytest.approx(all_known.figures[name].value)
        assert alone.figures[name].u == pytest.approx(all_known.figures[name].u)
    assert alone.untold == ("underside", "posts")


def test_the_budget_is_the_uncertainty_share_by_share_with_its_signs() -> None:
    found = setting_of(PLAN, READINGS)
    for name, shares in found.budget.items():
        assert sum(share**2 for share in shares.values()) == pytest.approx(found.figures[name].u ** 2)
    alone = setting_of(PLAN, {"angle": 2.8, "roll-read": 0.1})
    bass, treble = (alone.budget[f"required_bearing.{side}"] for side in SIDES)
    assert bass["roll-read"] == pytest.approx(-treble["roll-read"], rel=1e-2)
    assert bass["angle"] > 0
    assert treble["roll-read"] > 0
    assert bass["neck.plane_height"] > 0
    assert bass["angle"] == pytest.approx(alone.figures["mm_per_degree"].value * READ_U["angle"], rel=1e-3)
    assert bass["neck.nut_height"] < 0
    assert bass["neck.relief"] < 0
    assert bass["bridge.position"] > 0
    assert alone.budget["travel.margin_low"]["bridge.bearing_low"] == pytest.approx(-0.1 / math.sqrt(12))
    assert alone.budget["travel.margin_high"]["bridge.bearing_high"] == pytest.approx(0.1 / math.sqrt(12))


def test_a_digit_is_worth_what_the_lever_says() -> None:
    """D tan a: 0.05° at 250, 300, 330 mm is 0.218, 0.262, 0.288 mm, and 0.240 mm at 274.5 (computed by hand)."""
    for lever_mm, worth_mm in ((250.0, 0.218), (274.5, 0.240), (300.0, 0.262), (330.0, 0.288)):
        found = setting_of(with_lengths(PLAN, {"bridge.position": lever_mm}), READINGS)
        worth = {each.name: each.worth_mm for each in found.inputs}
        assert worth["angle"] == pytest.approx(worth_mm, abs=5e-4)
        assert worth["roll-read"] == pytest.approx(26.0 * math.tan(math.radians(0.05)))
        assert worth["clearance-bass"] == pytest.approx(0.05)
        assert worth["end"] == pytest.approx(0.05 * lever_mm / 86.0)
        assert worth["edge-treble"] == pytest.approx(0.05 * lever_mm / X_EDGE_MM)
        assert worth["centre-pickup"] == pytest.approx(0.05 * lever_mm / X_PICKUP_MM)
        assert worth["neck.plane_height"] is None


def spaced(spacer_mm: float) -> NeckSetting:
    """The straightedge just touches both outer saddle tops, the bridge on its spacer; the angle isn't read."""
    return setting_of(
        with_lengths(PLAN, {"bridge.spacer": spacer_mm}), {"clearance-bass": 0.0, "clearance-treble": 0.0}
    )


@pytest.mark.parametrize("spacer_mm", [25.4 / 16, 25.4 * 3 / 32])
def test_a_straightedge_that_touches_over_the_spacer_leaves_the_bridge_room_to_come_up(spacer_mm: float) -> None:
    """Common practice, no source: on a spacer of 1/16 in (or 3/32 in up) roll is none, and the bridge comes up."""
    found = spaced(spacer_mm)
    low, high = PLAN.bridge.bearing_low, PLAN.bridge.bearing_high
    assert low is not None
    assert high is not None
    assert found.figures["roll"].value == pytest.approx(0.0, abs=1e-9)
    assert 2.0 < found.figures["neck_angle"].value < 5.0
    for side in SIDES:
        bearing = found.figures[f"required_bearing.{side}"].value
        assert low + spacer_mm < bearing < high - 1.0
    assert found.figures["travel.margin_high"].value > 1.0


def test_strings_bear_lower_than_a_straightedge_on_the_saddles_says() -> None:
    """Common practice, no source: strings lie in slots. The touched top is above the bearing by the slot's depth."""
    found = spaced(1.6)
    without = setting_of(
        with_lengths(PLAN, {"bridge.saddle_slot_depth": None}), {"clearance-bass": 0.0, "clearance-treble": 0.0}
    )
    sag_mm = 305.0 - math.sqrt(305.0**2 - 26.0**2)
    for side in SIDES:
        name = f"plane_at_saddle.{side}"
        top_mm = found.figures[name].value - sag_mm
        assert top_mm == pytest.approx(15.4 + 1.6 + 0.8)
        assert found.figures[name].value - without.figures[name].value == pytest.approx(0.8)


def test_the_fretboards_end_off_the_body_agrees_with_an_angle_gauge() -> None:
    """Common practice, no source: 1/8 in over an overhang of 60 mm is about 3°, usual for a raised bridge."""
    plan = with_lengths(PLAN, {"neck.overhang": 60.0})
    alone = setting_of(plan, {"end": 25.4 / 8, "roll-read": 0.0})
    angle = alone.figures["neck_angle"]
    assert 2.5 < angle.value < 5.0
    assert angle.value == pytest.approx(math.degrees(math.atan(3.175 / 60)))
    gauge = 3.05
    assert abs(gauge - angle.value) < 2 * math.hypot(angle.u, READ_U["angle"])
    both = setting_of(plan, {"end": 25.4 / 8, "roll-read": 0.0, "angle": gauge})
    assert both.p is not None
    assert both.p > 0.05
    assert both.misfits == ()
    assert both.figures["neck_angle"].u < min(angle.u, READ_U["angle"])
    off = setting_of(plan, {"end": 25.4 / 8, "roll-read": 0.0, "angle": gauge + 0.5})
    assert {each.id for each in off.misfits} >= {"angle", "end"}, "the two contradict; a third would say which"


def test_edges_equally_high_mean_no_roll() -> None:
    """Common practice, no source; and 0.5 mm over 54 mm is 0.53° by the tangent."""
    level = setting_of(PLAN, {"angle": 2.8, "edge-bass": 3.9, "edge-treble": 3.9})
    assert level.figures["roll"].value == pytest.approx(0.0, abs=1e-3)
    tilted = setting_of(PLAN, {"angle": 2.8, "edge-bass": 3.9, "edge-treble": 4.4})
    assert tilted.figures["roll"].value == pytest.approx(math.degrees(math.atan(0.5 / 54)), rel=0.02)
    assert NO_ROLL not in {each.name for each in tilted.inputs}
