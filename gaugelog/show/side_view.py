"""The neck set from the side: body, neck, strings, the bridge's travel, and where in it the strings must bear.

Here: the drawing, heights exaggerated by one factor that it states. Not here: the wood to take off (`side_wood`), the
bridge's travel (`side_travel`), any geometry (`neck_places`).
"""

from __future__ import annotations

from collections.abc import Sequence

from gaugelog.model.quantities import Quantity
from gaugelog.show.neck_drawing import (
    BOARD_FILL,
    LINE,
    MARGIN,
    NARROW_TEXT,
    NECK_FILL,
    TEXT,
    WIDTH,
    Picture,
    area,
    footnotes,
    legend,
    length_words,
    line,
    pen,
    wedge,
    word,
    words_wide,
)
from gaugelog.show.neck_places import BASS, TREBLE, Layout, Pose, WoodOff
from gaugelog.show.numbers import display_unit
from gaugelog.show.palette import INK, RULE, SOFT_INK, WASH
from gaugelog.show.side_frame import SideFrame, side_frame
from gaugelog.show.side_travel import bearings, travel, travel_title, travel_words
from gaugelog.show.side_wood import floor_wood, wood_note, wood_words

_FRET_HEIGHT_MM = 1.2
_ANGLE_DECIMALS = 2


def side_picture(places: Layout, poses: Sequence[Pose], wood: WoodOff | None) -> Picture:
    """Return the view from the side.

    Args:
        places: the instrument's.
        poses: one at least; the first is drawn firm.
        wood: to take off the pocket floor, None for none.
    """
    frame = side_frame(places, poses, top=_header_height(poses))
    drawn = [
        _body(frame, places),
        _joint_line(frame),
        *(_band(frame, places, pose, number) for number, pose in enumerate(poses)),
        _neck(frame, places, poses[0]),
        floor_wood(frame, places, wood),
        *(_plane(frame, places, pose, number) for number, pose in enumerate(poses)),
        *(_strings(frame, places, pose, number) for number, pose in enumerate(poses)),
        travel(frame, places),
        bearings(frame, places, poses),
        _plane_word(frame, places, poses),
        _axis_words(frame, places),
        legend([_legend_words(pose) for pose in poses], MARGIN + 18),
        travel_title(places, MARGIN + 18),
    ]
    notes, bottom = footnotes(_notes(frame, poses, wood), frame.bottom + 2.4 * LINE)
    return Picture("".join((*drawn, notes)), bottom - LINE / 2, _words(frame, places, poses, wood))


def _header_height(poses: Sequence[Pose]) -> float:
    return MARGIN + max(len(poses), 2) * LINE + 8


def _notes(frame: SideFrame, poses: Sequence[Pose], wood: WoodOff | None) -> list[str]:
    notes = [f"Heights drawn {frame.factor:g} times as large as lengths,", "angles look as much steeper."]
    if frame.factor == 1:
        notes = ["Heights drawn to the same scale as lengths."]
    if any(pose.band_mm for pose in poses):
        notes.append("Shaded: the fret plane's 95 % interval.")
    return [*notes, *wood_note(frame, wood)]


def _angle_words(pose: Pose) -> str:
    return display_unit(Quantity.ANGLE).write(pose.angle_deg, _ANGLE_DECIMALS)


def _legend_words(pose: Pose) -> str:
    return f"{pose.label} {_angle_words(pose)}"


def _body(frame: SideFrame, places: Layout) -> str:
    """Return the body with its pocket, cut along the middle; its back only where the thickness is known."""
    outline = frame.paper(frame.body_outline)
    drawn = [area((*outline, frame.at(frame.right_mm, frame.back_mm), frame.at(frame.edge_mm, frame.back_mm)), WASH)]
    drawn.append(line(outline, 1.6, kind="body-top"))
    edge = [frame.at(frame.edge_mm, 0), frame.at(frame.edge_mm, frame.back_mm)]
    if places.instrument.pocket.body_thickness is not None:
        edge.append(frame.at(frame.right_mm, frame.back_mm))
    if frame.pocket is None or frame.pocket.start > frame.edge_mm:
        drawn.append(line(edge, 1.6))
    else:
        drawn.append(line([frame.at(frame.edge_mm, -frame.pocket.depth), *edge[1:]], 1.6))
    return "".join(drawn) + _floors(frame, places)


def _floors(frame: SideFrame, places: Layout) -> str:
    """Return the words for the pocket floor, and the least floor as a line."""
    if frame.pocket is None:
        return ""
    _, y = frame.at(0, -frame.pocket.depth)
    x, _ = frame.at(frame.pocket.end, 0)
    drawn = [word((x + 12, max(y - 6, frame.at(0, 0)[1] + NARROW_TEXT)), "pocket floor", soft=True)]
    least, thick = places.instrument.pocket.least_floor, places.instrument.pocket.body_thickness
    if least is not None and thick is not None:
        level = [frame.at(frame.edge_mm, least - thick), frame.at(frame.right_mm, least - thick)]
        drawn.append(line(level, 1.2, SOFT_INK, dashes="8 3 2 3", kind="least-floor"))
        drawn.append(word((WIDTH - MARGIN, level[0][1] - 7), "least floor", "end", soft=True))
    return "".join(drawn)


def _joint_line(frame: SideFrame) -> str:
    x, _ = frame.at(0, 0)
    return line(((x, frame.top), (x, frame.bottom)), 1.0, SOFT_INK, dashes="5 3", kind="joint-line")


def _band(frame: SideFrame, places: Layout, pose: Pose, number: int) -> str:
    """Return the 95 % interval of the fret plane as a soft wedge from the joint line to the saddle line."""
    if not pose.band_mm:
        return ""
    end = places.saddle_line_mm
    height = places.plane_at(pose, end)
    ends = [frame.at(end, height + half) for half in (pose.band_mm, -pose.band_mm)]
    return wedge(frame.at(0, pose.height_mm), ends[0], ends[1], pen(number))


def _neck(frame: SideFrame, places: Layout, pose: Pose) -> str:
    """Return neck, heel and fretboard as the first pose has them; how thick they are is a sketch."""
    board = frame.board_mm

    def along(along_mm: float, under_mm: float) -> tuple[float, float]:
        return frame.at(*places.on_plane(pose, along_mm, -under_mm))

    nut, end = places.nut_mm, places.board_end_mm
    drawn = [_heel(frame, places, pose)]
    shaft = (along(nut, board), along(0, board), *frame.paper(reversed(frame.neck_back)))
    drawn.append(area(shaft, NECK_FILL, edge=SOFT_INK, wide=1.0))
    fretboard = (along(nut, _FRET_HEIGHT_MM), along(end, _FRET_HEIGHT_MM), along(end, board), along(nut, board))
    drawn.append(area(fretboard, BOARD_FILL, kind="fretboard", edge=INK))
    return "".join(drawn)


def _heel(frame: SideFrame, places: Layout, pose: Pose) -> str:
    """Return the heel standing on the pocket floor, under the fretboard."""
    if frame.pocket is None:
        return ""
    start, end = frame.pocket.start, frame.pocket.end
    floor = -frame.pocket.depth
    upper = [frame.at(x, max(places.plane_at(pose, x) - frame.board_mm, floor)) for x in (start, end)]
    lower = [frame.at(end, floor), frame.at(start, floor)]
    drawn = area((*upper, *lower), NECK_FILL, kind="heel", edge=SOFT_INK, wide=1.0)
    wide, high = upper[1][0] - upper[0][0], lower[0][1] - upper[0][1]
    if wide < words_wide("heel") + 8 or high < NARROW_TEXT + 8:
        return drawn
    middle = ((upper[0][0] + upper[1][0]) / 2, (upper[0][1] + upper[1][1] + 2 * lower[0][1]) / 4 + TEXT / 3)
    return drawn + word(middle, "heel", "middle", soft=True)


def _plane(frame: SideFrame, places: Layout, pose: Pose, number: int) -> str:
    """Return the fret tops as a firm line with the frets, and the plane carried on to the saddle line, thin."""
    drawn_with = pen(number)
    nut, end = places.on_plane(pose, places.nut_mm), places.on_plane(pose, places.board_end_mm)
    saddle = (places.saddle_line_mm, places.plane_at(pose, places.saddle_line_mm))
    drawn = [
        drawn_with.line((frame.at(*nut), frame.at(*end)), 2.2 if number else 1.4, "fret-plane"),
        drawn_with.line((frame.at(*end), frame.at(*saddle)), 1.4, "plane-carried-on"),
    ]
    if number == 0:
        for fret, at in enumerate(places.frets_mm):
            top = places.on_plane(pose, at)
            foot = places.on_plane(pose, at, -_FRET_HEIGHT_MM)
            drawn.append(line((frame.at(*top), frame.at(*foot)), 3 if fret == 0 else 1.6, kind="fret"))
    return "".join(drawn)


def _strings(frame: SideFrame, places: Layout, pose: Pose, number: int) -> str:
    """Return the two outer strings; empty where it isn't known how high they must bear."""
    lines = [frame.paper(each) for side in (BASS, TREBLE) if (each := places.string_side(pose, side))]
    ends = {each[-1] for each in lines if len(each) > 2}
    dots = (f'<circle class="tail-anchor" cx="{x:.2f}" cy="{y:.2f}" r="3.5" fill="{INK}"/>' for x, y in ends)
    return "".join((*(pen(number).line(each, 0.9, "string") for each in lines), *dots))


def _plane_word(frame: SideFrame, places: Layout, poses: Sequence[Pose]) -> str:
    """Return the words for the fret plane, under it where there is room over the body, else over the strings."""
    words = "fret plane"
    end_mm = places.saddle_line_mm - 16 / frame.scale
    start_mm = end_mm - words_wide(words) / frame.scale
    x, top = frame.at(end_mm, 0)
    lowest = max(frame.at(0, places.plane_at(pose, mm))[1] for pose in poses for mm in (start_mm, end_mm))
    if top - lowest > NARROW_TEXT + 10:
        return word((x, lowest + NARROW_TEXT), words, "end", soft=True)
    heights = [places.plane_at(pose, mm) for pose in poses for mm in (start_mm, end_mm)]
    heights += [max(pose.bearing_mm) for pose in poses if pose.bearing_mm is not None]
    return word((x, frame.at(0, max(heights))[1] - 12), words, "end", soft=True)


def _axis_words(frame: SideFrame, places: Layout) -> str:
    """Return the words under the picture: nut, joint line, saddle line."""
    y = frame.bottom + 26
    nut = frame.at(places.nut_mm, 0)[0]
    saddle = frame.at(places.saddle_line_mm, 0)[0]
    rule = line(((saddle, frame.at(0, 0)[1]), (saddle, frame.bottom)), 1.0, RULE)
    return "".join(
        (
            rule,
            word((nut, y), "nut", soft=True),
            word((frame.at(0, 0)[0], y), "joint line", "middle", soft=True),
            word((saddle, y), "saddle line", "middle", soft=True),
        )
    )


def _words(frame: SideFrame, places: Layout, poses: Sequence[Pose], wood: WoodOff | None) -> str:
    """Return in words, with numbers, what the picture shows."""
    instrument = places.instrument
    said = [f"{instrument.name} from the side, nut at the left, bridge at the right."]
    for pose in poses:
        at_saddle = places.plane_at(pose, places.saddle_line_mm)
        heights = [length_words(height, instrument.units) for height in (pose.height_mm, at_saddle)]
        text = f"{pose.label}: neck angle {_angle_words(pose)}, fret plane over the body top"
        text += f" {heights[0]} at the joint line and {heights[1]} at the saddle line"
        if pose.band_mm:
            text += f", give or take {length_words(pose.band_mm, instrument.units)} (95 %)"
        if pose.bearing_mm is not None:
            bass, treble = (length_words(height, instrument.units) for height in pose.bearing_mm)
            text += f"; the strings must bear {bass} (bass) and {treble} (treble) over the body top"
        said.append(f"{text}.")
    return " ".join((*said, *travel_words(instrument), *wood_words(frame, instrument.units, wood)))
