"""From millimetres to paper in the view from above.

Here: the factors by which widths and offsets are exaggerated, and which side is drawn down. Not here: lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gaugelog.show.neck_drawing import COLUMN, LINE, MARGIN, WIDTH, Point, nice_factor
from gaugelog.show.neck_places import Layout, Pose, leftmost_mm

WIDTH_FACTOR = 2.5
POST_BEYOND_MM = 11.0
"""How far outside the outer strings the bridge's posts are drawn."""
SIGNS = (-1.0, 1.0)
"""Of y on the bass and on the treble side."""
_OFFSET_ROOM = 34.0
_MOST_OFFSET_FACTOR = 25.0


@dataclass(frozen=True, slots=True)
class TopFrame:
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
        return self.scale * WIDTH_FACTOR


def top_frame(places: Layout, poses: Sequence[Pose]) -> TopFrame:
    """Return the frame in which everything fits, offsets as much exaggerated as there is room for.

    Args:
        places: the instrument's.
        poses: all that are drawn.
    """
    left = leftmost_mm(places, poses)
    scale = (WIDTH - MARGIN - COLUMN) / (places.right_mm - left)
    widths = [places.half_spread_at_bridge() + POST_BEYOND_MM + 3, places.half_board_at(places.board_end_mm)]
    widths.append((places.instrument.pocket.width or 0.0) / 2)
    offsets = [abs(each) for pose in poses for each in _offsets(places, pose, left)]
    furthest = max(offsets, default=0.0)
    room = _OFFSET_ROOM / (scale * WIDTH_FACTOR)
    factor = nice_factor(min(room / furthest, _MOST_OFFSET_FACTOR)) if furthest > 0 else 1.0
    half = (max(widths) + furthest * factor) * scale * WIDTH_FACTOR + 6
    top = MARGIN + (len(poses) * LINE if len(poses) > 1 else 0.0)
    down = -1.0 if places.instrument.handedness == "left" else 1.0
    return TopFrame(left, scale, top + half, half, factor, down)


def _offsets(places: Layout, pose: Pose, left_mm: float) -> Iterable[float]:
    """Return the centreline's offsets that must fit: at the nut, at the saddle line with its interval."""
    at_saddle = places.offset_at(pose, places.saddle_line_mm)
    band = pose.offset_band_mm or 0.0
    return places.offset_at(pose, left_mm), at_saddle - band, at_saddle + band
