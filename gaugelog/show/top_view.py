"""The neck set from above: fretboard, strings, bridge, and where the centreline goes.

Here: the drawing, widths and offsets exaggerated by factors that it states. Not here: any geometry (`neck_places`).
"""

from __future__ import annotations

from collections.abc import Sequence

from gaugelog.show.neck_drawing import (
    LINE,
    MARGIN,
    WIDTH,
    Picture,
    Point,
    apart,
    area,
    footnotes,
    legend,
    length_words,
    line,
    pen,
    wedge,
    word,
)
from gaugelog.show.neck_places import BASS, SIDES, TREBLE, Layout, Pose, WoodOff
from gaugelog.show.palette import INK, PAPER, SOFT_INK, WASH
from gaugelog.show.top_cheek import cheek_note, cheek_wood, cheek_words
from gaugelog.show.top_frame import POST_BEYOND_MM, SIGNS, WIDTH_FACTOR, TopFrame, top_frame


def top_picture(places: Layout, poses: Sequence[Pose], wood: WoodOff | None) -> Picture:
    """Return the view from above; arguments as for the view from the side.

    A later pose is drawn only where it is known how its centreline runs.
    """
    poses = [pose for number, pose in enumerate(poses) if number == 0 or pose.offset_mm is not None]
    frame = top_frame(places, poses)
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
        cheek_wood(frame, places, wood),
        _side_words(frame, places, poses),
        _axis_words(frame, places),
        legend([pose.label for pose in poses], MARGIN + 18) if len(poses) > 1 else "",
    ]
    notes, bottom = footnotes(_notes(frame, places, poses, wood), frame.middle + frame.half + 2.4 * LINE)
    return Picture("".join((*drawn, notes)), bottom - LINE / 2, _words(places, poses, wood))


def _body(frame: TopFrame) -> str:
    x, _ = frame.at(0, 0)
    top, bottom = frame.middle - frame.half, frame.middle + frame.half
    wash = area(((x, top), (WIDTH, top), (WIDTH, bottom), (x, bottom)), WASH)
    return wash + line(((x, top), (x, bottom)), 1.2, SOFT_INK, dashes="5 3", kind="joint-line")


def _pocket(frame: TopFrame, places: Layout) -> str:
    pocket = places.instrument.pocket
    if pocket.length is None or pocket.width is None:
        return ""
    start, half = pocket.start or 0.0, pocket.width / 2
    end = start + pocket.length
    walls = [frame.at(start, -half), frame.at(end, -half), frame.at(end, half), frame.at(start, half)]
    return line((*walls, walls[0]), 1.2, SOFT_INK, dashes="3 2", kind="pocket")


def _band(frame: TopFrame, places: Layout, pose: Pose, number: int) -> str:
    """Return the 95 % interval of the centreline as a soft wedge from the joint line to the saddle line."""
    if pose.offset_mm is None or not pose.offset_band_mm:
        return ""
    ends = [frame.at(places.saddle_line_mm, 0, pose.offset_mm + sign * pose.offset_band_mm) for sign in (-1, 1)]
    return wedge(frame.at(0, 0, pose.offset_at_joint_mm), ends[0], ends[1], pen(number))


def _across(frame: TopFrame, places: Layout, pose: Pose, along_mm: float) -> tuple[Point, Point]:
    """Return the fretboard's two edges at a place along it."""
    x, _ = places.on_plane(pose, along_mm)
    half, offset = places.half_board_at(along_mm), places.offset_at(pose, x)
    return frame.at(x, -half, offset), frame.at(x, half, offset)


def _corners(frame: TopFrame, places: Layout, pose: Pose) -> tuple[Point, ...]:
    (one, other), (third, fourth) = (_across(frame, places, pose, at) for at in (places.nut_mm, places.board_end_mm))
    return one, third, fourth, other


def _board(frame: TopFrame, places: Layout, pose: Pose) -> str:
    """Return the fretboard with its frets."""
    drawn = [area(_corners(frame, places, pose), PAPER, kind="fretboard", edge=INK, wide=1.5)]
    for number, at in enumerate(places.frets_mm):
        wide = 3.0 if number == 0 else 1.0
        drawn.append(line(_across(frame, places, pose, at), wide, INK if number == 0 else SOFT_INK, kind="fret"))
    return "".join(drawn)


def _outline(frame: TopFrame, places: Layout, pose: Pose, number: int) -> str:
    corners = _corners(frame, places, pose)
    return pen(number).line((*corners, corners[0]), 1.8, "fretboard-later")


def _centreline(frame: TopFrame, right_mm: float) -> str:
    """Return the body's centreline."""
    return line(
        (frame.at(frame.left_mm, 0), frame.at(right_mm, 0)), 0.9, SOFT_INK, dashes="14 4 3 4", kind="centreline"
    )


def _carried_on(frame: TopFrame, places: Layout, pose: Pose, number: int) -> str:
    """Return the fretboard's centreline from the nut to the saddle line; empty where its offset isn't known."""
    if pose.offset_mm is None:
        return ""
    nut, _ = places.on_plane(pose, places.nut_mm)
    ends = [frame.at(x, 0, places.offset_at(pose, x)) for x in (nut, places.saddle_line_mm)]
    return pen(number).line(ends, 1.8, "carried-on")


def _bridge(frame: TopFrame, places: Layout) -> str:
    half = places.half_spread_at_bridge()
    ends = [frame.at(places.saddle_mm[side], SIGNS[side] * (half + 4)) for side in (BASS, TREBLE)]
    posts = [frame.at(places.saddle_mm[side], SIGNS[side] * (half + POST_BEYOND_MM)) for side in (BASS, TREBLE)]
    drawn = [line(posts, 3, SOFT_INK), line(ends, 9, SOFT_INK, kind="bridge")]
    drawn += [f'<circle class="post" cx="{x:.2f}" cy="{y:.2f}" r="6" fill="{INK}"/>' for x, y in posts]
    return "".join(drawn)


def _strings(frame: TopFrame, places: Layout, pose: Pose, number: int) -> str:
    """Return the outer strings from nut to saddle, and on to the tail anchor where it is known."""
    nut, _ = places.on_plane(pose, places.nut_mm)
    tail = places.instrument.bridge.tail_anchor_x
    drawn = []
    for side in (BASS, TREBLE):
        at_nut, at_bridge = (
            SIGNS[side] * each for each in (places.half_spread_at_nut(), places.half_spread_at_bridge())
        )
        points = [frame.at(nut, at_nut, places.offset_at(pose, nut)), frame.at(places.saddle_mm[side], at_bridge)]
        if tail is not None:
            points.append(frame.at(tail, at_bridge))
        drawn.append(pen(number).line(points, 1.1, f"string {SIDES[side]}"))
    return "".join(drawn)


def _offset_words(pose: Pose, units: str) -> str:
    """Return where the centreline passes: "0.6 mm to treble"."""
    offset = pose.offset_mm or 0.0
    amount = length_words(abs(offset), units)
    if not any(digit in amount for digit in "123456789"):
        return f"{amount} off"
    return f"{amount} to {SIDES[offset > 0]}"


def _side_words(frame: TopFrame, places: Layout, poses: Sequence[Pose]) -> str:
    """Return the words at the right: bass and treble at their strings, the centreline's offsets between them."""
    column = frame.at(places.right_mm, 0)[0] + 12
    half = places.half_spread_at_bridge()
    ends = [frame.at(0, SIGNS[side] * half)[1] + 8 for side in (BASS, TREBLE)]
    drawn = [word((column, y), name) for y, name in zip(ends, SIDES, strict=True)]
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


def _axis_words(frame: TopFrame, places: Layout) -> str:
    y = frame.middle + frame.half + 26
    at = ((places.nut_mm, "nut", "start"), (0.0, "joint line", "middle"), (places.saddle_line_mm, "bridge", "middle"))
    return "".join(word((frame.at(x, 0)[0], y), words, anchor, soft=True) for x, words, anchor in at)


def _notes(frame: TopFrame, places: Layout, poses: Sequence[Pose], wood: WoodOff | None) -> list[str]:
    notes = [f"Widths drawn {WIDTH_FACTOR:g} times as large as lengths."]
    if any(pose.offset_mm is not None for pose in poses) and frame.offset_factor > 1:
        notes.append(f"Offsets of the centreline drawn {frame.offset_factor:g} times as large as widths.")
    if any(pose.offset_mm is not None and pose.offset_band_mm for pose in poses):
        notes.append("Shaded: the centreline's 95 % interval.")
    return [*notes, *cheek_note(frame, places, wood)]


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
    return " ".join((*said, *cheek_words(places, wood)))
