"""The wood to take off the pocket floor, or the shim to put on it, in the view from the side.

Here: hatched wedges with their own stated exaggeration, and their numbers. Not here: how much it should be.
"""

from __future__ import annotations

from gaugelog.show.neck_drawing import (
    LINE,
    NARROW_TEXT,
    Point,
    area,
    block,
    hatching,
    nice_factor,
    wood_amount,
    words_wide,
)
from gaugelog.show.neck_places import Layout, WoodOff
from gaugelog.show.palette import INK, PAPER
from gaugelog.show.side_frame import PocketCut, SideFrame

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
    drawn = [
        _wedge(frame, frame.pocket, ends, _factor(frame, sides), number) for number, ends in enumerate(sides.values())
    ]
    return "".join(drawn) + _labels(frame, frame.pocket, sides, places.instrument.units)


def _wedge(frame: SideFrame, pocket: PocketCut, ends: Line, factor: float, number: int) -> str:
    """Return one side's wedge; where it goes from wood off to shim, as the two that it is.

    The second side's is hatched the other way and lets the first show through.
    """
    left, y = frame.at(pocket.start, -pocket.depth)
    right, _ = frame.at(pocket.end, -pocket.depth)
    deep = factor * frame.scale
    edge, tail = ends
    parts: tuple[tuple[float, float, float, float], ...] = ((left, edge, right, tail),)
    if edge * tail < 0:
        between = left + (right - left) * edge / (edge - tail)
        parts = ((left, edge, between, 0.0), (between, 0.0, right, tail))
    drawn = []
    for start, first, end, last in parts:
        corners = [(start, y), (end, y), (end, y + last * deep), (start, y + first * deep)]
        shim = first + last < 0
        kind, fill = "shim" if shim else "wood-off", "none" if number else PAPER
        drawn.append(area(corners, fill, kind=kind, edge=INK, wide=1.0))
        drawn.append(hatching(corners, _SHIM_SLOPE if shim else _SLOPES[number], 4.0 if shim else 6.0))
    return "".join(drawn)


def _amount(end: float, units: str) -> str:
    amount = wood_amount(abs(end) if abs(end) >= _NOTHING_MM else 0.0, units)
    return f"shim {amount}" if end <= -_NOTHING_MM else f"{amount} off"


def _labels(frame: SideFrame, pocket: PocketCut, sides: dict[str, Line], units: str) -> str:
    """Return the amounts: those of the body-edge end left of the body, those of the tail end right of the pocket."""
    edge, tail = (
        [*(f"{side} {_amount(ends[number], units)}".strip() for side, ends in sides.items()), where]
        for number, where in enumerate(("body edge", "tail end"))
    )
    right, floor = frame.at(pocket.end, -pocket.depth)
    return block(_under_neck(frame, floor, edge), edge, "end") + block((right + 12, floor + NARROW_TEXT), tail)


def _under_neck(frame: SideFrame, floor: float, lines: list[str]) -> Point:
    """Return where lines may end left of the body: at the pocket floor, or lower where the neck is in the way."""
    x = frame.at(frame.edge_mm, 0)[0] - 10
    start = x - max(words_wide(each) for each in lines)
    (nut_x, nut_y), (joint_x, joint_y) = frame.paper(frame.neck_back)
    back = max(nut_y + (joint_y - nut_y) * (place - nut_x) / (joint_x - nut_x) for place in (start, x))
    lowest = frame.bottom - (len(lines) - 1) * LINE - 6
    return x, max(min(max(floor, back) + NARROW_TEXT, lowest), floor + NARROW_TEXT)


def wood_note(frame: SideFrame, wood: WoodOff | None) -> list[str]:
    """Return by how much the wood's depth is exaggerated, none where none is drawn."""
    sides = _sides(wood)
    if frame.pocket is None or not sides:
        return []
    ends = [end for side in sides.values() for end in side]
    named = ("wood to take off", max(ends) >= _NOTHING_MM), ("shim", min(ends) <= -_NOTHING_MM)
    what = " and ".join(name for name, there in named if there)
    return [f"Hatched: {what}, drawn {_factor(frame, sides):g} times as thick."]


def wood_words(frame: SideFrame, units: str, wood: WoodOff | None) -> list[str]:
    """Return the wood to take off as sentences, none where none is drawn."""
    if frame.pocket is None:
        return []
    return [
        f"Pocket floor{', ' + side + ' side' if side else ''}: {_amount(ends[0], units)} at the body edge,"
        f" {_amount(ends[1], units)} at the tail end."
        for side, ends in _sides(wood).items()
    ]
