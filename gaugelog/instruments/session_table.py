"""A table of a clamp session logged elsewhere: `time,gauge,value[,unit]`, marks as `time,mark,NAME`.

Here: from lines to rows, each a reading, a mark or what is wrong with it; and a first look over all of them. Not here:
keeping them (`recorder.bringing_in`).
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from gaugelog.errors import UnitMismatchError
from gaugelog.model.placement import MarkKind
from gaugelog.model.quantities import Quantity, Unit, find_unit

MARK = "mark"
COLUMNS = ("time", "gauge", "value")
DIFFERENCE = " - "
LARGEST = 1_000_000
"""The largest number that is taken for a reading; what is beyond is a slip of the pen."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,20}\.?[0-9]{0,20}|\.[0-9]{1,20})(?:[eE][+-]?[0-9]{1,2})?")
_LEAST_DISTANCES = 3
_LEAST_STEPS = 2
_MOST_TEXTS = 4096
_LATEST_S = 366 * 86_400
_OUT_OF_ORDER_US = 60_000_000


class ReadingRow(NamedTuple):
    """A reading: its row's number, when, which gauge, the decimal as written and its unit (empty where none is)."""

    number: int
    moment_us: int
    gauge: str
    text: str
    unit: str


class MarkRow(NamedTuple):
    """A mark: its row's number, when, which, and the words of a note."""

    number: int
    moment_us: int
    kind: MarkKind
    words: str


class BadRow(NamedTuple):
    """A row that is left out, and why."""

    number: int
    reason: str


Row = ReadingRow | MarkRow | BadRow


def session_rows(lines: Iterable[str]) -> Iterator[Row]:
    """Yield the rows of a table in order; empty ones, remarks (#) and one that names the columns are passed over.

    Cells stand between commas, semicolons or tabs, as the first row has them. Moments are microseconds: from the start
    where the first time that can be read counts seconds, since 1970 UTC where it is a date; a row of the other form is
    a bad one.
    """
    separator, clock = "", _Clock()
    for number, line in enumerate(lines, 1):
        text = line.removeprefix("\ufeff").strip() if number == 1 else line.strip()
        if not text or text.startswith("#"):
            continue
        separator = separator or next((mark for mark in (";", "\t") if mark in text), ",")
        try:
            cut = next(csv.reader([text], delimiter=separator), []) if '"' in text else text.split(separator)
        except csv.Error:
            yield BadRow(number, "a cell of it has no end")
            continue
        cells = [cell.strip() for cell in cut]
        if clock.dated is None and tuple(cell.lower() for cell in cells[:3]) == COLUMNS:
            continue
        yield _row(number, cells, clock)


def _row(number: int, cells: list[str], clock: _Clock) -> Row:
    if len(cells) < 3 or not all(cells[:3]):
        return BadRow(number, "less than time, gauge and value")
    moment_us = clock.moment_us(cells[0], cells[1])
    if moment_us is None:
        return BadRow(number, f'the time "{cells[0]}" is not {clock.wanted}')
    if cells[1].lower() == MARK:
        words = ", ".join(cell for cell in cells[2:] if cell)
        kind = next((each for each in MarkKind if each.value == words.lower()), MarkKind.NOTE)
        return MarkRow(number, moment_us, kind, words if kind is MarkKind.NOTE else "")
    if DIFFERENCE in cells[1]:
        return BadRow(number, f'"{cells[1]}" reads as the difference of two gauges, and is the name of none')
    if len(cells) > 4:
        return BadRow(number, f"{len(cells)} cells where there are three or four")
    value = _decimal(cells[2])
    if value is None:
        return BadRow(number, f'the value "{cells[2]}" is no number')
    if abs(Decimal(value)) > LARGEST:
        return BadRow(number, f'the value "{cells[2]}" is beyond what a gauge can show')
    return ReadingRow(number, moment_us, cells[1], value, cells[3] if len(cells) > 3 else "")


def _decimal(text: str) -> str | None:
    """Return a number as a plain decimal with a point, None where the text is none."""
    written = text.replace(",", ".").replace("\u2212", "-")
    if _NUMBER.fullmatch(written) is None:
        return None
    return f"{Decimal(written):f}" if "e" in written.lower() else written


class _Clock:
    """Reads the times of a table: all of them seconds, or all of them dates; `dated` is None until one was read."""

    def __init__(self) -> None:
        self.dated: bool | None = None
        self._latest_us: dict[str, int] = {}

    @property
    def wanted(self) -> str:
        """What a time has to be."""
        seconds, date = "seconds from the start", "a date and time such as 2026-03-14T14:25:09"
        return f"{seconds}, nor {date}" if self.dated is None else date if self.dated else seconds

    def moment_us(self, text: str, gauge: str) -> int | None:
        """Return a time of a gauge in microseconds, None where it can't be read."""
        moment_us = None if self.dated else _seconds(text)
        if moment_us is not None:
            self.dated = False
        elif self.dated is not False:
            moment_us = self._utc_us(text, gauge)
            self.dated = None if moment_us is None and self.dated is None else True
        return moment_us

    def _utc_us(self, text: str, gauge: str) -> int | None:
        """Return an ISO 8601 date and time as microseconds since 1970 UTC; one without a zone is local time.

        In the hour that a local clock shows twice it is the second one where the first would lead the gauge back.
        """
        try:
            written = datetime.fromisoformat(text)
            first, second = (_us(written.replace(fold=fold)) for fold in (0, 1))
        except (ValueError, OverflowError, OSError):
            return None
        if len(text) <= 4:
            return None
        latest_us = self._latest_us.get(gauge, first)
        moment_us = second if second > first and latest_us - first > _OUT_OF_ORDER_US else first
        self._latest_us[gauge] = max(latest_us, moment_us)
        return moment_us


def _us(moment: datetime) -> int:
    return round((moment.astimezone(UTC) - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds() * 1e6)


def _seconds(text: str) -> int | None:
    """Return seconds from the start as microseconds, None where the text isn't that."""
    written = _decimal(text)
    seconds = Decimal(written) if written is not None else None
    return None if seconds is None or abs(seconds) > _LATEST_S else round(seconds * 1_000_000)


@dataclass(slots=True)
class SeenGauge:
    """What a table says of one gauge: how many readings in which unit, the numbers it showed, and how far apart."""

    units: Counter[str] = field(default_factory=Counter)
    texts: set[str] = field(default_factory=set)
    distances_us: list[int] = field(default_factory=list)
    latest_us: int | None = None

    @property
    def unit(self) -> str:
        """The first unit named that is one; empty where there is none."""
        return next((unit for unit in self.units if unit and unit_of(unit, None) is not None), "")

    def readings_in(self, quantity: Quantity) -> int:
        """Return how many readings have a unit of a quantity, or none at all."""
        return sum(count for unit, count in self.units.items() if unit_of(unit, quantity) is not None)

    def take(self, row: ReadingRow) -> None:
        """Take a reading into account."""
        self.units[row.unit] += 1
        if len(self.texts) < _MOST_TEXTS:
            self.texts.add(row.text)
        if self.latest_us is not None and len(self.distances_us) < _MOST_TEXTS:
            self.distances_us.append(row.moment_us - self.latest_us)
        self.latest_us = row.moment_us

    def period_s(self) -> float | None:
        """Return how far apart its readings mostly are, in seconds; None where too few tell."""
        if len(self.distances_us) < _LEAST_DISTANCES:
            return None
        usual = median(self.distances_us) / 1e6 or sum(self.distances_us) / 1e6 / len(self.distances_us)
        return usual if usual > 0 else None

    def step(self) -> Decimal:
        """Return the digit that its numbers stand on: the smallest distance of two of them, else the last decimal."""
        values = sorted({Decimal(text) for text in self.texts})
        distances = [after - before for before, after in pairwise(values)]
        finest = min(_last_digit(text) for text in self.texts)
        if len(distances) < _LEAST_STEPS:
            return finest
        step = min(distances)
        return step if all((value - values[0]) % step == 0 for value in values) else finest


def _last_digit(text: str) -> Decimal:
    exponent = Decimal(text).as_tuple().exponent
    return Decimal(1).scaleb(exponent) if isinstance(exponent, int) else Decimal(1)


@dataclass(slots=True)
class Survey:
    """A first look over a table: its gauges by name, its readings, and from when to when they go (microseconds)."""

    gauges: dict[str, SeenGauge] = field(default_factory=dict)
    readings: int = 0
    first_us: int | None = None
    last_us: int = 0
    dated: bool = False

    def take(self, row: Row) -> None:
        """Take a row into account."""
        if isinstance(row, BadRow):
            return
        self.first_us = row.moment_us if self.first_us is None else min(self.first_us, row.moment_us)
        self.last_us = max(self.last_us, row.moment_us)
        if isinstance(row, MarkRow):
            return
        self.readings += 1
        self.gauges.setdefault(row.gauge, SeenGauge()).take(row)


def survey(lines: Iterable[str]) -> Survey:
    """Return a first look over a table."""
    found = Survey()
    for row in session_rows(lines):
        found.take(row)
    found.dated = found.first_us is not None and found.first_us > _LATEST_S * 1e6
    return found


def unit_of(text: str, quantity: Quantity | None) -> Unit | None:
    """Return the unit that a table writes, None where it is none or not of the quantity (any where that is None)."""
    for each in (quantity,) if quantity is not None else tuple(Quantity):
        try:
            return find_unit(text or each.base_unit, each)
        except UnitMismatchError:
            continue
    return None
