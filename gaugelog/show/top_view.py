"""The neck set from above: fretboard, strings, bridge, and where the centreline goes.

Here: the drawing, widths and offsets exaggerated by factors that it states. Not here: any geometry (`neck_places`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gaugelog.show.neck_drawing import (
    COLUMN,
    LINE,
    MARGIN,
    NARROW_TEXT,
    WIDTH,
    Picture,
    Point,
    apart,
    area,
    footnotes,
    hatching,
    legend,
    length_words,
    line,
    nice_factor,
    pen,
    wedge,
    wood_amount,
    word,
)
from gaugelog.show.neck_places import BASS, TREBLE, Layout, Pose, WoodOff, leftmost_mm
from gaugelog.show.palette import INK, PAPER, SOFT_INK, WASH

_WIDTH_FACTOR = 2.5
_OFFSET_ROOM = 34.0
_MOST_OFFSET_FACTOR = 25.0
_CHEEK_DEEPEST = 22.0
_NOTHING_MM = 0.005
_SIDES = ("bass", "treble")
_SIGNS = (-1.0, 1.0)
_POST_BEYOND_MM = 11.0


@dataclass(frozen=True, slots=True)
class _Frame:
    """What turns (x, y) in mm into a place on paper; `down` is +1 where treble is drawn down, -1 where up."""

    left_mm: float
    scale: float
    middle: float
    half: float
    offset_factor: float
    down: float

    def at(self, x_mm: float, y_mm: float, offset_mm: float = 0.0) -> Point:
        """Return a place: `y_mm` is a width from the centreline, `offset_mm` an offset of that centreline."""
        across = y_mm + offset_mm * self.offset_factor
        return MARGIN + (x_mm - self.left_mm) * self.scale, self.middle + self.down * across * self.width_scale

    @property
    def width_scale(self) -> float:
        """Units a millimetre of width."""
        return self.scale * _WIDTH_FACTOR


def top_picture(places: Layout, poses: Sequence[Pose], wood: WoodOff | None) -> Picture:
    """Return the view from above; arguments as for the view from the side.

    A later pose is drawn only where it is known how its centreline runs.
    """
    poses = [pose for number, pose in enumerate(poses) if number == 0 or pose.offset_mm is not None]
    frame = _frame(places, poses)
    drawn = [
        _body(frame),
        *(_band(frame, places, pose, number) for number, pose in enumerate(poses)),
        _board(frame, places, poses[0]),
        *(_outline(frame, places, pose, number) for number, pose in enumerate(poses) if number),
        _pocket(frame, places),
        _centreline(frame, places.right_mm),
        *(_carried_on(frame, places, pose, number) for number, pose in enumerate(poses)),
        _bridge(frame, places),
        *(_strings(frame, places, pose, number) for number, pose in enumerate(poses)),
        _cheek(frame, places, wood),
        _side_words(frame, places, poses),
        _axis_words(frame, places),
        legend([pose.label for pose in poses], MARGIN + 18) if len(poses) > 1 else "",
    ]
    notes, bottom = footnotes(_notes(frame, places, poses, wood), frame.middle + frame.half + 2.4 * LINE)
    return Picture("".join((*drawn, notes)), bottom - LINE / 2, _words(places, poses, wood))


def _frame(places: Layout, poses: Sequence[Pose]) -> _Frame:
    left = leftmost_mm(places, poses)
    scale = (WIDTH - MARGIN - COLUMN) / (places.right_mm - left)
    widths = [places.half_spread_at_bridge() + _POST_BEYOND_MM + 3, places.half_board_at(places.board_end_mm)]
    widths.append((places.instrument.pocket.width or 0.0) / 2)
    offsets = [abs(each) for pose in poses for each in _offsets(places, pose, left)]
    furthest = max(offsets, default=0.0)
    factor = (
        min(nice_factor(_OFFSET_ROOM / (furthest * scale * _WIDTH_FACTOR)), _MOST_OFFSET_FACTOR)
        if furthest > 0
        else 1.0
    )
    half = max(widths) * scale * _WIDTH_FACTOR + min(furthest * factor * scale * _WIDTH_FACTOR, 2 * _OFFSET_ROOM) + 6
    top = MARGIN + (len(poses) * LINE if len(poses) > 1 else 0.0)
    down = -1.0 if places.instrument.handedness == "left" else 1.0
    return _Frame(left, scale, top + half, half, factor, down)


def _offsets(places: Layout, pose: Pose, left_mm: float) -> Iterable[float]:
    """Return the centreline's offsets that must fit: at the nut, at the saddle line with its interval."""
    at_saddle = places.offset_at(pose, places.saddle_line_mm)
    band = pose.offset_band_mm or 0.0
    return places.offset_at(pose, left_mm), at_saddle - band, at_saddle + band


def _body(frame: _Frame) -> str:
    x, _ = frame.at(0, 0)
    top, bottom = frame.middle - frame.half, frame.middle + frame.half
    wash = area(((x, top), (WIDTH, top), (WIDTH, bottom), (x, bottom)), WASH)
    return wash + line(((x, top), (x, bottom)), 1.2, SOFT_INK, dashes="5 3", kind="joint-line")


def _pocket(frame: _Frame, places: Layout) -> str:
    pocket = places.instrument.pocket
    if pocket.length is None or pocket.width is None:
        return ""
    start, half = pocket.start or 0.0, pocket.width / 2
    end = start + pocket.length
    walls = [frame.at(start, -half), frame.at(end, -half), frame.at(end, half), frame.at(start, half)]
    return line((*walls, walls[0]), 1.2, SOFT_INK, dashes="3 2", kind="pocket")


def _band(frame: _Frame, places: Layout, pose: Pose, number: int) -> str:
    """Return the 95 % interval of the centreline as a soft wedge from the joint line to the saddle line."""
    if pose.offset_mm is None or not pose.offset_band_mm:
        return ""
    ends = [frame.at(places.saddle_line_mm, 0, pose.offset_mm + sign * pose.offset_band_mm) for sign in (-1, 1)]
    return wedge(frame.at(0, 0, pose.offset_at_joint_mm), ends[0], ends[1], pen(number))


def _across(frame: _Frame, places: Layout, pose: Pose, along_mm: float) -> tuple[Point, Point]:
    """Return the fretboard's two edges at a place along it."""
    x, _ = places.on_plane(pose, along_mm)
    half, offset = places.half_board_at(along_mm), places.offset_at(pose, x)
    return frame.at(x, -half, offset), frame.at(x, half, offset)


def _corners(frame: _Frame, places: Layout, pose: Pose) -> tuple[Point, ...]:
    (one, other), (third, fourth) = (_across(frame, places, pose, at) for at in (places.nut_mm, places.board_end_mm))
    return one, third, fourth, other


def _board(frame: _Frame, places: Layout, pose: Pose) -> str:
    """Return the fretboard with its frets."""
    drawn = [area(_corners(frame, places, pose), PAPER, kind="fretboard", edge=INK, wide=1.5)]
    for number, at in enumerate(places.frets_mm):
        wide = 3.0 if number == 0 else 1.0
        drawn.append(line(_across(frame, places, pose, at), wide, INK if number == 0 else SOFT_INK, kind="fret"))
    return "".join(drawn)


def _outline(frame: _Frame, places: Layout, pose: Pose, number: int) -> str:
    corners = _corners(frame, places, pose)
    return pen(number).line((*corners, corners[0]), 1.8, "fretboard-later")


def _centreline(frame: _Frame, right_mm: float) -> str:
    """Return the body's centreline."""
    return line(
        (frame.at(frame.left_mm, 0), frame.at(right_mm, 0)), 0.9, SOFT_INK, dashes="14 4 3 4", kind="centreline"
    )


def _carried_on(frame: _Frame, places: Layout, pose: Pose, number: int) -> str:
    """Return the fretboard's centreline from the nut to the saddle line; empty where its offset isn't known."""
    if pose.offset_mm is None:
        return ""
    nut, _ = places.on_plane(pose, places.nut_mm)
    ends = [frame.at(x, 0, places.offset_at(pose, x)) for x in (nut, places.saddle_line_mm)]
    return pen(number).line(ends, 1.8, "carried-on")


def _bridge(frame: _Frame, places: Layout) -> str:
    half = places.half_spread_at_bridge()
    ends = [frame.at(places.saddle_mm[side], _SIGNS[side] * (half + 4)) for side in (BASS, TREBLE)]
    posts = [frame.at(places.saddle_mm[side], _SIGNS[side] * (half + _POST_BEYOND_MM)) for side in (BASS, TREBLE)]
    drawn = [line(posts, 3, SOFT_INK), line(ends, 9, SOFT_INK, kind="bridge")]
    drawn += [f'<circle class="post" cx="{x:.2f}" cy="{y:.2f}" r="6" fill="{INK}"/>' for x, y in posts]
    return "".join(drawn)


def _strings(frame: _Frame, places: Layout, pose: Pose, number: int) -> str:
    """Return the outer strings from nut to saddle, and on to the tail anchor where it is known."""
    nut, _ = places.on_plane(pose, places.nut_mm)
    tail = places.instrument.bridge.tail_anchor_x
    drawn = []
    for side in (BASS, TREBLE):
        at_nut, at_bridge = (
            _SIGNS[side] * each for each in (places.half_spread_at_nut(), places.half_spread_at_bridge())
        )
        points = [frame.at(nut, at_nut, places.offset_at(pose, nut)), frame.at(places.saddle_mm[side], at_bridge)]
        if tail is not None:
            points.append(frame.at(tail, at_bridge))
        drawn.append(pen(number).line(points, 1.1, f"string {_SIDES[side]}"))
    return "".join(drawn)


def _cheek_ends(places: Layout, wood: WoodOff | None) -> tuple[float, float] | None:
    """Return the wood to take off a cheek at its body-edge and tail ends, None where there is nothing to draw."""
    pocket = places.instrument.pocket
    if wood is None or not wood.cheek or pocket.length is None or pocket.width is None:
        return None
    ends = (wood.cheek_body_edge, wood.cheek_tail)
    return ends if max(ends) >= _NOTHING_MM else None


def _cheek_factor(frame: _Frame, ends: tuple[float, float]) -> float:
    return nice_factor(_CHEEK_DEEPEST / (max(ends) * frame.scale))


def _cheek(frame: _Frame, places: Layout, wood: WoodOff | None) -> str:
    """Return the wood to take off a cheek of the pocket, hatched, with the amount at both ends."""
    ends = _cheek_ends(places, wood)
    if ends is None or wood is None:
        return ""
    pocket = places.instrument.pocket
    start, sign = pocket.start or 0.0, _SIGNS[_SIDES.index(wood.cheek)]
    wall = sign * (pocket.width or 0.0) / 2
    deep = sign * frame.down * _cheek_factor(frame, ends) * frame.scale
    (left, y), (right, _) = frame.at(start, wall), frame.at(start + (pocket.length or 0.0), wall)
    corners = [(left, y), (right, y), (right, y + ends[1] * deep), (left, y + ends[0] * deep)]
    drawn = [area(corners, PAPER, kind="wood-off", edge=INK, wide=1.0), hatching(corners, 45)]
    units = places.instrument.units
    below = y + (NARROW_TEXT - 2 if sign * frame.down > 0 else -8)
    for x, end, anchor in ((left - 10, ends[0], "end"), (right + 10, ends[1], "start")):
        drawn.append(word((x, below), f"{wood_amount(end, units)} off", anchor))
    return "".join(drawn)


def _offset_words(pose: Pose, units: str) -> str:
    """Return where the centreline passes: "0.6 mm to treble"."""
    offset = pose.offset_mm or 0.0
    amount = length_words(abs(offset), units)
    if not any(digit in amount for digit in "123456789"):
        return f"{amount} off"
    return f"{amount} to {_SIDES[offset > 0]}"


def _side_words(frame: _Frame, places: Layout, poses: Sequence[Pose]) -> str:
    """Return the words at the right: bass and treble at their strings, the centreline's offsets between them."""
    column = frame.at(places.right_mm, 0)[0] + 12
    half = places.half_spread_at_bridge()
    ends = [frame.at(0, _SIGNS[side] * half)[1] + 8 for side in (BASS, TREBLE)]
    drawn = [word((column, y), name) for y, name in zip(ends, _SIDES, strict=True)]
    known = [(number, pose) for number, pose in enumerate(poses) if pose.offset_mm is not None]
    known.sort(key=lambda each: frame.at(0, 0, each[1].offset_mm or 0.0)[1])
    levels = [frame.at(places.saddle_line_mm, 0, pose.offset_mm or 0.0) for _, pose in known]
    ys = apart([y + 8 for _, y in levels], min(ends) + LINE, max(ends) - LINE)
    for (number, pose), (x, level), y in zip(known, levels, ys, strict=True):
        ink = pen(number)
        drawn.append(
            line(((x + 8, level), (column - 14, y - 6), (column - 4, y - 6)), 0.9, ink.colour, dashes=ink.dashes)
        )
        drawn.append(word((column, y), f"offset {length_words(abs(pose.offset_mm or 0.0), places.instrument.units)}"))
    return "".join(drawn)


def _axis_words(frame: _Frame, places: Layout) -> str:
    y = frame.middle + frame.half + 26
    at = ((places.nut_mm, "nut", "start"), (0.0, "joint line", "middle"), (places.saddle_line_mm, "bridge", "middle"))
    return "".join(word((frame.at(x, 0)[0], y), words, anchor, soft=True) for x, words, anchor in at)


def _notes(frame: _Frame, places: Layout, poses: Sequence[Pose], wood: WoodOff | None) -> list[str]:
    notes = [f"Widths drawn {_WIDTH_FACTOR:g} times as large as lengths."]
    if any(pose.offset_mm is not None for pose in poses) and frame.offset_factor > 1:
        notes.append(f"Offsets of the centreline drawn {frame.offset_factor:g} times as large as widths.")
    if any(pose.offset_mm is not None and pose.offset_band_mm for pose in poses):
        notes.append("Shaded: the centreline's 95 % interval.")
    ends = _cheek_ends(places, wood)
    if ends is not None and wood is not None:
        factor = _cheek_factor(frame, ends)
        notes.append(f"Hatched: wood off the {wood.cheek} cheek, drawn {factor:g} times as thick.")
    return notes


def _words(places: Layout, poses: Sequence[Pose], wood: WoodOff | None) -> str:
    """Return in words, with numbers, what the picture shows."""
    instrument = places.instrument
    way = "up" if instrument.handedness == "left" else "down"
    said = [f"{instrument.name} from above, nut at the left, bridge at the right, treble {way}."]
    for pose in poses:
        if pose.offset_mm is None:
            continue
        text = f"{pose.label}: the fretboard's centreline, carried on, passes the bridge"
        text += f" {_offset_words(pose, instrument.units)}"
        if pose.offset_band_mm:
            text += f", give or take {length_words(pose.offset_band_mm, instrument.units)} (95 %)"
        said.append(f"{text}.")
    ends = _cheek_ends(places, wood)
    if ends is not None and wood is not None:
        edge, tail = (wood_amount(end, instrument.units) for end in ends)
        said.append(f"Off the {wood.cheek} cheek: {edge} at the body edge, {tail} at the tail end.")
    return " ".join(said)
