"""Recording through the clamp-up and the cure.

Here: what every gauge says goes into the recording, with marks, notes, spot readings and gaps; and how it stands now
against the start. Neither clock nor screen: time comes from what was heard and from the keys. Not here: explaining the
session afterwards (`analysis.drift`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import median

from gaugelog.instruments.typed_placement import typed_placement
from gaugelog.model.clock import Anchor
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.kinds import SPOT
from gaugelog.model.placement import PHASE_BEGUN_BY, KeptPlacement, Mark, MarkKind, Phase, Settled
from gaugelog.model.readings import SAYS_NOTHING, Heard, LinkChange, LinkState, Reading
from gaugelog.recorder.work import Work, step_of

START_READINGS = 15


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

    def take(self, reading: Reading) -> None:
        """Count a reading; one on hold or over range says nothing of where the gauge stands."""
        self.readings += 1
        if reading.flags and reading.flags & SAYS_NOTHING:
            return
        self.latest = reading
        if len(self._first) < START_READINGS:
            self._first.append(reading.value)
            self.start = median(self._first)


class ClampWork:
    """A clamp session being recorded."""

    def __init__(self, work: Work, gauges: tuple[str, ...]) -> None:
        """Begin, or go on with, the session on the gauges named."""
        self.work = work
        self.gauges = {name: GaugeState(name, work.datasheets[name]) for name in gauges}
        self.marks: list[Mark] = list(work.writer.marks())
        self.now_ns = work.anchor.monotonic_ns
        self._heard_ns: dict[str, int] = {}
        self._down_since_ns: dict[str, int] = {}

    @property
    def phase(self) -> Phase:
        """The phase that the marks say it is."""
        begun = [mark for mark in self.marks if mark.kind in PHASE_BEGUN_BY]
        return PHASE_BEGUN_BY[max(begun, key=lambda mark: mark.utc_us).kind] if begun else Phase.DRY_FIT

    def seconds_since(self, kind: MarkKind) -> float | None:
        """Return the seconds since the latest mark of a kind, None where it isn't set."""
        times = [mark.utc_us for mark in self.marks if mark.kind is kind]
        return (self.work.anchor.utc_us_of(self.now_ns) - max(times)) / 1e6 if times else None

    @property
    def readings(self) -> int:
        """Readings recorded in this sitting."""
        return sum(state.readings for state in self.gauges.values())

    @property
    def gaps(self) -> int:
        """Gaps marked in this sitting."""
        return sum(state.gaps for state in self.gauges.values())

    def hear(self, event: Heard | LinkChange) -> None:
        """Take what a gauge or its link said; all of it goes into the recording."""
        if isinstance(event, LinkChange):
            self._link_changed(event)
            return
        self.now_ns = max(self.now_ns, event.chunk.time_ns)
        state = self.gauges[event.gauge]
        readings = [item for item in event.items if isinstance(item, Reading)]
        state.rejects += len(event.items) - len(readings)
        if readings:
            self._end_silence(state, readings[0].time_ns)
            for reading in readings:
                state.take(reading)
            self._heard_ns[state.name] = readings[-1].time_ns
        else:
            self._notice_silence(state, event.chunk.time_ns)
        if event.items:
            self.work.writer.hear(event)
        self.work.writer.keep_up(event.chunk.time_ns)

    def beat(self, moment: Anchor) -> None:
        """Say that time went on, for a session that no gauge keeps awake, and how the wall clock stands by now."""
        self.now_ns = max(self.now_ns, moment.monotonic_ns)
        self.work.writer.note_clock(moment)
        self.work.writer.keep_up(moment.monotonic_ns)

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
        reason = "the gauge switched itself off" if slept else state.link_words or "silent"
        self.work.writer.gap(state.name, began_ns, now_ns, reason, fault=not slept)
        state.link_words = ""

    def _link_changed(self, change: LinkChange) -> None:
        self.now_ns = max(self.now_ns, change.time_ns)
        state = self.gauges[change.gauge]
        state.link = change.state
        self.work.writer.event(f"link {change.state.value}", change.gauge, change.words, change.time_ns)
        state.slept = state.slept or change.state is LinkState.ASLEEP
        if change.state in (LinkState.LOST, LinkState.ASLEEP):
            state.link_words = change.detail or change.state.value
            since_ns = self._heard_ns.get(change.gauge)
            if since_ns is not None:
                self._down_since_ns.setdefault(change.gauge, since_ns)
        self.work.writer.keep_up(change.time_ns)

    def mark(self, kind: MarkKind, time_ns: int, *, ago_s: float = 0.0, words: str = "") -> Mark:
        """Set a mark, `ago_s` seconds before `time_ns`; it is in the recording at once."""
        mark = Mark(self.work.anchor.utc_us_of(time_ns - round(ago_s * 1e9)), kind, words)
        self.work.writer.mark(mark)
        self.marks.append(mark)
        return mark

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

    def close(self) -> None:
        """Mark the silences that last until the end of this sitting as gaps."""
        for state in self.gauges.values():
            if state.silent_since_ns is not None or state.name in self._down_since_ns:
                self._end_silence(state, self.now_ns)
