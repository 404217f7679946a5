"""From two snapshots to how the neck moved, and what these checkpoints can't tell of it.

Here: which shifts enter the fit with what weight, and what is told of the outcome. Not here: the verdict of a single
checkpoint (`shift`), the fit itself (`movement`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from gaugelog.analysis.comparison import Gauges, moved_controls, read_by, shares_gauge, side_of
from gaugelog.analysis.consequences import consequences
from gaugelog.analysis.movement import DIRECTIONS, Observed, fit_movement
from gaugelog.analysis.results import Comparison, NeckMovement
from gaugelog.analysis.sensing import Sensor
from gaugelog.analysis.sensors import Stand, sensor_of, stand_of
from gaugelog.analysis.shift import Side, budget_of, common_study, pooled_over
from gaugelog.analysis.telling import BELIEFS, movement_limits, told_movement, untold_movements
from gaugelog.analysis.uncertainty import pool
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.placement import Snapshot
from gaugelog.model.quantities import Quantity

_NECK_ANGLE = "neck-angle"


@dataclass(frozen=True, slots=True)
class _Read:
    """One checkpoint that both stages read: its sides and what it feels."""

    checkpoint: Checkpoint
    before: Side
    after: Side
    sensor: Sensor

    @property
    def pooled(self) -> str:
        """What its scatter is pooled over: the gauge that read it, and the quantity."""
        return pooled_over(self.checkpoint, self.before)


def neck_movement(
    instrument: Instrument,
    before: Snapshot,
    after: Snapshot,
    comparison: Comparison,
    *,
    gauges: Gauges | None = None,
    standing: Mapping[str, Estimate] | None = None,
) -> NeckMovement | None:
    """Return how the neck moved between two snapshots, None where no checkpoint that both read feels the neck.

    Weights come from one scatter for each gauge and quantity, pooled over all its checkpoints; digits and accuracies as
    for a single shift. What a gauge read whose control moved is left out. A movement is told only where the checkpoints
    feel it and its u is not above its limit; `untold` says of the others which can't be told apart, and which
    checkpoint would tell them.

    When this is wrong: a neck or a body that bent; a bridge or saddles touched between the stages; a checkpoint read at
    another spot. The fit's p and the misfits tell of these only where checkpoints check each other.

    Args:
        instrument: the plan, with its geometry.
        before: the snapshot compared from.
        after: the snapshot compared to.
        comparison: of the same two.
        gauges: what is known of each gauge, by what `comparison.read_by` names it.
        standing: figures of the neck before, by the names of `neck_figures.FIGURES`, where its readings tell them.
    """
    read = _read(instrument, before, after, comparison, gauges or {})
    observed = _observed(read)
    if not observed:
        return None
    fit = fit_movement(observed, BELIEFS)
    limits = movement_limits(instrument)
    told = {name: told_movement(fit, name, limits[name]) for name in DIRECTIONS}
    stand = stand_before(instrument, before, standing)
    missing = [name for name, moved in told.items() if moved is None]
    return NeckMovement(
        components=told,
        untold=untold_movements(fit, missing, observed, limits, stand),
        chi2=fit.adjustment.chi2,
        dof=fit.adjustment.dof,
        p=fit.p,
        residuals=fit.residuals,
        iterated=fit.rounds > 1,
        consequences=consequences(instrument, stand, fit, standing),
    )


def stand_before(instrument: Instrument, before: Snapshot, standing: Mapping[str, Estimate] | None = None) -> Stand:
    """Return how the neck stood: as its readings together tell, else at its neck angle as read, as wanted, or level."""
    figures = standing or {}
    if "neck_angle" in figures:
        height = figures.get("plane_height")
        return stand_of(instrument, figures["neck_angle"].value, None if height is None else height.value)
    for checkpoint in instrument.checkpoints:
        if checkpoint.kind.slug == _NECK_ANGLE:
            mean = side_of(before.of(checkpoint.id)).summary().mean
            angle_deg = mean if mean is not None else checkpoint.nominal
            if angle_deg is not None and abs(angle_deg) < 45:
                return stand_of(instrument, angle_deg)
    return stand_of(instrument, 0.0)


def _read(
    instrument: Instrument, before: Snapshot, after: Snapshot, comparison: Comparison, gauges: Gauges
) -> list[_Read]:
    """Return the checkpoints that feel the neck, that both stages read with values, and whose gauge can be trusted."""
    stand = stand_before(instrument, before)
    controls = moved_controls(instrument, before, after, comparison)
    found = []
    for checkpoint in instrument.checkpoints:
        sensor = sensor_of(checkpoint, stand)
        names = frozenset[str | None]().union(
            *(read_by(each) for snapshot in (before, after) for each in snapshot.of(checkpoint.id))
        )
        if sensor is None or any(shares_gauge(checkpoint, names, *control) for control in controls):
            continue
        readings = checkpoint.readings_per_placement
        sides = tuple(side_of(each.of(checkpoint.id), gauges, readings=readings) for each in (before, after))
        if all(side.values and not side.bounds for side in sides):
            found.append(_Read(checkpoint, sides[0], sides[1], sensor))
    return found


def _observed(read: Sequence[_Read]) -> list[Observed]:
    """Return the shifts with their weights; what has no scatter to go by, alone or with others, is left out."""
    groups: dict[str, list[_Read]] = {}
    for each in read:
        groups.setdefault(each.pooled, []).append(each)
    observed = []
    for name, group in groups.items():
        sides = [side for each in group for side in (each.before, each.after)]
        scatter = pool(
            tuple(side.summary().sd or 0.0 for side in sides),
            tuple(len(side.values) - 1.0 for side in sides),
            common_study(sides),
        )
        if scatter.dof <= 0:
            continue
        for each in group:
            budget = budget_of(each.before, each.after, each.checkpoint.readings_per_placement)
            shift = float(np.mean(each.after.values) - np.mean(each.before.values))
            observed.append(
                Observed(
                    id=each.checkpoint.id,
                    sensor=each.sensor,
                    shift=shift,
                    is_angle=each.checkpoint.quantity is Quantity.ANGLE,
                    scatter_variance=scatter.sd**2 * (1 / budget.n_before + 1 / budget.n_after),
                    dof=scatter.dof,
                    other_variance=budget.step_variance + budget.accuracy_variance,
                    pooled=name,
                )
            )
    return observed
