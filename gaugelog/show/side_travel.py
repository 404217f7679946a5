"""The bridge's travel in the view from the side, and the heights in it at which the strings must bear.

Here: the upright scale at the saddle line, its reserve hatched, the marks and their numbers. Not here: the rest of the
view.
"""

from __future__ import annotations

from collections.abc import Sequence

from gaugelog.model.instrument import Instrument
from gaugelog.model.quantities import Quantity
from gaugelog.show.neck_drawing import (
    MARGIN,
    NARROW_TEXT,
    WIDTH,
    apart,
    area,
    block,
    hatching,
    length_words,
    line,
    pen,
    word,
)
from gaugelog.show.neck_places import SIDES, Layout, Pose
from gaugelog.show.numbers import amount_text
from gaugelog.show.palette import INK, PAPER, SOFT_INK
from gaugelog.show.side_frame import SideFrame

_HALF_BAR = 10.0
_TO_LABELS = 12.0


def travel(frame: SideFrame, places: Layout) -> str:
    """Return the bridge's travel as an upright bar on its post, the reserve hatched; empty where it isn't known."""
    bridge = places.instrument.bridge
    if bridge.bearing_low is None or bridge.bearing_high is None:
        return ""
    x, high = frame.at(places.saddle_line_mm, bridge.bearing_high)
    _, low = frame.at(places.saddle_line_mm, bridge.bearing_low)
    _, foot = frame.at(places.saddle_line_mm, 0)
    drawn = [line(((x, low), (x, foot)), 5, SOFT_INK), _bar(x, high, low, "travel", PAPER)]
    if bridge.travel_reserve:
        reserve = bridge.travel_reserve * frame.scale * frame.factor
        for top in (high, low - reserve):
            drawn.append(hatching(_corners(x, top, top + reserve), 45, 5.0, SOFT_INK))
            drawn.append(_bar(x, top, top + reserve, "reserve", "none"))
    return "".join(drawn)


def _corners(x: float, top: float, bottom: float) -> tuple[tuple[float, float], ...]:
    return (x - _HALF_BAR, top), (x + _HALF_BAR, top), (x + _HALF_BAR, bottom), (x - _HALF_BAR, bottom)


def _bar(x: float, top: float, bottom: float, kind: str, fill: str) -> str:
    return area(_corners(x, top, bottom), fill, kind=kind, edge=INK)


def bearings(frame: SideFrame, places: Layout, poses: Sequence[Pose]) -> str:
    """Return a mark at each height at which a string must bear, led to its number at the right."""
    marks = [
        (frame.at(places.saddle_mm[side], height), side, height, number)
        for number, pose in enumerate(poses)
        if pose.bearing_mm is not None
        for side, height in enumerate(pose.bearing_mm)
    ]
    marks.sort(key=lambda mark: (mark[0][1], mark[3]))
    column = frame.at(places.right_mm, 0)[0] + _TO_LABELS
    ys = apart([mark[0][1] + 8 for mark in marks], frame.top + NARROW_TEXT, frame.at(0, 0)[1] - 8)
    drawn = []
    for y, ((x, level), side, height, number) in zip(ys, marks, strict=True):
        ink = pen(number)
        drawn.append(ink.line(((x - _HALF_BAR - 7, level), (x + _HALF_BAR + 7, level)), 3, f"bearing {SIDES[side]}"))
        leader = ((x + _HALF_BAR + 7, level), (column - 14, y - 6), (column - 4, y - 6))
        drawn.append(line(leader, 0.9, ink.colour, dashes=ink.dashes))
        drawn.append(word((column, y), f"{SIDES[side]} {length_words(height, places.instrument.units)}"))
    return "".join(drawn)


def travel_title(places: Layout, top: float) -> str:
    """Return the bridge's travel and reserve in words, over the bridge."""
    instrument = places.instrument
    bridge = instrument.bridge
    if bridge.bearing_low is None or bridge.bearing_high is None:
        return ""
    low, high = (length_words(height, instrument.units) for height in (bridge.bearing_low, bridge.bearing_high))
    lines = [f"bridge travel {low.split(chr(160))[0]} to {high}"]
    if bridge.travel_reserve:
        reserve = amount_text(bridge.travel_reserve, Quantity.LENGTH, instrument.units)
        lines.append(f"hatched: reserve {reserve}")
    return block((WIDTH - MARGIN, top), lines, "end")


def travel_words(instrument: Instrument) -> list[str]:
    """Return the bridge's travel as a sentence, none where it isn't known."""
    bridge = instrument.bridge
    if bridge.bearing_low is None or bridge.bearing_high is None:
        return []
    low, high = (length_words(height, instrument.units) for height in (bridge.bearing_low, bridge.bearing_high))
    kept = ""
    if bridge.travel_reserve:
        reserve = amount_text(bridge.travel_reserve, Quantity.LENGTH, instrument.units)
        kept = f", of which {reserve} at either end is reserve"
    return [f"The bridge's travel takes the bearing from {low} to {high}{kept}."]
