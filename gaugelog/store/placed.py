"""Placements written, sealed with a checksum, read back and checked.

Here: from a placement to its rows and back. Not here: the rows themselves (`placement_rows`), snapshots (`snapshots`),
transactions (`writer`).
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from gaugelog.model.gauges import gauge_key
from gaugelog.model.placement import KeptPlacement, Part, Placement, Role, Settled
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk
from gaugelog.store.placement_rows import PartRow, PlacementRow, PlacementRows, ReinterpretationRow
from gaugelog.store.records import Reinterpretation

_FIELD_OF = {
    "value_base": "value",
    "low_base": "low",
    "high_base": "high",
    "text": "text",
    "unit": "unit",
    "resolution_base": "resolution",
    "spread_base": "spread",
}


def _insert(connection: sqlite3.Connection, table: str, row: NamedTuple, *, sealed: bool) -> None:
    """Write a row; one that is sealed gets its checksum afterwards."""
    columns = [*row._fields, "checksum"] if sealed else [*row._fields]
    values = [*row, 0] if sealed else [*row]
    places = ", ".join("?" * len(values))
    connection.execute(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})", values)


def _next_id(connection: sqlite3.Connection, table: str) -> int:
    return int(connection.execute(f"SELECT coalesce(max(id), 0) + 1 FROM {table}").fetchone()[0])


def _value_columns(placement: Placement) -> dict[str, Any]:
    """Return the columns of what a placement reads as, which reading its bytes again may change."""
    return {column: getattr(placement, field) for column, field in _FIELD_OF.items()}


def _value_fields(row: PlacementRow | ReinterpretationRow) -> dict[str, Any]:
    """Return the fields of a placement that stand in these columns."""
    return {field: getattr(row, column) for column, field in _FIELD_OF.items()}


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
    row = PlacementRow(
        id=placement_id,
        snapshot=snapshot_id,
        sitting=sitting,
        checkpoint=placement.checkpoint,
        quantity=placement.quantity.value,
        **_value_columns(placement),
        settled=placement.settled.value,
        gauge=gauge_id(placement.gauge) if placement.gauge is not None else None,
        utc_us=utc_us,
        monotonic_ns=placement.time_ns,
        reinterpretations=0,
        dropped_reason=None,
    )
    _insert(connection, "placement", row, sealed=True)
    _insert_parts(connection, placement_id, None, placement.parts, gauge_id)
    seal_placement(connection, placement_id)
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
        row = PartRow(
            id=_next_id(connection, "part"),
            placement=placement_id,
            reinterpretation=reinterpretation,
            role=part.role.value,
            gauge=gauge_id(part.gauge),
            value_base=part.value,
            text=part.text,
            unit=part.unit,
            resolution_base=part.resolution,
            spread_base=part.spread,
            n=part.n,
            start_monotonic_ns=part.start_ns,
            end_monotonic_ns=part.end_ns,
        )
        _insert(connection, "part", row, sealed=False)
        if reinterpretation is None:
            connection.executemany(
                "INSERT INTO raw (part, monotonic_ns, bytes) VALUES (?, ?, ?)",
                [(row.id, chunk.time_ns, chunk.data) for chunk in part.raw],
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
    (number,) = connection.execute("SELECT reinterpretations FROM placement WHERE id = ?", (placement_id,)).fetchone()
    row = ReinterpretationRow(
        id=_next_id(connection, "reinterpretation"),
        placement=placement_id,
        number=number,
        utc_us=utc_us,
        **_value_columns(placement),
        datasheets=json.dumps(dict(datasheet_texts), sort_keys=True),
    )
    _insert(connection, "reinterpretation", row, sealed=True)
    _insert_parts(connection, placement_id, row.id, placement.parts, gauge_id)
    seal_placement(connection, placement_id)


def drop_placement(connection: sqlite3.Connection, placement_id: int, reason: str) -> None:
    """Say that a placement no longer counts, and why."""
    connection.execute("UPDATE placement SET dropped_reason = ? WHERE id = ?", (reason, placement_id))
    seal_placement(connection, placement_id)


def seal_placement(connection: sqlite3.Connection, placement_id: int) -> None:
    """Store the checksums of a placement and its reinterpretations as they stand now."""
    rows = PlacementRows(connection, placement_id)
    [placement] = rows.placements
    total = rows.placement_checksum(placement[1])
    connection.execute("UPDATE placement SET checksum = ? WHERE id = ?", (total, placement_id))
    for _, row in rows.again[placement_id]:
        total = rows.reinterpretation_checksum(row)
        connection.execute("UPDATE reinterpretation SET checksum = ? WHERE id = ?", (total, row.id))


class PlacedRows:
    """The placements of a recording, put together from their rows.

    `damaged` names those whose checksum does not fit; they are left out of everything else.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.damaged: list[str] = []
        self.kept: list[KeptPlacement] = []
        self.reinterpretations: list[Reinterpretation] = []
        rows = connection.execute("SELECT id, name, datasheet, identity FROM gauge")
        self._gauges = {
            number: (name, gauge_key(name, datasheet, identity)) for number, name, datasheet, identity in rows
        }
        self._stages = dict(connection.execute("SELECT id, stage FROM snapshot NOT INDEXED"))
        self._rows = PlacementRows(connection)
        for sealed, row in self._rows.placements:
            if sealed != self._rows.placement_checksum(row) or row.snapshot not in self._stages:
                self.damaged.append(f"placement {row.id}")
            elif not self._again_is_whole(row):
                self.damaged.append(f"reinterpretation of placement {row.id}")
            else:
                self._put_together(row)

    def _again_is_whole(self, row: PlacementRow) -> bool:
        again = self._rows.again[row.id]
        return len(again) == row.reinterpretations and all(
            sealed == self._rows.reinterpretation_checksum(each) and each.number == place
            for place, (sealed, each) in enumerate(again, 1)
        )

    def _put_together(self, row: PlacementRow) -> None:
        placement = self._first(row)
        for _, each in self._rows.again[row.id]:
            newer = self._newer(placement, each)
            texts = json.loads(each.datasheets)
            self.reinterpretations.append(Reinterpretation(row.id, each.number, each.utc_us, placement, newer, texts))
            placement = newer
        stage = self._stages[row.snapshot]
        self.kept.append(KeptPlacement(row.id, row.snapshot, stage, row.utc_us, placement, row.dropped_reason))

    def _first(self, row: PlacementRow) -> Placement:
        return Placement(
            checkpoint=row.checkpoint,
            quantity=Quantity(row.quantity),
            **_value_fields(row),
            settled=Settled(row.settled),
            gauge=self._gauges[row.gauge][0] if row.gauge is not None else None,
            gauge_key=self._gauges[row.gauge][1] if row.gauge is not None else "",
            time_ns=row.monotonic_ns,
            parts=self._parts(row.id, None),
        )

    def _newer(self, before: Placement, row: ReinterpretationRow) -> Placement:
        return replace(
            before,
            **_value_fields(row),
            parts=self._parts(row.placement, row.id),
        )

    def _parts(self, placement_id: int, reinterpretation: int | None) -> tuple[Part, ...]:
        """Return parts with the bytes and the gauges of the first ones, which stand in the same order.

        Bytes read again come from the gauge that sent them, whatever its short name stands for by then.
        """
        first = self._rows.parts[placement_id, None]
        return tuple(
            Part(
                role=Role(row.role),
                gauge=self._gauges[source.gauge][0],
                gauge_key=self._gauges[source.gauge][1],
                value=row.value_base,
                text=row.text,
                unit=row.unit,
                resolution=row.resolution_base,
                spread=row.spread_base,
                n=row.n,
                start_ns=row.start_monotonic_ns,
                end_ns=row.end_monotonic_ns,
                raw=tuple(Chunk(time_ns, data) for time_ns, data in self._rows.raw[source.id]),
            )
            for source, row in zip(first, self._rows.parts[placement_id, reinterpretation], strict=True)
        )
