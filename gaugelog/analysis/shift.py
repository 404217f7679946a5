"""One checkpoint: its shift, the uncertainty of it, and the verdict.

Here: two sides of numbers in, one `CheckpointComparison` out. Not here: making sides from placements (`comparison`),
the wet check (`wet`), the sentences (`reasons`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gaugelog.analysis import rules
from gaugelog.analysis.conformity import probability_between
from gaugelog.analysis.describe import describe
from gaugelog.analysis.reasons import Facts, Why, rests_on, sentence
from gaugelog.analysis.results import CheckpointComparison, SideSummary, Verdict
from gaugelog.analysis.rules import LEAST_DOF, Outcome
from gaugelog.analysis.student import f_quantile, t_quantile
from gaugelog.analysis.uncertainty import NOISIER_LEVEL, Budget, SharedZero, Study, pool
from gaugelog.model.instrument import Checkpoint
from gaugelog.model.kinds import AFTER, BEFORE

MOST_PLACEMENTS = 999
_VERDICTS = {
    Outcome.HELD: Verdict.HELD,
    Outcome.MOVED: Verdict.MOVED,
    Outcome.NOT_PROVEN: Verdict.NOT_PROVEN,
}


@dataclass(frozen=True, slots=True)
class Side:
    """One stage of one checkpoint, in the base unit.

    `values` are the placements that have a value, `half_widths` half the width of each feeler pair among them,
    `bounds` counts one-sided values. `gauge` names what read them (None: typed), `mixed` says that more than one gauge
    did. `accuracy` is that gauge's limit of error, `study` what is known of how one placement of it repeats,
    `resolution` the step of one reading. `skipped` is the builder's reason where the checkpoint was left out.
    """

    values: tuple[float, ...]
    resolution: float
    half_widths: tuple[float, ...] = ()
    gauge: str | None = None
    accuracy: float | None = None
    bounds: int = 0
    mixed: bool = False
    skipped: str = ""
    study: Study | None = None

    def __post_init__(self) -> None:
        if self.values and not self.resolution > 0:
            raise ValueError("the step of a reading is above 0")

    @property
    def step(self) -> float:
        """The step that counts: a feeler pair is a reading with a step of its whole width (w²/3 = (2w)²/12)."""
        return max(self.resolution, *(2 * width for width in self.half_widths), 0.0)

    @property
    def n(self) -> int:
        """Placements on this side, one-sided ones included."""
        return len(self.values) + self.bounds

    def summary(self) -> SideSummary:
        """Return mean, count and standard deviation; a side with a one-sided value has no mean."""
        if self.bounds:
            return SideSummary(None, self.n, None)
        told = describe(self.values)
        return SideSummary(told.mean, told.n, told.sd)


def pooled_over(checkpoint: Checkpoint, side: Side) -> str:
    """Return the name of what a checkpoint's scatter is pooled over: one gauge and quantity.

    Typed values don't name their gauge: those read to one step, such as a feeler's, are taken for one's.
    """
    gauge = side.gauge or f"typed to {checkpoint.step}"
    return f"{gauge} / {checkpoint.quantity.value}"


def common_study(sides: Sequence[Side]) -> Study | None:
    """Return how a placement of these repeats by the gauges' studies: of the worst where they differ, None if unknown.

    They differ where one checkpoint is read body, then neck, and another by one reading.
    """
    studies = [side.study for side in sides]
    known = [each for each in studies if each is not None]
    return max(known, key=lambda each: each.sd) if known and len(known) == len(studies) else None


def other_gauge(before: Side, after: Side) -> bool:
    """Return whether gauge errors no longer cancel: another gauge after than before, or several within one stage."""
    return before.gauge != after.gauge or before.mixed or after.mixed


def budget_of(
    before: Side,
    after: Side,
    readings: int,
    study: Study | None = None,
    zero: SharedZero | None = None,
    accuracies: bool = False,
) -> Budget:
    """Return the budget of a shift between two sides that both have values.

    A gauge's limit of error a counts as rectangular, a²/3 for each of the k readings of a placement (GUM 4.3.7), and
    only where errors don't cancel: another gauge read the one stage, or `accuracies` says so.
    """
    sides = (before, after)
    scatter = pool(
        tuple(describe(side.values).sd or 0.0 for side in sides), tuple(len(side.values) - 1.0 for side in sides), study
    )
    accuracy = 0.0
    if accuracies or other_gauge(before, after):
        accuracy = readings * sum((side.accuracy or 0.0) ** 2 for side in sides) / 3
    step = max(side.step for side in sides)
    return Budget(scatter, len(before.values), len(after.values), step, readings, accuracy, zero)


def noisier_stage(before: Side, after: Side, stages: tuple[str, str]) -> str | None:
    """Return the stage whose placements scatter clearly more than the other's, None where neither does.

    Formula: the ratio of their variances exceeds F_0.95(ν_1, ν_2), with no variance taken below that of a digit, r²/12.
    Source: F test for equality of two variances, NIST/SEMATECH e-Handbook 1.3.5.9.

    When this is wrong: three placements tell only very unequal stages apart; None doesn't say that they scatter alike.
    """
    told = [describe(side.values) for side in (before, after)]
    if any(each.sd is None for each in told):
        return None
    floor = max(before.step, after.step) ** 2 / 12
    variances = [max((each.sd or 0.0) ** 2, floor) for each in told]
    loud = int(variances[1] > variances[0])
    quiet = 1 - loud
    ratio = f_quantile(NOISIER_LEVEL, told[loud].n - 1.0, told[quiet].n - 1.0)
    return stages[loud] if variances[loud] > ratio * variances[quiet] else None


@dataclass(frozen=True, slots=True)
class WayOut:
    """What would settle a "not proven": so many placements more after, or, where none would, what bars it."""

    why: Why
    more: int | None = None


def way_out(budget: Budget, shift: float, limit: float) -> WayOut:
    """Return what would settle a shift that is not proven.

    The smallest k for which the rule of `rules.judge` would settle it at the same shift and scatter, with
    u_k² = s² (1/n_b + 1/(n_a + k)) + the rest and k degrees of freedom more. Before is frozen once the glue is on, so
    where no k does, either the placements before, the accuracies of two gauges, or the digit bar it.

    When this is wrong: the next placements will not fall exactly where the last ones did; it is a fair guess at the
    work, not a promise.
    """

    def settles(more: float, scatter_share: float = 1.0, before_known: bool = False, exact: bool = False) -> bool:
        basis = replace(budget, accuracy_variance=0.0) if exact else budget
        found = basis.evaluate(more, scatter_share=scatter_share, before_known=before_known)
        return bool(rules.judge(shift, found.u, found.dof, limit, budget.step) != Outcome.NOT_PROVEN)

    counts = np.arange(1, MOST_PLACEMENTS + 1)
    found = budget.evaluate(counts)
    settled = np.flatnonzero(rules.judge(shift, found.u, found.dof, limit, budget.step) != Outcome.NOT_PROVEN)
    if settled.size:
        return WayOut(Why.MORE_AFTER, int(counts[settled[0]]))
    if settles(math.inf, before_known=True):
        return WayOut(Why.BEFORE_BARS)
    if budget.accuracy_variance and settles(math.inf, scatter_share=0.0, exact=True):
        return WayOut(Why.ACCURACY_BARS)
    if limit < budget.step:
        return WayOut(Why.LIMIT_BELOW_STEP)
    return WayOut(Why.STEP_BARS)


def _barred(before: Side, after: Side) -> Why | None:
    """Return why there can be no shift at all, None where there can."""
    if before.n == 0:
        return Why.UNREAD_BOTH if after.n == 0 else Why.UNREAD_BEFORE
    if after.n == 0:
        return Why.UNREAD_AFTER
    if before.bounds or after.bounds:
        return Why.ONE_SIDED
    return None


def _unjudged(checkpoint: Checkpoint, before: Side, after: Side, dof: float) -> Why | None:
    """Return why a shift that is known gets no verdict, None where it gets one."""
    if checkpoint.limit is None:
        return Why.NO_LIMIT if checkpoint.kind.glued else Why.ONLY_TOLD
    if other_gauge(before, after) and (before.accuracy is None or after.accuracy is None):
        return Why.OTHER_GAUGE
    if dof < LEAST_DOF:
        return Why.TOO_FEW
    return None


def compare_checkpoint(
    checkpoint: Checkpoint,
    before: Side,
    after: Side,
    *,
    study: Study | None = None,
    zero: SharedZero | None = None,
    warmer_degc: float | None = None,
    stages: tuple[str, str] = (BEFORE, AFTER),
) -> CheckpointComparison:
    """Return what one checkpoint says of one stage against another.

    Formula: Δ = mean(after) - mean(before); u and ν as `Budget.evaluate`; expanded U = t_(0.975, ν) u; the verdict as
    `rules.judge`. No verdict while the pooled degrees of freedom of the placements are below 4 (three placements on
    each side, or a study of the gauge), for one-sided values, for another gauge after than before whose accuracy is
    not known, and without a movement limit.
    Source: GUM (JCGM 100:2008) 5.1.2, F.2.2.1, G.4.1; JCGM 106:2012.

    When this is wrong: the spot wasn't the same (tape round the gauge's feet), the body was read warm before and cold
    after, or the gauge itself changed, which only a control checkpoint tells. Measured error rates: docs/methods.md.

    Args:
        checkpoint: the plan's checkpoint; its limit in the base unit.
        before: the stage compared from.
        after: the stage compared to.
        study: repeatability study of the gauge that read both sides.
        zero: a zero set once a stage, where the checkpoint is read on one.
        warmer_degc: by how much the workshop was warmer at the second stage, None where that is too little to count.
            The gauges' limits of error then enter although one gauge read both sides; where they are not known, the
            reason says that they were not counted.
        stages: the two stages' names, for the sentences.
    """
    facts = Facts(checkpoint, n_before=before.n, n_after=after.n, gauges=(before.gauge, after.gauge), stages=stages)
    empty = CheckpointComparison(
        checkpoint.id,
        checkpoint.kind.slug,
        checkpoint.quantity,
        before.summary(),
        after.summary(),
        max(before.step, after.step),
        checkpoint.readings_per_placement,
        checkpoint.limit,
        shift=None,
        u=None,
        dof=None,
        expanded_95=None,
        p_within=None,
        verdict=Verdict.NO_VERDICT,
        reason="",
        counts=checkpoint.kind.glued and checkpoint.limit is not None,
    )
    barred = _barred(before, after)
    if barred is not None:
        skipped = before.skipped if before.n == 0 else after.skipped
        return replace(empty, reason=sentence(barred, replace(facts, skipped=skipped)))

    budget = budget_of(before, after, checkpoint.readings_per_placement, study, zero, warmer_degc is not None)
    shift = _mean(after) - _mean(before)
    missing = math.ceil(LEAST_DOF - budget.scatter.dof)
    facts = replace(
        facts,
        shift=shift,
        step=budget.step,
        more=max(missing, 1),
        scatter=budget.scatter.sd,
        noisier=noisier_stage(before, after, stages),
        other_gauge=other_gauge(before, after),
        warmer_degc=warmer_degc if checkpoint.kind.glued else None,
        accuracy_known=before.accuracy is not None and after.accuracy is not None,
    )
    unjudged = _unjudged(checkpoint, before, after, budget.scatter.dof)
    if budget.scatter.dof <= 0 or unjudged is Why.OTHER_GAUGE:
        return replace(empty, shift=shift, reason=sentence(unjudged or Why.TOO_FEW, facts))
    found = budget.evaluate()
    u, dof = float(found.u), float(found.dof)
    told = replace(empty, shift=shift, u=u, dof=dof, expanded_95=float(t_quantile(0.975, dof)) * u)
    if unjudged is not None or checkpoint.limit is None:
        return replace(told, reason=sentence(unjudged or Why.NO_LIMIT, facts))
    return _judged(told, budget, checkpoint.limit, facts)


def _mean(side: Side) -> float:
    """Return the mean of a side that has values."""
    mean = describe(side.values).mean
    if mean is None:
        raise ValueError("a side without values has no mean")
    return mean


def _judged(told: CheckpointComparison, budget: Budget, limit: float, facts: Facts) -> CheckpointComparison:
    """Return the comparison with its verdict, given that it may have one."""
    if told.shift is None or told.u is None or told.dof is None:
        raise ValueError("a verdict needs a shift with its uncertainty")
    outcome = Outcome(int(rules.judge(told.shift, told.u, told.dof, limit, budget.step)))
    way = WayOut(Why.HELD if outcome is Outcome.HELD else Why.MOVED)
    if outcome is Outcome.NOT_PROVEN:
        way = way_out(budget, told.shift, limit)
    return replace(
        told,
        p_within=float(probability_between(told.shift, told.u, -limit, limit, told.dof)),
        verdict=_VERDICTS[outcome],
        reason=sentence(way.why, replace(facts, more=way.more)),
        rests_on=rests_on(way.why, facts),
        more_placements=way.more,
        smallest_provable=float(rules.smallest_provable(told.u, told.dof, budget.step)),
    )
