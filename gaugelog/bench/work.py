"""What the bench does: sand by a gauge, take a snapshot, watch the clamp-up; the recording's one writer meanwhile.

Here: which work is under way, what is heard and what a page asks for. The work itself is that of the command line
(`recorder`). Not here: what pages are told of it (`state`), HTTP (`app`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from unicodedata import category

from gaugelog.analysis.comparison import compare
from gaugelog.bench.trails import Trails
from gaugelog.errors import BadArgumentError, GaugelogError, NothingToDoError, UnknownStageError
from gaugelog.instruments.checkpoints import MOST_PLACEMENTS
from gaugelog.model.clock import Anchor
from gaugelog.model.datasheet import Datasheet, Sends
from gaugelog.model.kinds import AFTER, BEFORE, WET
from gaugelog.model.placement import CLAMP_SITTING, MarkKind
from gaugelog.model.readings import Heard, LinkChange, LinkState, Reading
from gaugelog.model.typed import parse_typed
from gaugelog.model.typed_marks import named_mark, seconds_ago
from gaugelog.recorder.clamping import ClampWork, KeptAlarm
from gaugelog.recorder.sanding import SandingWork
from gaugelog.recorder.snapshotting import SnapshotWork
from gaugelog.recorder.stages import check_stage
from gaugelog.recorder.work import Work
from gaugelog.review.standing import gauge_facts
from gaugelog.show.sanding import SandingState
from gaugelog.show.words import NOISIER, mark_of, means_text, verdict_word
from gaugelog.store.reader import open_recording

SAND_SITTING = "stream"
IDLE_SITTING = "bench"
MOST_WORDS = 400
_NO_LETTERS = ("Cc", "Cs")
"""Categories of Unicode: control characters, and halves of characters, which can't even be stored."""


@dataclass(slots=True)
class GaugeNow:
    """The latest of one gauge, whatever the work: its reading and how its link stands."""

    name: str
    datasheet: Datasheet
    latest: Reading | None = None
    link: LinkState | None = None
    detail: str = ""


class Bench:
    """The work at the bench. `changed` is called after everything that pages should be told whole."""

    def __init__(self, work: Work, changed: Callable[[], None] = lambda: None) -> None:
        """Take the open work; nothing is kept until something is begun."""
        self.work = work
        self.changed = changed
        self.gauges = {name: GaugeNow(name, sheet) for name, sheet in work.datasheets.items()}
        self.sanding: tuple[SandingWork, SandingState] | None = None
        self.snapshot: SnapshotWork | None = None
        self.taken = 0
        self.against_before: dict[str, str] = {}
        self.clamping: ClampWork | None = None
        self.trails: Trails | None = None
        self.message = ""
        self.now_ns = work.anchor.monotonic_ns

    @property
    def doing(self) -> str:
        """What is under way: sanding, snapshot, clamps, or nothing. A wet check is part of the clamps."""
        if self.sanding is not None:
            return "sanding"
        if self.clamping is not None:
            return "clamps"
        return "snapshot" if self.snapshot is not None else ""

    def hear(self, event: Heard | LinkChange) -> None:
        """Take what a gauge said, for the work under way and for whoever looks."""
        gauge = self.gauges.get(event.gauge)
        if gauge is None:
            return
        if isinstance(event, LinkChange):
            self.now_ns = max(self.now_ns, event.time_ns)
            gauge.link, gauge.detail = event.state, event.words
        else:
            self.now_ns = max(self.now_ns, event.chunk.time_ns)
            readings = [item for item in event.items if isinstance(item, Reading)]
            gauge.latest = readings[-1] if readings else gauge.latest
        if self.sanding is not None and self.sanding[0].gauge.name == event.gauge:
            self._sand(event, *self.sanding)
        if self.clamping is not None:
            self._told(self.clamping.hear(event))
        if self.trails is not None:
            self.trails.hear(event)
        if self.snapshot is not None and self.snapshot.hear(event) is not None:
            self._took()
        if isinstance(event, LinkChange):
            self.changed()

    def _sand(self, event: Heard | LinkChange, work: SandingWork, state: SandingState) -> None:
        work.hear(event)
        if isinstance(event, LinkChange):
            state.link_changed(event)
            return
        state.tick(event.chunk.time_ns)
        for item in event.items:
            if isinstance(item, Reading):
                state.hear(item)

    def _took(self) -> None:
        """Say that a placement was kept."""
        self.taken += 1
        self._look_back()
        self.message = self._noisy() or self.message
        if self.snapshot is not None and self.snapshot.complete:
            self.message = f"The snapshot {self.snapshot.stage} is complete."
            if self.clamping is not None:
                self.snapshot = None
        self.changed()

    def _noisy(self) -> str:
        """Say that the checkpoint read last scatters more than its gauge should; empty where it doesn't."""
        task = self.snapshot.latest if self.snapshot is not None else None
        noisy = self.snapshot is not None and task is not None and self.snapshot.noisier(task)
        return f"{task.checkpoint.id}: {NOISIER}" if noisy and task is not None else ""

    def _look_back(self) -> None:
        """Say of each checkpoint read after how it stands against before, where there is a before."""
        snapshot = self.snapshot
        if snapshot is None or snapshot.stage != AFTER:
            return
        try:
            with open_recording(self.work.writer.path) as source:
                after = source.snapshots(AFTER)[-1]
                before = source.snapshot(BEFORE)
                facts = gauge_facts(source)
        except UnknownStageError:
            return
        rows = compare(self.work.instrument, before, after, gauges=facts).checkpoints
        units = self.work.instrument.units
        self.against_before = {
            row.id: f"{means_text(row, units)} · {mark_of(row)} {verdict_word(row)}" for row in rows if row.after.n
        }

    def beat(self, moment: Anchor) -> None:
        """Say that time went on."""
        self.now_ns = max(self.now_ns, moment.monotonic_ns)
        if self.clamping is not None:
            self._told(self.clamping.beat(moment))
            news = self.clamping.take_news()
            if news:
                self.message = f"{news}."
                self.changed()
        else:
            self.work.writer.note_clock(moment)
            self.work.writer.keep_up(moment.monotonic_ns)

    def _told(self, alarms: tuple[KeptAlarm, ...]) -> None:
        if alarms:
            self.changed()

    def do(self, asked: Mapping[str, Any], time_ns: int) -> str:
        """Do what a page asks for; return what is to be said of it.

        Raises:
            GaugelogError: it can't be done; nothing was.
        """
        self.now_ns = max(self.now_ns, time_ns)
        action = self._text(asked, "do")
        doing = {
            "sand": self._begin_sanding,
            "pass": self._pass,
            "zero": self._zero,
            "clamp": self._begin_clamping,
            "mark": self._mark,
            "note": self._note,
            "acknowledge": self._acknowledge,
            "snapshot": self._begin_snapshot,
            "type": self._type,
            "take": self._take,
            "lifted": self._lifted,
            "drop": self._drop,
            "redo": self._redo,
            "skip": self._skip,
            "turn": self._turn,
            "spot": self._spot,
            "end": self._end,
        }.get(action)
        if doing is None:
            raise BadArgumentError(action, "something that the bench does")
        self.message = doing(asked, time_ns)
        self.changed()
        return self.message

    @staticmethod
    def _text(asked: Mapping[str, Any], name: str) -> str:
        value = asked.get(name, "")
        if not isinstance(value, str) or len(value) > MOST_WORDS:
            raise BadArgumentError(str(value)[:40], f"{name} is a text of at most {MOST_WORDS} letters")
        text = value.strip()
        if any(category(letter) in _NO_LETTERS for letter in text):
            raise BadArgumentError(text[:40], f"{name} is a text of letters that can be shown")
        return text

    def _begin_sanding(self, asked: Mapping[str, Any], _time_ns: int) -> str:
        named = self.work.instrument.gauge(self._text(asked, "gauge"))
        sheet = self.work.datasheets[named.name]
        target, within = (self._value(asked, name, sheet) for name in ("target", "within"))
        if within is not None and (target is None or within <= 0):
            raise BadArgumentError(self._text(asked, "within"), "a width above 0 on either side of a target")
        self._stop(SAND_SITTING)
        gauge = self.gauges[named.name]
        state = SandingState(
            quantity=sheet.quantity,
            resolution=sheet.resolution,
            target=target,
            within=within,
            gauge=named.name,
            simulated=named.gauge.address.scheme == "sim",
            silence_is_normal=sheet.sends in (Sends.ON_CHANGE, Sends.ON_BUTTON, Sends.WHEN_TYPED),
        )
        if gauge.latest is not None and gauge.link is LinkState.OPEN:
            state.hear(gauge.latest)
        work = self.work
        self.sanding = SandingWork(named, sheet, None, work.anchor, work.writer), state
        return f"Sanding by {named.name}."

    def _value(self, asked: Mapping[str, Any], name: str, sheet: Datasheet) -> float | None:
        text = self._text(asked, name)
        if not text:
            return None
        typed = parse_typed(text, sheet.quantity, sheet.value.unit)
        if typed.value is None or typed.low is not None:
            raise BadArgumentError(text, f"{name} is one number")
        return typed.value

    def _pass(self, _asked: Mapping[str, Any], _time_ns: int) -> str:
        work, state = self._must_sand()
        reading = state.mark_pass()
        if reading is None:
            raise NothingToDoError("no reading counts right now", "Set the gauge down and let it rest.")
        work.mark_pass(reading)
        return f"Pass {len(state.passes)}."

    def _zero(self, _asked: Mapping[str, Any], _time_ns: int) -> str:
        work, state = self._must_sand()
        reading = state.take_zero()
        if reading is None:
            raise NothingToDoError("no reading counts right now", "Set the gauge down and let it rest.")
        work.take_zero(reading)
        return "This spot is zero now."

    def _must_sand(self) -> tuple[SandingWork, SandingState]:
        if self.sanding is None:
            raise NothingToDoError("nothing is being sanded", "Choose a gauge to sand by first.")
        return self.sanding

    def _begin_snapshot(self, asked: Mapping[str, Any], _time_ns: int) -> str:
        stage, again = self._text(asked, "stage"), bool(asked.get("again"))
        more, only = _more_and_only(asked)
        if self.snapshot is not None and self.snapshot.stage == stage and not (again or more or only):
            return f"The snapshot {stage} is being taken."
        check_stage(stage, self.work.instrument, self.work.writer.path)
        if self.clamping is None:
            self._stop(f"capture {stage}")
        elif stage != WET:
            raise NothingToDoError("the clamp session is being recorded", "End it first; the wet check goes beside it.")
        snapshot = SnapshotWork(self.work, stage, again=again or (stage == WET and not more), more=more, only=only)
        if not snapshot.tasks:
            raise NothingToDoError(
                f"no checkpoint is read at the stage {stage}", "Give one that stage in the instrument file."
            )
        self.snapshot, self.against_before = snapshot, {}
        self._look_back()
        return f"Taking the snapshot {stage}."

    def _must_take(self) -> SnapshotWork:
        if self.snapshot is None:
            raise NothingToDoError("no snapshot is being taken", "Begin one first.")
        return self.snapshot

    def _type(self, asked: Mapping[str, Any], time_ns: int) -> str:
        snapshot = self._must_take()
        if snapshot.current is None:
            raise NothingToDoError("nothing is missing in this snapshot", "Turn to a checkpoint to add to it.")
        kept = snapshot.type_in(self._text(asked, "value"), time_ns)
        self._took()
        return f"Kept: {kept.placement.checkpoint} {kept.placement.text} {kept.placement.unit}. {self._noisy()}".strip()

    def _take(self, _asked: Mapping[str, Any], time_ns: int) -> str:
        kept = self._must_take().take_now(time_ns)
        if kept is None:
            raise NothingToDoError("there is no reading to take", "Set the gauge down, or type the value.")
        self._took()
        words = f"Kept by hand: {kept.placement.checkpoint} {kept.placement.text} {kept.placement.unit}."
        return f"{words} {self._noisy()}".strip()

    def _lifted(self, _asked: Mapping[str, Any], _time_ns: int) -> str:
        self._must_take().lifted()
        return "Set it down again."

    def _drop(self, asked: Mapping[str, Any], _time_ns: int) -> str:
        kept = self._must_take().drop_last(self._text(asked, "reason") or "dropped at the bench")
        if kept is None:
            raise NothingToDoError("there is no placement to drop", "")
        return (
            f"Dropped: {kept.placement.checkpoint} {kept.placement.text}; it stays in the recording and counts no more."
        )

    def _redo(self, asked: Mapping[str, Any], _time_ns: int) -> str:
        count = self._must_take().redo(self._text(asked, "reason") or "redone at the bench")
        return f"Dropped {count}; read them again." if count else "There was nothing to redo."

    def _skip(self, asked: Mapping[str, Any], _time_ns: int) -> str:
        reason = self._text(asked, "reason")
        if not reason:
            raise BadArgumentError(reason, "a checkpoint is skipped with a reason")
        task = self._must_take().skip(reason)
        return f"Skipped {task.checkpoint.id}." if task is not None else "Nothing waits."

    def _turn(self, asked: Mapping[str, Any], _time_ns: int) -> str:
        checkpoint = self.work.instrument.checkpoint(self._text(asked, "checkpoint"))
        snapshot = self._must_take()
        if all(task.checkpoint.id != checkpoint.id for task in snapshot.tasks):
            raise NothingToDoError(f"{checkpoint.id} is not read in this snapshot", "")
        snapshot.go_to(checkpoint.id)
        return f"Now {checkpoint.id}."

    def _spot(self, asked: Mapping[str, Any], time_ns: int) -> str:
        kept = self._must_clamp().spot(self._text(asked, "checkpoint"), self._text(asked, "value"), time_ns)
        return f"Spot reading kept: {kept.placement.checkpoint} {kept.placement.text} {kept.placement.unit}."

    def _begin_clamping(self, _asked: Mapping[str, Any], _time_ns: int) -> str:
        if self.clamping is not None:
            return "The clamp session is being recorded."
        self._stop(CLAMP_SITTING)
        self.clamping = ClampWork(self.work, tuple(self.gauges))
        self.trails = Trails(self.clamping)
        return "Recording the clamp session."

    def _mark(self, asked: Mapping[str, Any], time_ns: int) -> str:
        kind, words = named_mark(self._text(asked, "name"))
        ago = self._text(asked, "ago")
        ago_s = seconds_ago(ago) if ago else 0.0
        self._must_clamp().mark(kind, time_ns, ago_s=ago_s, words=words)
        return f"Marked: {words or kind.value}{f', {ago} ago' if ago_s else ''}."

    def _note(self, asked: Mapping[str, Any], time_ns: int) -> str:
        words = self._text(asked, "words")
        if not words:
            raise BadArgumentError(words, "a note has words")
        self._must_clamp().mark(MarkKind.NOTE, time_ns, words=words)
        return f"Marked: {words}."

    def _acknowledge(self, _asked: Mapping[str, Any], time_ns: int) -> str:
        count = self._must_clamp().acknowledge(time_ns)
        return "Seen: it is kept with its time. It goes on watching." if count else "Nothing called."

    def _must_clamp(self) -> ClampWork:
        if self.clamping is None:
            raise NothingToDoError("no clamp session is being recorded", "Begin it first.")
        return self.clamping

    def _end(self, _asked: Mapping[str, Any], _time_ns: int) -> str:
        was = self.doing
        self._stop(IDLE_SITTING)
        return f"Ended: {was}." if was else "Nothing was under way."

    def _stop(self, next_sitting: str) -> None:
        """End what is under way, and begin a sitting for what comes next."""
        if self.clamping is not None:
            self.clamping.close()
        self.sanding = self.snapshot = self.clamping = self.trails = None
        self.work.next_sitting(next_sitting, self.now_ns)

    def close(self) -> None:
        """End what is under way; the recording is finished by whoever opened it."""
        if self.clamping is not None:
            self.clamping.close()
        self.sanding = self.snapshot = self.clamping = self.trails = None


def _more_and_only(asked: Mapping[str, Any]) -> tuple[int, tuple[str, ...]]:
    """Return for how many more placements a snapshot is to be reopened, and at which checkpoints alone.

    Raises:
        BadArgumentError: it isn't a number from 0, or no list of names.
    """
    more, only = asked.get("more", 0), asked.get("only", [])
    if not isinstance(more, int) or isinstance(more, bool) or not 0 <= more <= MOST_PLACEMENTS:
        raise BadArgumentError(str(more)[:40], f"more is a whole number from 0 to {MOST_PLACEMENTS}")
    if not isinstance(only, list) or not all(isinstance(each, str) for each in only):
        raise BadArgumentError(str(only)[:40], "only is a list of checkpoints")
    return more, tuple(only)


def failure(error: GaugelogError) -> str:
    """Return an error as words for a page."""
    return f"{error}. {error.hint}"
