"""Checksums of the rows that no other checksum covers.

Here: which columns are sealed, the triggers that seal each row as it is written, verifying. The triggers belong to the
writer's connection and not to the file, so that any SQLite tool can open it. Not here: placements (`placement_rows`),
blocks (`readings`) and what else is sealed where it is written.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from functools import cache
from types import MappingProxyType
from typing import NamedTuple

from gaugelog.store.counting import missing_rows
from gaugelog.store.schema import checksum, schema_texts


class Seal(NamedTuple):
    """How the rows of a table are sealed: the columns covered, the column of the checksum, and what names a row."""

    covered: tuple[str, ...]
    checksum: str
    key: tuple[str, ...]


def _row(covered: str, key: str = "id") -> Seal:
    return Seal(tuple(covered.split(", ")), "checksum", tuple(key.split(", ")))


SEALS: Mapping[str, Seal] = MappingProxyType(
    {
        "sitting": Seal(("id", "latest_utc_us", "ended_utc_us"), "end_checksum", ("id",)),
        "clock": _row("id, sitting, monotonic_ns, utc_us"),
        "instrument": _row("id, sitting, utc_us, text, sha256"),
        "skip": _row("snapshot, checkpoint, reason", "snapshot, checkpoint"),
        "event": _row("id, sitting, gauge, utc_us, kind, words"),
        "gap": _row("id, sitting, gauge, start_utc_us, end_utc_us, reason, fault"),
        "tally": _row("sitting, gauge, readings", "sitting, gauge"),
        "reject": _row("sitting, gauge, reason, count", "sitting, gauge, reason"),
        "reject_raw": _row("id, sitting, gauge, utc_us, reason, detail, bytes"),
    }
)
"""The tables whose rows are sealed from schema 2 on."""

COUNTED = ("clock", "gauge_check", "skip", "tally", "reject", "reject_raw")
"""The tables whose rows are counted by `row_count`."""


@cache
def sealed_from() -> int:
    """Return the first schema whose recordings are sealed."""
    return next(number for number, text in schema_texts().items() if "CREATE TABLE row_count" in text)


def is_sealed(connection: sqlite3.Connection) -> bool:
    """Return whether the rows of a recording are sealed; one that no writer has opened since schema 1 has no seals."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    return bool(version >= sealed_from())


def seal_what_is_written(connection: sqlite3.Connection) -> None:
    """Make a writer's connection able to seal; call before the schema is brought up to date."""
    connection.create_function("seal", -1, checksum, deterministic=True)


def sealing_statements() -> Iterator[str]:
    """Yield the statements that seal every row there is; they run with the schema that brings the seals."""
    for table, seal in SEALS.items():
        yield f"UPDATE {table} SET {seal.checksum} = seal({', '.join(seal.covered)});"
    for table in COUNTED:
        yield f"INSERT INTO row_count (name, n) SELECT '{table}', count(*) FROM {table} NOT INDEXED;"


def put_triggers(connection: sqlite3.Connection) -> None:
    """Seal and count each row that is written through a connection from now on."""
    for table, seal in SEALS.items():
        new = ", ".join(f"NEW.{column}" for column in seal.covered)
        sealing = f"UPDATE {table} SET {seal.checksum} = seal({new}) WHERE rowid = NEW.rowid"
        for when in ("INSERT", f"UPDATE OF {', '.join(seal.covered)}"):
            name = f"seal_{table}_{when[:6].lower()}"
            connection.execute(f"CREATE TEMP TRIGGER {name} AFTER {when} ON main.{table} BEGIN {sealing}; END")
    for table in COUNTED:
        for when, change in (("INSERT", "+ 1"), ("DELETE", "- 1")):
            counting = f"UPDATE row_count SET n = n {change} WHERE name = '{table}'"
            name = f"count_{table}_{when.lower()}"
            connection.execute(f"CREATE TEMP TRIGGER {name} AFTER {when} ON main.{table} BEGIN {counting}; END")


def damaged_rows(connection: sqlite3.Connection, *tables: str) -> list[str]:
    """Return in words what is damaged in tables: rows whose seal doesn't fit, rows that vanished or stand twice."""
    damaged: list[str] = []
    if is_sealed(connection):
        for table in tables:
            damaged += _unfit(connection, table)
    damaged += missing_rows(connection, *(table for table in tables if table not in COUNTED))
    return damaged + vanished(connection, *(table for table in tables if table in COUNTED))


def _unfit(connection: sqlite3.Connection, table: str) -> Iterator[str]:
    seal = SEALS[table]
    columns = ", ".join((seal.checksum, *seal.covered))
    seen = set()
    for sealed, *row in connection.execute(f"SELECT {columns} FROM {table} NOT INDEXED"):
        name = tuple(row[seal.covered.index(column)] for column in seal.key)
        if sealed != checksum(*row) or name in seen:
            yield f"{table} {', '.join(str(each) for each in name)}"
        seen.add(name)


def vanished(connection: sqlite3.Connection, *tables: str) -> list[str]:
    """Return in words each of the counted tables that has fewer or more rows than were counted."""
    if not is_sealed(connection):
        return []
    counted = dict(connection.execute("SELECT name, n FROM row_count NOT INDEXED"))
    damaged = []
    for table in tables:
        (count,) = connection.execute(f"SELECT count(*) FROM {table} NOT INDEXED").fetchone()
        if count != counted.get(table):
            damaged.append(f"{count} of {counted.get(table)} rows of {table} are there")
    return damaged
