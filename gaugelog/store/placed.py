"""Placements as rows: written, sealed with a checksum, read back and checked.

Here: the tables placement, part, raw and reinterpretation. Not here: snapshots (`snapshots`), transactions (`writer`).
A placement's checksum covers its row, its parts and their bytes; a reinterpretation's covers its row and its parts.
"""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from gaugelog.model.placement import KeptPlacement, Part, Placement, Role, Settled
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk
from gaugelog.store.records import Reinterpretation
from gaugelog.store.schema import checksum

Row = tuple[Any, ...]

_PLACEMENT = (
    "id, snapshot, sitting, checkpoint, quantity, value_base, low_base, high_base, text, unit, resolution_base,"
    " spread_base, settled, gauge, utc_us, monotonic_ns, reinterpretations, dropped_reason"
)
_PART = "role, gauge, value_base, text, unit, resolution_base, spread_base, n, start_monotonic_ns, end_monotonic_ns"
_REINTERPRETATION = (
    "id, placement, number, utc_us, value_base, low_base, high_base, text, unit, resolution_base, spread_base,"
    " datasheets"
)


def _marks(columns: str) -> str:
    return ", ".join("?" * len(columns.split(",")))


def _next_id(connection: sqlite3.Connection, table: str) -> int:
    return int(connection.execute(f"SELECT coalesce(max(id), 0) + 1 FROM {table}").fetchone()[0])


def insert_placement(
    connection: sqlite3.Connection,
    snapshot_id: int,
    sitting: int,
    placement: Placement,
    utc_us: int,
    gauge_id: Callable[[str], int],
) -> int:
    """Write a placement with its parts and bytes; return its id."""
    placement_id = _next_id(connection, "placement")
    gauge = gauge_id(placement.gauge) if placement.gauge is not None else None
    values = (
        *(placement_id, snapshot_id, sitting, placement.checkpoint, placement.quantity.value),
        *(placement.value, placement.low, placement.high, placement.text, placement.unit),
        *(placement.resolution, placement.spread, placement.settled.value, gauge, utc_us, placement.time_ns, 0, None),
    )
    connection.execute(f"INSERT INTO placement ({_PLACEMENT}, checksum) VALUES ({_marks(_PLACEMENT)}, 0)", values)
    _insert_parts(connection, placement_id, None, placement.parts, gauge_id)
    _seal(connection, placement_id)
    return placement_id


def _insert_parts(
    connection: sqlite3.Connection,
    placement_id: int,
    reinterpretation: int | None,
    parts: Sequence[Part],
    gauge_id: Callable[[str], int],
) -> None:
    """Write parts; the bytes only with the first interpretation, since they stay the same."""
    for part in parts:
        cursor = connection.execute(
            f"INSERT INTO part (placement, reinterpretation, {_PART}) VALUES (?, ?, {_marks(_PART)})",
            (
                *(placement_id, reinterpretation, part.role.value, gauge_id(part.gauge), part.value, part.text),
                *(part.unit, part.resolution, part.spread, part.n, part.start_ns, part.end_ns),
            ),
        )
        if reinterpretation is None:
            connection.executemany(
                "INSERT INTO raw (part, monotonic_ns, bytes) VALUES (?, ?, ?)",
                [(cursor.lastrowid, chunk.time_ns, chunk.data) for chunk in part.raw],
            )


def insert_reinterpretation(
    connection: sqlite3.Connection,
    placement_id: int,
    placement: Placement,
    datasheet_texts: Mapping[str, str],
    utc_us: int,
    gauge_id: Callable[[str], int],
) -> None:
    """Write what a placement reads as now, beside what it read before."""
    connection.execute("UPDATE placement SET reinterpretations = reinterpretations + 1 WHERE id = ?", (placement_id,))
    number = connection.execute("SELECT reinterpretations FROM placement WHERE id = ?", (placement_id,)).fetchone()[0]
    new_id = _next_id(connection, "reinterpretation")
    values = (
        *(new_id, placement_id, number, utc_us, placement.value, placement.low, placement.high, placement.text),
        *(placement.unit, placement.resolution, placement.spread, json.dumps(dict(datasheet_texts), sort_keys=True)),
    )
    connection.execute(
        f"INSERT INTO reinterpretation ({_REINTERPRETATION}, checksum) VALUES ({_marks(_REINTERPRETATION)}, 0)", values
    )
    _insert_parts(connection, placement_id, new_id, placement.parts, gauge_id)
    row = _rows(connection, f"SELECT {_REINTERPRETATION} FROM reinterpretation WHERE id = ?", new_id)[0]
    parts = _rows(connection, f"SELECT {_PART} FROM part WHERE reinterpretation = ? ORDER BY id", new_id)
    connection.execute("UPDATE reinterpretation SET checksum = ? WHERE id = ?", (checksum(row, parts), new_id))
    _seal(connection, placement_id)


def drop_placement(connection: sqlite3.Connection, placement_id: int, reason: str) -> None:
    """Say that a placement no longer counts, and why."""
    connection.execute("UPDATE placement SET dropped_reason = ? WHERE id = ?", (reason, placement_id))
    _seal(connection, placement_id)


def _seal(connection: sqlite3.Connection, placement_id: int) -> None:
    """Store the checksum of a placement as it stands now."""
    row = _rows(connection, f"SELECT {_PLACEMENT} FROM placement WHERE id = ?", placement_id)[0]
    parts = _rows(
        connection,
        f"SELECT {_PART} FROM part WHERE placement = ? AND reinterpretation IS NULL ORDER BY id",
        placement_id,
    )
    raw = _rows(
        connection,
        "SELECT raw.monotonic_ns, raw.bytes FROM raw JOIN part ON part.id = raw.part"
        " WHERE part.placement = ? ORDER BY raw.part, raw.id",
        placement_id,
    )
    connection.execute("UPDATE placement SET checksum = ? WHERE id = ?", (checksum(row, parts, raw), placement_id))


def _rows(connection: sqlite3.Connection, query: str, *values: object) -> list[Row]:
    return connection.execute(query, values).fetchall()


class PlacedRows:
    """The rows of all placements, read at once and put together again.

    `damaged` names those whose checksum does not fit; they are left out of everything else.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.damaged: list[str] = []
        self.kept: list[KeptPlacement] = []
        self.reinterpretations: list[Reinterpretation] = []
        self._gauges = dict(connection.execute("SELECT id, name FROM gauge"))
        self._stages = dict(connection.execute("SELECT id, stage FROM snapshot"))
        self._parts: dict[tuple[int, int | None], list[Row]] = defaultdict(list)
        self._part_ids: dict[int, list[int]] = defaultdict(list)
        self._raw: dict[int, list[Row]] = defaultdict(list)
        self._again: dict[int, list[Row]] = defaultdict(list)
        for number, placement, again, *part in _rows(
            connection, f"SELECT id, placement, reinterpretation, {_PART} FROM part ORDER BY id"
        ):
            self._parts[placement, again].append(tuple(part))
            if again is None:
                self._part_ids[placement].append(number)
        for part_id, *raw in _rows(connection, "SELECT part, monotonic_ns, bytes FROM raw ORDER BY id"):
            self._raw[part_id].append(tuple(raw))
        for row in _rows(connection, f"SELECT checksum, {_REINTERPRETATION} FROM reinterpretation ORDER BY number"):
            self._again[row[2]].append(row)
        for row in _rows(connection, f"SELECT checksum, {_PLACEMENT} FROM placement NOT INDEXED ORDER BY id"):
            self._put_together(row)

    def _put_together(self, row: Row) -> None:
        sealed, *fields = row
        placement_id = fields[0]
        parts = self._parts[placement_id, None]
        raw = [chunk for part_id in self._part_ids[placement_id] for chunk in self._raw[part_id]]
        if sealed != checksum(fields, parts, raw):
            self.damaged.append(f"placement {placement_id}")
            return
        again = self._again[placement_id]
        whole = all(
            each[0] == checksum(each[1:], self._parts[placement_id, each[1]]) and each[3] == place
            for place, each in enumerate(again, 1)
        )
        if not whole or len(again) != fields[16]:
            self.damaged.append(f"reinterpretation of placement {placement_id}")
            return
        placement = self._first(fields)
        for each in again:
            newer = self._newer(placement, placement_id, each)
            texts = json.loads(each[12])
            self.reinterpretations.append(Reinterpretation(placement_id, each[3], each[4], placement, newer, texts))
            placement = newer
        stage = self._stages.get(fields[1], "")
        self.kept.append(KeptPlacement(placement_id, fields[1], stage, fields[14], placement, fields[17]))

    def _first(self, fields: Sequence[Any]) -> Placement:
        placement_id = fields[0]
        return Placement(
            checkpoint=fields[3],
            quantity=Quantity(fields[4]),
            value=fields[5],
            low=fields[6],
            high=fields[7],
            text=fields[8],
            unit=fields[9],
            resolution=fields[10],
            spread=fields[11],
            settled=Settled(fields[12]),
            gauge=self._gauges.get(fields[13]),
            time_ns=fields[15],
            parts=self._parts_of(placement_id, self._parts[placement_id, None]),
        )

    def _newer(self, before: Placement, placement_id: int, row: Row) -> Placement:
        return replace(
            before,
            value=row[5],
            low=row[6],
            high=row[7],
            text=row[8],
            unit=row[9],
            resolution=row[10],
            spread=row[11],
            parts=self._parts_of(placement_id, self._parts[placement_id, row[1]]),
        )

    def _parts_of(self, placement_id: int, rows: Sequence[Row]) -> tuple[Part, ...]:
        """Return parts with the bytes of the first ones, which stand in the same order."""
        parts = []
        for part_id, row in zip(self._part_ids[placement_id], rows, strict=True):
            role, gauge, value, text, unit, resolution, spread, n, start_ns, end_ns = row
            raw = tuple(Chunk(time_ns, data) for time_ns, data in self._raw[part_id])
            name = self._gauges.get(gauge, "")
            parts.append(Part(Role(role), name, value, text, unit, resolution, spread, n, start_ns, end_ns, raw))
        return tuple(parts)
