"""Checks of gauges as rows.

Here: the table gauge_check, written and read. Not here: what a check found (`analysis`), the builder's book
(`gauge_book`).
"""

from __future__ import annotations

import sqlite3

from gaugelog.store.gauge_rows import read_gauges
from gaugelog.store.records import RecordedCheck
from gaugelog.store.schema import checksum
from gaugelog.store.seals import vanished

_CHECK = "id, gauge, kind, utc_us, result"


def insert_check(connection: sqlite3.Connection, gauge_id: int, kind: str, utc_us: int, result: str) -> bool:
    """Write a check of a gauge, unless the same one is there; return whether it was written."""
    same = "SELECT 1 FROM gauge_check WHERE gauge = ? AND kind = ? AND utc_us = ? AND result = ?"
    if connection.execute(same, (gauge_id, kind, utc_us, result)).fetchone() is not None:
        return False
    (check_id,) = connection.execute("SELECT coalesce(max(id), 0) + 1 FROM gauge_check").fetchone()
    row = (check_id, gauge_id, kind, utc_us, result)
    insert = f"INSERT INTO gauge_check ({_CHECK}, checksum) VALUES (?, ?, ?, ?, ?, ?)"
    connection.execute(insert, (*row, checksum(*row)))
    return True


def read_checks(connection: sqlite3.Connection) -> tuple[tuple[RecordedCheck, ...], tuple[str, ...]]:
    """Return all checks in order of the time they were made, and what is damaged among them."""
    gauges, damaged_gauges = read_gauges(connection)
    by_id = {row.id: row.gauge for row in gauges}
    found, damaged = [], [*damaged_gauges, *vanished(connection, "gauge_check")]
    for sealed, *row in connection.execute(f"SELECT checksum, {_CHECK} FROM gauge_check ORDER BY utc_us, id"):
        _, gauge_id, kind, utc_us, result = row
        if sealed != checksum(*row) or gauge_id not in by_id:
            damaged.append(f"gauge check {row[0]}")
        else:
            found.append(RecordedCheck(by_id[gauge_id], kind, utc_us, result))
    return tuple(found), tuple(damaged)
