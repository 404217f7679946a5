"""What a snapshot that was taken before the glue will be able to prove afterwards.

Here: for each checkpoint and each movement of the neck, the smallest one that the same readings after the glue will
prove, from the scatter that they really had. Not here: the same from the plan alone, before any reading (`plan`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gaugelog.analysis import rules
from gaugelog.analysis.comparison import Gauges, side_of
from gaugelog.analysis.movement import DIRECTIONS, Observed, fit_movement
from gaugelog.analysis.neck_movement import stand_before
from gaugelog.analysis.results import Moved, Untold
from gaugelog.analysis.sensing import Sensor
from gaugelog.analysis.sensors import sensor_of
from gaugelog.analysis.shift import Side, common_study, pooled_over
from gaugelog.analysis.stage_means import StageMean
from gaugelog.analysis.telling import BELIEFS, movement_limits, told_movement, untold_movements
from gaugelog.analysis.uncertainty import Budget, Scatter, pool
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.kinds import AFTER
from gaugelog.model.placement import Snapshot
from gaugelog.model.quantities import Quantity


@dataclass(frozen=True, slots=True)
class Foresight:
    """What will be provable: by checkpoint id in its base unit, by movement; None where nothing can be."""

    checkpoints: Mapping[str, float | None]
    movements: Mapping[str, Moved | None]
    untold: tuple[Untold, ...]


def foresee(
    instrument: Instrument, before: Snapshot, means: Mapping[str, StageMean], gauges: Gauges | None = None
) -> Foresight:
    """Return what a snapshot will be able to prove if the same checkpoints are read after the glue as planned.

    Formula: `rules.smallest_provable` with the scatter of the placements taken and the number planned for after, the
    step, and degrees of freedom n_b + n_a - 2; for the movements the covariance of `movement.fit_movement` with those
    readings, u and degrees of freedom as it gives them.

    When this is wrong: placements after that scatter more than those before; three placements are a poor guess at a
    scatter, so it is pooled over what the same gauge read. Simulated power: docs/methods.md.

    Args:
        instrument: the plan.
        before: the snapshot.
        means: of that snapshot.
        gauges: what is known of each gauge, by what `comparison.read_by` names it.
    """
    later = {each.id for each in instrument.at_stage(AFTER)}
    read = [each for each in instrument.checkpoints if each.id in means and each.id in later and each.kind.glued]
    observed = _observed(read, instrument, before, gauges)
    provable = {each.id: _provable(each, means[each.id], _side(each, before, gauges)) for each in read}
    limits = movement_limits(instrument)
    stand = stand_before(instrument, before)
    if not observed:
        return Foresight(provable, dict.fromkeys(DIRECTIONS), (Untold(tuple(DIRECTIONS), ()),))
    fit = fit_movement(observed, BELIEFS)
    told = {name: told_movement(fit, name, limits[name]) for name in DIRECTIONS}
    missing = [name for name, moved in told.items() if moved is None]
    return Foresight(provable, told, untold_movements(fit, missing, observed, limits, stand))


def _provable(checkpoint: Checkpoint, mean: StageMean, side: Side) -> float | None:
    """Return the smallest limit that will be provable, None where there will be no verdict."""
    after = checkpoint.wanted_at(AFTER)
    dof = mean.n + after - 2.0
    if dof < rules.LEAST_DOF or (side.mixed and side.accuracy is None):
        return None
    found = _budget(checkpoint, side, Scatter(mean.scatter.sd, dof)).evaluate()
    return float(rules.smallest_provable(found.u, found.dof, mean.step))


def _side(checkpoint: Checkpoint, before: Snapshot, gauges: Gauges | None) -> Side:
    return side_of(before.of(checkpoint.id), gauges, readings=checkpoint.readings_per_placement)


def _budget(checkpoint: Checkpoint, side: Side, scatter: Scatter) -> Budget:
    """Return the budget of the shift to come; where several gauges read before, their limits of error won't cancel."""
    readings = checkpoint.readings_per_placement
    accuracy = 2 * readings * (side.accuracy or 0.0) ** 2 / 3 if side.mixed else 0.0
    return Budget(scatter, side.n, checkpoint.wanted_at(AFTER), side.step, readings, accuracy)


def _observed(
    read: Sequence[Checkpoint], instrument: Instrument, before: Snapshot, gauges: Gauges | None
) -> list[Observed]:
    """Return the shifts as they will be read: none of them, with the weights that they will have."""
    stand = stand_before(instrument, before)
    groups: dict[str, list[tuple[Checkpoint, Side, Sensor]]] = {}
    for checkpoint in read:
        side, sensor = _side(checkpoint, before, gauges), sensor_of(checkpoint, stand)
        if sensor is not None:
            groups.setdefault(pooled_over(checkpoint, side), []).append((checkpoint, side, sensor))
    observed = []
    for name, group in groups.items():
        sides = [side.summary() for _, side, _ in group]
        study = common_study([side for _, side, _ in group])
        scatter = pool(tuple(each.sd or 0.0 for each in sides), tuple(each.n - 1.0 for each in sides), study)
        dof = scatter.dof + sum(checkpoint.wanted_at(AFTER) - 1.0 for checkpoint, _, _ in group)
        if dof <= 0:
            continue
        for checkpoint, side, sensor in group:
            sd = scatter.sd if scatter.dof > 0 else side.step / 2
            budget = _budget(checkpoint, side, Scatter(sd, dof))
            observed.append(
                Observed(
                    id=checkpoint.id,
                    sensor=sensor,
                    shift=0.0,
                    is_angle=checkpoint.quantity is Quantity.ANGLE,
                    scatter_variance=sd**2 * (1 / budget.n_before + 1 / budget.n_after),
                    dof=dof,
                    other_variance=budget.step_variance + budget.accuracy_variance,
                    pooled=name,
                )
            )
    return observed
