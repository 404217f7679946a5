"""The bench desk: a command that follows a running bench, the recording's one writer, and asks it for things.

Here: what each key asks for, what is said, when the bell rings. Not here: the work (`bench.work`), asking
(`bench.client`), drawing (`show.bench_view`).
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelog.bench.client import Told, ask_bench, told_by
from gaugelog.cli.desk import ASK_NOTE, ASK_SKIP, ASK_SPOT, ASK_TURN, Desk
from gaugelog.cli.entry import Command, Line
from gaugelog.errors import BenchGoneError
from gaugelog.links.clock import now_ns

if TYPE_CHECKING:
    from rich.console import RenderableType

_SILENT_S, _BELL_EVERY_S = 3.0, 5.0
_QUESTIONS = {("clamps", "n"): ASK_NOTE, ("clamps", "r"): ASK_SPOT, ("snapshot", "s"): ASK_SKIP,
              ("snapshot", "t"): ASK_TURN}  # fmt: skip
_ASKED: dict[tuple[str, str], dict[str, Any]] = {
    ("sanding", ""): {"do": "pass"},
    ("sanding", " "): {"do": "pass"},
    ("sanding", "z"): {"do": "zero"},
    ("snapshot", ""): {"do": "take"},
    ("snapshot", " "): {"do": "lifted"},
    ("snapshot", "l"): {"do": "lifted"},
    ("snapshot", "d"): {"do": "drop"},
    ("snapshot", "r"): {"do": "redo"},
    ("clamps", "a"): {"do": "acknowledge"},
    ("clamps", "g"): {"do": "mark", "name": "glue on"},
    ("clamps", "c"): {"do": "mark", "name": "clamps on"},
    ("clamps", "f"): {"do": "mark", "name": "clamps off"},
    ("clamps", "w"): {"do": "snapshot", "stage": "wet"},
    ("clamps", ""): {"do": "take"},
}


def join_bench(recording: Path, asked: dict[str, Any], *, quiet: bool) -> bool:
    """Have a running bench begin something, and follow it here; return whether one runs.

    Raises:
        BenchRefusedError: it can't begin that; nothing was done.
        BenchGoneError: it ended meanwhile.
    """
    from gaugelog.cli.live import start

    said = ask_bench(recording, asked)
    if said is None:
        return False
    start(BenchDesk(recording, said, quiet=quiet).attend())
    return True


class BenchDesk(Desk):
    """Attends to a bench and the keys until q, Ctrl-C, a snapshot's completion, or the bench's end."""

    def __init__(self, recording: Path, said: str, *, quiet: bool) -> None:
        super().__init__("acdefglnqrstwz ", now_ns(), quiet=quiet)
        self.recording = recording
        self.state: dict[str, Any] = {}
        self._began_with = said
        self._heard_s = self._rang_s = time.monotonic()

    async def attend(self) -> None:
        """Follow until the end; the bench goes on."""
        from gaugelog.recorder.attend import ticks

        beat = self.attendance.each(ticks(0.5), self._beat)
        with self.screen:
            self.screen.say("The bench holds the recording; this follows it and asks it. q leaves, the bench goes on.")
            self._say(self._began_with)
            await self.attendance.run(self.attendance.each(told_by(self.recording), self.hear), beside=(beat,))

    def hear(self, told: Told) -> None:
        """Take what the bench tells."""
        self._heard_s = time.monotonic()
        if told.kind == "state":
            self._take_state(told.data)
        elif told.kind == "reading" and self.state:
            self._take_readings(told.data)
        self.screen.redraw(now_ns())

    def _take_state(self, state: dict[str, Any]) -> None:
        from gaugelog.links.keyboard import keys

        before, self.state = self.state, state
        if not before:  # what keys mean depends on what the bench does
            self.attendance.join(self.attendance.each(keys(), self.press))
        if state["message"] != self.message:
            self._say(state["message"])
        if before and state["taken"] > before["taken"]:
            self.screen.bell()
        snapshot = state["snapshot"]
        if state["doing"] == "snapshot" and snapshot["complete"]:
            self.screen.say(f"The snapshot {snapshot['stage']} is complete, in {self.recording}.")
            self.attendance.stop()

    def _take_readings(self, news: dict[str, Any]) -> None:
        fresh = {each["name"]: each for each in news["gauges"]}
        self.state["gauges"] = [fresh.get(each["name"], each) for each in self.state["gauges"]]
        self.state |= {name: news[name] for name in ("sanding", "clamps") if name in news}
        if "now" in news and self.state["snapshot"] is not None:
            self.state["snapshot"]["now"] = news["now"]

    @property
    def _silent_s(self) -> float:
        """Seconds since the bench was heard where that is too long, else 0."""
        waited_s = time.monotonic() - self._heard_s
        return waited_s if waited_s > _SILENT_S else 0.0

    def _beat(self, now_ns: int) -> None:
        now_s = time.monotonic()
        clamps = self.state.get("clamps")
        if clamps and any(each["calls"] for each in clamps["alarms"]) and now_s - self._rang_s >= _BELL_EVERY_S:
            self._rang_s = now_s
            self.screen.bell()
        self.screen.redraw(now_ns)

    def _ask(self, asked: dict[str, Any]) -> None:
        """Ask the bench, and say what it says.

        Raises:
            BenchRefusedError: it can't.
            BenchGoneError: it doesn't answer.
        """
        said = ask_bench(self.recording, asked)
        if said is None:
            raise BenchGoneError
        self._say(said)

    def _command(self, command: Command) -> None:
        doing, letter, words = self.state.get("doing", ""), command.letter, command.words
        question = _QUESTIONS.get((doing, letter))
        if letter == "q":
            self.attendance.stop()
        elif letter == "e" and doing:
            self._ask({"do": "end"})
        elif question is not None:
            self._answer(question, words) if words else self.entry.ask(question)
        elif (asked := _ASKED.get((doing, letter))) is not None:
            self._ask(asked | ({"ago": words} if asked["do"] == "mark" and words else {}))

    def _line(self, line: Line) -> None:
        if line.question:
            self._answer(line.question, line.text)
        else:
            self._ask({"do": "type", "value": line.text})

    def _answer(self, question: str, text: str) -> None:
        checkpoint, _, value = text.strip().partition(" ")
        asked = {
            ASK_NOTE: {"do": "note", "words": text},
            ASK_SPOT: {"do": "spot", "checkpoint": checkpoint, "value": value},
            ASK_SKIP: {"do": "skip", "reason": text},
            ASK_TURN: {"do": "turn", "checkpoint": text},
        }
        self._ask(asked[question])

    def _draw(self, width: int, height: int) -> RenderableType:
        from rich.text import Text

        from gaugelog.show.bench_view import bench_view

        if not self.state:
            return Text("waiting for the bench")
        return bench_view(self.state, self.entry, self.message, self._silent_s, width)
