"""Snapshots as rows: begun, completed, read back whole.

Here: the tables snapshot and skip. Not here: the placements within them (`placed`), transactions (`writer`).
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from dataclasses import dataclass

from gaugelog.model.placement import Skip, Snapshot
from gaugelog.store.counting import missing_rows
from gaugelog.store.gauge_rows import read_gauges
from gaugelog.store.placed import PlacedRows
from gaugelog.store.records import Reinterpretation
from gaugelog.store.schema import checksum
from gaugelog.store.seals import damaged_rows

_SNAPSHOT = "id, stage, number, begun_utc_us, complete_utc_us, placements"


@dataclass(frozen=True, slots=True)
class ReadSnapshots:
    """Snapshots in the order in which they were begun, with what was found damaged in them."""

    snapshots: tuple[Snapshot, ...]
    reinterpretations: tuple[Reinterpretation, ...]
    damaged: tuple[str, ...]


def _seal(connection: sqlite3.Connection, snapshot_id: int) -> None:
    """Store the checksum of a snapshot's row as it stands now."""
    row = connection.execute(f"SELECT {_SNAPSHOT} FROM snapshot WHERE id = ?", (snapshot_id,)).fetchone()
    if row is None:
        raise ValueError(f"there is no snapshot {snapshot_id}")
    connection.execute("UPDATE snapshot SET checksum = ? WHERE id = ?", (checksum(*row), snapshot_id))


def begin_snapshot(connection: sqlite3.Connection, stage: str, utc_us: int) -> Snapshot:
    """Begin the next snapshot of a stage."""
    cursor = connection.execute(
        "INSERT INTO snapshot (stage, number, begun_utc_us, checksum)"
        " SELECT ?, coalesce(max(number), 0) + 1, ?, 0 FROM snapshot WHERE stage = ?",
        (stage, utc_us, stage),
    )
    snapshot_id = int(cursor.lastrowid or 0)
    _seal(connection, snapshot_id)
    (number,) = connection.execute("SELECT number FROM snapshot WHERE id = ?", (snapshot_id,)).fetchone()
    return Snapshot(snapshot_id, stage, number, utc_us, None)


def count_placement(connection: sqlite3.Connection, snapshot_id: int) -> str:
    """Count one placement more in a snapshot; return its stage."""
    connection.execute("UPDATE snapshot SET placements = placements + 1 WHERE id = ?", (snapshot_id,))
    _seal(connection, snapshot_id)
    return str(connection.execute("SELECT stage FROM snapshot WHERE id = ?", (snapshot_id,)).fetchone()[0])


def complete_snapshot(connection: sqlite3.Connection, snapshot_id: int, utc_us: int) -> None:
    """Say that nothing is missing in a snapshot; one that was complete before stays so."""
    connection.execute(
        "UPDATE snapshot SET complete_utc_us = coalesce(complete_utc_us, ?) WHERE id = ?", (utc_us, snapshot_id)
    )
    _seal(connection, snapshot_id)


def read_snapshots(connection: sqlite3.Connection) -> ReadSnapshots:
    """Return all snapshots with their placements and skips."""
    rows = connection.execute(f"SELECT checksum, {_SNAPSHOT} FROM snapshot NOT INDEXED ORDER BY id").fetchall()
    damaged = missing_rows(connection, "snapshot", "placement", "reinterpretation")
    damaged += [*damaged_rows(connection, "skip"), *read_gauges(connection)[1]]
    damaged += [f"snapshot {row[1]}" for row in rows if row[0] != checksum(*row[1:])]
    placed = PlacedRows(connection)
    damaged += placed.damaged
    skips = defaultdict(list)
    for snapshot_id, checkpoint, reason in connection.execute(
        "SELECT snapshot, checkpoint, reason FROM skip NOT INDEXED ORDER BY rowid"
    ):
        skips[snapshot_id].append(Skip(checkpoint, reason))
    found = []
    for _, snapshot_id, stage, number, begun, complete, count in rows:
        kept = tuple(each for each in placed.kept if each.snapshot == snapshot_id)
        if not placed.damaged and len(kept) != count:
            damaged.append(f"snapshot {snapshot_id}: {len(kept)} of {count} placements are there")
        found.append(Snapshot(snapshot_id, stage, number, begun, complete, kept, tuple(skips[snapshot_id])))
    return ReadSnapshots(tuple(found), tuple(placed.reinterpretations), tuple(damaged))
