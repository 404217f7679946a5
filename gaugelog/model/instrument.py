"""The piece of work: one instrument, its geometry and its checkpoints.

Here: what an instrument file says, in millimetres and degrees, in the body's frame (docs/conventions.md).
A value that the file leaves open is None. Not here: reading or writing the file (`instruments`).
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from gaugelog.errors import UnknownCheckpointError, UnknownGaugeError
from gaugelog.model.gauges import GaugeName
from gaugelog.model.kinds import AFTER, BEFORE, WET, CheckpointKind
from gaugelog.model.quantities import Quantity


class ToleranceSide(Enum):
    """On which side of the nominal value a tolerance bars."""

    BOTH = "two-sided"
    AT_MOST = "at most"
    AT_LEAST = "at least"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What a checkpoint's value may be before the glue: `low` to `high` in its base unit; an open end is None."""

    side: ToleranceSide
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Place:
    """Where a checkpoint is read: point x, y, z in mm and direction (unit vector or axis) in the body's frame."""

    point_mm: tuple[float, float, float] | None = None
    direction: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """One thing to read, the same way at every stage.

    Values are in the base unit of `quantity`; `unit` is the one that the builder thinks in. `step` is the
    smallest step a typed value is read to (base unit), None where a gauge's resolution counts. `gauge` is a short
    name of the instrument file, None where the value is typed; `body_gauge` is the second gauge that reads the body
    at the same time, if there is one. `reference` names the flat spot on the body.
    """

    id: str
    kind: CheckpointKind
    quantity: Quantity
    unit: str
    todo: str
    stages: tuple[str, ...] = (BEFORE, AFTER)
    placements: int = 3
    nominal: float | None = None
    tolerance: Tolerance | None = None
    limit: float | None = None
    must_prove: bool = False
    gauge: str | None = None
    body_gauge: str | None = None
    step: float | None = None
    reference: str = ""
    place: Place = field(default_factory=Place)
    side: str = ""

    @property
    def referenced(self) -> bool:
        """Whether a placement is a difference: body, then neck."""
        return self.kind.referenced or bool(self.reference)

    @property
    def readings_per_placement(self) -> int:
        """Number of readings whose step enters one placement (1, or 2 for body then neck)."""
        return 2 if self.referenced else 1

    def wanted_at(self, stage: str) -> int:
        """Placements wanted at `stage`: one while the glue is open, else as the plan says."""
        return 1 if stage == WET else self.placements


@dataclass(frozen=True, slots=True)
class NamedGauge:
    """A gauge under its short name; `identity` is its serial number or whatever tells it from another of its kind."""

    name: str
    gauge: GaugeName
    identity: str = ""


@dataclass(frozen=True, slots=True)
class Neck:
    """The neck: lengths in mm. Edges are the fretboard's width at the joint line and at the last fret.

    `underside_height` is the fretboard's underside over the body top at the joint line: 0 where it touches.
    """

    scale_length: float | None = None
    compensation_bass: float | None = None
    compensation_treble: float | None = None
    frets: int | None = None
    joint_fret: int | None = None
    plane_height: float | None = None
    underside_height: float | None = None
    fretboard_radius: float | None = None
    edge_width_at_joint: float | None = None
    edge_width_at_last_fret: float | None = None
    overhang: float | None = None
    nut_height: float | None = None
    string_spread_at_nut: float | None = None
    relief: float | None = None


@dataclass(frozen=True, slots=True)
class Pocket:
    """The pocket in the body, mm: along the strings, across, from body top to floor, and the least floor to keep.

    `start` is x of its body-edge end (0 at the joint line); `body_thickness` is the body's, where the pocket is.
    """

    start: float | None = None
    length: float | None = None
    width: float | None = None
    depth: float | None = None
    least_floor: float | None = None
    body_thickness: float | None = None


@dataclass(frozen=True, slots=True)
class Bridge:
    """Bridge and tail, mm and degrees: `position` is x of the saddle line along the body from the joint line."""

    position: float | None = None
    bearing_low: float | None = None
    bearing_high: float | None = None
    travel_reserve: float | None = None
    saddle_slot_depth: float | None = None
    spacer: float | None = None
    string_spread: float | None = None
    tail_anchor_x: float | None = None
    tail_anchor_z: float | None = None
    least_break_angle: float | None = None


@dataclass(frozen=True, slots=True)
class Action:
    """Wanted string height over the 12th fret, mm."""

    bass: float | None = None
    treble: float | None = None


@dataclass(frozen=True, slots=True)
class MovementLimits:
    """What the neck may move under the glue: degrees and mm."""

    neck_angle: float | None = None
    yaw: float | None = None
    roll: float | None = None
    sink: float | None = None
    sideways: float | None = None
    slide: float | None = None


@dataclass(frozen=True, slots=True)
class Wood:
    """Species and grain of body and neck, as the dimensional-change tables name them."""

    body: str = ""
    neck: str = ""
    body_grain: str = ""
    neck_grain: str = ""


@dataclass(frozen=True, slots=True)
class Glue:
    """What the glue's own label says, entered by the builder: open time in minutes, clamp time in hours."""

    label: str = ""
    open_time_min: float | None = None
    clamp_time_h: float | None = None


@dataclass(frozen=True, slots=True)
class Instrument:
    """One instrument file, read. `text` is the file as it was: a recording keeps it."""

    name: str
    checkpoints: tuple[Checkpoint, ...]
    gauges: Mapping[str, NamedGauge] = field(default_factory=dict)
    units: str = "mm"
    handedness: str = "right"
    flat_spot: str = ""
    neck: Neck = field(default_factory=Neck)
    pocket: Pocket = field(default_factory=Pocket)
    bridge: Bridge = field(default_factory=Bridge)
    action: Action = field(default_factory=Action)
    movement_limits: MovementLimits = field(default_factory=MovementLimits)
    wood: Wood = field(default_factory=Wood)
    glue: Glue = field(default_factory=Glue)
    text: str = ""

    def checkpoint(self, checkpoint_id: str) -> Checkpoint:
        """Return the checkpoint of that id.

        Raises:
            UnknownCheckpointError: there is none; the nearest ids are offered.
        """
        for checkpoint in self.checkpoints:
            if checkpoint.id == checkpoint_id:
                return checkpoint
        known = [checkpoint.id for checkpoint in self.checkpoints]
        raise UnknownCheckpointError(checkpoint_id, difflib.get_close_matches(checkpoint_id, known, 3, 0.5), known)

    def gauge(self, name: str) -> NamedGauge:
        """Return the gauge of that short name.

        Raises:
            UnknownGaugeError: there is none; the nearest names are offered.
        """
        if name in self.gauges:
            return self.gauges[name]
        known = list(self.gauges)
        raise UnknownGaugeError(name, difflib.get_close_matches(name, known, 3, 0.5), known)

    def at_stage(self, stage: str) -> tuple[Checkpoint, ...]:
        """Return the checkpoints read at `stage`, in order.

        A stage of the builder's own that the file doesn't name reads all that `before` does, less what is read on
        the parts alone: it may lie after the glue.
        """
        named = tuple(checkpoint for checkpoint in self.checkpoints if stage in checkpoint.stages)
        if named or stage in (BEFORE, WET, AFTER):
            return named
        return tuple(point for point in self.checkpoints if BEFORE in point.stages and not point.kind.parts_alone)
