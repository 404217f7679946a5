"""What must agree between the keys of an instrument file.

Here: contradictions that make the geometry impossible, each noted at the key to mend. Not here: whether a possible
geometry plays well (`analysis`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gaugelog.errors import Fault
from gaugelog.instruments.writing import MM_PER_INCH
from gaugelog.model.instrument import Bridge, Instrument, Neck, Pocket
from gaugelog.model.section import Section


def note_contradictions(instrument: Instrument, top: Section) -> None:
    """Note in `top` every pair of keys of a read instrument file that can't both be true."""
    notes = _Notes(top, instrument.units)
    _note_frets(instrument.neck, top)
    _note_radius(instrument, notes)
    _note_travel(instrument.bridge, notes)
    _note_pocket(instrument, notes)
    _note_tail(instrument.bridge, notes)


@dataclass(frozen=True, slots=True)
class _Notes:
    """Faults at lengths, told in the unit of the file."""

    top: Section
    units: str

    def length(self, length_mm: float) -> str:
        """Return a length as the file's unit has it."""
        return f"{length_mm / MM_PER_INCH:.5g} in" if self.units == "in" else f"{length_mm:g} mm"

    def add(self, key: str, length_mm: float, wanted: str) -> None:
        """Note a fault at a length."""
        self.top.faults.append(Fault(key, self.length(length_mm), wanted))


def bearing_distance_mm(neck: Neck) -> float | None:
    """Return the distance along the fret plane from the joint line to the strings' bearing point, in mm.

    `S 2^(-j/12) + c` with scale length S, the fret j over the joint line and the mean compensation c (0 where open);
    None where scale length or joint fret is open.
    """
    if neck.scale_length is None or neck.joint_fret is None:
        return None
    given = [value for value in (neck.compensation_bass, neck.compensation_treble) if value is not None]
    mean_compensation_mm = sum(given) / len(given) if given else 0.0
    return neck.scale_length * math.exp2(-neck.joint_fret / 12) + mean_compensation_mm


def _note_frets(neck: Neck, top: Section) -> None:
    if neck.joint_fret is not None and neck.frets is not None and neck.joint_fret > neck.frets:
        top.fault("neck.joint_fret", neck.joint_fret, f"a fret that the neck has: frets = {neck.frets}")


def _note_radius(instrument: Instrument, notes: _Notes) -> None:
    radius_mm = instrument.neck.fretboard_radius
    if radius_mm is None:
        return
    across = {
        "neck.string_spread_at_nut": instrument.neck.string_spread_at_nut,
        "bridge.string_spread": instrument.bridge.string_spread,
        "neck.edge_width_at_joint": instrument.neck.edge_width_at_joint,
        "neck.edge_width_at_last_fret": instrument.neck.edge_width_at_last_fret,
    }
    for key, width_mm in across.items():
        if width_mm is not None and radius_mm < width_mm / 2:
            notes.add(
                "neck.fretboard_radius", radius_mm, f"a radius of at least half of {key} ({notes.length(width_mm)})"
            )


def _note_travel(bridge: Bridge, notes: _Notes) -> None:
    low, high = bridge.bearing_low, bridge.bearing_high
    if low is None or high is None:
        return
    if low >= high:
        notes.add("bridge.bearing_low", low, f"a height below bearing_high ({notes.length(high)})")
    elif bridge.travel_reserve is not None and 2 * bridge.travel_reserve >= high - low:
        notes.add(
            "bridge.travel_reserve",
            bridge.travel_reserve,
            f"less than half the travel ({notes.length(high - low)}): it is kept free at both ends",
        )


def _note_pocket(instrument: Instrument, notes: _Notes) -> None:
    pocket = instrument.pocket
    bridge_mm = instrument.bridge.position
    if bridge_mm is None:
        bridge_mm = bearing_distance_mm(instrument.neck)
    if pocket.length is not None and bridge_mm is not None and (pocket.start or 0.0) + pocket.length >= bridge_mm:
        notes.add(
            "pocket.length", pocket.length, f"a pocket that ends short of the bridge (at {notes.length(bridge_mm)})"
        )
    _note_floor(pocket, notes)


def _note_floor(pocket: Pocket, notes: _Notes) -> None:
    if pocket.depth is None or pocket.body_thickness is None:
        return
    floor_mm = pocket.body_thickness - pocket.depth
    if floor_mm <= 0:
        notes.add("pocket.depth", pocket.depth, f"less than body_thickness ({notes.length(pocket.body_thickness)})")
    elif pocket.least_floor is not None and pocket.least_floor > floor_mm:
        notes.add(
            "pocket.least_floor", pocket.least_floor, f"at most the floor there is now ({notes.length(floor_mm)})"
        )


def _note_tail(bridge: Bridge, notes: _Notes) -> None:
    if bridge.tail_anchor_x is not None and bridge.position is not None and bridge.tail_anchor_x <= bridge.position:
        notes.add(
            "bridge.tail_anchor_x", bridge.tail_anchor_x, f"behind the bridge (at {notes.length(bridge.position)})"
        )
