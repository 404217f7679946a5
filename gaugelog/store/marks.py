"""Marks as rows.

Here: the table mark, written and read. Not here: what phase a mark begins (`model.placement`).
"""

from __future__ import annotations

import sqlite3

from gaugelog.model.placement import Mark, MarkKind
from gaugelog.store.counting import missing_rows
from gaugelog.store.schema import checksum

_MARK = "id, sitting, kind, utc_us, set_utc_us, words"


def insert_mark(connection: sqlite3.Connection, sitting: int, mark: Mark, set_utc_us: int) -> None:
    """Write a mark and the moment at which it was set."""
    (mark_id,) = connection.execute("SELECT coalesce(max(id), 0) + 1 FROM mark").fetchone()
    row = (mark_id, sitting, mark.kind.value, mark.utc_us, set_utc_us, mark.words)
    connection.execute(f"INSERT INTO mark ({_MARK}, checksum) VALUES (?, ?, ?, ?, ?, ?, ?)", (*row, checksum(*row)))


def read_marks(connection: sqlite3.Connection) -> tuple[tuple[Mark, ...], tuple[str, ...]]:
    """Return all marks in order of the moment they mark, and what is damaged among them."""
    found, damaged = [], missing_rows(connection, "mark")
    for sealed, *row in connection.execute(f"SELECT checksum, {_MARK} FROM mark ORDER BY utc_us, id"):
        if sealed != checksum(*row):
            damaged.append(f"mark {row[0]}")
        else:
            found.append(Mark(row[3], MarkKind(row[2]), row[5]))
    return tuple(found), tuple(damaged)
