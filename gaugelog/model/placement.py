"""Placements, snapshots, marks: what a piece of work consists of.

Here: the nouns that capture makes and the store keeps. Not here: when the hand has let go (`capture`), SQL (`store`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk


class Settled(Enum):
    """How a placement came to its value."""

    STEADY = "steady"
    BUTTON = "on its button"
    BY_HAND = "by hand"
    TYPED = "typed"
    TABLE = "from a table"


class Role(Enum):
    """What one part of a placement was read on."""

    WHOLE = "whole"
    BODY = "body"
    NECK = "neck"


@dataclass(frozen=True, slots=True)
class Part:
    """One reading of a gauge within a placement: the median of its steady window, with the bytes it came from.

    `gauge` is the short name it went by. `gauge_key` says which gauge that was (`model.gauges.gauge_key`), as the
    recording knows it; it is empty in a part just taken, and two parts are equal whatever it says. `value` and
    `spread` (largest less smallest in the window) are in the base unit; `text` is the number as shown in `unit`;
    `resolution` is in the base unit; times are monotonic nanoseconds.
    """

    role: Role
    gauge: str
    value: float
    text: str
    unit: str
    resolution: float
    spread: float
    n: int
    start_ns: int
    end_ns: int
    raw: tuple[Chunk, ...] = ()
    gauge_key: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Placement:
    """One setting-down of a gauge, or one typed value, at a checkpoint.

    `value` is in the base unit and None where only a bound is known; then `low` or `high` is that bound. A feeler
    pair has all three. `text` is what was shown or typed. `gauge` is None for a typed value, unless it was typed for a
    gauge that has no plug; `gauge_key` as a part's. `spread` is the larger spread of its parts, None for a typed value.
    `resolution` is the step of one reading in the base unit.
    """

    checkpoint: str
    quantity: Quantity
    value: float | None
    text: str
    unit: str
    resolution: float
    settled: Settled
    time_ns: int
    gauge: str | None = None
    low: float | None = None
    high: float | None = None
    spread: float | None = None
    parts: tuple[Part, ...] = ()
    gauge_key: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class KeptPlacement:
    """A placement as the recording has it: its number, its snapshot, when, and whether it still counts.

    `dropped` is None while it counts, else the reason it doesn't. `utc_us` is microseconds since 1970 UTC.
    """

    id: int
    snapshot: int
    stage: str
    utc_us: int
    placement: Placement
    dropped: str | None = None


@dataclass(frozen=True, slots=True)
class Skip:
    """A checkpoint that was left out of a snapshot, with the reason given."""

    checkpoint: str
    reason: str


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All placements of one stage, taken in one go or several. `complete_utc_us` is None until it is complete."""

    id: int
    stage: str
    number: int
    begun_utc_us: int
    complete_utc_us: int | None
    placements: tuple[KeptPlacement, ...] = ()
    skips: tuple[Skip, ...] = ()

    def of(self, checkpoint_id: str) -> tuple[Placement, ...]:
        """Return the placements that count at a checkpoint, in order."""
        return tuple(
            kept.placement
            for kept in self.placements
            if kept.dropped is None and kept.placement.checkpoint == checkpoint_id
        )


class MarkKind(Enum):
    """A moment in the clamp session; each but the note begins a phase."""

    GLUE_ON = "glue on"
    CLAMPS_ON = "clamps on"
    CLAMPS_OFF = "clamps off"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark set in the clamp session at `utc_us` (which may lie before the moment it was set)."""

    utc_us: int
    kind: MarkKind
    words: str = ""


class Phase(Enum):
    """What the marks divide a clamp session into, in order."""

    DRY_FIT = "dry fit"
    GLUE_OPEN = "glue open"
    IN_CLAMPS = "in clamps"
    AFTER_CLAMPS = "after clamps"


CLAMP_SITTING = "clamp"
"""What a recording calls a sitting that belongs to the clamp session."""

PASS, ZERO = "pass", "zero"
"""What a recording calls the events of sanding: a pass ended at a reading, a reading was taken as zero."""

PHASE_BEGUN_BY = {
    MarkKind.GLUE_ON: Phase.GLUE_OPEN,
    MarkKind.CLAMPS_ON: Phase.IN_CLAMPS,
    MarkKind.CLAMPS_OFF: Phase.AFTER_CLAMPS,
}
