"""From millimetres to paper in the view from the side.

Here: the one factor by which heights are exaggerated, and where the body and its pocket lie. Not here: lines.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from gaugelog.show.neck_drawing import COLUMN, MARGIN, WIDTH, Point, nice_factor
from gaugelog.show.neck_places import BASS, TREBLE, Layout, Pose, leftmost_mm

_HIGHEST = 440.0
_ROOM_MM = 1.5
_USUAL_THICKNESS_MM = 24.0
_WOOD_UNDER_FLOOR_MM = 12.0
_LEAST_BOARD_MM, _MOST_BOARD_MM = 3.0, 8.0
_NECK_UNDER_BOARD_MM = 9.0


@dataclass(frozen=True, slots=True)
class PocketCut:
    """The pocket along the strings, mm: where it starts and ends, how deep it is."""

    start: float
    end: float
    depth: float


@dataclass(frozen=True, slots=True)
class SideFrame:
    """What turns (x, z) in mm into a place on paper: `scale` units a millimetre of length, times `factor` of height.

    `edge_mm` is x of the body's edge, `back_mm` z of its back, `bottom_mm` the lowest z that is drawn. `board_mm` is
    how far the fretboard goes down under the fret plane, `neck_back` the neck's back at the nut and at the joint line,
    in mm, which no instrument file says: a sketch.
    """

    left_mm: float
    high_mm: float
    scale: float
    factor: float
    top: float
    edge_mm: float
    back_mm: float
    bottom_mm: float
    pocket: PocketCut | None
    board_mm: float
    neck_back: tuple[Point, Point]

    def at(self, x_mm: float, z_mm: float) -> Point:
        """Return a place on paper."""
        return MARGIN + (x_mm - self.left_mm) * self.scale, self.top + (self.high_mm - z_mm) * self.scale * self.factor

    def paper(self, places: Iterable[Point]) -> list[Point]:
        """Return places on paper."""
        return [self.at(*place) for place in places]

    @property
    def bottom(self) -> float:
        """Where the drawing ends on paper."""
        return self.at(0, self.bottom_mm)[1]

    @property
    def right_mm(self) -> float:
        """Return x at the right edge of the paper, mm."""
        return self.left_mm + (WIDTH - MARGIN) / self.scale

    @property
    def body_outline(self) -> tuple[Point, ...]:
        """The body's top from its edge on, down into the pocket and up again, in mm."""
        last = (self.right_mm, 0.0)
        if self.pocket is None:
            return (self.edge_mm, 0.0), last
        start, end, floor = self.pocket.start, self.pocket.end, -self.pocket.depth
        before = ((self.edge_mm, 0.0), (start, 0.0)) if start > self.edge_mm else ()
        return (*before, (start, floor), (end, floor), (end, 0.0), last)


def side_frame(places: Layout, poses: Sequence[Pose], top: float) -> SideFrame:
    """Return the frame in which everything fits, heights as much exaggerated as there is room for.

    Args:
        places: the instrument's.
        poses: all that are drawn.
        top: where the drawing begins on paper.
    """
    left = leftmost_mm(places, poses)
    scale = (WIDTH - MARGIN - COLUMN) / (places.right_mm - left)
    pocket = _pocket(places)
    thick = places.instrument.pocket.body_thickness
    back = -(thick or max(_USUAL_THICKNESS_MM, (pocket.depth if pocket else 0.0) + _WOOD_UNDER_FLOOR_MM))
    board = _board_mm(places, poses[0])
    under = -board - _NECK_UNDER_BOARD_MM
    neck_back = places.on_plane(poses[0], places.nut_mm, under), places.on_plane(poses[0], 0.0, under)
    heights = [back, *(z for _, z in neck_back), *_heights(places, poses)]
    low, high = min(heights), max(heights) + _ROOM_MM
    factor = nice_factor(_HIGHEST / scale / (high - low))
    edge = min(0.0, pocket.start if pocket else 0.0)
    return SideFrame(left, high, scale, factor, top, edge, back, low, pocket, board, neck_back)


def _board_mm(places: Layout, pose: Pose) -> float:
    """Return how far the fretboard goes down under the fret plane, mm.

    As the file says where its underside is at the joint line, else as if its edge touched the body there, within what
    looks like a fretboard.
    """
    underside = places.instrument.neck.underside_height
    if underside is not None and pose.height_mm > underside:
        return (pose.height_mm - underside) * math.cos(math.radians(pose.angle_deg))
    return min(max(pose.height_mm, _LEAST_BOARD_MM), _MOST_BOARD_MM)


def _pocket(places: Layout) -> PocketCut | None:
    pocket = places.instrument.pocket
    if pocket.length is None or pocket.depth is None:
        return None
    start = pocket.start or 0.0
    return PocketCut(start, start + pocket.length, pocket.depth)


def _heights(places: Layout, poses: Sequence[Pose]) -> Iterator[float]:
    """Yield every height that must fit, over the body top, mm."""
    bridge = places.instrument.bridge
    yield from (
        height for height in (bridge.bearing_low, bridge.bearing_high, bridge.tail_anchor_z) if height is not None
    )
    for pose in poses:
        yield places.string_at_nut(pose)[1]
        yield places.plane_at(pose, places.saddle_line_mm) + (pose.band_mm or 0.0)
        yield from (place[1] for side in (BASS, TREBLE) for place in places.string_side(pose, side))
