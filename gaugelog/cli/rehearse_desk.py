"""A finished clamp session run through the live watch: the desk, and the lines for a program.

Here: pace, keys, screen. Not here: what happened (`recorder.rehearsing`), when something is an alarm
(`analysis.watch`).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import TYPE_CHECKING

from gaugelog.cli.alarm_bell import AlarmBell, shown
from gaugelog.cli.desk import Desk
from gaugelog.cli.entry import Command, Line
from gaugelog.errors import BadArgumentError

if TYPE_CHECKING:
    from rich.console import RenderableType

    from gaugelog.model.instrument import Instrument
    from gaugelog.model.placement import Mark
    from gaugelog.model.readings import Heard
    from gaugelog.recorder.clamping import ClampSession, KeptAlarm
    from gaugelog.recorder.rehearsing import Sat

_KEYS = (("a", "acknowledge"), ("e", "end"))


def told_in(sittings: tuple[Sat, ...], instrument: Instrument) -> Iterator[tuple[KeptAlarm, int]]:
    """Yield every alarm of a session with its time in microseconds UTC, as fast as it can be worked out."""
    marks: list[Mark] = []
    for sat in sittings:
        session = sat.session(instrument, marks)
        for each in sat.happenings():
            for told in take(session, each):
                yield told, session.utc_us_of(told.alarm.time_ns)
        marks = session.marks


def take(session: ClampSession, happening: Heard | Mark) -> tuple[KeptAlarm, ...]:
    """Let a session hear one thing; return what it told."""
    from gaugelog.model.placement import Mark

    if isinstance(happening, Mark):
        session.set_mark(happening, happening.utc_us * 1000)
        return ()
    return session.hear(happening)


class RehearsalDesk(Desk):
    """Shows a session again, so many times faster; keys acknowledge and end it."""

    def __init__(
        self, sittings: tuple[Sat, ...], instrument: Instrument, speed: float, *, quiet: bool, as_json: bool = False
    ) -> None:
        super().__init__("ae", 0, quiet=quiet)
        self._as_json = as_json
        self._sittings, self._instrument, self._speed = sittings, instrument, speed
        self.session = sittings[0].session(instrument)
        self.bell = AlarmBell(self, self.session)
        self.told = 0

    async def attend(self) -> None:
        """Run the session to its end, or until e or Ctrl-C."""
        from gaugelog.links.keyboard import keys
        from gaugelog.recorder.attend import ticks
        from gaugelog.recorder.rehearsing import paced

        if self._as_json:
            await self.attendance.run(self.attendance.each(paced(self._everything(), self._speed), self._take))
            return
        typing = self.attendance.each(keys(), self.press)
        beat = self.attendance.each(ticks(0.5), self._beat)
        with self.screen:
            self._say(f"Rehearsal at {self._speed:g} times the pace; nothing is kept. e ends it.")
            await self.attendance.run(
                self.attendance.each(paced(self._everything(), self._speed), self._take), beside=(typing, beat)
            )

    def _everything(self) -> Iterator[Heard | Mark]:
        """Yield what happened, sitting by sitting; each has a watch of its own, as it had then."""
        for place, sat in enumerate(self._sittings):
            if place:
                self.session = sat.session(self._instrument, self.session.marks)
                self.bell = AlarmBell(self, self.session)
                if not self._as_json:
                    self._say("The next sitting begins.")
            yield from sat.happenings()

    def _take(self, happening: Heard | Mark) -> None:
        from gaugelog.recorder.work import now

        told = take(self.session, happening)
        self.told += sum(each.calls for each in told)
        if self._as_json:
            for each in told:
                self._print(each)
            return
        self.bell.tell(told)
        self.screen.redraw(None if told else now().monotonic_ns)

    def _print(self, told: KeptAlarm) -> None:
        from gaugelog.show.alarm_words import alarm_document

        document = alarm_document(told.alarm, self.session.utc_us_of(told.alarm.time_ns))
        print(json.dumps(document, allow_nan=False), flush=True)

    def _beat(self, now_ns: int) -> None:
        self._now_ns = now_ns
        self.bell.beat(now_ns)
        self.screen.redraw()

    def _command(self, command: Command) -> None:
        if command.letter == "a":
            self.bell.acknowledge(self.session.now_ns)
        elif command.letter == "e":
            self.attendance.stop()

    def _line(self, line: Line) -> None:
        raise BadArgumentError(line.text, "a rehearsal takes a to acknowledge and e to end")

    def _draw(self, width: int, height: int) -> RenderableType:
        from gaugelog.review.session import pairs_of
        from gaugelog.show.clamp_view import clamp_view

        return clamp_view(
            **shown(self.session),
            title="rehearsal of a clamp session",
            keys=_KEYS,
            hint="nothing is kept of a rehearsal",
            pairs=pairs_of(self._instrument, set(self.session.gauges)),
            entry=self.entry,
            message=self.message,
            width=width,
            height=height,
        )
