"""A table of a clamp session logged elsewhere: `time,gauge,value[,unit]`, marks as `time,mark,NAME`.

Here: from lines to rows, each a reading, a mark or what is wrong with it; and a first look over all of them. Not here:
keeping them (`recorder.bringing_in`).
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from itertools import pairwise
from typing import NamedTuple

from gaugelog.errors import UnitMismatchError
from gaugelog.model.placement import MarkKind
from gaugelog.model.quantities import Quantity, Unit, find_unit

MARK = "mark"
COLUMNS = ("time", "gauge", "value")
_LEAST_STEPS = 2
_MOST_TEXTS = 4096
_LATEST_S = 366 * 86_400.0


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
    where the first row counts seconds, since 1970 UTC where it has a date; a row of the other form is a bad one.
    """
    separator, dated, first = "", False, True
    for number, line in enumerate(lines, 1):
        text = line.removeprefix("\ufeff").strip() if number == 1 else line.strip()
        if not text or text.startswith("#"):
            continue
        separator = separator or next((mark for mark in (";", "\t") if mark in text), ",")
        cut = next(csv.reader([text], delimiter=separator), []) if '"' in text else text.split(separator)
        cells = [cell.strip() for cell in cut]
        if first:
            first = False
            if tuple(cell.lower() for cell in cells[:3]) == COLUMNS:
                first = True
                continue
            dated = _seconds(cells[0] if cells else "") is None and _utc_us(cells[0] if cells else "") is not None
        yield _row(number, cells, dated)


def _row(number: int, cells: list[str], dated: bool) -> Row:
    if len(cells) < 3 or not all(cells[:3]):
        return BadRow(number, "less than time, gauge and value")
    moment_us = _utc_us(cells[0]) if dated else _seconds(cells[0])
    if moment_us is None:
        wanted = "a date and time such as 2026-03-14T14:25:09" if dated else "seconds from the start"
        return BadRow(number, f'the time "{cells[0]}" is not {wanted}')
    if cells[1].lower() == MARK:
        words = ", ".join(cell for cell in cells[2:] if cell)
        kind = next((each for each in MarkKind if each.value == words.lower()), MarkKind.NOTE)
        return MarkRow(number, moment_us, kind, words if kind is MarkKind.NOTE else "")
    value = cells[2].replace(",", ".").replace("\u2212", "-")
    if len(cells) > 4:
        return BadRow(number, f"{len(cells)} cells where there are three or four")
    try:
        if not Decimal(value).is_finite():
            raise InvalidOperation
    except InvalidOperation:
        return BadRow(number, f'the value "{cells[2]}" is no number')
    return ReadingRow(number, moment_us, cells[1], value, cells[3] if len(cells) > 3 else "")


def _seconds(text: str) -> int | None:
    """Return seconds from the start as microseconds, None where the text isn't that."""
    try:
        seconds = float(text)
    except ValueError:
        return None
    return round(seconds * 1e6) if abs(seconds) <= _LATEST_S else None


def _utc_us(text: str) -> int | None:
    """Return an ISO 8601 date and time as microseconds since 1970 UTC; one without a zone is local time."""
    try:
        moment = datetime.fromisoformat(text).astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        return None
    return round((moment - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds() * 1e6) if len(text) > 4 else None


@dataclass(slots=True)
class SeenGauge:
    """What a table says of one gauge: its unit as first named, how many readings, and the numbers it showed."""

    unit: str = ""
    readings: int = 0
    texts: set[str] = field(default_factory=set)

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
        gauge = self.gauges.setdefault(row.gauge, SeenGauge())
        gauge.readings += 1
        gauge.unit = gauge.unit or row.unit
        if len(gauge.texts) < _MOST_TEXTS:
            gauge.texts.add(row.text)


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
