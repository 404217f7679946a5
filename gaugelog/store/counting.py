"""Rows that have vanished.

Here: tables from which nothing is ever deleted are counted; a damaged page can make rows disappear without a trace of
their own. Not here: rows that are there but changed, which their checksums tell.
"""

from __future__ import annotations

import sqlite3


def missing_rows(connection: sqlite3.Connection, *tables: str) -> list[str]:
    """Return in words each of the tables that has fewer or more rows than numbers were given out for it."""
    given = dict(connection.execute("SELECT name, seq FROM sqlite_sequence"))
    damaged = []
    for table in tables:
        query = f"SELECT count(*), count(DISTINCT id) FROM {table} NOT INDEXED"
        stand, count = connection.execute(query).fetchone()  # a damaged page can show one row twice
        if (stand, count) != (given.get(table, 0),) * 2:
            damaged.append(f"{count} of {given.get(table, 0)} rows of {table} are there")
    return damaged
