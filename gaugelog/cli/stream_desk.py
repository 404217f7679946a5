"""The stream desk: one gauge while sanding, with its keys and its screen.

Here: what each key does, when the bell rings, lines of JSON where output is piped. Not here: keeping
(`recorder.sanding`),
drawing (`show.sanding`).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from gaugelog.cli.desk import Desk
from gaugelog.cli.entry import Command, Line

if TYPE_CHECKING:
    from rich.console import RenderableType

    from gaugelog.model.datasheet import Datasheet
    from gaugelog.model.readings import Heard, LinkChange, Reading
    from gaugelog.recorder.sanding import SandingWork
    from gaugelog.show.sanding import SandingState


_BEAT_S = 0.5


@contextmanager
def open_sanding(
    gauge: str,
    target: str | None,
    within: str | None,
    record: bool,
    instrument: Path | None,
    recording: Path | None,
) -> Iterator[tuple[SandingWork, SandingState]]:
    """Give the gauge to sand by and its state; with `record`, the recording is open until the end.

    Raises:
        GaugelogError: as the gauge's name, the values, the instrument file or the recording deserve.
    """
    from gaugelog.cli.naming import name_gauge
    from gaugelog.cli.options import bring_book, find_files, load_instrument
    from gaugelog.datasheets.catalogue import find_datasheet
    from gaugelog.gauges.connect import open_gauge
    from gaugelog.model.datasheet import Sends
    from gaugelog.recorder.sanding import SandingWork
    from gaugelog.recorder.work import now, open_work
    from gaugelog.show.sanding import SandingState

    named, folders = name_gauge(gauge, instrument)
    datasheet = find_datasheet(named.gauge.datasheet, folders)
    state = SandingState(
        quantity=datasheet.quantity,
        resolution=datasheet.resolution,
        target=_value(target, datasheet),
        within=_width(within, target, datasheet),
        gauge=named.name,
        simulated=named.gauge.address.scheme == "sim",
        silence_is_normal=datasheet.sends in (Sends.ON_CHANGE, Sends.ON_BUTTON, Sends.WHEN_TYPED),
    )
    stream = open_gauge(named.gauge, folders, named.name, reconnect=True)
    if not record:
        yield SandingWork(named, datasheet, stream, now()), state
        return
    path, kept_in = find_files(instrument, recording)
    with open_work(load_instrument(path), kept_in, "stream", folders) as work:
        bring_book(work)
        if named.name not in work.datasheets:
            work.writer.put_gauge(named, datasheet)
        yield SandingWork(named, datasheet, stream, work.anchor, work.writer), state


def _width(text: str | None, target: str | None, datasheet: Datasheet) -> float | None:
    """Return half the width of the band in the base unit.

    Raises:
        BadArgumentError: it isn't above 0, or there is no target to be within of.
        ValueTextError, UnitMismatchError: it can't be read.
    """
    from gaugelog.errors import BadArgumentError

    width = _value(text, datasheet)
    if width is not None and text is not None and (width <= 0 or target is None):
        raise BadArgumentError(text, "--within is a width above 0 on either side of --target")
    return width


def _value(text: str | None, datasheet: Datasheet) -> float | None:
    """Return a value given on the command line in the base unit.

    Raises:
        ValueTextError, UnitMismatchError: it can't be read.
    """
    from gaugelog.errors import ValueTextError
    from gaugelog.model.typed import parse_typed

    if text is None:
        return None
    typed = parse_typed(text, datasheet.quantity, datasheet.value.unit)
    if typed.value is None:
        raise ValueTextError(text, "one number")
    return typed.value


class StreamDesk(Desk):
    """Attends to one gauge and the keys until q, Ctrl-C, or the end of a replay."""

    def __init__(self, work: SandingWork, state: SandingState, *, quiet: bool) -> None:
        super().__init__(" zq", work.anchor.monotonic_ns, quiet=quiet)
        self.work = work
        self.state = state

    async def attend(self) -> None:
        """Run until the end; where readings are typed, the keys are theirs."""
        from gaugelog.links.keyboard import keys
        from gaugelog.recorder.attend import ticks
        from gaugelog.recorder.work import is_typed, now

        if self.work.stream is None:
            raise ValueError("the desk listens to its gauge itself")
        heard = self.attendance.each(self.work.stream.events(), self.hear)
        typing = () if is_typed(self.work.gauge.gauge) else (self.attendance.each(keys(), self.press),)
        beat = self.attendance.each(ticks(_BEAT_S), lambda _: self.work.beat(now()))
        with self.screen:
            await self.attendance.run(heard, beside=(*typing, beat))

    def hear(self, event: Heard | LinkChange) -> None:
        """Take what the gauge said."""
        from gaugelog.model.readings import LinkChange, Reading

        self.work.hear(event)
        if isinstance(event, LinkChange):
            self.state.link_changed(event)
            self._print({"link": event.state.value, "detail": event.detail})
            self.screen.redraw()
            return
        self.state.tick(event.chunk.time_ns)
        for item in event.items:
            if isinstance(item, Reading):
                self._take(item)
        self.screen.redraw(event.chunk.time_ns)

    def _take(self, reading: Reading) -> None:
        from gaugelog.show.sanding import reading_line

        self.state.hear(reading)
        self._print(reading_line(reading, self.state))
        if self.state.entered_band():
            self.screen.bell()

    def _line(self, line: Line) -> None:
        """Nothing is typed here but commands."""

    def _command(self, command: Command) -> None:
        if command.letter in ("", " "):
            reading = self.state.mark_pass()
            if reading is not None:
                self.work.mark_pass(reading)
                self._print({"pass": len(self.state.passes), "value": reading.value})
        elif command.letter == "z":
            reading = self.state.take_zero()
            if reading is not None:
                self.work.take_zero(reading)
                self._print({"zero": reading.value})
        elif command.letter == "q":
            self.attendance.stop()

    def _print(self, line: dict[str, object]) -> None:
        if not self.screen.is_live:
            print(json.dumps(line, ensure_ascii=False), flush=True)

    def _draw(self, width: int, height: int) -> RenderableType:
        from gaugelog.show.sanding_view import sanding_view

        return sanding_view(self.state, width, height)
