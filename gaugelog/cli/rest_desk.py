"""The rest desk: one gauge left alone for a while, with its keys and its screen.

Here: how long it goes on, what is shown meanwhile. Not here: keeping (`recorder.sanding`), what the run tells
(`analysis`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelog.cli.desk import Desk
from gaugelog.cli.entry import Command, Line

if TYPE_CHECKING:
    from rich.console import RenderableType

    from gaugelog.model.readings import Heard, LinkChange
    from gaugelog.recorder.sanding import SandingWork

_SAID_EVERY_S = 60


class RestDesk(Desk):
    """Attends to one gauge until it was left alone for so many seconds, or the builder has had enough.

    `heard_s` is how long it was listened to.
    """

    def __init__(self, work: SandingWork, rest_s: float, simulated: bool, *, quiet: bool, aside: bool = False) -> None:
        super().__init__("q", work.anchor.monotonic_ns, quiet=quiet, aside=aside)
        self.work = work
        self.rest_s = rest_s
        self.simulated = simulated
        self.values: list[float] = []
        self.latest = ""
        self.heard_s = 0.0
        self._first_ns: int | None = None
        self._said_s = 0.0

    async def attend(self) -> None:
        """Run until the time is over or q is pressed."""
        from gaugelog.links.keyboard import keys

        if self.work.stream is None:
            raise ValueError("the desk listens to its gauge itself")
        heard = self.attendance.each(self.work.stream.events(), self.hear)
        with self.screen:
            if not self.screen.is_live:
                self.screen.say(f"{self.work.gauge.name}: leave it alone for {self._words(self.rest_s)}.")
            await self.attendance.run(heard, beside=(self.attendance.each(keys(), self.press),))
        self.screen.bell()

    @staticmethod
    def _words(seconds: float) -> str:
        from gaugelog.show.numbers import duration_text

        return duration_text(seconds)

    def hear(self, event: Heard | LinkChange) -> None:
        """Take what the gauge said; the time runs from its first reading, of one that sends on change at once."""
        from gaugelog.model.datasheet import Sends
        from gaugelog.model.readings import SAYS_NOTHING, LinkChange, LinkState, Reading
        from gaugelog.show.live_parts import reading_text

        self.work.hear(event)
        if isinstance(event, LinkChange):
            if event.state is not LinkState.OPEN:
                self._tell_link(event)
            self.screen.redraw()
            return
        if self._first_ns is None and self.work.datasheet.sends is Sends.ON_CHANGE:
            self._first_ns = event.chunk.time_ns
        for item in event.items:
            if isinstance(item, Reading) and not item.flags & SAYS_NOTHING:
                self._first_ns = item.time_ns if self._first_ns is None else self._first_ns
                self.values.append(item.value)
                self.latest = reading_text(item)
        if self._first_ns is not None:
            self.heard_s = (event.chunk.time_ns - self._first_ns) / 1e9
        self._tell_progress()
        if self.heard_s >= self.rest_s:
            self.attendance.stop()
        self.screen.redraw(event.chunk.time_ns)

    def _tell_progress(self) -> None:
        """Where there is no live view, say once a minute how long it still takes."""
        if not self.screen.is_live and self.heard_s - self._said_s >= _SAID_EVERY_S and self.heard_s < self.rest_s:
            self._said_s = self.heard_s
            self.screen.say(f"{self._words(self.rest_s - self.heard_s)} left.")

    def _line(self, line: Line) -> None:
        """Nothing is typed here but commands."""

    def _command(self, command: Command) -> None:
        if command.letter == "q":
            self.attendance.stop()

    def _draw(self, width: int, height: int) -> RenderableType:
        from gaugelog.show.check_view import rest_view

        return rest_view(
            self.work.gauge.name,
            self.work.datasheet,
            latest=self.latest,
            values=self.values,
            heard_s=self.heard_s,
            rest_s=self.rest_s,
            simulated=self.simulated,
            message=self.message,
            width=width,
            height=height,
        )
