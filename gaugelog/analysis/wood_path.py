"""How much wood, across the grain, lies in the path of a length that a gauge reads.

Here: from an instrument's pocket and neck to millimetres of body and neck. Not here: what moisture does to them
(`wood`, `climate`).

The neck's heel stands on the pocket's floor. What lies between the floor and the place that is read is neck wood and
lifts it; what lies between the floor and the body top is body wood and lowers the floor below the top; what lies
between floor and bench is body wood and lifts everything, where the gauge stands on the bench.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from gaugelog.analysis.series import Series
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.quantities import Quantity

_UNDERSIDE = ("fretboard-edge-height", "fretboard-end-rise")
_FRET_PLANE = ("fret-to-bridge-clearance",)
_FREE = "free"
_UPRIGHT = 0.99


class NotTold(Enum):
    """Why nothing is said of what the weather could explain; the value is the reason in words."""

    NO_WEATHER = "temperature and humidity must both be logged"
    WEATHER_ELSEWHERE = "the weather wasn't logged at the start and at the end"
    WEATHER_RANGE = "the air was outside the table of equilibrium moisture content"
    MOISTURE_RANGE = "the wood's equilibrium was outside 6 to 14 %, where the table of dimensional change holds"
    TOO_SHORT = "the series has no start and end"
    ANGLE = (
        "wood that swells evenly lifts a neck and hardly turns it; how unevenly it does along the pocket is not known"
    )
    NO_HEIGHT = "no checkpoint says that it reads a height over the joint"
    SEVERAL = "its checkpoints read different heights"
    GEOMETRY = "the instrument file leaves open a dimension that counts: pocket depth, plane height, body thickness"
    WOOD = "the instrument file names no species and grain that the table of dimensional change knows"


@dataclass(frozen=True, slots=True)
class WoodPath:
    """Wood in the path of a reading, in mm across the grain: plus where its swelling makes the reading larger."""

    neck_mm: float
    body_mm: float


class _Stand(Enum):
    """What a series is the height of: the neck over the body top, the neck over the bench, or the body."""

    BODY = "neck over body top"
    BENCH = "neck over bench"
    BODY_ON_BENCH = "body over bench"


def wood_path(instrument: Instrument, series: Series) -> WoodPath | NotTold:
    """Return which wood a series feels, or why that isn't known.

    Formula: with d the pocket's depth, h what stands over the body top at the joint line, T the body's thickness:
    over the body top the reading sees d + h of the neck and -d of the body. Of a checkpoint with two gauges, both
    stand on the bench: the neck's sees d + h of the neck and T - d of the body, the body's sees T of the body, and
    their difference what a gauge on the body top sees. h is

    - `underside_height` (0 where left open) for a fretboard's edge or end height,
    - `plane_height` for a clearance at the bridge: the whole fret plane is lifted,
    - the point's own height for a free length read straight up or down over the pocket.

    Nothing else has a path: widths, gaps, lengths along the grain, saddles on their posts, controls.

    When this is wrong: fretboard and frets, up to the fret tops, count as wood of the neck, whatever they are; the
    pocket's depth counts as the same all along, so with a tilted floor a free point is wrong by its rise from where the
    depth was read; the body doesn't lie flat on its back; a laminated body or a top of another wood.

    Args:
        instrument: with its pocket, neck and checkpoints.
        series: of a gauge by its short name, of a checkpoint by its id, or the difference of a checkpoint's two gauges.
    """
    if series.quantity is Quantity.ANGLE:
        return NotTold.ANGLE
    if series.quantity is not Quantity.LENGTH:
        return NotTold.NO_HEIGHT
    found = {
        _path(instrument, point, stand)
        for point in instrument.checkpoints
        if (stand := _stand(point, series)) is not None
    }
    if len(found) > 1:
        return NotTold.SEVERAL
    return found.pop() if found else NotTold.NO_HEIGHT


def _stand(point: Checkpoint, series: Series) -> _Stand | None:
    """Return how a series reads a checkpoint, None where it doesn't."""
    if point.quantity is not series.quantity:
        return None
    if series.name == point.id:
        return _Stand.BODY
    if point.body_gauge is None or point.body_gauge == point.gauge:
        return _Stand.BODY if series.name == point.gauge else None
    if series.difference:
        return _Stand.BODY if series.name == f"{point.gauge} - {point.body_gauge}" else None
    if series.name == point.gauge:
        return _Stand.BENCH
    return _Stand.BODY_ON_BENCH if series.name == point.body_gauge else None


def _path(instrument: Instrument, point: Checkpoint, stand: _Stand) -> WoodPath | NotTold:
    depth_mm, thickness_mm = instrument.pocket.depth, instrument.pocket.body_thickness
    if stand is _Stand.BODY_ON_BENCH:
        return NotTold.GEOMETRY if thickness_mm is None else WoodPath(0.0, thickness_mm)
    sign = _sign(point)
    if sign is None or point.kind.slug not in (*_UNDERSIDE, *_FRET_PLANE, _FREE):
        return NotTold.NO_HEIGHT
    above_mm = _height_over_top(instrument, point)
    if depth_mm is None or above_mm is None or depth_mm + above_mm <= 0:
        return NotTold.GEOMETRY
    if stand is _Stand.BODY:
        return WoodPath(sign * (depth_mm + above_mm), -sign * depth_mm)
    if thickness_mm is None:
        return NotTold.GEOMETRY
    return WoodPath(sign * (depth_mm + above_mm), sign * (thickness_mm - depth_mm))


def _sign(point: Checkpoint) -> int | None:
    """Return 1 where a checkpoint is read straight up, -1 straight down, None across or, for a free one, unsaid."""
    direction = point.place.direction
    if direction is None:
        return None if point.kind.slug == _FREE else 1
    if abs(direction[2]) < _UPRIGHT:
        return None
    return 1 if direction[2] > 0 else -1


def _height_over_top(instrument: Instrument, point: Checkpoint) -> float | None:
    """Return how high over the body top the neck's wood ends that a checkpoint is read on, None where not known."""
    if point.kind.slug in _UNDERSIDE:
        return instrument.neck.underside_height or 0.0
    if point.kind.slug in _FRET_PLANE:
        return instrument.neck.plane_height
    place_mm, start_mm, length_mm = point.place.point_mm, instrument.pocket.start, instrument.pocket.length
    if place_mm is None or start_mm is None or length_mm is None:
        return None
    return place_mm[2] if start_mm <= place_mm[0] <= start_mm + length_mm else None
