"""A gauge watched while sanding, kept in the recording or not.

Here: the gauge's stream, passes and the zero as events of the recording. Not here: what is shown (`show.sanding`).
"""

from __future__ import annotations

from dataclasses import dataclass

from gaugelog.gauges.stream import GaugeStream
from gaugelog.model.clock import Anchor
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.placement import PASS, ZERO
from gaugelog.model.readings import Heard, LinkChange, Reading
from gaugelog.store.writer import RecordingWriter


@dataclass(slots=True)
class SandingWork:
    """One gauge while sanding; `stream` is None where others listen to it, `writer` where nothing is kept."""

    gauge: NamedGauge
    datasheet: Datasheet
    stream: GaugeStream | None
    anchor: Anchor
    writer: RecordingWriter | None = None

    def hear(self, event: Heard | LinkChange) -> None:
        """Keep what the gauge said, where a recording is open."""
        if self.writer is None:
            return
        if isinstance(event, LinkChange):
            self.writer.event(f"link {event.state.value}", event.gauge, event.detail, event.time_ns)
            self.writer.keep_up(event.time_ns)
            return
        self.writer.hear(event)
        self.writer.keep_up(event.chunk.time_ns)

    def beat(self, moment: Anchor) -> None:
        """Say how the wall clock stands by now, for the record."""
        if self.writer is not None:
            self.writer.note_clock(moment)
            self.writer.keep_up(moment.monotonic_ns)

    def mark_pass(self, reading: Reading) -> None:
        """Keep that a pass ended at this reading."""
        self._event(PASS, reading)

    def take_zero(self, reading: Reading) -> None:
        """Keep that this reading is the zero from now on."""
        self._event(ZERO, reading)

    def _event(self, kind: str, reading: Reading) -> None:
        if self.writer is not None:
            self.writer.event(kind, self.gauge.name, f"{reading.text} {reading.unit}", reading.time_ns)
