"""The wood to take off the pocket floor, or the shim to put on it, in the view from the side.

Here: hatched wedges with their own stated exaggeration, and their numbers. Not here: how much it should be.
"""

from __future__ import annotations

from gaugelog.model.quantities import Quantity
from gaugelog.show.neck_drawing import NARROW_TEXT, area, block, factor_words, hatching, nice_factor
from gaugelog.show.neck_places import Layout, WoodOff
from gaugelog.show.numbers import amount_text
from gaugelog.show.palette import INK, PAPER
from gaugelog.show.side_frame import SideFrame

_DEEPEST = 34.0
_NOTHING_MM = 0.005
_SLOPES = (45.0, -45.0)
_SHIM_SLOPE = 0.0

Line = tuple[float, float]
"""Wood off at the body-edge end and at the tail end of one side, mm."""


def _sides(wood: WoodOff | None) -> dict[str, Line]:
    """Return what comes off each side by its name, one nameless line where both sides are alike, none for nothing."""
    if wood is None:
        return {}
    bass, treble = (wood.bass_body_edge, wood.bass_tail), (wood.treble_body_edge, wood.treble_tail)
    if all(abs(end) < _NOTHING_MM for end in (*bass, *treble)):
        return {}
    if all(abs(one - other) < _NOTHING_MM for one, other in zip(bass, treble, strict=True)):
        return {"": bass}
    return {"bass": bass, "treble": treble}


def _factor(frame: SideFrame, sides: dict[str, Line]) -> float:
    deepest = max(abs(end) for side in sides.values() for end in side)
    return nice_factor(_DEEPEST / (deepest * frame.scale))


def floor_wood(frame: SideFrame, places: Layout, wood: WoodOff | None) -> str:
    """Return the wood to take off hatched under the pocket floor, a shim over it, with the amount at both ends."""
    sides = _sides(wood)
    if frame.pocket is None or not sides:
        return ""
    deep = _factor(frame, sides) * frame.scale
    drawn = [_wedge(frame, ends, deep, slope) for ends, slope in zip(sides.values(), _SLOPES, strict=False)]
    return "".join(drawn) + _labels(frame, sides, places.instrument.units)


def _wedge(frame: SideFrame, ends: Line, deep: float, slope: float) -> str:
    """Return one side's wedge; where it goes from wood off to shim, as the two that it is."""
    assert frame.pocket is not None
    (left, y), (right, _) = frame.paper(
        ((frame.pocket.start, -frame.pocket.depth), (frame.pocket.end, -frame.pocket.depth))
    )
    edge, tail = ends
    parts: tuple[tuple[float, float, float, float], ...] = ((left, edge, right, tail),)
    if edge * tail < 0:
        between = left + (right - left) * edge / (edge - tail)
        parts = ((left, edge, between, 0.0), (between, 0.0, right, tail))
    drawn = []
    for start, first, end, last in parts:
        corners = [(start, y), (end, y), (end, y + last * deep), (start, y + first * deep)]
        shim = first + last < 0
        drawn.append(area(corners, PAPER, kind="shim" if shim else "wood-off", edge=INK, wide=1.0))
        drawn.append(hatching(corners, _SHIM_SLOPE if shim else slope, 4.0 if shim else 6.0))
    return "".join(drawn)


def _amount(end: float, units: str) -> str:
    amount = amount_text(abs(end) if abs(end) >= _NOTHING_MM else 0.0, Quantity.LENGTH, units)
    return f"shim {amount}" if end <= -_NOTHING_MM else f"{amount} off"


def _labels(frame: SideFrame, sides: dict[str, Line], units: str) -> str:
    """Return the amounts: those of the body-edge end left of the body, those of the tail end right of the pocket."""
    assert frame.pocket is not None
    drawn = []
    ends = (
        (0, "body edge", min(frame.edge_mm, frame.pocket.start), -10.0, "end"),
        (1, "tail end", frame.pocket.end, 12.0, "start"),
    )
    for number, where, x_mm, beside, anchor in ends:
        x, y = frame.at(x_mm, -frame.pocket.depth)
        lines = [f"{side} {_amount(each[number], units)}".strip() for side, each in sides.items()]
        drawn.append(block((x + beside, y + NARROW_TEXT), (*lines, where), anchor))
    return "".join(drawn)


def wood_note(frame: SideFrame, places: Layout, wood: WoodOff | None) -> list[str]:
    """Return by how much the wood's depth is exaggerated, none where none is drawn."""
    sides = _sides(wood)
    if frame.pocket is None or not sides:
        return []
    what = "Shim" if all(end < _NOTHING_MM for side in sides.values() for end in side) else "Wood to take off"
    return [f"{what} hatched, drawn {factor_words(_factor(frame, sides))} as thick as lengths."]


def wood_words(units: str, wood: WoodOff | None) -> list[str]:
    """Return the wood to take off as sentences."""
    return [
        f"Pocket floor{', ' + side + ' side' if side else ''}: {_amount(ends[0], units)} at the body edge,"
        f" {_amount(ends[1], units)} at the tail end."
        for side, ends in _sides(wood).items()
    ]
