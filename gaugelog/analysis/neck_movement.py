"""From two snapshots to how the neck moved, and what these checkpoints can't tell of it.

Here: which shifts enter the fit with what weight, and what is told of the outcome. Not here: the verdict of a single
checkpoint (`shift`), the fit itself (`movement`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from gaugelog.analysis.comparison import Gauges, moved_controls, read_by, shares_gauge, side_of
from gaugelog.analysis.consequences import consequences
from gaugelog.analysis.movement import DIRECTIONS, MovementFit, Observed, fit_movement
from gaugelog.analysis.results import Comparison, Moved, NeckMovement, Untold
from gaugelog.analysis.rules import CONFIDENCE, POWER
from gaugelog.analysis.sensing import LengthSensor, Sensor, SlopeSensor, TurnSensor
from gaugelog.analysis.sensors import ACROSS, ALONG, UP, Stand, sensor_of, stand_of
from gaugelog.analysis.shift import Side, budget_of
from gaugelog.analysis.student import t_quantile
from gaugelog.analysis.uncertainty import pool
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.placement import Snapshot
from gaugelog.model.quantities import Quantity

_NECK_ANGLE = "neck-angle"
_CORRELATED = 0.9
_BELIEVED_MM, _BELIEVED_DEG = 5.0, 1.0
_KNOWN_SHARE = 0.5
_STRAY_SPAN_MM = 60.0
_A_READING = {True: 0.05, False: 0.1}
"""Standard uncertainty of a checkpoint that is only thought of: an angle's in degrees, a length's in mm."""

BELIEFS = tuple(
    Observed(
        id=f"belief {name}",
        sensor=sensor,
        shift=0.0,
        is_angle=is_angle,
        scatter_variance=0.0,
        dof=math.inf,
        other_variance=(_BELIEVED_DEG if is_angle else _BELIEVED_MM) ** 2,
        pooled="believed",
    )
    for axis, name in ((ALONG, "x"), (ACROSS, "y"), (UP, "z"))
    for sensor, is_angle in ((LengthSensor((0.0, 0.0, 0.0), axis, axis, False), False), (TurnSensor(axis), True))
)
"""No neck is taken to move by more than about 10 mm or 2° under its clamps without being seen (common practice, no
source). So a yaw that one clearance feels a little doesn't hide whether two others agree."""


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
        return f"{self.before.gauge or 'typed'} / {self.checkpoint.quantity.value}"


def neck_movement(
    instrument: Instrument, before: Snapshot, after: Snapshot, comparison: Comparison, *, gauges: Gauges | None = None
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
    """
    read = _read(instrument, before, after, comparison, gauges or {})
    observed = _observed(read)
    if not observed:
        return None
    fit = fit_movement(observed, BELIEFS)
    limits = _limits(instrument)
    told = {name: _moved(fit, name, limits[name]) for name in DIRECTIONS}
    stand = _stand(instrument, before)
    missing = [name for name, moved in told.items() if moved is None]
    return NeckMovement(
        components=told,
        untold=_untold(fit, missing, observed, limits, stand),
        chi2=fit.adjustment.chi2,
        dof=fit.adjustment.dof,
        p=fit.p,
        residuals=fit.residuals,
        iterated=fit.rounds > 1,
        consequences=consequences(instrument, stand, fit),
    )


def _limits(instrument: Instrument) -> dict[str, float | None]:
    return {name: getattr(instrument.movement_limits, name) for name in DIRECTIONS}


def _stand(instrument: Instrument, before: Snapshot) -> Stand:
    """Return how the neck stood: at its neck angle as read before, else as wanted, else level."""
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
    stand = _stand(instrument, before)
    controls = moved_controls(instrument, before, after, comparison)
    found = []
    for checkpoint in instrument.checkpoints:
        sensor = sensor_of(checkpoint, stand)
        names = frozenset[str | None]().union(
            *(read_by(each) for snapshot in (before, after) for each in snapshot.of(checkpoint.id))
        )
        if sensor is None or any(shares_gauge(checkpoint, names, *control) for control in controls):
            continue
        sides = tuple(side_of(snapshot.of(checkpoint.id), gauges) for snapshot in (before, after))
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
            tuple(side.summary().sd or 0.0 for side in sides), tuple(len(side.values) - 1.0 for side in sides)
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


def _moved(fit: MovementFit, name: str, limit: float | None) -> Moved | None:
    """Return one movement, None where the readings don't tell it or only worse than its limit."""
    found = fit.component(name)
    if found is None or found.u > _worst(found.unit, limit):
        return None
    factor = float(t_quantile(CONFIDENCE, found.dof) + t_quantile(POWER, found.dof))
    return Moved(found.value, found.u, found.dof, found.unit, limit, factor * found.u)


def _worst(unit: str, limit: float | None) -> float:
    """Return the largest u with which a movement is told: its limit, and half of what was believed before reading."""
    believed = _KNOWN_SHARE * (_BELIEVED_DEG if unit == "deg" else _BELIEVED_MM)
    return believed if limit is None else min(limit, believed)


def _untold(
    fit: MovementFit,
    missing: Sequence[str],
    observed: Sequence[Observed],
    limits: Mapping[str, float | None],
    stand: Stand,
) -> tuple[Untold, ...]:
    """Return the movements that can't be told, those together that hide behind each other, and what would tell them."""
    left, groups = list(missing), []
    while left:
        group = [left.pop(0)]
        for name in [*left]:
            if any(_hide(fit, name, other) for other in group):
                group.append(name)
                left.remove(name)
        groups.append(tuple(group))
    return tuple(Untold(group, _what_would_tell(group, observed, limits, stand)) for group in groups)


def _hide(fit: MovementFit, one: str, other: str) -> bool:
    """Return whether two movements hide behind each other: what is known is known of both together."""
    first, second = (np.array(DIRECTIONS[name][0]) for name in (one, other))
    both = first @ fit.covariance @ first * (second @ fit.covariance @ second)
    return bool(abs(first @ fit.covariance @ second) > _CORRELATED * math.sqrt(both))


def _candidates(stand: Stand) -> list[tuple[str, list[tuple[Sensor, bool]]]]:
    """Return checkpoints that a builder could add, in words, with what each feels."""
    bridge = stand.bridge or (3.0 * _STRAY_SPAN_MM, 0.0, 15.0)
    end = stand.end or (_STRAY_SPAN_MM, 0.0, 8.0)
    half = (stand.spread or 50.0) / 2
    sides = [(bridge[0], sign * half, bridge[2]) for sign in (-1.0, 1.0)]
    found: list[tuple[str, list[tuple[Sensor, bool]]]] = [
        ("the centreline offset at the bridge", [(LengthSensor(bridge, ACROSS, ACROSS), False)]),
        ("the centreline offset at the fretboard's end", [(LengthSensor(end, ACROSS, ACROSS), False)]),
        ("the fretboard-end rise", [(LengthSensor(end, UP, UP, False), False)]),
        ("both fret-to-bridge clearances", [(LengthSensor(point, stand.normal, UP), False) for point in sides]),
        ("the neck angle", [(SlopeSensor(stand.along, ALONG), True)]),
        ("the neck roll", [(SlopeSensor(ACROSS, ACROSS), True)]),
    ]
    if stand.nut is not None and stand.bridge is not None:
        line = np.subtract(stand.nut, stand.bridge)
        x, y, z = (float(part) for part in line / np.linalg.norm(line))
        found.append(("the nut-to-saddle length", [(LengthSensor(stand.nut, (x, y, z), (x, y, z), False), False)]))
    return found


def _what_would_tell(
    group: Sequence[str], observed: Sequence[Observed], limits: Mapping[str, float | None], stand: Stand
) -> tuple[str, ...]:
    """Return the fewest checkpoints, in words, with which all of a group could be told; none if these don't do."""
    candidates = _candidates(stand)
    pairs = [(one, other) for i, one in enumerate(candidates) for other in candidates[i + 1 :]]
    for chosen in [*((each,) for each in candidates), *pairs]:
        extra = [
            replace(
                observed[0],
                id=f"{words} {place}",
                sensor=sensor,
                shift=0.0,
                is_angle=is_angle,
                scatter_variance=0.0,
                other_variance=_A_READING[is_angle] ** 2,
                dof=math.inf,
                pooled="thought of",
            )
            for words, sensors in chosen
            for place, (sensor, is_angle) in enumerate(sensors)
        ]
        fit = fit_movement([*(replace(each, shift=0.0) for each in observed), *extra], BELIEFS)
        if all(_is_enough(fit, name, limits[name]) for name in group):
            return tuple(words for words, _ in chosen)
    return ()


def _is_enough(fit: MovementFit, name: str, limit: float | None) -> bool:
    found = fit.component(name)
    return found is not None and found.u <= _worst(found.unit, limit)
