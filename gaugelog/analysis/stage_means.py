"""What one stage says of each checkpoint: its mean, and how sure that mean is as a value.

Here: absolute values before the glue, with everything that makes them uncertain. Not here: differences between two
stages, in which a gauge's own errors cancel (`shift`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from gaugelog.analysis.comparison import Gauges, side_of
from gaugelog.analysis.shift import Side
from gaugelog.analysis.uncertainty import Scatter, Study, Term, combine, pool
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.placement import Snapshot


@dataclass(frozen=True, slots=True)
class StageMean:
    """The mean of one checkpoint at one stage, in its base unit.

    `u` is its standard uncertainty as a value, with `dof` degrees of freedom, `u_again` that part of it in which the
    same gauge reading again may differ; `scatter` is that of one placement, pooled over what its gauge read; `step` is
    one digit.
    """

    checkpoint: Checkpoint
    value: float
    u: float
    u_again: float
    dof: float
    n: int
    step: float
    scatter: Scatter


def stage_means(instrument: Instrument, snapshot: Snapshot, gauges: Gauges | None = None) -> dict[str, StageMean]:
    """Return the mean of every checkpoint that a snapshot read with values, by id; bounds have no mean.

    Formula: u² = s²/n + k (r²/12 + a²/3), k the readings in one placement, r the step, a the limit of error of the
    gauge where it is known. s is the checkpoint's own scatter, pooled with that of the others of the same gauge and
    quantity, and with the gauge's study, unless it is clearly larger than theirs (`uncertainty.pool`). Typed values
    don't name their gauge: those of another step count as another's. Where nothing was read twice, s is half a step.
    Source: GUM (JCGM 100:2008) 4.3.7 (limits of error), 5.1.2, F.2.2.1 (a digit), G.4.1.

    When this is wrong: a gauge out of its limit of error, or whose limit isn't known (a typed value has none); a body
    and a neck read by one gauge share its error, which then cancels in part, and u is too large.

    Args:
        instrument: the plan.
        snapshot: of one stage.
        gauges: what is known of each gauge, by what `comparison.read_by` names it.
    """
    sides = {
        each.id: (each, side_of(snapshot.of(each.id), gauges, readings=each.readings_per_placement))
        for each in instrument.checkpoints
    }
    read = {name: found for name, found in sides.items() if found[1].values and not found[1].bounds}
    return {name: _mean(checkpoint, side, read) for name, (checkpoint, side) in read.items()}


def _mean(checkpoint: Checkpoint, side: Side, read: Mapping[str, tuple[Checkpoint, Side]]) -> StageMean:
    told = side.summary()
    if told.mean is None:
        raise ValueError("a side without values has no mean")
    scatter = _scatter(checkpoint, side, read)
    readings = checkpoint.readings_per_placement
    again = [Term(scatter.sd**2 / told.n, scatter.dof), Term(readings * side.step**2 / 12)]
    found = combine([*again, Term(readings * (side.accuracy or 0.0) ** 2 / 3)])
    u_again = float(combine(again).u)
    return StageMean(checkpoint, told.mean, float(found.u), u_again, float(found.dof), told.n, side.step, scatter)


def _scatter(checkpoint: Checkpoint, side: Side, read: Mapping[str, tuple[Checkpoint, Side]]) -> Scatter:
    """Return the scatter of one placement: its own, and the others' where they are alike; half a step where none is."""
    alike = [
        other.summary()
        for point, other in read.values()
        if point.id != checkpoint.id and point.quantity is checkpoint.quantity and _same_gauge(side, other)
    ]
    others = pool(tuple(each.sd or 0.0 for each in alike), tuple(each.n - 1.0 for each in alike), side.study)
    study = Study(others.sd, others.dof) if others.dof > 0 else None
    found = pool((side.summary().sd or 0.0,), (len(side.values) - 1.0,), study)
    return found if found.dof > 0 else Scatter(side.step / 2, math.inf)


def _same_gauge(one: Side, other: Side) -> bool:
    """Return whether one gauge read both; typed values of the same step are taken for one's."""
    typed = one.gauge is None and other.gauge is None
    return one.resolution == other.resolution if typed else one.gauge == other.gauge
