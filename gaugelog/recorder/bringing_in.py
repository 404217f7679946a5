"""A clamp session that was logged elsewhere, brought into a recording.

Here: from a table's rows to readings and marks of one sitting. Not here: reading the table (`session_table`), watching
it (`clamping`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path

from gaugelog.errors import NoRecordingError, NothingToDoError
from gaugelog.instruments.session_table import BadRow, MarkRow, ReadingRow, Row, SeenGauge, Survey, unit_of
from gaugelog.model.clock import Anchor
from gaugelog.model.datasheet import Datasheet, Sends, ValueRule
from gaugelog.model.gauges import Address, GaugeName
from gaugelog.model.instrument import Instrument, NamedGauge
from gaugelog.model.placement import CLAMP_SITTING, Mark
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Heard, Reading
from gaugelog.store.reader import open_recording
from gaugelog.store.writer import RecordingWriter

_CHUNK_ROWS = 4096
_SCHEME = "table"


@dataclass(slots=True)
class BroughtIn:
    """What came of a table: readings by gauge, marks, rows left out, and the unit taken for gauges that name none."""

    taken_for: Mapping[str, str] = field(default_factory=dict)
    readings: dict[str, int] = field(default_factory=dict)
    marks: int = 0
    left_out: list[BadRow] = field(default_factory=list)


def bring_in(
    rows: Iterable[Row],
    seen: Survey,
    instrument: Instrument,
    datasheets: Mapping[str, Datasheet],
    recording: Path,
    table: Path,
    start_utc_us: int,
    progress: Callable[[int], None] = lambda _: None,
) -> BroughtIn:
    """Keep a table's readings and marks as one sitting of the clamp session, all of them or, if it is cut off, none.

    A gauge of the instrument file counts with its datasheet; any other is taken for one that reads to the step its
    numbers stand on. Rows that can't be read, or whose unit isn't the gauge's, are left out and named.

    Args:
        rows: of the table, in order.
        seen: a first look over the same rows.
        instrument: whose work it is.
        datasheets: of its gauges, by short name.
        recording: where to keep it.
        table: the file it came from, for the record.
        start_utc_us: what the table's seconds count from; of no matter where it has dates.
        progress: told how many rows were taken, now and then.

    Raises:
        NothingToDoError: the table holds no reading, or what the recording holds already; nothing was kept.
        RecordingBusyError, NewerRecordingError, NotARecordingError, DamagedRecordingError: as the store finds.
    """
    sheets = {name: _sheet(name, gauge, datasheets.get(name)) for name, gauge in seen.gauges.items()}
    taken = [name for name, gauge in seen.gauges.items() if gauge.readings_in(sheets[name].quantity)]
    if not taken or seen.first_us is None:
        what = "no reading whose unit fits its gauge" if seen.readings else "no reading"
        raise NothingToDoError(
            f"{table} holds {what}", "Rows are time,gauge,value or time,gauge,value,unit; marks time,mark,NAME."
        )
    offset_us = 0 if seen.dated else start_utc_us
    _must_be_new(recording, {name: sheets[name] for name in taken}, seen.first_us + offset_us, seen.last_us + offset_us)
    anchor = Anchor(0, seen.first_us + offset_us)
    found = BroughtIn(taken_for={name: sheets[name].value.unit for name in taken if _is_guess(name, seen, datasheets)})
    with RecordingWriter.open(recording, anchor=anchor, command=CLAMP_SITTING) as writer:
        writer.put_instrument(instrument)
        for name in taken:
            address = Address(_SCHEME, table.name, {}, f"{_SCHEME}:{table.name}")
            identity = instrument.gauges[name].identity if name in instrument.gauges else ""
            writer.put_gauge(NamedGauge(name, GaugeName(sheets[name].name, address, name), identity), sheets[name])
        with writer.whole():
            _Keeping(writer, sheets, seen.first_us, found, progress).take_all(rows)
    return found


def _is_guess(name: str, seen: Survey, datasheets: Mapping[str, Datasheet]) -> bool:
    """Return whether nothing says in which unit a gauge reads."""
    return name not in datasheets and not seen.gauges[name].unit


def _must_be_new(recording: Path, sheets: Mapping[str, Datasheet], first_us: int, last_us: int) -> None:
    """Refuse what would make readings count twice, or a gauge read two quantities.

    Raises:
        NothingToDoError: the recording holds readings of one of the gauges from that very time, or of another quantity.
    """
    with suppress(NoRecordingError), open_recording(recording) as kept:
        for known in kept.every_gauge():
            sheet = sheets.get(known.name)
            if sheet is None:
                continue
            if known.quantity is not sheet.quantity:
                raise NothingToDoError(
                    f"in the recording {known.name} reads {known.quantity.value}, in the table {sheet.quantity.value}",
                    "Give it another name in the table.",
                )
            if kept.series(known.name, first_us, last_us + 1, CLAMP_SITTING).utc_us.size:
                raise NothingToDoError(
                    f"the recording holds readings of {known.name} from the time of the table already",
                    "Nothing was kept. A table is brought in once; --recording FILE keeps another session apart.",
                )


def _sheet(name: str, gauge: SeenGauge, named: Datasheet | None) -> Datasheet:
    """Return a gauge's datasheet with the pace of the table; without one, what its numbers show."""
    sheet = named or _unnamed_sheet(name, gauge)
    period_s = gauge.period_s()
    if period_s is None or sheet.sends not in (Sends.STEADILY, Sends.WHEN_ASKED):
        return sheet
    return replace(sheet, rate_hz=1 / period_s, poll=None)


def _unnamed_sheet(name: str, gauge: SeenGauge) -> Datasheet:
    unit = unit_of(gauge.unit, None if gauge.unit else Quantity.ANGLE)
    quantity = unit.quantity if unit is not None else Quantity.ANGLE
    step = gauge.step()
    return Datasheet(
        name=_SCHEME,
        title=f"{name}, from a table",
        quantity=quantity,
        sends=Sends.STEADILY,
        framing="line",
        options={},
        value=ValueRule(number_field="value", unit=gauge.unit or quantity.base_unit),
        resolution=unit.step_to_base(step) if unit is not None else float(step),
    )


class _Keeping:
    """Rows on their way into the recording, a few thousand at a time."""

    def __init__(
        self,
        writer: RecordingWriter,
        sheets: Mapping[str, Datasheet],
        first_us: int,
        found: BroughtIn,
        progress: Callable[[int], None],
    ) -> None:
        self._writer, self._sheets, self._first_us = writer, sheets, first_us
        self._found, self._progress = found, progress
        self._waiting: dict[str, list[Reading]] = {name: [] for name in sheets}
        self._values: dict[tuple[str, str, str], tuple[float, str] | None] = {}

    def take_all(self, rows: Iterable[Row]) -> None:
        """Keep every row, and name those that can't be."""
        count = 0
        for count, row in enumerate(rows, 1):
            if isinstance(row, ReadingRow):
                self._reading(row)
            elif isinstance(row, MarkRow):
                time_us = self._writer.anchor.utc_us + row.moment_us - self._first_us
                self._writer.mark(Mark(time_us, row.kind, row.words))
                self._found.marks += 1
            else:
                self._found.left_out.append(row)
            if count % _CHUNK_ROWS == 0:
                self._flush()
                self._progress(count)
        self._flush()
        self._progress(count)

    def _reading(self, row: ReadingRow) -> None:
        sheet = self._sheets[row.gauge]
        key = (row.gauge, row.text, row.unit)
        if key not in self._values:
            unit = unit_of(row.unit or sheet.value.unit, sheet.quantity)
            self._values[key] = None if unit is None else (unit.to_base(Decimal(row.text)), unit.name)
        value = self._values[key]
        if value is None:
            self._found.left_out.append(
                BadRow(
                    row.number,
                    f'the unit "{row.unit}" is not one of {row.gauge}\'s, which reads {sheet.quantity.value}',
                )
            )
            return
        time_ns = (row.moment_us - self._first_us) * 1000
        self._waiting[row.gauge].append(
            Reading(time_ns, row.gauge, sheet.quantity, value[0], row.text, value[1], sheet.resolution)
        )

    def _flush(self) -> None:
        """Hand what waits to the writer, and have it stored."""
        latest_ns = 0
        for name, readings in self._waiting.items():
            if readings:
                self._writer.hear(Heard(name, Chunk(readings[-1].time_ns, b""), tuple(readings)))
                self._found.readings[name] = self._found.readings.get(name, 0) + len(readings)
                latest_ns = max(latest_ns, readings[-1].time_ns)
                self._waiting[name] = []
        self._writer.keep_up(latest_ns)
