"""A neck of our own, invented, worked out a second time: it knows nothing of the modules that are checked against it.

`Drawn` goes from lengths and readings to what each reading says and to every figure, in floats, arrays, or GTC's
numbers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import GTC
import numpy as np

from gaugelog.analysis.neck_rows import UNKNOWNS
from gaugelog.analysis.neck_setting import TOUCHING, NeckSetting, neck_setting
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


def with_lengths(plan: Instrument, given: Mapping[str, float]) -> Instrument:
    for key, value in given.items():
        table, _, name = key.partition(".")
        plan = replace(plan, **{table: replace(getattr(plan, table), **{name: value})})
    return plan
