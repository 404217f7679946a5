"""Sittings as rows, and events, gaps and rejects read back from theirs.

Here: what a session leaves beside readings, marks and placements. Not here: writing events, gaps and rejects, which
are buffered (`writer`, `stream`).
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict

from gaugelog.model.clock import Anchor
from gaugelog.store.records import ClockSet, Event, Gap, KeptReject, RejectCount, Sitting
from gaugelog.store.schema import checksum
from gaugelog.store.seals import damaged_rows

_SITTING = "id, monotonic_ns, utc_us, utc_offset_s, command, program, host, pid"


def begin_sitting(
    connection: sqlite3.Connection, anchor: Anchor, utc_offset_s: int, command: str, program: str, host: str, pid: int
) -> int:
    """Write that a program begins to write; return the sitting's number."""
    (number,) = connection.execute("SELECT coalesce(max(id), 0) + 1 FROM sitting").fetchone()
    row = (number, anchor.monotonic_ns, anchor.utc_us, utc_offset_s, command, program, host, pid)
    connection.execute(
        f"INSERT INTO sitting ({_SITTING}, latest_utc_us, checksum) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (*row, anchor.utc_us, checksum(*row)),
    )
    return int(number)


def read_sittings(connection: sqlite3.Connection) -> tuple[tuple[Sitting, ...], tuple[str, ...]]:
    """Return the sittings in order, and what is damaged among them."""
    found, damaged = [], damaged_rows(connection, "sitting")
    for sealed, latest, ended, *row in connection.execute(
        f"SELECT checksum, latest_utc_us, ended_utc_us, {_SITTING} FROM sitting ORDER BY id"
    ):
        if sealed != checksum(*row):
            damaged.append(f"sitting {row[0]}")
            continue
        number, monotonic_ns, start, offset, command, program, host, _ = row
        end = latest if ended is None else ended
        found.append(Sitting(number, command, start, end, ended is not None, program, host, offset, monotonic_ns))
    return tuple(found), tuple(damaged)


def read_clock_sets(connection: sqlite3.Connection) -> tuple[ClockSet, ...]:
    """Return how the wall clock departed from the time of each sitting, in order."""
    rows = connection.execute(
        "SELECT clock.sitting, sitting.utc_us + (clock.monotonic_ns - sitting.monotonic_ns) / 1000, clock.utc_us"
        " FROM clock JOIN sitting ON sitting.id = clock.sitting ORDER BY clock.sitting, clock.monotonic_ns, clock.id"
    )
    found: list[ClockSet] = []
    ahead_us: dict[int, int] = {}
    for sitting, counted_us, shown_us in rows:
        by_us = shown_us - counted_us - ahead_us.get(sitting, 0)
        ahead_us[sitting] = shown_us - counted_us
        found.append(ClockSet(sitting, counted_us, by_us / 1e6, ahead_us[sitting] / 1e6))
    return tuple(found)


def read_events(connection: sqlite3.Connection) -> tuple[Event, ...]:
    """Return all events in order of time."""
    rows = connection.execute(
        "SELECT event.utc_us, event.kind, coalesce(gauge.name, ''), event.words, event.sitting FROM event"
        " LEFT JOIN gauge ON gauge.id = event.gauge ORDER BY event.utc_us, event.id"
    )
    return tuple(Event(*row) for row in rows)


def read_gaps(connection: sqlite3.Connection) -> tuple[Gap, ...]:
    """Return all gaps in order of time."""
    rows = connection.execute(
        "SELECT gauge.name, start_utc_us, end_utc_us, reason, fault FROM gap"
        " JOIN gauge ON gauge.id = gap.gauge ORDER BY start_utc_us, gap.id"
    )
    return tuple(Gap(name, start, end, reason, bool(fault)) for name, start, end, reason, fault in rows)


def read_rejects(connection: sqlite3.Connection) -> tuple[RejectCount, ...]:
    """Return how often bytes were no reading, with the first of them."""
    kept = defaultdict(list)
    for sitting, gauge, reason, utc_us, raw, detail in connection.execute(
        "SELECT sitting, gauge, reason, utc_us, bytes, detail FROM reject_raw ORDER BY id"
    ):
        kept[sitting, gauge, reason].append(KeptReject(utc_us, raw, detail))
    rows = connection.execute(
        "SELECT sitting, gauge, name, reason, count FROM reject NOT INDEXED JOIN gauge ON gauge.id = gauge"
        " ORDER BY sitting, gauge, reason"
    )
    return tuple(
        RejectCount(sitting, name, reason, count, tuple(kept[sitting, gauge, reason]))
        for sitting, gauge, name, reason, count in rows
    )
