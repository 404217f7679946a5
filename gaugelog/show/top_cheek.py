"""The wood to take off a cheek of the pocket, in the view from above.

Here: a hatched wedge with its own stated exaggeration, and its numbers. Not here: how much it should be.
"""

from __future__ import annotations

from gaugelog.show.neck_drawing import NARROW_TEXT, area, hatching, nice_factor, wood_amount, word
from gaugelog.show.neck_places import SIDES, Layout, WoodOff
from gaugelog.show.palette import INK, PAPER
from gaugelog.show.top_frame import SIGNS, TopFrame

_DEEPEST = 22.0
_NOTHING_MM = 0.005


def cheek_ends(places: Layout, wood: WoodOff | None) -> tuple[float, float] | None:
    """Return the wood to take off a cheek at its body-edge and tail ends, None where there is nothing to draw."""
    pocket = places.instrument.pocket
    if wood is None or not wood.cheek or pocket.length is None or pocket.width is None:
        return None
    ends = (wood.cheek_body_edge, wood.cheek_tail)
    return ends if max(ends) >= _NOTHING_MM else None


def _factor(frame: TopFrame, ends: tuple[float, float]) -> float:
    return nice_factor(_DEEPEST / (max(ends) * frame.scale))


def cheek_wood(frame: TopFrame, places: Layout, wood: WoodOff | None) -> str:
    """Return the wood to take off a cheek of the pocket, hatched, with the amount at both ends."""
    ends = cheek_ends(places, wood)
    if ends is None or wood is None:
        return ""
    pocket = places.instrument.pocket
    start, sign = pocket.start or 0.0, SIGNS[SIDES.index(wood.cheek)]
    wall = sign * (pocket.width or 0.0) / 2
    deep = sign * frame.down * _factor(frame, ends) * frame.scale
    (left, y), (right, _) = frame.at(start, wall), frame.at(start + (pocket.length or 0.0), wall)
    corners = [(left, y), (right, y), (right, y + ends[1] * deep), (left, y + ends[0] * deep)]
    drawn = [area(corners, PAPER, kind="wood-off", edge=INK, wide=1.0), hatching(corners, 45)]
    units = places.instrument.units
    below = y + (NARROW_TEXT - 2 if sign * frame.down > 0 else -8)
    for x, end, anchor in ((left - 10, ends[0], "end"), (right + 10, ends[1], "start")):
        drawn.append(word((x, below), f"{wood_amount(end, units)} off", anchor))
    return "".join(drawn)


def cheek_note(frame: TopFrame, places: Layout, wood: WoodOff | None) -> list[str]:
    """Return by how much the wood's thickness is exaggerated, none where none is drawn."""
    ends = cheek_ends(places, wood)
    if ends is None or wood is None:
        return []
    return [f"Hatched: wood off the {wood.cheek} cheek, drawn {_factor(frame, ends):g} times as thick."]


def cheek_words(places: Layout, wood: WoodOff | None) -> list[str]:
    """Return the wood to take off a cheek as a sentence."""
    ends = cheek_ends(places, wood)
    if ends is None or wood is None:
        return []
    edge, tail = (wood_amount(end, places.instrument.units) for end in ends)
    return [f"Off the {wood.cheek} cheek: {edge} at the body edge, {tail} at the tail end."]
