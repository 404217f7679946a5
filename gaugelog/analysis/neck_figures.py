"""From how the neck stands to what that means for the strings: the figures of a neck set.

Here: each figure, exactly, from the instrument's numbers and the unknowns of `neck_rows`; a figure whose numbers are
left open is left out. Not here: uncertainty (`neck_setting`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from gaugelog.analysis.neck_rows import UNKNOWNS
from gaugelog.analysis.neckset import BASS, SIDES, TREBLE, NeckSet, break_angle, neck_set_of
from gaugelog.model.instrument import Instrument

DEGREES, MILLIMETRES, MM_PER_DEGREE = "deg", "mm", "mm/deg"
FIGURES: Mapping[str, str] = {
    "neck_angle": DEGREES,
    "roll": DEGREES,
    "plane_height": MILLIMETRES,
    "plane_at_saddle.bass": MILLIMETRES,
    "plane_at_saddle.treble": MILLIMETRES,
    "required_bearing.bass": MILLIMETRES,
    "required_bearing.treble": MILLIMETRES,
    "travel.low": MILLIMETRES,
    "travel.high": MILLIMETRES,
    "travel.margin_low": MILLIMETRES,
    "travel.margin_high": MILLIMETRES,
    "angle_window.low": DEGREES,
    "angle_window.high": DEGREES,
    "mm_per_degree": MM_PER_DEGREE,
    "centreline_offset": MILLIMETRES,
    "string_margin.bass": MILLIMETRES,
    "string_margin.treble": MILLIMETRES,
    "break_angle": DEGREES,
}
"""Every figure and its unit.

`travel.margin_low` is the lower side's required bearing over the lowest that the bridge allows, `travel.margin_high`
what is left above the higher side's. `angle_window` holds the neck angles at which both sides bear within the travel
less the reserve, the plane's height at the joint line staying. `mm_per_degree` is the mean of the sides, `break_angle`
the smaller of them.
"""

NEEDS: Mapping[str, tuple[str, ...]] = {
    "plane_at_saddle": ("bridge.position",),
    "required_bearing": ("neck.scale_length", "neck.joint_fret", "action.bass", "action.treble"),
    "travel": ("bridge.bearing_low", "bridge.bearing_high"),
    "centreline_offset": ("bridge.position",),
    "string_margin": (
        "neck.frets",
        "neck.edge_width_at_last_fret",
        "neck.string_spread_at_nut",
        "bridge.string_spread",
    ),
    "break_angle": ("bridge.tail_anchor_x", "bridge.tail_anchor_z"),
}
"""Keys of the instrument file without which a figure can't be given; what needs a bearing needs its keys too."""


def figures(instrument: Instrument, unknowns: Mapping[str, float]) -> dict[str, float]:
    """Return the figures of a neck set that the instrument file's keys allow, by the names of `FIGURES`.

    Formulas: `neckset`. When this is wrong: as there.

    Args:
        instrument: the geometry.
        unknowns: by the names of `neck_rows.UNKNOWNS`.
    """
    angle_deg, roll_deg = (math.degrees(math.atan(unknowns[name])) for name in ("slope", "tilt"))
    height = unknowns["height"]
    found = {"neck_angle": angle_deg, "roll": roll_deg, "plane_height": height}
    neck, bridge = neck_set_of(instrument), instrument.bridge
    if neck is not None:
        found |= _strings(neck, angle_deg, roll_deg, height)
        found |= _travel(instrument, neck, found, angle_deg, roll_deg, height)
        found |= _break(instrument, neck, found, angle_deg, height)
    elif bridge.position is not None:
        half = (bridge.string_spread or 0.0) / 2
        for side, across in ((BASS, -half), (TREBLE, half)):
            plane = height + bridge.position * unknowns["slope"] + across * unknowns["tilt"]
            found[f"plane_at_saddle.{side}"] = plane
    found |= _aside(instrument, neck, unknowns, angle_deg)
    return found


def _strings(neck: NeckSet, angle_deg: float, roll_deg: float, height: float) -> dict[str, float]:
    found = {}
    for side in SIDES:
        found[f"plane_at_saddle.{side}"] = neck.plane_at_saddle(angle_deg, height, side, roll_deg)
        found[f"required_bearing.{side}"] = neck.required_bearing(angle_deg, height, side, roll_deg)
    found["mm_per_degree"] = sum(neck.mm_per_degree(angle_deg, side, roll_deg) for side in SIDES) / 2
    return found


def _travel(
    instrument: Instrument,
    neck: NeckSet,
    strings: Mapping[str, float],
    angle_deg: float,
    roll_deg: float,
    height: float,
) -> dict[str, float]:
    low, high = instrument.bridge.bearing_low, instrument.bridge.bearing_high
    if low is None or high is None:
        return {}
    bearings = [strings[f"required_bearing.{side}"] for side in SIDES]
    found = {
        "travel.low": low,
        "travel.high": high,
        "travel.margin_low": min(bearings) - low,
        "travel.margin_high": high - max(bearings),
    }
    reserve = instrument.bridge.travel_reserve or 0.0
    lowest = [neck.angle_for(low + reserve, height, side, roll_deg) for side in SIDES]
    highest = [neck.angle_for(high - reserve, height, side, roll_deg) for side in SIDES]
    if None not in lowest and None not in highest:
        found["angle_window.low"] = max(each for each in lowest if each is not None)
        found["angle_window.high"] = min(each for each in highest if each is not None)
    return found


def _break(
    instrument: Instrument, neck: NeckSet, strings: Mapping[str, float], angle_deg: float, height: float
) -> dict[str, float]:
    anchor = (instrument.bridge.tail_anchor_x, instrument.bridge.tail_anchor_z)
    if anchor[0] is None or anchor[1] is None:
        return {}
    nut = neck.nut_place(angle_deg, height)
    bends = [
        break_angle(
            nut,
            (neck.bearing_place(angle_deg, side), strings[f"required_bearing.{side}"]),
            (anchor[0], anchor[1]),
        )
        for side in SIDES
    ]
    return {"break_angle": min(bends)}


def _aside(
    instrument: Instrument, neck: NeckSet | None, unknowns: Mapping[str, float], angle_deg: float
) -> dict[str, float]:
    """Return where the centreline meets the saddle line, and what that leaves of the fretboard beside the strings."""
    place = instrument.bridge.position
    if place is None and neck is not None:
        place = sum(neck.bearing_place(angle_deg, side) for side in SIDES) / 2
    if place is None:
        return {}
    offset = unknowns["offset"] + unknowns["heading"] * place
    found = {"centreline_offset": offset}
    width = instrument.neck.edge_width_at_last_fret
    given = (instrument.neck.frets, instrument.neck.string_spread_at_nut, instrument.bridge.string_spread)
    if neck is not None and width is not None and None not in given:
        for side in SIDES:
            found[f"string_margin.{side}"] = neck.string_margin(width, offset, side)
    return found


def by_name(unknowns: tuple[float, ...]) -> dict[str, float]:
    """Return the unknowns by their names."""
    return dict(zip(UNKNOWNS, unknowns, strict=True))
