"""Which movement of the neck each checkpoint feels, from its kind and its place.

Here: a checkpoint of the plan turned into a sensor, in the body's frame (docs/conventions.md). Not here: what a sensor
is (`sensing`), the fit (`movement`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from gaugelog.analysis.neckset import fret_distance
from gaugelog.analysis.sensing import LengthSensor, Sensor, SlopeSensor, TurnSensor
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.quantities import Quantity

Point = tuple[float, float, float]
ALONG, ACROSS, UP = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Stand:
    """How the neck stood before it moved: its slope in degrees and, in mm, what the plan knows of lengths.

    `height` is the fret plane's over the body top at the joint line, `bridge` the saddle line at the height of the
    saddle tops, `spread` the outer strings' distance there, `nut` the nut's place, `end` the fretboard's end; None
    where the plan leaves open what they need.
    """

    angle_deg: float
    height: float | None = None
    bridge: Point | None = None
    spread: float | None = None
    nut: Point | None = None
    end: Point | None = None

    @property
    def along(self) -> Point:
        """Direction of the strings on the fret plane."""
        angle = math.radians(self.angle_deg)
        return math.cos(angle), 0.0, math.sin(angle)

    @property
    def normal(self) -> Point:
        """Normal of the fret plane, upward."""
        angle = math.radians(self.angle_deg)
        return -math.sin(angle), 0.0, math.cos(angle)


def stand_of(instrument: Instrument, angle_deg: float, height_mm: float | None = None) -> Stand:
    """Return how the neck of an instrument stands at a neck angle, its plane as high as said, else as the file has it.

    Heights matter little here: a millimetre of height changes what a length feels by a thousandth of a degree's worth.
    """
    neck, bridge = instrument.neck, instrument.bridge
    slope, height = math.tan(math.radians(angle_deg)), height_mm if height_mm is not None else neck.plane_height or 0.0
    top = (bridge.bearing_low or 0.0) + (bridge.saddle_slot_depth or 0.0) + (bridge.spacer or 0.0)
    behind = None
    if neck.scale_length is not None and neck.joint_fret is not None:
        behind = fret_distance(neck.scale_length, neck.joint_fret)
    cosine, sine = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return Stand(
        angle_deg=angle_deg,
        height=height_mm if height_mm is not None else neck.plane_height,
        bridge=None if bridge.position is None else (bridge.position, 0.0, top or height + slope * bridge.position),
        spread=bridge.string_spread,
        nut=None if behind is None else (-behind * cosine, 0.0, height - behind * sine),
        end=None if neck.overhang is None else (neck.overhang, 0.0, height + slope * neck.overhang),
    )


def sensor_of(checkpoint: Checkpoint, stand: Stand) -> Sensor | None:
    """Return what a checkpoint feels of the neck, None where it feels nothing or its place isn't known.

    The rows are those of docs/methods.md, "How the neck moved".

    Args:
        checkpoint: the plan's; its own point and direction come before what its kind stands for.
        stand: how the neck stood before.
    """
    make = _BY_KIND.get(checkpoint.kind.slug)
    return make(checkpoint, stand) if make is not None else None


def _side(checkpoint: Checkpoint) -> float:
    return -1.0 if checkpoint.side == "bass" else 1.0


def _at_bridge(checkpoint: Checkpoint, stand: Stand) -> Point | None:
    """Return a checkpoint's own point, else its side's place on the saddle line."""
    if checkpoint.place.point_mm is not None:
        return checkpoint.place.point_mm
    if stand.bridge is None or (checkpoint.side and stand.spread is None):
        return None
    half = (stand.spread or 0.0) / 2 if checkpoint.side else 0.0
    return stand.bridge[0], _side(checkpoint) * half, stand.bridge[2]


def _neck_angle(_checkpoint: Checkpoint, stand: Stand) -> Sensor:
    return SlopeSensor(stand.along, ALONG)


def _neck_roll(_checkpoint: Checkpoint, _stand: Stand) -> Sensor:
    return SlopeSensor(ACROSS, ACROSS)


def _clearance(checkpoint: Checkpoint, stand: Stand) -> Sensor | None:
    point = _at_bridge(checkpoint, stand)
    return None if point is None else LengthSensor(point, stand.normal, checkpoint.place.direction or UP)


def _edge_height(checkpoint: Checkpoint, _stand: Stand) -> Sensor | None:
    point = checkpoint.place.point_mm
    return None if point is None else LengthSensor(point, UP, checkpoint.place.direction or UP, False)


def _end_rise(checkpoint: Checkpoint, stand: Stand) -> Sensor | None:
    point = checkpoint.place.point_mm or stand.end
    return None if point is None else LengthSensor(point, UP, checkpoint.place.direction or UP, False)


def _centreline(checkpoint: Checkpoint, stand: Stand) -> Sensor | None:
    point = _at_bridge(checkpoint, stand)
    return None if point is None else LengthSensor(point, ACROSS, ACROSS)


def _post_to_edge(checkpoint: Checkpoint, stand: Stand) -> Sensor | None:
    """The posts stand outside the fretboard's edges carried on: a neck that goes sideways nears one of them."""
    point = _at_bridge(checkpoint, stand)
    return None if point is None else LengthSensor(point, ACROSS, (0.0, -_side(checkpoint), 0.0))


def _nut_to_saddle(_checkpoint: Checkpoint, stand: Stand) -> Sensor | None:
    if stand.nut is None or stand.bridge is None:
        return None
    line = np.subtract(stand.nut, stand.bridge)
    x, y, z = (float(part) for part in line / np.linalg.norm(line))
    return LengthSensor(stand.nut, (x, y, z), (x, y, z), False)


def _free(checkpoint: Checkpoint, _stand: Stand) -> Sensor | None:
    """A gap or a free checkpoint says itself where it is read, and which way it grows as the neck goes."""
    point, direction = checkpoint.place.point_mm, checkpoint.place.direction
    if direction is None:
        return None
    if checkpoint.quantity is Quantity.ANGLE:
        return TurnSensor(direction)
    if point is None or checkpoint.quantity is not Quantity.LENGTH:
        return None
    return LengthSensor(point, direction, direction, False)


_BY_KIND: dict[str, Callable[[Checkpoint, Stand], Sensor | None]] = {
    "neck-angle": _neck_angle,
    "neck-roll": _neck_roll,
    "fret-to-bridge-clearance": _clearance,
    "fretboard-edge-height": _edge_height,
    "fretboard-end-rise": _end_rise,
    "centreline-offset": _centreline,
    "post-to-edge": _post_to_edge,
    "nut-to-saddle": _nut_to_saddle,
    "joint-gap": _free,
    "free": _free,
}
