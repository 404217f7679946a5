"""Which of the gauges at hand can prove which checkpoint's limit, before anything is measured.

Here: every gauge tried at every checkpoint of its quantity, with the placements planned and with more. Not here: what a
plan as it stands can prove (`plan`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from gaugelog.analysis import rules
from gaugelog.analysis.plan import smallest_provable_shift
from gaugelog.analysis.uncertainty import Study, of_placement
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.quantities import Quantity

TYPED = "typed"
MOST_PLACEMENTS = 10
"""More than this at one checkpoint nobody takes while a glue-up waits (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class AtHand:
    """A gauge that could be used: its step, and how one reading of it repeats where it was checked (base unit).

    `name` is a short name, or TYPED for values typed to the checkpoint's step.
    """

    name: str
    quantity: Quantity
    resolution: float
    study: Study | None = None


@dataclass(frozen=True, slots=True)
class CanProve:
    """What one gauge can prove at one checkpoint, in the base unit.

    `smallest` is the smallest provable shift with the placements planned, None where they never give a verdict.
    `enough` is the fewest placements a stage with which the limit is provable, None where up to 10 aren't enough or no
    limit is set. `planned` says that the plan names this gauge.
    """

    gauge: AtHand
    smallest: float | None
    enough: int | None
    planned: bool

    def proves(self, limit: float | None) -> bool:
        """Whether the limit is provable as planned."""
        return limit is not None and self.smallest is not None and self.smallest <= _reach(limit)


@dataclass(frozen=True, slots=True)
class Advice:
    """One checkpoint and every gauge that could read it, the best first."""

    checkpoint: Checkpoint
    gauges: tuple[CanProve, ...]


def _reach(limit: float) -> float:
    return limit * (1 + rules.TOLERANCE_IN_STEPS)


def advice(instrument: Instrument, at_hand: Sequence[AtHand]) -> tuple[Advice, ...]:
    """Return for each checkpoint that glue can move what each gauge at hand could prove there.

    Formula, and when this is wrong: `plan.smallest_provable_shift`, with the same number of placements before and
    after. A gauge that was never checked is taken to scatter by half a digit.

    Args:
        instrument: the plan.
        at_hand: the gauges; those of another quantity than a checkpoint's aren't offered there.
    """
    return tuple(Advice(point, _tried(point, at_hand)) for point in instrument.checkpoints if point.kind.glued)


def _tried(checkpoint: Checkpoint, at_hand: Sequence[AtHand]) -> tuple[CanProve, ...]:
    typed = [AtHand(TYPED, checkpoint.quantity, checkpoint.step)] if checkpoint.step else []
    fitting = [*typed, *(each for each in at_hand if each.quantity is checkpoint.quantity)]
    found = [_can_prove(checkpoint, each, each.name == checkpoint.gauge or each in typed) for each in fitting]
    return tuple(sorted(found, key=lambda each: math.inf if each.smallest is None else each.smallest))


def _can_prove(checkpoint: Checkpoint, gauge: AtHand, planned: bool) -> CanProve:
    study = None if gauge.study is None else of_placement({gauge.study: checkpoint.readings_per_placement})

    def smallest(placements: int) -> float:
        return smallest_provable_shift(checkpoint, gauge.resolution, placements, study)

    limit = checkpoint.limit
    enough = None
    if limit is not None:
        counts = range(1, MOST_PLACEMENTS + 1)
        enough = next((count for count in counts if smallest(count) <= _reach(limit)), None)
    as_planned = smallest(checkpoint.placements)
    return CanProve(gauge, as_planned if math.isfinite(as_planned) else None, enough, planned)
