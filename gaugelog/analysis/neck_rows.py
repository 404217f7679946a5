"""What each reading before the glue says of how the neck stands.

Here: the seven unknowns of a neck that lies in its pocket, and for each checkpoint which of them its reading tells.
Not here: adjusting the readings together (`neck_fit`), what the strings need (`neckset`).

The unknowns: the fret plane z = height + slope x + tilt y over the body top, the height of the fretboard's underside at
the joint line, the fretboard's centreline y = offset + heading x, and how far the bridge's posts stand outside the
fretboard's edges carried on. All lengths in mm, slopes as tangents.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gaugelog.analysis.neckset import fret_distance, sag
from gaugelog.model.instrument import Checkpoint, Instrument

UNKNOWNS = ("slope", "tilt", "height", "underside", "offset", "heading", "posts")
"""Names of the unknowns, in the order of every row."""

Row = tuple[float, ...]
_SADDLE_HEIGHT = "saddle-height"


@dataclass(frozen=True, slots=True)
class Said:
    """What a reading says: `row` times the unknowns is `value`."""

    id: str
    row: Row
    value: float


def said_by(instrument: Instrument, readings: Mapping[str, float]) -> tuple[Said, ...]:
    """Return what every reading of a stage says of the neck, in the plan's order; others say nothing of it.

    Formulas, with T = slope, Q = tilt, h = height, g = underside, at the place (x, y):
    neck angle tan θ = T; neck roll tan φ = Q; a clearance c over a saddle's top s, the straightedge on the frets along
    a string line, h + T x + Q y = s + c + sag(y); edge height and end rise e = g + T x + Q y; centreline offset
    o = offset + heading x; a post p outside its edge, p = posts ∓ (offset + heading x), minus on the treble side; a
    string's margin to its edge as `NeckSet.string_margin`. The file's plane height says h. The saddle's top is read at
    a saddle-height checkpoint, else bearing low + slot + spacer.

    When this is wrong: outer string lines that run far from parallel to the centreline, on a small radius; posts that
    don't stand alike on both sides of the centreline; a fretboard that is not of one thickness.

    Args:
        instrument: the plan and its geometry.
        readings: means of one stage by checkpoint id, in base units.
    """
    found = [
        said
        for checkpoint in instrument.checkpoints
        if checkpoint.id in readings and (make := _BY_KIND.get(checkpoint.kind.slug)) is not None
        if (said := make(instrument, checkpoint, readings)) is not None
    ]
    if instrument.neck.plane_height is not None:
        found.append(Said("neck.plane_height", _row(height=1.0), instrument.neck.plane_height))
    return tuple(found)


def underside_said(instrument: Instrument) -> Said:
    """Return where the fretboard's underside is at the joint line: as the file says, else touching the body."""
    return Said("neck.underside_height", _row(underside=1.0), instrument.neck.underside_height or 0.0)


def _row(**parts: float) -> Row:
    return tuple(parts.get(name, 0.0) for name in UNKNOWNS)


def _side(checkpoint: Checkpoint) -> float:
    return -1.0 if checkpoint.side == "bass" else 1.0


def _neck_angle(_instrument: Instrument, checkpoint: Checkpoint, readings: Mapping[str, float]) -> Said | None:
    return _turn(checkpoint, readings, _row(slope=1.0))


def _neck_roll(_instrument: Instrument, checkpoint: Checkpoint, readings: Mapping[str, float]) -> Said | None:
    return _turn(checkpoint, readings, _row(tilt=1.0))


def _turn(checkpoint: Checkpoint, readings: Mapping[str, float], row: Row) -> Said | None:
    angle = math.radians(readings[checkpoint.id])
    if abs(angle) >= math.radians(45.0):
        return None
    return Said(checkpoint.id, row, math.tan(angle))


def _clearance(instrument: Instrument, checkpoint: Checkpoint, readings: Mapping[str, float]) -> Said | None:
    place, top = _at_saddle(instrument, checkpoint), saddle_top(instrument, checkpoint.side, readings)
    if place is None or top is None:
        return None
    radius = instrument.neck.fretboard_radius
    x, y = place
    low = sag(radius, abs(y)) if radius is not None and abs(y) <= radius else 0.0
    return Said(checkpoint.id, _row(slope=x, tilt=y, height=1.0), readings[checkpoint.id] + top + low)


def saddle_top(instrument: Instrument, side: str, readings: Mapping[str, float]) -> float | None:
    """Return the height of a saddle's top while clearances are read, mm: as read, else by the file; None if open."""
    for checkpoint in instrument.checkpoints:
        if checkpoint.kind.slug == _SADDLE_HEIGHT and checkpoint.side == side and checkpoint.id in readings:
            return readings[checkpoint.id]
    bridge = instrument.bridge
    if bridge.bearing_low is None:
        return None
    return bridge.bearing_low + (bridge.saddle_slot_depth or 0.0) + (bridge.spacer or 0.0)


def _at_saddle(instrument: Instrument, checkpoint: Checkpoint) -> tuple[float, float] | None:
    """Return x and y of a checkpoint: its own point, else its side's place on the saddle line."""
    if checkpoint.place.point_mm is not None:
        return checkpoint.place.point_mm[:2]
    bridge = instrument.bridge
    if bridge.position is None or (checkpoint.side and bridge.string_spread is None):
        return None
    return bridge.position, _side(checkpoint) * (bridge.string_spread or 0.0) / 2 if checkpoint.side else 0.0


def _underside(instrument: Instrument, checkpoint: Checkpoint, readings: Mapping[str, float]) -> Said | None:
    """An edge height says where it is read; an end rise without a place is read at the fretboard's end."""
    overhang = instrument.neck.overhang
    place = checkpoint.place.point_mm or (None if checkpoint.side or overhang is None else (overhang, 0.0, 0.0))
    if place is None:
        return None
    return Said(checkpoint.id, _row(slope=place[0], tilt=place[1], underside=1.0), readings[checkpoint.id])


def _centreline(instrument: Instrument, checkpoint: Checkpoint, readings: Mapping[str, float]) -> Said | None:
    place = _at_saddle(instrument, checkpoint)
    return None if place is None else Said(checkpoint.id, _row(offset=1.0, heading=place[0]), readings[checkpoint.id])


def _post(instrument: Instrument, checkpoint: Checkpoint, readings: Mapping[str, float]) -> Said | None:
    place = _at_saddle(instrument, checkpoint)
    if place is None:
        return None
    side = _side(checkpoint)
    return Said(checkpoint.id, _row(posts=1.0, offset=-side, heading=-side * place[0]), readings[checkpoint.id])


def _string_margin(instrument: Instrument, checkpoint: Checkpoint, readings: Mapping[str, float]) -> Said | None:
    neck, bridge = instrument.neck, instrument.bridge
    needed = (neck.scale_length, neck.frets, neck.edge_width_at_last_fret, neck.string_spread_at_nut)
    if None in needed or bridge.string_spread is None or bridge.position is None:
        return None
    scale, frets, width, at_nut = (float(each or 0.0) for each in needed)
    compensation = neck.compensation_bass if checkpoint.side == "bass" else neck.compensation_treble
    share = fret_distance(scale, frets) / (scale + (compensation or 0.0))
    straight = width / 2 - at_nut / 2 - (bridge.string_spread - at_nut) / 2 * share
    aside = _side(checkpoint) * share
    row = _row(offset=aside, heading=aside * bridge.position)
    return Said(checkpoint.id, row, readings[checkpoint.id] - straight)


_BY_KIND: dict[str, Callable[[Instrument, Checkpoint, Mapping[str, float]], Said | None]] = {
    "neck-angle": _neck_angle,
    "neck-roll": _neck_roll,
    "fret-to-bridge-clearance": _clearance,
    "fretboard-edge-height": _underside,
    "fretboard-end-rise": _underside,
    "centreline-offset": _centreline,
    "post-to-edge": _post,
    "string-to-edge": _string_margin,
}
