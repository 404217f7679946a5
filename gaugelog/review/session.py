"""The clamp session of a recording: its series, and what they did.

Here: which readings belong to the session, which gauges are looked at as a pair. Not here: the numbers
(`analysis.drift`), the chart (`show.charts`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.climate import climate_share
from gaugelog.analysis.drift import drift
from gaugelog.analysis.levels import levels_in
from gaugelog.analysis.phases import Stretch
from gaugelog.analysis.results import Drift, Gap, SeriesDrift
from gaugelog.analysis.series import Series, difference_of
from gaugelog.analysis.warm_up import bench_share
from gaugelog.errors import NothingToDoError
from gaugelog.model.datasheet import LEAST_SILENCE_S, Sends
from gaugelog.model.instrument import Instrument
from gaugelog.model.kinds import SPOT
from gaugelog.model.placement import CLAMP_SITTING, Mark
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import SAYS_NOTHING
from gaugelog.store.reader import Recording
from gaugelog.store.records import ClockSet

NOT_RUNNING = "gaugelog was not running"
_NECK_ANGLE = "neck-angle"


@dataclass(frozen=True)
class Session:
    """A clamp session as it was recorded: its series (differences last), its marks, its ends in UTC microseconds.

    `limits` says by name how far each series may creep, in its base unit; None where the file says nothing.
    `clock_sets` is where the computer's clock was set meanwhile, which no time here follows; `set_back_us` is when a
    sitting began, by a clock that was set back, before the one before it had ended.
    """

    series: tuple[Series, ...]
    pairs: tuple[tuple[str, str], ...]
    marks: tuple[Mark, ...]
    start_utc_us: int
    end_utc_us: int
    limits: Mapping[str, float | None] = field(default_factory=dict)
    instrument: Instrument | None = None
    clock_sets: tuple[ClockSet, ...] = ()
    set_back_us: int | None = None

    def drift(self) -> Drift:
        """Return what each series did, phase by phase and as a whole, and what bench and weather explain of it."""
        told = drift(
            self.series,
            self.marks,
            pairs=self.pairs,
            start_utc_us=self.start_utc_us,
            end_utc_us=self.end_utc_us,
            limits=self.limits,
        )
        by_name = {each.name: each for each in self.with_differences}
        return replace(told, series=tuple(self._with_shares(each, by_name) for each in told.series))

    def _with_shares(self, told: SeriesDrift, by_name: Mapping[str, Series]) -> SeriesDrift:
        """Return what a series did with what the weather could explain of it and what the bench showed too."""
        series = by_name[told.name]
        pair = next((pair for pair in self.pairs if told.difference and told.name == f"{pair[0]} - {pair[1]}"), None)
        bench = None
        if pair is not None and self.end_utc_us > self.start_utc_us:
            bench = bench_share(by_name[pair[0]], by_name[pair[1]], self.start_utc_us, self.end_utc_us)
        levels = levels_in(series.in_order().counted(), Stretch("", self.start_utc_us, self.end_utc_us))
        weather = None
        if self.instrument is not None and levels is not None and levels.u is not None:
            air = [self._weather(quantity) for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY)]
            weather = climate_share(self.instrument, series, levels.change, levels.u, *air)
        return replace(told, weather=weather, bench=bench)

    def _weather(self, quantity: Quantity) -> Series | None:
        return next((each for each in self.series if each.quantity is quantity and each.utc_us.size), None)

    @cached_property
    def with_differences(self) -> tuple[Series, ...]:
        """The series and the difference of each pair, for drawing; worked out once."""
        by_name = {series.name: series for series in self.series}
        return (*self.series, *(difference_of(by_name[first], by_name[second]) for first, second in self.pairs))


def pairs_of(instrument: Instrument, names: set[str]) -> tuple[tuple[str, str], ...]:
    """Return the pairs of a neck gauge and a body gauge that the checkpoints name, among the gauges of the session."""
    found = {
        (point.gauge, point.body_gauge): None
        for point in instrument.checkpoints
        if point.gauge in names and point.body_gauge in names and point.gauge != point.body_gauge
    }
    return tuple((neck, body) for neck, body in found if neck is not None and body is not None)


def creep_limits(
    instrument: Instrument, names: Sequence[str], pairs: Sequence[tuple[str, str]] = ()
) -> dict[str, float | None]:
    """Return how far each series may creep, in its base unit, None where the file says nothing.

    In the clamps a gauge lies on the neck, so the neck angle's limit counts where its gauge reads that; else the
    smallest limit of what it reads after the glue.
    """
    found = {name: _limit(instrument, name) for name in names}
    return found | {f"{neck} - {body}": found.get(neck) for neck, body in pairs}


def _limit(instrument: Instrument, gauge: str) -> float | None:
    points = [each for each in instrument.checkpoints if each.gauge == gauge and each.kind.glued]
    angles = [each for each in points if each.kind.slug == _NECK_ANGLE]
    limits = [each.limit for each in angles or points if each.limit is not None]
    if not limits and angles:
        return instrument.movement_limits.neck_angle
    return min(limits, default=None)


def session_of(recording: Recording, instrument: Instrument) -> Session:
    """Return the clamp session of a recording.

    All sittings of the clamp command are one session. Between two of them nothing was listening: where that took longer
    than a silence may, it is a gap without fault. Spot readings make a series of their own under the checkpoint's id.

    Raises:
        NothingToDoError: no reading of a clamp session was recorded.
    """
    sittings = [sitting for sitting in recording.sittings() if sitting.command == CLAMP_SITTING]
    pauses = _pauses([(sitting.start_utc_us, sitting.end_utc_us) for sitting in sittings])
    series = [each for name in recording.gauges if (each := _gauge_series(recording, name, pauses)) is not None]
    series += _spot_series(recording, instrument, {each.name for each in series})
    if not series:
        raise NothingToDoError(
            "the recording holds no clamp session", "`gaugelog clamp` records one; compare works without."
        )
    times = [each.utc_us for each in series]
    start = min([int(each[0]) for each in times] + [sitting.start_utc_us for sitting in sittings])
    end = max([int(each[-1]) for each in times] + [sitting.end_utc_us for sitting in sittings]) + 1
    quantities = {each.name: each.quantity for each in series}
    pairs = tuple(pair for pair in pairs_of(instrument, set(quantities)) if quantities[pair[0]] is quantities[pair[1]])
    limits = creep_limits(instrument, tuple(each.name for each in series), pairs)
    numbers = {sitting.id for sitting in sittings}
    clock_sets = tuple(each for each in recording.clock_sets() if each.sitting in numbers)
    live = [sitting for sitting in sittings if sitting.monotonic_ns]  # a table that is brought in may be of any time
    back = next((later.start_utc_us for one, later in pairwise(live) if later.start_utc_us < one.end_utc_us), None)
    return Session(tuple(series), pairs, recording.marks(), start, end, limits, instrument, clock_sets, back)


def _pauses(sittings: Sequence[tuple[int, int]]) -> tuple[Gap, ...]:
    """Return the times between sittings (start, end) in which none listened; a table may bring in an earlier one."""
    found = []
    until_us: int | None = None
    for start_us, end_us in sorted(sittings):
        if until_us is not None and start_us - until_us > LEAST_SILENCE_S * 1e6:
            found.append(Gap(until_us, start_us, NOT_RUNNING, fault=False))
        until_us = end_us if until_us is None else max(until_us, end_us)
    return tuple(found)


def _gauge_series(recording: Recording, name: str, pauses: tuple[Gap, ...]) -> Series | None:
    """Return what a gauge said in the session, None where it said nothing."""
    gauge = recording.gauges[name]
    kept = recording.series(name, command=CLAMP_SITTING)
    if kept.utc_us.size == 0:
        return None
    gaps = tuple(
        Gap(gap.start_utc_us, gap.end_utc_us, gap.reason, gap.fault) for gap in recording.gaps() if gap.gauge == name
    )
    return Series(
        name,
        gauge.quantity,
        kept.utc_us,
        kept.value,
        (gauge.resolution,),
        sends=gauge.sends,
        flags=kept.flags.astype(np.int_),
        period_s=1 / gauge.rate_hz if gauge.rate_hz else None,
        awake_s=gauge.awake_s,
        gaps=(*gaps, *pauses),
    ).in_order()


def counted_readings(
    recording: Recording, gauge: str, command: str = CLAMP_SITTING
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return what a gauge said in a command's sittings, in order of time: UTC microseconds and values, shape (n,).

    What says nothing of where the gauge stands (on hold, over range, stuck) is left out.
    """
    kept = recording.series(gauge, command=command)
    counts = np.flatnonzero((kept.flags & SAYS_NOTHING.value) == 0)
    order = counts[np.argsort(kept.utc_us[counts], kind="stable")]
    return kept.utc_us[order], kept.value[order]


def _spot_series(recording: Recording, instrument: Instrument, gauges: set[str]) -> list[Series]:
    """Return the spot readings, a series a checkpoint, which no gauge's name may hide; a bound is on no curve."""
    kept = [
        each
        for snapshot in recording.snapshots(SPOT)
        for each in snapshot.placements
        if each.dropped is None and each.placement.value is not None
    ]
    found = []
    for point in instrument.checkpoints:
        mine = sorted((each for each in kept if each.placement.checkpoint == point.id), key=lambda each: each.utc_us)
        if mine:
            found.append(
                Series(
                    f"{point.id} (spot)" if point.id in gauges else point.id,
                    point.quantity,
                    np.array([each.utc_us for each in mine], dtype=np.int64),
                    np.array([each.placement.value for each in mine], dtype=np.float64),
                    (max(each.placement.resolution for each in mine),) * point.readings_per_placement,
                    sends=Sends.WHEN_TYPED,
                )
            )
    return found


def drift_of(recording: Recording, instrument: Instrument) -> Drift:
    """Return what the clamp session of a recording did, series by series, phase by phase.

    Raises:
        NothingToDoError: no reading of a clamp session was recorded.
    """
    return session_of(recording, instrument).drift()
