"""From millimetres to paper in the view from the side.

Here: the one factor by which heights are exaggerated, and where the body and its pocket lie. Not here: lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from gaugelog.show.neck_drawing import COLUMN, MARGIN, WIDTH, Point, nice_factor
from gaugelog.show.neck_places import BASS, TREBLE, Layout, Pose, leftmost_mm

_HIGHEST = 440.0
_ROOM_MM = 1.5
_USUAL_THICKNESS_MM = 40.0
_WOOD_UNDER_FLOOR_MM = 16.0


@dataclass(frozen=True, slots=True)
class PocketCut:
    """The pocket along the strings, mm: where it starts and ends, how deep it is."""

    start: float
    end: float
    depth: float


@dataclass(frozen=True, slots=True)
class SideFrame:
    """What turns (x, z) in mm into a place on paper: `scale` units a millimetre of length, times `factor` of height."""

    left_mm: float
    high_mm: float
    scale: float
    factor: float
    top: float
    edge_mm: float
    back_mm: float
    bottom_mm: float
    pocket: PocketCut | None

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
    heights = [back, *_heights(places, poses)]
    low, high = min(heights), max(heights) + _ROOM_MM
    factor = nice_factor(_HIGHEST / scale / (high - low))
    return SideFrame(left, high, scale, factor, top, min(0.0, pocket.start if pocket else 0.0), back, low, pocket)


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
        yield from (places.on_plane(pose, places.nut_mm, over)[1] for over in (2.0, -17.0))
        yield places.plane_at(pose, places.saddle_line_mm) + (pose.band_mm or 0.0)
        yield from (place[1] for side in (BASS, TREBLE) for place in places.string_side(pose, side))
