"""Recording through the clamp-up and the cure, and watching while it can still be put right.

Here: what every gauge says goes into the recording, with marks, notes, spot readings, gaps and alarms; and how it
stands now against the start. Neither clock nor screen: time comes from what was heard and from the keys. Not here: when
something is an alarm (`analysis.watch`), explaining the session afterwards (`analysis.drift`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial
from math import isfinite
from statistics import median
from typing import Protocol

from gaugelog.analysis.slip import AlarmKind
from gaugelog.analysis.watch import Alarm, Watch
from gaugelog.instruments.typed_placement import typed_placement
from gaugelog.model.clock import Anchor
from gaugelog.model.datasheet import LEAST_SILENCE_S, Datasheet
from gaugelog.model.instrument import Instrument
from gaugelog.model.kinds import SPOT
from gaugelog.model.placement import PHASE_BEGUN_BY, KeptPlacement, Mark, MarkKind, Phase, Settled
from gaugelog.model.readings import SAYS_NOTHING, Heard, LinkChange, LinkState, Reading
from gaugelog.recorder.watching import watch_of
from gaugelog.recorder.work import Work, step_of
from gaugelog.review.session import counted_readings
from gaugelog.store.reader import open_recording

START_READINGS = 15

STOOD_STILL = "gaugelog stood still: the computer slept or was too busy, or the program was stopped"
"""Why readings are missing, or came all at once, where neither a gauge nor the time was heard of meanwhile."""


@dataclass(slots=True)
class GaugeState:
    """How one gauge stands in the session: values in its base unit; `start` is the median of its first readings."""

    name: str
    datasheet: Datasheet
    readings: int = 0
    rejects: int = 0
    gaps: int = 0
    latest: Reading | None = None
    start: float | None = None
    link: LinkState | None = None
    link_words: str = ""
    silent_since_ns: int | None = None
    slept: bool = False
    _first: list[float] = field(default_factory=list)

    @property
    def change(self) -> float | None:
        """Latest less start, None until both are known."""
        return None if self.latest is None or self.start is None else self.latest.value - self.start

    def began_at(self, level: float) -> None:
        """Go on with a session that began at a level; the start isn't learnt anew."""
        self.start, self._first = level, [level] * START_READINGS

    def take(self, reading: Reading) -> None:
        """Count a reading; one on hold or over range says nothing of where the gauge stands."""
        self.readings += 1
        if reading.flags and reading.flags & SAYS_NOTHING:
            return
        self.latest = reading
        if len(self._first) < START_READINGS:
            self._first.append(reading.value)
            self.start = median(self._first)


class Keeper(Protocol):
    """Where a clamp session is kept; the writer of a recording is one, and a rehearsal's keeps nothing."""

    def hear(self, heard: Heard) -> None:
        """Keep the readings and rejects of a chunk."""

    def keep_up(self, now_ns: int) -> None:
        """Store what waits, from time to time."""

    def event(self, kind: str, gauge: str, words: str, time_ns: int) -> None:
        """Keep something that happened."""

    def gap(self, gauge: str, start_ns: int, end_ns: int, reason: str, fault: bool = True) -> None:
        """Keep a stretch of silence."""

    def mark(self, mark: Mark) -> None:
        """Keep a mark."""


@dataclass(slots=True)
class KeptAlarm:
    """An alarm and whether the builder has acknowledged it; a notice needs no acknowledgement."""

    alarm: Alarm
    acknowledged: bool = False

    @property
    def calls(self) -> bool:
        """Whether it still calls for the builder."""
        return not self.acknowledged and self.alarm.kind is not AlarmKind.NOTICE


class ClampSession:
    """How a clamp session stands: its gauges, marks and alarms, from what is heard."""

    def __init__(
        self,
        instrument: Instrument,
        datasheets: Mapping[str, Datasheet],
        anchor: Anchor,
        keeper: Keeper,
        marks: Iterable[Mark] = (),
    ) -> None:
        """Begin, or go on with, a session.

        Args:
            instrument: whose neck it is.
            datasheets: of the gauges of the session, by short name.
            anchor: a moment on both clocks.
            keeper: where all of it goes.
            marks: those set before.
        """
        self.instrument = instrument
        self.gauges = {name: GaugeState(name, sheet) for name, sheet in datasheets.items()}
        self.marks: list[Mark] = list(marks)
        self.alarms: list[KeptAlarm] = []
        self.now_ns = anchor.monotonic_ns
        self.watch: Watch = watch_of(instrument, datasheets)
        self.watch_failed = ""
        self._anchor = anchor
        self._keeper = keeper
        self._heard_ns: dict[str, int] = {}
        self._down_since_ns: dict[str, int] = {}
        self._lost: set[str] = set()
        self._stood_still: tuple[int, int] | None = None
        self.news = ""
        """What happened to the session itself and is to be told, empty once it was taken."""

    @property
    def phase(self) -> Phase:
        """The phase that the marks say it is."""
        begun = [mark for mark in self.marks if mark.kind in PHASE_BEGUN_BY]
        return PHASE_BEGUN_BY[max(begun, key=lambda mark: mark.utc_us).kind] if begun else Phase.DRY_FIT

    def seconds_since(self, kind: MarkKind) -> float | None:
        """Return the seconds since the latest mark of a kind, None where it isn't set."""
        times = [mark.utc_us for mark in self.marks if mark.kind is kind]
        return (self._anchor.utc_us_of(self.now_ns) - max(times)) / 1e6 if times else None

    def utc_us_of(self, time_ns: int) -> int:
        """Return a monotonic time in microseconds UTC."""
        return self._anchor.utc_us_of(time_ns)

    @property
    def readings(self) -> int:
        """Readings recorded in this sitting."""
        return sum(state.readings for state in self.gauges.values())

    @property
    def gaps(self) -> int:
        """Gaps marked in this sitting."""
        return sum(state.gaps for state in self.gauges.values())

    @property
    def calling(self) -> tuple[KeptAlarm, ...]:
        """The alarms that nobody has acknowledged yet, in order."""
        return tuple(each for each in self.alarms if each.calls)

    def take_news(self) -> str:
        """Return what happened to the session itself since the last time, in words; empty where nothing did."""
        news, self.news = self.news, ""
        return news

    def _time_goes_on(self, time_ns: int) -> None:
        """Take a moment; where none was heard of for longer than ticks ever stay away, the program stood still."""
        if time_ns - self.now_ns > LEAST_SILENCE_S * 1e9:
            self._stood_still = (self.now_ns, time_ns)
            for_s = (time_ns - self.now_ns) / 1e9
            self._keeper.event("stood still", "", f"{STOOD_STILL}, for {for_s:.1f} s", time_ns)
            self.news = f"{STOOD_STILL}. Nothing was watched for {for_s:.0f} s"
        self.now_ns = max(self.now_ns, time_ns)

    def hear(self, event: Heard | LinkChange) -> tuple[KeptAlarm, ...]:
        """Take what a gauge or its link said; return what alarms it gave rise to."""
        before = len(self.alarms)
        if isinstance(event, LinkChange):
            self._link_changed(event)
        else:
            self._heard(event)
        return tuple(self.alarms[before:])

    def _heard(self, event: Heard) -> None:
        self._time_goes_on(event.chunk.time_ns)
        if event.items:
            self._keeper.hear(event)
        state = self.gauges[event.gauge]
        readings = [item for item in event.items if isinstance(item, Reading)]
        state.rejects += len(event.items) - len(readings)
        if readings:
            self._notice_silence(state, readings[0].time_ns)
            self._end_silence(state, readings[0].time_ns)
            for reading in readings:
                state.take(reading)
                self._watch_reading(reading)
            self._heard_ns[state.name] = readings[-1].time_ns
        else:
            self._notice_silence(state, event.chunk.time_ns)
            self._ask(partial(self.watch.tick, event.chunk.time_ns))
        self._keeper.keep_up(event.chunk.time_ns)

    def _watch_reading(self, reading: Reading) -> None:
        """Let the watch hear a reading that counts."""
        if reading.flags & SAYS_NOTHING or not isfinite(reading.value):
            return
        self._lost.discard(reading.gauge)
        self._ask(partial(self.watch.hear, reading.gauge, reading.time_ns, reading.value))

    def _ask(self, question: Callable[[], Iterable[Alarm] | None]) -> None:
        """Put something to the watch and keep what it tells, each alarm as an event of its own.

        Should the watch fail it is asked nothing more, and that is said and kept: recording must go on.
        """
        if self.watch_failed:
            return
        try:
            alarms = tuple(question() or ())
        except Exception as fault:
            self.watch_failed = f"{type(fault).__name__}: {fault}"
            self._keeper.event("watch failed", "", self.watch_failed, self.now_ns)
            return
        for alarm in alarms:
            if alarm.kind is AlarmKind.LOST:
                self._lost.add(alarm.series)
            self.alarms.append(KeptAlarm(alarm))
            self._keeper.event(f"alarm {alarm.kind.value}", _gauge_of(alarm), _in_numbers(alarm), alarm.time_ns)

    def acknowledge(self, time_ns: int) -> int:
        """Say that the builder has seen all alarms so far; return how many were open."""
        calling = self.calling
        for each in calling:
            each.acknowledged = True
            self._keeper.event("acknowledged", _gauge_of(each.alarm), _in_numbers(each.alarm), time_ns)
        return len(calling)

    def _notice_silence(self, state: GaugeState, now_ns: int) -> None:
        limit_s = state.datasheet.longest_silence_s
        last_ns = self._heard_ns.get(state.name)
        if limit_s is not None and last_ns is not None and now_ns - last_ns > limit_s * 1e9:
            state.silent_since_ns = last_ns

    def _end_silence(self, state: GaugeState, now_ns: int) -> None:
        began_ns = self._down_since_ns.pop(state.name, state.silent_since_ns)
        state.silent_since_ns = None
        if began_ns is None:
            return
        slept, state.slept = state.slept, False
        state.gaps += not slept
        reason = "the gauge switched itself off" if slept else state.link_words or self._why_silent(began_ns, now_ns)
        self._keeper.gap(state.name, began_ns, now_ns, reason, fault=not slept)
        state.link_words = ""

    def _why_silent(self, began_ns: int, ended_ns: int) -> str:
        """Return why nothing was heard of a gauge whose link stood."""
        if self._stood_still is not None:
            start_ns, end_ns = self._stood_still
            if 2 * (min(end_ns, ended_ns) - max(start_ns, began_ns)) > ended_ns - began_ns:
                return STOOD_STILL
        return "silent"

    def _link_changed(self, change: LinkChange) -> None:
        self._time_goes_on(change.time_ns)
        state = self.gauges[change.gauge]
        state.link = change.state
        self._keeper.event(f"link {change.state.value}", change.gauge, change.words, change.time_ns)
        state.slept = state.slept or change.state is LinkState.ASLEEP
        if change.state in (LinkState.LOST, LinkState.ASLEEP):
            state.link_words = change.detail or change.state.value
            since_ns = self._heard_ns.get(change.gauge)
            if since_ns is not None:
                self._down_since_ns.setdefault(change.gauge, since_ns)
        if change.state in (LinkState.LOST, LinkState.SILENT):
            self._ask(partial(self.watch.lost, change.gauge, change.time_ns))
        elif change.state is LinkState.OPEN and not self._still_lost(state):
            self._ask(partial(self.watch.back, change.gauge, change.time_ns))
        self._keeper.keep_up(change.time_ns)

    def _still_lost(self, state: GaugeState) -> bool:
        """Whether a gauge was told as lost and has to speak before it counts as back: one that sends all the time."""
        return state.name in self._lost and state.datasheet.longest_silence_s is not None

    def set_mark(self, mark: Mark, now_ns: int) -> Mark:
        """Take a mark: what moves with it is expected, and everything settles anew."""
        self._keeper.mark(mark)
        self.marks.append(mark)
        self._ask(partial(self.watch.mark, now_ns))
        return mark

    def close(self) -> None:
        """Mark the silences that last until the end of this sitting as gaps."""
        for state in self.gauges.values():
            if state.silent_since_ns is not None or state.name in self._down_since_ns:
                self._end_silence(state, self.now_ns)


PAST_CLOCK = (
    "This recording holds later times than the computer's clock shows: it was set back since, or is wrong. Set it right"
    " and begin anew, else the readings of both sittings will be mixed"
)


def clock_news(ahead_s: float) -> str:
    """Return that the computer's clock was set, to be `ahead_s` seconds ahead of the session's own time by now."""
    way = "ahead of" if ahead_s > 0 else "behind"
    return (
        f"The computer's clock was set: it is {abs(ahead_s):.1f} s {way} this session's time, which goes on as it"
        " began, in order and evenly"
    )


def _gauge_of(alarm: Alarm) -> str:
    """Return the gauge that an alarm is about; of a difference the one on the neck."""
    return alarm.series.split(" - ")[0]


def _in_numbers(alarm: Alarm) -> str:
    """Return an alarm's series and size for the record."""
    return f"{alarm.series} {alarm.size:+.4f} {alarm.quantity.base_unit}" if alarm.size else alarm.series


class ClampWork(ClampSession):
    """A clamp session being recorded."""

    def __init__(self, work: Work, gauges: tuple[str, ...]) -> None:
        """Begin, or go on with, the session on the gauges named."""
        sheets = {name: work.datasheets[name] for name in gauges}
        super().__init__(work.instrument, sheets, work.anchor, work.writer, work.writer.marks())
        self.work = work
        with open_recording(work.writer.path) as so_far:
            earlier = [each.end_utc_us for each in so_far.sittings()[:-1]]
            if max(earlier, default=0) > work.anchor.utc_us:
                self.news = PAST_CLOCK
            for name in so_far.gauges.keys() & self.gauges.keys():
                _, value = counted_readings(so_far, name)
                if value.size:
                    self.gauges[name].began_at(median(value[:START_READINGS].tolist()))

    def beat(self, moment: Anchor) -> tuple[KeptAlarm, ...]:
        """Say that time went on, for a session that no gauge keeps awake, and how the wall clock stands by now."""
        before = len(self.alarms)
        self._time_goes_on(moment.monotonic_ns)
        self._ask(partial(self.watch.tick, self.now_ns))
        if self.work.writer.note_clock(moment):
            ahead_s = (moment.utc_us - self.utc_us_of(moment.monotonic_ns)) / 1e6
            self.news = clock_news(ahead_s)
        self.work.writer.keep_up(moment.monotonic_ns)
        return tuple(self.alarms[before:])

    def mark(self, kind: MarkKind, time_ns: int, *, ago_s: float = 0.0, words: str = "") -> Mark:
        """Set a mark, `ago_s` seconds before `time_ns`; it is in the recording at once."""
        return self.set_mark(Mark(self.utc_us_of(time_ns - round(ago_s * 1e9)), kind, words), time_ns)

    def spot(self, checkpoint_id: str, text: str, time_ns: int) -> KeptPlacement:
        """Keep a typed spot reading of a checkpoint: a placement of the stage `spot`, with its own moment.

        Raises:
            UnknownCheckpointError: no such checkpoint.
            ValueTextError, UnitMismatchError: the value can't be read; nothing was kept.
        """
        checkpoint = self.work.instrument.checkpoint(checkpoint_id)
        placement = typed_placement(checkpoint, text, time_ns, Settled.TYPED, step_of(checkpoint, self.work.datasheets))
        self.now_ns = max(self.now_ns, time_ns)
        return self.work.writer.place(self.work.writer.snapshot(SPOT).id, placement)
