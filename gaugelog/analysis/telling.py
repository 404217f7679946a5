"""What a set of checkpoints can tell of a neck's movement, and what would tell the rest.

Here: when a movement counts as told, which ones hide behind each other, and the checkpoint that would part them. Not
here: the readings (`neck_movement`), what could be proven beforehand (`foresight`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from gaugelog.analysis.movement import DIRECTIONS, MovementFit, Observed, fit_movement
from gaugelog.analysis.results import Moved, Untold
from gaugelog.analysis.rules import CONFIDENCE, POWER
from gaugelog.analysis.sensing import LengthSensor, Sensor, SlopeSensor, TurnSensor
from gaugelog.analysis.sensors import ACROSS, ALONG, UP, Stand
from gaugelog.analysis.student import t_quantile
from gaugelog.model.instrument import Instrument

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


def movement_limits(instrument: Instrument) -> dict[str, float | None]:
    """Return the limit of each movement, in its own unit, None where the file sets none."""
    return {name: getattr(instrument.movement_limits, name) for name in DIRECTIONS}


def told_movement(fit: MovementFit, name: str, limit: float | None) -> Moved | None:
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


def untold_movements(
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
