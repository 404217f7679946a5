"""Marks as rows.

Here: the table mark, written and read. Not here: what phase a mark begins (`model.placement`).
"""

from __future__ import annotations

import sqlite3

from gaugelog.model.placement import Mark, MarkKind


def insert_mark(connection: sqlite3.Connection, sitting: int, mark: Mark, set_utc_us: int) -> None:
    """Write a mark and the moment at which it was set."""
    connection.execute(
        "INSERT INTO mark (sitting, kind, utc_us, set_utc_us, words) VALUES (?, ?, ?, ?, ?)",
        (sitting, mark.kind.value, mark.utc_us, set_utc_us, mark.words),
    )


def read_marks(connection: sqlite3.Connection) -> tuple[Mark, ...]:
    """Return all marks in order of the moment they mark."""
    rows = connection.execute("SELECT utc_us, kind, words FROM mark ORDER BY utc_us, id")
    return tuple(Mark(utc_us, MarkKind(kind), words) for utc_us, kind, words in rows)
