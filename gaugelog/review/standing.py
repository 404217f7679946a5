"""How a neck stands by what a recording read at one stage, and whether the glue may be opened."""

from __future__ import annotations

import statistics
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from gaugelog.analysis.comparison import GaugeFacts, Gauges
from gaugelog.analysis.gauge_check import facts_of
from gaugelog.analysis.neck_cut import CutAdvice, cut_advice
from gaugelog.analysis.neck_setting import NeckSetting, neck_setting
from gaugelog.analysis.readiness import Readiness, readiness
from gaugelog.analysis.stage_means import StageMean, stage_means
from gaugelog.errors import GaugelogError
from gaugelog.instruments.written_steps import written_steps
from gaugelog.model.instrument import Instrument
from gaugelog.model.placement import PASS, ZERO, Snapshot
from gaugelog.model.quantities import Quantity
from gaugelog.model.typed import parse_typed
from gaugelog.review.checked import newest_checks
from gaugelog.store.reader import Recording

LEAST_CHANGES = 2


@dataclass(frozen=True, slots=True)
class Stood:
    """One stage of a recording: its newest snapshot, the means of its checkpoints, and how the neck stands by them.

    `assumed` is what replaced readings in a what-if, as `neck_setting` took it.
    """

    snapshot: Snapshot
    means: Mapping[str, StageMean]
    setting: NeckSetting
    gauges: Gauges
    assumed: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class PassRate:
    """What one of the builder's passes takes off: the median change, in the base unit, of so many passes."""

    per_pass: float
    quantity: Quantity
    passes: int


def gauge_facts(recording: Recording) -> Gauges:
    """Return what is known of each gauge of a recording, by its key: what its datasheet said last, and its check."""
    checks = newest_checks(recording)
    found = {}
    for gauge in recording.every_gauge():
        checked = checks.get(gauge.key)
        found[gauge.key] = facts_of(checked.found, gauge.accuracy) if checked else GaugeFacts(gauge.accuracy)
    return found


def stood_at(
    recording: Recording, instrument: Instrument, stage: str, assumed: Mapping[str, float] | None = None
) -> Stood:
    """Return how the neck stands by the newest snapshot of a stage, complete or not.

    Readings of an older snapshot are not mixed in: between the two, wood may have gone.

    Args:
        recording: where the readings are.
        instrument: the plan.
        stage: of the snapshot.
        assumed: what replaces readings in a what-if, as `neck_setting` takes it.

    Raises:
        UnknownStageError: the recording has no snapshot of that stage.
    """
    recording.snapshot(stage)
    snapshot = recording.snapshots(stage)[-1]
    gauges = gauge_facts(recording)
    means = stage_means(instrument, snapshot, gauges)
    setting = neck_setting(instrument, means, _steps(instrument), stage=stage, assumed=assumed)
    return Stood(snapshot, means, setting, gauges, assumed or {})


def setting_of(instrument: Instrument, snapshot: Snapshot, gauges: Gauges) -> NeckSetting:
    """Return how the neck stands by one snapshot."""
    means = stage_means(instrument, snapshot, gauges)
    return neck_setting(instrument, means, _steps(instrument), stage=snapshot.stage)


def _steps(instrument: Instrument) -> dict[str, float]:
    return written_steps(instrument.text) if instrument.text else {}


def what_if(instrument: Instrument, assumed: Mapping[str, float]) -> NeckSetting:
    """Return how a neck would stand, from the instrument file and what is assumed alone."""
    return neck_setting(instrument, {}, _steps(instrument), assumed=assumed)


def ready_at(recording: Recording, instrument: Instrument, stage: str) -> Readiness:
    """Return whether the glue may be opened, by the newest snapshot of a stage.

    Raises:
        UnknownStageError: the recording has no snapshot of that stage.
    """
    stood = stood_at(recording, instrument, stage)
    return readiness(instrument, stood.snapshot, stood.means, stood.setting, stood.gauges)


def cut_at(instrument: Instrument, stood: Stood, step_mm: float) -> CutAdvice | None:
    """Return what to take off the pocket; see `cut_advice`."""
    return cut_advice(instrument, stood.setting, stood.means, step_mm, assumed=stood.assumed)


def pass_rate(recording: Recording) -> PassRate | None:
    """Return what a pass takes off by the passes that were marked while sanding, None where too few were.

    The median of the changes from one pass to the next of one gauge in one sitting; a zero taken between two passes
    parts them. The quantity is that of the gauge with most passes.
    """
    values: dict[tuple[int, str, int], list[float]] = {}
    zeros: dict[tuple[int, str], int] = {}
    quantities = {name: gauge.quantity for name, gauge in recording.gauges.items()}
    for event in recording.events():
        if event.gauge not in quantities or event.kind not in (PASS, ZERO):
            continue
        if event.kind == ZERO:
            zeros[event.sitting, event.gauge] = zeros.get((event.sitting, event.gauge), 0) + 1
            continue
        value = _value(event.words, quantities[event.gauge])
        if value is not None:
            key = (event.sitting, event.gauge, zeros.get((event.sitting, event.gauge), 0))
            values.setdefault(key, []).append(value)
    changes: dict[Quantity, list[float]] = {}
    for (_, gauge, _), run in values.items():
        changes.setdefault(quantities[gauge], []).extend(abs(after - before) for before, after in pairwise(run))
    usable = {quantity: found for quantity, found in changes.items() if len(found) >= LEAST_CHANGES}
    if not usable:
        return None
    quantity, found = max(usable.items(), key=lambda each: len(each[1]))
    per_pass = statistics.median(found)
    return PassRate(per_pass, quantity, len(found)) if per_pass > 0 else None


def _value(words: str, quantity: Quantity) -> float | None:
    try:
        return parse_typed(words, quantity, quantity.base_unit).value
    except GaugelogError:
        return None
