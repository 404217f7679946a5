"""The rows of placements as they stand in their tables, with their checksums.

Here: the tables placement, part, raw and reinterpretation as named tuples. Not here: what they mean (`placed`).
A placement's checksum covers its row, its parts and their bytes; a reinterpretation's covers its row and its parts.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from typing import NamedTuple

from gaugelog.store.schema import checksum


class PlacementRow(NamedTuple):
    """One row of the table placement."""

    id: int
    snapshot: int
    sitting: int
    checkpoint: str
    quantity: str
    value_base: float | None
    low_base: float | None
    high_base: float | None
    text: str
    unit: str
    resolution_base: float
    spread_base: float | None
    settled: str
    gauge: int | None
    utc_us: int
    monotonic_ns: int
    reinterpretations: int
    dropped_reason: str | None


class PartRow(NamedTuple):
    """One row of the table part."""

    id: int
    placement: int
    reinterpretation: int | None
    role: str
    gauge: int
    value_base: float
    text: str
    unit: str
    resolution_base: float
    spread_base: float
    n: int
    start_monotonic_ns: int
    end_monotonic_ns: int


class ReinterpretationRow(NamedTuple):
    """One row of the table reinterpretation."""

    id: int
    placement: int
    number: int
    utc_us: int
    value_base: float | None
    low_base: float | None
    high_base: float | None
    text: str
    unit: str
    resolution_base: float
    spread_base: float | None
    datasheets: str


_PLACEMENT = ", ".join(PlacementRow._fields)
_PART = ", ".join(PartRow._fields)
_REINTERPRETATION = ", ".join(ReinterpretationRow._fields)
_RawRow = tuple[int, bytes]


class PlacementRows:
    """The rows of one placement, or of all; those with a checksum are pairs of it and the row."""

    def __init__(self, connection: sqlite3.Connection, placement_id: int | None = None) -> None:
        self.parts: dict[tuple[int, int | None], list[PartRow]] = defaultdict(list)
        self.raw: dict[int, list[_RawRow]] = defaultdict(list)
        self.again: dict[int, list[tuple[int, ReinterpretationRow]]] = defaultdict(list)
        mine = () if placement_id is None else (placement_id,)
        one, this = ("WHERE placement = ?", "WHERE id = ?") if mine else ("", "")
        for row in connection.execute(f"SELECT {_PART} FROM part {one} ORDER BY id", mine):
            part = PartRow._make(row)
            self.parts[part.placement, part.reinterpretation].append(part)
        for part_id, *raw in connection.execute(
            f"SELECT part, monotonic_ns, bytes FROM raw WHERE part IN (SELECT id FROM part {one}) ORDER BY id", mine
        ):
            self.raw[part_id].append((raw[0], raw[1]))
        for sealed, *row in connection.execute(
            f"SELECT checksum, {_REINTERPRETATION} FROM reinterpretation {one} ORDER BY number", mine
        ):
            self.again[row[1]].append((sealed, ReinterpretationRow._make(row)))
        self.placements = [
            (sealed, PlacementRow._make(row))
            for sealed, *row in connection.execute(
                f"SELECT checksum, {_PLACEMENT} FROM placement NOT INDEXED {this} ORDER BY id",
                mine,
            )
        ]

    def placement_checksum(self, row: PlacementRow) -> int:
        """Return the checksum of a placement's row with its parts and their bytes."""
        parts = self.parts[row.id, None]
        return checksum(row, parts, [self.raw[part.id] for part in parts])

    def reinterpretation_checksum(self, row: ReinterpretationRow) -> int:
        """Return the checksum of a reinterpretation's row with its parts."""
        return checksum(row, self.parts[row.placement, row.id])
