"""One piece of work, open for writing: instrument, recording, gauges.

Here: opening them together, so that a recording always knows the instrument file and the datasheets it was made with.
Not here: what is recorded (`recorder.snapshotting`, `recorder.clamping`, `recorder.sanding`).
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType

from gaugelog.analysis.uncertainty import Study, of_placement
from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.gauges.connect import open_gauge
from gaugelog.gauges.stream import GaugeStream
from gaugelog.links.clock import now_ns
from gaugelog.model.clock import Anchor
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.gauges import GaugeName
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.readings import LinkChange
from gaugelog.store.writer import RecordingWriter

DATASHEET_FOLDER = "datasheets"


def datasheet_folders(beside: Path) -> tuple[Path, ...]:
    """Return the folders with the builder's own datasheets: `datasheets` in `beside`, where there is one."""
    folder = beside / DATASHEET_FOLDER
    return (folder,) if folder.is_dir() else ()


def datasheets_of(instrument: Instrument, folders: Sequence[Path]) -> dict[str, Datasheet]:
    """Return the datasheet of each gauge of the instrument file by the gauge's short name.

    Raises:
        UnknownDatasheetError: a gauge names one that is neither bundled nor in the folders.
        FaultyDatasheetError: one has faults.
    """
    return {name: find_datasheet(named.gauge.datasheet, folders) for name, named in instrument.gauges.items()}


def is_typed(gauge: GaugeName) -> bool:
    """Return whether a gauge's readings are typed on standard input."""
    return gauge.address.scheme == "typed"


def step_of(checkpoint: Checkpoint, datasheets: dict[str, Datasheet]) -> float:
    """Return the step of one reading at a checkpoint in its base unit: as typed, or the coarser of its gauges."""
    if checkpoint.step is not None:
        return checkpoint.step
    names = [name for name in (checkpoint.gauge, checkpoint.body_gauge) if name is not None]
    if not names:
        raise ValueError(f"{checkpoint.id} has neither a gauge nor a step")
    return max(datasheets[name].resolution for name in names)


@dataclass(slots=True)
class Work:
    """An instrument with its open recording; a context manager that finishes the recording.

    `studies` says how one reading of a gauge repeats, by its short name, where it was checked.
    """

    instrument: Instrument
    datasheets: dict[str, Datasheet]
    writer: RecordingWriter
    anchor: Anchor
    folders: tuple[Path, ...] = field(default=())
    studies: dict[str, Study] = field(default_factory=dict)

    def __enter__(self) -> Work:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.writer.finish()

    def next_sitting(self, command: str, now_ns: int) -> None:
        """End this sitting of the recording and begin another."""
        self.writer.next_sitting(command, now_ns)
        self.anchor = self.writer.anchor

    def study_at(self, checkpoint: Checkpoint) -> Study | None:
        """Return how a placement at a checkpoint repeats by the checks of its gauges, None unless all were checked."""
        names = [name for name in (checkpoint.gauge, checkpoint.body_gauge) if name is not None]
        if not names or any(name not in self.studies for name in names):
            return None
        each = checkpoint.readings_per_placement // len(names)
        return of_placement(Counter({self.studies[name]: each for name in names}))

    def speaks(self, name: str) -> bool:
        """Return whether a gauge sends by itself; what a typed one shows comes with the keys."""
        return not is_typed(self.instrument.gauge(name).gauge)

    def stranger(self, change: LinkChange) -> str:
        """Return, in words, that a gauge says it is another than the instrument file names; empty where it doesn't."""
        named = self.instrument.gauges.get(change.gauge)
        says = change.device.serial_number if change.device is not None else ""
        if named is None or not named.identity or not says or says == named.identity:
            return ""
        return f"{change.gauge} says that its number is {says}; the instrument file names {named.identity}"

    def streams(self, names: Iterable[str], *, reconnect: bool) -> list[GaugeStream]:
        """Return a stream for each gauge named that speaks, not yet opened."""
        return [
            open_gauge(named.gauge, self.folders, name, reconnect=reconnect)
            for name, named in self.instrument.gauges.items()
            if name in set(names) and self.speaks(name)
        ]


def now() -> Anchor:
    """Return this moment on both clocks."""
    return Anchor(now_ns(), time.time_ns() // 1000)


def open_work(
    instrument: Instrument,
    recording: Path,
    command: str,
    folders: tuple[Path, ...] = (),
    anchor: Anchor | None = None,
) -> Work:
    """Open or begin the recording of an instrument.

    Raises:
        RecordingBusyError, NewerRecordingError, NotARecordingError, WriteFailedError: as the store finds.
        UnknownDatasheetError, FaultyDatasheetError: as the catalogue finds.
    """
    datasheets = datasheets_of(instrument, folders)
    anchor = anchor or now()
    writer = RecordingWriter.open(recording, anchor=anchor, command=command)
    writer.put_instrument(instrument)
    for name, named in instrument.gauges.items():
        writer.put_gauge(named, datasheets[name])
    return Work(instrument, datasheets, writer, anchor, folders)
