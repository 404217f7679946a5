"""May the glue be opened: the gate before the step that can't be undone.

Here: every checkpoint against its tolerance, the bearing against the bridge's travel, what the snapshot will be able
to prove, and the answer with its reasons. Not here: the words of the reasons (`show`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from gaugelog.analysis import rules
from gaugelog.analysis.comparison import Gauges
from gaugelog.analysis.conformity import probability_at_least, probability_at_most, probability_between
from gaugelog.analysis.foresight import Foresight, foresee
from gaugelog.analysis.neck_setting import NeckSetting
from gaugelog.analysis.neckset import SIDES
from gaugelog.analysis.stage_means import StageMean
from gaugelog.analysis.tolerance import placements_out_by
from gaugelog.analysis.trusted import trusted
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.placement import Snapshot

CONFORMS = 0.95


class Ground(Enum):
    """Why it is not ready, or what is to be known although it is."""

    UNREAD = "a checkpoint with a tolerance was not read"
    SKIPPED = "a checkpoint with a tolerance was skipped"
    OUT = "out of its tolerance"
    UNSURE = "in its tolerance, but not with 95 %"
    BOUND = "only a bound was read, which leaves it open"
    MUST_PROVE = "its limit must be proven, and can't be"
    CANNOT_PROVE = "its limit can't be proven"
    BEARING_OUT = "the strings have to bear outside the bridge's travel less the reserve"
    BEARING_UNSURE = "the bearing is inside the travel less the reserve, but not with 95 %"
    BEARING_UNKNOWN = "where the strings have to bear isn't known"
    MISFIT = "a reading contradicts the others"
    BREAK = "the strings bend too little over the saddle"


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that bars, or is to be known. `about` names a checkpoint, a movement or a side."""

    ground: Ground
    about: str
    bars: bool
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CheckpointReady:
    """One checkpoint before the glue, in its base unit.

    `p_conform` is the probability that its value lies in its tolerance, None where it has none or wasn't read so that
    this can be told; `out_by` by how much its mean is out. `smallest_provable` is the smallest limit that will be
    provable of it after the glue.
    """

    checkpoint: Checkpoint
    mean: StageMean | None
    p_conform: float | None
    out_by: float | None
    smallest_provable: float | None

    @property
    def can_prove(self) -> bool:
        """Whether its limit will be provable."""
        limit = self.checkpoint.limit
        if limit is None or self.smallest_provable is None:
            return False
        return self.smallest_provable <= limit * (1 + rules.TOLERANCE_IN_STEPS)


@dataclass(frozen=True, slots=True)
class Readiness:
    """Whether the glue may be opened, and why not; `reasons` holds what bars first, then what is to be known."""

    stage: str
    checkpoints: tuple[CheckpointReady, ...]
    setting: NeckSetting
    foresight: Foresight
    p_bearing: Mapping[str, float]
    reasons: tuple[Reason, ...]

    @property
    def ready(self) -> bool:
        """Whether nothing bars."""
        return not any(reason.bars for reason in self.reasons)


def readiness(
    instrument: Instrument,
    snapshot: Snapshot,
    means: Mapping[str, StageMean],
    setting: NeckSetting,
    gauges: Gauges | None = None,
) -> Readiness:
    """Return whether the glue may be opened.

    Ready: every checkpoint of the stage that has a tolerance conforms to it with a probability of at least 95 %, and
    the strings bear within the bridge's travel less the builder's reserve. A limit that won't be provable is told, and
    bars where the checkpoint says that it must be proven.
    Source: probability of conformance, JCGM 106:2012, clause 7.

    When this is wrong: a reading that is wrong as a whole; that shows only where others contradict it.

    Args:
        instrument: the plan.
        snapshot: the readings before the glue.
        means: of that snapshot.
        setting: how the neck stands by them.
        gauges: what is known of each gauge, by what `comparison.read_by` names it.
    """
    foresight = foresee(instrument, snapshot, means, gauges)
    rows = tuple(
        _checkpoint(checkpoint, snapshot, means.get(checkpoint.id), foresight)
        for checkpoint in instrument.at_stage(snapshot.stage)
    )
    p_bearing = {side: p for side in SIDES if (p := _p_bearing(instrument, setting, side)) is not None}
    reasons = [reason for row in rows for reason in _of_checkpoint(row, snapshot)]
    reasons += _of_bearing(instrument, setting, p_bearing)
    reasons += _of_movements(instrument, foresight)
    reasons += _of_misfits(instrument, setting, means)
    bend, least = setting.figure("break_angle"), instrument.bridge.least_break_angle
    if bend is not None and least is not None and bend.value < least:
        reasons.append(Reason(Ground.BREAK, "break_angle", False))
    ordered = sorted(reasons, key=lambda reason: not reason.bars)
    return Readiness(snapshot.stage, rows, setting, foresight, p_bearing, tuple(ordered))


def _checkpoint(
    checkpoint: Checkpoint, snapshot: Snapshot, mean: StageMean | None, foresight: Foresight
) -> CheckpointReady:
    placements = snapshot.of(checkpoint.id)
    out = placements_out_by(checkpoint, placements) if placements else None
    tolerance = checkpoint.tolerance
    p: float | None = None
    if tolerance is not None and mean is not None:
        p = p_conform(Estimate(mean.value, mean.u, "", mean.dof), tolerance.low, tolerance.high)
    elif tolerance is not None and out is not None:
        p = 1.0 if out == 0 else 0.0
    return CheckpointReady(checkpoint, mean, p, out, foresight.checkpoints.get(checkpoint.id))


def p_conform(estimate: Estimate, low: float | None, high: float | None) -> float:
    """Return the probability that what was estimated lies from `low` to `high`, an open end being None.

    Raises:
        ValueError: the estimate's uncertainty is not above 0.
    """
    value, u, dof = estimate.value, estimate.u, estimate.dof
    if low is not None and high is not None:
        return float(probability_between(value, u, low, high, dof))
    if high is not None:
        return float(probability_at_most(value, u, high, dof))
    return float(probability_at_least(value, u, -math.inf if low is None else low, dof))


def _p_bearing(instrument: Instrument, setting: NeckSetting, side: str) -> float | None:
    """Return the probability that a side bears within the travel less the reserve, None where that isn't known."""
    needed = setting.figure(f"required_bearing.{side}")
    bridge = instrument.bridge
    if needed is None or bridge.bearing_low is None or bridge.bearing_high is None:
        return None
    reserve = bridge.travel_reserve or 0.0
    low, high = bridge.bearing_low + reserve, bridge.bearing_high - reserve
    if needed.u <= 0:
        return float(low <= needed.value <= high)
    return p_conform(needed, low, high)


def _of_checkpoint(row: CheckpointReady, snapshot: Snapshot) -> list[Reason]:
    point = row.checkpoint
    found = []
    if point.tolerance is not None and (row.p_conform is None or row.p_conform < CONFORMS):
        skipped = next((skip.reason for skip in reversed(snapshot.skips) if skip.checkpoint == point.id), None)
        if row.p_conform is not None:
            found.append(Reason(Ground.OUT if row.out_by else Ground.UNSURE, point.id, True))
        elif snapshot.of(point.id):
            found.append(Reason(Ground.BOUND, point.id, True))
        elif skipped is not None:
            found.append(Reason(Ground.SKIPPED, point.id, True, (skipped,)))
        else:
            found.append(Reason(Ground.UNREAD, point.id, True))
    said = bool(found) and row.mean is None and not point.must_prove
    if point.kind.glued and point.limit is not None and not row.can_prove and not said:
        ground = Ground.MUST_PROVE if point.must_prove else Ground.CANNOT_PROVE
        found.append(Reason(ground, point.id, point.must_prove))
    return found


def _of_bearing(instrument: Instrument, setting: NeckSetting, p_bearing: Mapping[str, float]) -> list[Reason]:
    bridge = instrument.bridge
    if len(p_bearing) < len(SIDES) or bridge.bearing_low is None or bridge.bearing_high is None:
        needed = [
            key
            for keys in (setting.missing.get("required_bearing", ()), setting.missing.get("travel", ()))
            for key in keys
        ]
        return [Reason(Ground.BEARING_UNKNOWN, "bearing", True, tuple(dict.fromkeys(needed)))]
    reserve = bridge.travel_reserve or 0.0
    found = []
    for side in SIDES:
        value = setting.figures[f"required_bearing.{side}"].value
        if not bridge.bearing_low + reserve <= value <= bridge.bearing_high - reserve:
            found.append(Reason(Ground.BEARING_OUT, side, True))
        elif p_bearing[side] < CONFORMS:
            found.append(Reason(Ground.BEARING_UNSURE, side, False))
    return found


def _of_misfits(instrument: Instrument, setting: NeckSetting, means: Mapping[str, StageMean]) -> list[Reason]:
    """Return what contradicts the others; what merely seems to, because of another one that does, isn't named."""
    sound = trusted(instrument, setting, means)
    alike = {each.id: each.alike for each in setting.residuals}
    names = [*sound.left_out, *(each.id for each in sound.setting.misfits)]
    return [Reason(Ground.MISFIT, name, False, alike.get(name, ())) for name in names]


def _of_movements(instrument: Instrument, foresight: Foresight) -> list[Reason]:
    """Return the movements whose limit won't be provable; those that can't be told at all are named elsewhere."""
    found = []
    for name, moved in foresight.movements.items():
        limit = getattr(instrument.movement_limits, name)
        if limit is not None and moved is not None and moved.smallest_provable > limit:
            found.append(Reason(Ground.CANNOT_PROVE, name, False))
    return found
