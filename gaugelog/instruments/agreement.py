"""What must agree between the keys of an instrument file.

Here: contradictions that make the geometry impossible, each noted at the key to mend. Not here: whether a possible
geometry plays well (`analysis`).
"""

from __future__ import annotations

import math

from gaugelog.errors import Fault
from gaugelog.model.instrument import Bridge, Instrument, Neck, Pocket
from gaugelog.model.section import Section


def note_contradictions(instrument: Instrument, top: Section) -> None:
    """Note in `top` every pair of keys of a read instrument file that can't both be true."""
    _note_frets(instrument.neck, top)
    _note_radius(instrument, top)
    _note_travel(instrument.bridge, top)
    _note_pocket(instrument, top)
    _note_tail(instrument.bridge, top)


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


def _note(top: Section, key: str, length_mm: float, wanted: str) -> None:
    """Note a fault at a length; it is shown in mm, whatever the file's unit."""
    top.faults.append(Fault(key, f"{length_mm:g} mm", wanted))


def _note_frets(neck: Neck, top: Section) -> None:
    if neck.joint_fret is not None and neck.frets is not None and neck.joint_fret > neck.frets:
        top.fault("neck.joint_fret", neck.joint_fret, f"a fret that the neck has: frets = {neck.frets}")


def _note_radius(instrument: Instrument, top: Section) -> None:
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
            _note(top, "neck.fretboard_radius", radius_mm, f"a radius of at least half of {key} ({width_mm:g} mm)")


def _note_travel(bridge: Bridge, top: Section) -> None:
    low, high = bridge.bearing_low, bridge.bearing_high
    if low is None or high is None:
        return
    if low >= high:
        _note(top, "bridge.bearing_low", low, f"a height below bearing_high ({high:g} mm)")
    elif bridge.travel_reserve is not None and 2 * bridge.travel_reserve >= high - low:
        _note(
            top,
            "bridge.travel_reserve",
            bridge.travel_reserve,
            f"less than half the travel ({high - low:g} mm): it is kept free at both ends",
        )


def _note_pocket(instrument: Instrument, top: Section) -> None:
    pocket = instrument.pocket
    bridge_mm = instrument.bridge.position
    if bridge_mm is None:
        bridge_mm = bearing_distance_mm(instrument.neck)
    if pocket.length is not None and bridge_mm is not None and (pocket.start or 0.0) + pocket.length >= bridge_mm:
        _note(top, "pocket.length", pocket.length, f"a pocket that ends short of the bridge (at {bridge_mm:g} mm)")
    _note_floor(pocket, top)


def _note_floor(pocket: Pocket, top: Section) -> None:
    if pocket.depth is None or pocket.body_thickness is None:
        return
    floor_mm = pocket.body_thickness - pocket.depth
    if floor_mm <= 0:
        _note(top, "pocket.depth", pocket.depth, f"less than body_thickness ({pocket.body_thickness:g} mm)")
    elif pocket.least_floor is not None and pocket.least_floor > floor_mm:
        _note(top, "pocket.least_floor", pocket.least_floor, f"at most the floor there is now ({floor_mm:g} mm)")


def _note_tail(bridge: Bridge, top: Section) -> None:
    if bridge.tail_anchor_x is not None and bridge.position is not None and bridge.tail_anchor_x <= bridge.position:
        _note(top, "bridge.tail_anchor_x", bridge.tail_anchor_x, f"behind the bridge (at {bridge.position:g} mm)")
