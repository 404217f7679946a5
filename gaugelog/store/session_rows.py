"""Sittings, events, gaps and rejects read back from their rows.

Here: what a session leaves beside readings, marks and placements. Not here: writing them (`writer`, `stream`).
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict

from gaugelog.store.records import Event, Gap, KeptReject, RejectCount, Sitting


def read_sittings(connection: sqlite3.Connection) -> tuple[Sitting, ...]:
    """Return the sittings in order."""
    rows = connection.execute(
        "SELECT id, command, utc_us, coalesce(ended_utc_us, latest_utc_us), ended_utc_us IS NOT NULL, program,"
        " host, utc_offset_s, monotonic_ns FROM sitting ORDER BY id"
    )
    return tuple(
        Sitting(number, command, start, end, bool(finished), program, host, offset, monotonic_ns)
        for number, command, start, end, finished, program, host, offset, monotonic_ns in rows
    )


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
        "SELECT sitting, gauge, name, reason, count FROM reject JOIN gauge ON gauge.id = gauge"
        " ORDER BY sitting, gauge, reason"
    )
    return tuple(
        RejectCount(sitting, name, reason, count, tuple(kept[sitting, gauge, reason]))
        for sitting, gauge, name, reason, count in rows
    )
