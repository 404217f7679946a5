"""Before the work: what the plan will be able to prove, and which checkpoint would do better.

Here: the smallest provable shift of a checkpoint, the way round a limit too fine for its gauge, and both for a whole
plan. Not here: the comparison itself (`shift`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from gaugelog.analysis import rules
from gaugelog.analysis.reasons import amount
from gaugelog.analysis.uncertainty import Budget, Scatter, Study
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.quantities import Quantity

_CLEARANCE = "fret-to-bridge-clearance"
_NECK_ANGLE, _NECK_ROLL = "neck-angle", "neck-roll"


def smallest_provable_shift(
    checkpoint: Checkpoint, resolution: float, placements: int, study: Study | None = None
) -> float:
    """Return the smallest limit at which this checkpoint will be called held, with 80 % probability, if nothing moves.

    Formula: `rules.smallest_provable` with `placements` on each side. How much a placement scatters is not known
    before the work: s is taken as half a digit, r/2, with the degrees of freedom that the placements will give; with
    a repeatability study as the larger of r/2 and the study's, and its degrees of freedom on top. A gauge that reads
    the same digit every time does better, one on a loose foot worse.

    When this is wrong: for a scatter above half a digit it is too small; `CheckpointComparison.smallest_provable`
    tells afterwards what the day's placements really allowed. Measured: docs/methods.md.

    Args:
        checkpoint: the plan's checkpoint.
        resolution: step of one reading in the base unit, above 0.
        placements: on each side.
        study: the gauge's repeatability study.

    Returns:
        In the base unit; infinite where so few placements without a study never get a verdict.

    Raises:
        ValueError: `resolution` is not above 0, or `placements` is below 1.
    """
    if not resolution > 0 or placements < 1:
        raise ValueError("a resolution above 0 and at least one placement are needed")
    dof = 2.0 * (placements - 1) + (study.dof if study is not None else 0.0)
    if dof < rules.LEAST_DOF:
        return math.inf
    sd = max(resolution / 2, study.sd if study is not None else 0.0)
    budget = Budget(Scatter(sd, dof), placements, placements, resolution, checkpoint.readings_per_placement)
    found = budget.evaluate()
    return float(rules.smallest_provable(found.u, found.dof, resolution))


@dataclass(frozen=True, slots=True)
class BetterCheckpoint:
    """A checkpoint that would prove what another can't.

    `id` is its id where the plan has it, else None; `equivalent` is its smallest provable shift put into the base
    unit of the hopeless one (None where a length is missing for that); `words` says it to the builder.
    """

    id: str | None
    equivalent: float | None
    words: str


def _lever_mm(instrument: Instrument, clearance: Checkpoint) -> float | None:
    """Return how far from the joint line a clearance is read: its own place, else the bridge's position."""
    if clearance.place.point_mm is not None:
        return clearance.place.point_mm[0]
    return instrument.bridge.position


def _spread_mm(instrument: Instrument, clearances: tuple[Checkpoint, ...]) -> float | None:
    """Return how far apart the bass and the treble clearance are read."""
    points = [each.place.point_mm for each in clearances]
    if len(points) == 2 and points[0] is not None and points[1] is not None:
        return abs(points[0][1] - points[1][1])
    return instrument.bridge.string_spread


def better_checkpoint(
    instrument: Instrument,
    checkpoint: Checkpoint,
    resolutions: Mapping[str, float],
    studies: Mapping[str, Study] | None = None,
) -> BetterCheckpoint | None:
    """Return what would do where a checkpoint's limit is finer than its gauge can prove, None where it can.

    Formula: a neck that turns by a about the joint line changes the clearance at the distance D by D tan a
    (geometry, exact for a rigid neck that turns there); so a provable clearance c is worth atan(c / D) of neck
    angle, and the difference of two clearances w apart is worth atan(√2 c / w) of neck roll.

    When this is wrong: a neck that sinks or slides as it turns; the clearance sees both, the angle only the turn.

    Args:
        instrument: the plan.
        checkpoint: the one with the hopeless limit.
        resolutions: step of one reading of each checkpoint, by id, base unit; one that is missing isn't offered.
        studies: repeatability study of the gauge behind a checkpoint, by its id.
    """
    known = studies or {}
    step = resolutions.get(checkpoint.id)
    if checkpoint.limit is None or step is None:
        return None
    provable = smallest_provable_shift(checkpoint, step, checkpoint.placements, known.get(checkpoint.id))
    if provable <= checkpoint.limit * (1 + rules.TOLERANCE_IN_STEPS):
        return None
    if math.isinf(provable):
        return BetterCheckpoint(None, None, "at least three placements on each side")
    if checkpoint.quantity is not Quantity.ANGLE or checkpoint.kind.slug not in (_NECK_ANGLE, _NECK_ROLL):
        return BetterCheckpoint(None, None, _finer(checkpoint, step))
    return _by_clearance(instrument, checkpoint, step, resolutions, known)


def _finer(checkpoint: Checkpoint, step: float) -> str:
    shown = amount(step, checkpoint.quantity, checkpoint.unit, step)
    return f"a gauge with a step finer than {shown}, or a larger limit"


def _by_clearance(
    instrument: Instrument,
    checkpoint: Checkpoint,
    step: float,
    resolutions: Mapping[str, float],
    studies: Mapping[str, Study],
) -> BetterCheckpoint:
    """Return what clearances at the bridge are worth as neck angle or neck roll."""
    clearances = tuple(each for each in instrument.checkpoints if each.kind.slug == _CLEARANCE)
    read = [each for each in clearances if each.id in resolutions]
    roll = checkpoint.kind.slug == _NECK_ROLL
    if not read:
        both = "the fret-to-bridge clearances of both sides" if roll else "a fret-to-bridge clearance"
        return BetterCheckpoint(None, None, f"{both}, read at the bridge with a caliper or feeler leaves")
    best = min(
        read,
        key=lambda each: smallest_provable_shift(each, resolutions[each.id], each.placements, studies.get(each.id)),
    )
    provable = smallest_provable_shift(best, resolutions[best.id], best.placements, studies.get(best.id))
    lever = _spread_mm(instrument, clearances) if roll else _lever_mm(instrument, best)
    if lever is None or lever <= 0:
        return BetterCheckpoint(best.id, None, f"{best.id}: it stands at the end of a long lever")
    equivalent = math.degrees(math.atan((math.sqrt(2) if roll else 1.0) * provable / lever))
    worth = amount(equivalent, checkpoint.quantity, checkpoint.unit, step / 10)
    if checkpoint.limit is None or equivalent > checkpoint.limit:
        return BetterCheckpoint(None, None, _finer(checkpoint, step))
    shown = amount(provable, best.quantity, best.unit, resolutions[best.id])
    words = f"{best.id}: it proves {shown}, which at {lever:.0f} mm is {worth} of {checkpoint.kind.words}"
    return BetterCheckpoint(best.id, equivalent, words)


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One checkpoint of the plan and what can be proven there, in its base unit.

    `resolution` is None where its step isn't known. `smallest_provable` is None where no verdict will ever be given:
    a kind that glue can't move, no step, or too few placements. `better` is what would do where the limit is too fine.
    """

    checkpoint: Checkpoint
    resolution: float | None
    smallest_provable: float | None
    better: BetterCheckpoint | None = None

    @property
    def hopeless(self) -> bool:
        """Whether the limit is finer than these placements of this gauge can prove."""
        limit = self.checkpoint.limit
        if limit is None or self.resolution is None or not self.checkpoint.kind.glued:
            return False
        return self.smallest_provable is None or self.smallest_provable > limit * (1 + rules.TOLERANCE_IN_STEPS)


def plan(
    instrument: Instrument, resolutions: Mapping[str, float | None], studies: Mapping[str, Study] | None = None
) -> tuple[PlanRow, ...]:
    """Return what the plan will be able to prove, checkpoint by checkpoint, in its order.

    Formula, and when this is wrong: `smallest_provable_shift` and `better_checkpoint`.

    Args:
        instrument: the plan.
        resolutions: step of one reading of each checkpoint, by id, base unit; None or missing where it isn't known.
        studies: repeatability study of the gauge behind a checkpoint, by its id.
    """
    known = studies or {}
    steps = {name: step for name, step in resolutions.items() if step is not None}
    rows = []
    for checkpoint in instrument.checkpoints:
        step = steps.get(checkpoint.id)
        if step is None or not checkpoint.kind.glued:
            rows.append(PlanRow(checkpoint, step, None))
            continue
        smallest = smallest_provable_shift(checkpoint, step, checkpoint.placements, known.get(checkpoint.id))
        better = better_checkpoint(instrument, checkpoint, steps, known)
        rows.append(PlanRow(checkpoint, step, smallest if math.isfinite(smallest) else None, better))
    return tuple(rows)
