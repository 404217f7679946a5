"""The clamp desk: a clamp session being recorded, with its keys and its screen.

Here: what each key does and what is said. Not here: recording (`recorder.clamping`), drawing (`show.clamp_view`).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from gaugelog.cli.alarm_bell import AlarmBell, shown
from gaugelog.cli.desk import ASK_NOTE, ASK_SPOT, Desk
from gaugelog.cli.entry import Command, Line
from gaugelog.errors import BadArgumentError
from gaugelog.model.kinds import WET
from gaugelog.model.placement import MarkKind
from gaugelog.model.typed_marks import named_mark, seconds_ago

if TYPE_CHECKING:
    from rich.console import RenderableType

    from gaugelog.model.readings import Heard, LinkChange
    from gaugelog.recorder.clamping import ClampWork
    from gaugelog.recorder.snapshotting import SnapshotWork

_ASK_SET_BACK = "Set a mark back: which, and how long ago, such as clamps on 2m"
_MARK_KEYS = {"g": MarkKind.GLUE_ON, "c": MarkKind.CLAMPS_ON, "f": MarkKind.CLAMPS_OFF}
_SET_BACK = re.compile(r"\s*(?P<name>\S.*?)\s+(?P<ago>\d[\dhmins ]*)$")


class ClampDesk(Desk):
    """Attends to gauges and keys until the end key or Ctrl-C."""

    def __init__(self, session: ClampWork, *, quiet: bool, on_alarm: str = "") -> None:
        super().__init__("agcfnbrwe", session.work.anchor.monotonic_ns, quiet=quiet)
        self.session = session
        self.wet: SnapshotWork | None = None
        self.bell = AlarmBell(self, session, on_alarm)

    async def attend(self) -> None:
        """Record until e is pressed, Ctrl-C, or a piped input or replayed gauge has ended."""
        from gaugelog.gauges.listen import listen
        from gaugelog.links.keyboard import keys
        from gaugelog.recorder.attend import ticks

        streams = self.session.work.streams(self.session.gauges, reconnect=True)
        typing = self.attendance.each(keys(), self.press)
        beat = self.attendance.each(ticks(0.5), self._beat)
        with self.screen:
            self._say("Recording. Ctrl-C or e ends it; started again, it goes on in the same recording.")
            if streams:
                heard = self.attendance.each(listen(streams), self.hear)
                await self.attendance.run(heard, beside=(typing, beat))
            else:
                await self.attendance.run(typing, beside=(beat,))
        self.session.close()

    def _beat(self, now_ns: int) -> None:
        from gaugelog.recorder.work import now

        self._now_ns = now_ns
        self.bell.tell(self.session.beat(now()))
        self.bell.beat(now_ns)
        self._tell_news()
        self.screen.redraw(now_ns)

    def _tell_news(self) -> None:
        news = self.session.take_news()
        if news:
            self._say(f"{news}.")

    def hear(self, event: Heard | LinkChange) -> None:
        """Take what a gauge said, for the session and for a wet check under way."""
        from gaugelog.model.readings import LinkChange, LinkState

        self.bell.tell(self.session.hear(event))
        self._tell_news()
        if isinstance(event, LinkChange):
            stranger = self.session.work.stranger(event)
            unwatched = self.session.watch_failed and event.state in (LinkState.LOST, LinkState.SILENT)
            if stranger or unwatched:  # else a lost gauge is an alarm, which rings by itself; one asleep calls nobody
                self.screen.bell()
            self._tell_link(event, stranger)
        if self.wet is not None and self.wet.hear(event) is not None:
            self._wet_took()
        self.screen.redraw(self.session.now_ns)

    def _command(self, command: Command) -> None:
        letter, words = command.letter, command.words
        if letter == "a":
            self.bell.acknowledge(self._now_ns)
        elif letter in _MARK_KEYS:
            self._mark(_MARK_KEYS[letter], "", words or "0s", self._now_ns)
        elif letter == "n":
            self._note(words) if words else self.entry.ask(ASK_NOTE)
        elif letter == "b":
            self._set_back(words) if words else self.entry.ask(_ASK_SET_BACK)
        elif letter == "r":
            self._spot(words) if words else self.entry.ask(ASK_SPOT)
        elif letter == "w":
            self._begin_wet()
        elif letter == "e":
            self.attendance.stop()

    def _line(self, line: Line) -> None:
        if line.question == ASK_NOTE:
            self._note(line.text)
        elif line.question == _ASK_SET_BACK:
            self._set_back(line.text)
        elif line.question == ASK_SPOT:
            self._spot(line.text)
        elif self.wet is not None:
            self.wet.type_in(line.text, self._now_ns)
            self._wet_took()
        else:
            raise BadArgumentError(line.text, "press r for a spot reading, n for a note, w for a wet check")

    def set_mark(self, name: str, ago: str, time_ns: int) -> None:
        """Set a mark by its name, or a note by its words, `ago` before `time_ns`.

        Raises:
            BadArgumentError: it is no time, the name is empty, or very like a mark's: a slip of the finger is no note.
        """
        kind, words = named_mark(name)
        self._mark(kind, words, ago, time_ns)

    def _note(self, words: str) -> None:
        self._mark(MarkKind.NOTE, words, "0s", self._now_ns)

    def _mark(self, kind: MarkKind, words: str, ago: str, time_ns: int) -> None:
        ago_s = seconds_ago(ago)
        if kind is MarkKind.NOTE and not words:
            raise BadArgumentError(words, "a mark has a name, and a note has words")
        self.session.mark(kind, time_ns, ago_s=ago_s, words=words)
        self._say(f"Marked: {words or kind.value}{f', {ago} ago' if ago_s else ''}.")

    def _set_back(self, text: str) -> None:
        match = _SET_BACK.match(text)
        if match is None:
            raise BadArgumentError(text, "a mark and how long ago, such as clamps on 2m")
        self.set_mark(match["name"], match["ago"], self._now_ns)

    def _spot(self, text: str) -> None:
        checkpoint, _, value = text.strip().partition(" ")
        kept = self.session.spot(checkpoint, value, self._now_ns)
        self._say(f"Spot reading kept: {kept.placement.checkpoint} {kept.placement.text} {kept.placement.unit}.")

    def _begin_wet(self) -> None:
        from gaugelog.recorder.snapshotting import SnapshotWork

        self.wet = SnapshotWork(self.session.work, WET, again=True)
        if not self.wet.tasks:
            self.wet = None
            self._say("No checkpoint is marked for the wet check; give it the stage wet in the instrument file.")
        else:
            self._announce_wet()

    def _announce_wet(self) -> None:
        task = self.wet.current if self.wet is not None else None
        if task is not None:
            self._say(f"Wet check, {task.checkpoint.id}: {task.checkpoint.todo}")

    def _wet_took(self) -> None:
        self.screen.bell()
        if self.wet is None or not self.wet.complete:
            self._announce_wet()
            return
        self.wet = None
        self._say(self._wet_words())

    def _wet_words(self) -> str:
        """Return how the wet check stands against before, in plain words."""
        from gaugelog.model.kinds import BEFORE
        from gaugelog.review.comparing import compare_recorded
        from gaugelog.store.reader import open_recording

        work = self.session.work
        with open_recording(work.writer.path) as source:
            if not source.snapshots(BEFORE):
                return "Wet check kept. There is no snapshot before to compare it with."
            comparison = compare_recorded(source, work.instrument, BEFORE, WET)
        return "Wet check. " + ". ".join(f"{row.id}: {row.reason}" for row in comparison.checkpoints) + "."

    def _draw(self, width: int, height: int) -> RenderableType:
        from gaugelog.review.session import pairs_of
        from gaugelog.show.clamp_view import clamp_view
        from gaugelog.show.words import simulated_gauges

        wet = self.wet.current.checkpoint if self.wet is not None and self.wet.current else None
        return clamp_view(
            **shown(self.session),
            wet=self.wet.placing_state if self.wet is not None else None,
            wet_checkpoint=wet,
            pairs=pairs_of(self.session.instrument, set(self.session.gauges)),
            simulated=simulated_gauges(self.session.instrument),
            entry=self.entry,
            message=self.message,
            width=width,
            height=height,
        )
