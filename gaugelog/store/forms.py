"""What a row of each table looks like, so that a record can be told to be one of its rows.

Here: the columns of every table in every schema version, and what their checksums cover. Not here: reading records from
a file (`pages`), rows whose checksum covers other rows too (`salvage`).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from typing import NamedTuple

from gaugelog.store.pages import Cell
from gaugelog.store.schema import Column, checksum, schema_texts
from gaugelog.store.seals import SEALS

Row = dict[str, Column]

LOOSE = frozenset({"placement", "part", "raw", "reinterpretation"})
"""Tables whose rows are verified together: a placement's checksum covers its parts and their bytes."""

_KINDS: Mapping[str, tuple[type, ...]] = {"INTEGER": (int,), "REAL": (float, int), "TEXT": (str,), "BLOB": (bytes,)}
_ENDS = ("latest_utc_us", "ended_utc_us", "end_checksum")


class FormColumn(NamedTuple):
    """A column: its name, SQL type, and whether it may be empty."""

    name: str
    kind: str
    may_be_empty: bool


@dataclass(frozen=True, slots=True)
class Form:
    """A table as one schema version has it; `numbered` where rows have an `id`, `gives_numbers` where none of them is
    given twice, `refers` which table a column refers to.
    """

    table: str
    columns: tuple[FormColumn, ...]
    numbered: bool
    gives_numbers: bool
    refers: Mapping[str, str]

    @property
    def names(self) -> tuple[str, ...]:
        """The columns' names in order."""
        return tuple(column.name for column in self.columns)

    @property
    def key(self) -> tuple[str, ...]:
        """The columns that name a row."""
        return ("id",) if self.numbered else SEALS[self.table].key if self.table in SEALS else self.names

    @property
    def is_sealed(self) -> bool:
        """Whether a row of this form carries a checksum, or another row's checksum covers it."""
        if self.table in LOOSE:
            return True
        return any(name in self.names for name in ("checksum", "sha256", "head_crc32"))

    def row_of(self, cell: Cell) -> Row | None:
        """Return a record as a row of this table, None where it can't be one."""
        row: Row = {}
        if len(cell.values) > len(self.columns):
            return None
        for place, column in enumerate(self.columns):  # one that was added later may not be there yet
            value = cell.values[place] if place < len(cell.values) else None
            if self.numbered and column.name == "id":
                if value is not None:
                    return None
                row["id"] = cell.rowid
            elif value is None:
                if not column.may_be_empty:
                    return None
                row[column.name] = None
            elif not isinstance(value, _KINDS[column.kind]):
                return None
            else:
                row[column.name] = float(value) if column.kind == "REAL" and isinstance(value, int) else value
        return row

    def fits(self, row: Row) -> bool:
        """Return whether a row's own checksum is right; True for one that has none."""
        from gaugelog.store.stream import head_checksum

        if self.table in LOOSE or not self.is_sealed:
            return True
        if self.table == "block":
            head = [row[name] for name in self.names[1:9]]
            whole = all(isinstance(each, int) and -(2**63) <= each < 2**63 for each in (*head[:5], head[7]))
            return whole and 0 <= int(str(head[7])) < 2**32 and head_checksum(*head) == row["head_crc32"]  # type: ignore[arg-type]
        if self.table == "instrument" and sha256(str(row["text"]).encode()).hexdigest() != row["sha256"]:
            return False
        return "checksum" not in row or row["checksum"] == own_checksum(self.table, self.names, row)


def own_checksum(table: str, names: Sequence[str], row: Row) -> int:
    """Return the checksum of a row that is covered alone: all its columns in order but the checksum itself."""
    if table in SEALS and SEALS[table].checksum == "checksum":
        return checksum(*(row[name] for name in SEALS[table].covered))
    left_out = ("checksum", *(_ENDS if table == "sitting" else ()))
    return checksum(*(row[name] for name in names if name not in left_out))


def end_fits(row: Row) -> bool:
    """Return whether what a sitting says of its end is sealed rightly; True where schema 1 left it without a seal."""
    seal = SEALS["sitting"]
    return seal.checksum not in row or row[seal.checksum] == checksum(*(row[name] for name in seal.covered))


@cache
def forms_of(version: int) -> tuple[Form, ...]:
    """Return the tables of a schema version in order."""
    with closing(_empty(version)) as connection:
        return tuple(_forms(connection))


def _empty(version: int) -> sqlite3.Connection:
    connection = sqlite3.connect(":memory:")
    for number, text in schema_texts().items():
        if number <= version:
            connection.executescript(text)
    return connection


def _forms(connection: sqlite3.Connection) -> Iterator[Form]:
    query = "SELECT name, sql FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY rowid"
    for table, text in connection.execute(query).fetchall():
        columns, numbered = [], False
        for _, name, kind, not_null, _, key in connection.execute(f"PRAGMA table_info({table})"):
            columns.append(FormColumn(name, kind, not not_null))
            numbered |= bool(key) and name == "id"
        refers = {row[3]: row[2] for row in connection.execute(f"PRAGMA foreign_key_list({table})")}
        yield Form(table, tuple(columns), numbered, "AUTOINCREMENT" in text, refers)


@cache
def known_tables() -> frozenset[tuple[str, str]]:
    """Return name and SQL of each table as any schema version leaves it in a file."""
    found: set[tuple[str, str]] = set()
    for version in schema_texts():
        with closing(_empty(version)) as connection:
            found |= set(connection.execute("SELECT name, sql FROM sqlite_master WHERE sql NOT NULL").fetchall())
    return frozenset(found)
