"""Blocks read back, each checked before a value of it is used.

Here: choosing blocks by gauge, sitting and time; decoding them. Not here: tables of them (`frames`).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from gaugelog.model.quantities import Quantity
from gaugelog.store.blocks import BlockFormError, Columns, base_values, decode
from gaugelog.store.records import Overview, Series
from gaugelog.store.seals import damaged_rows
from gaugelog.store.stream import head_checksum

_HEAD = "sitting, gauge, n, t_min_utc_us, t_max_utc_us, v_min_base, v_max_base, data_crc32"


@dataclass(frozen=True, slots=True)
class Choice:
    """Which readings are wanted: of these gauges (by number), in these sittings, from `start` up to `end`."""

    gauges: Sequence[int]
    sittings: Sequence[int]
    start_utc_us: int | None = None
    end_utc_us: int | None = None

    def takes(self, sitting: int, gauge: int, t_min_utc_us: int, t_max_utc_us: int) -> bool:
        """Return whether a block may hold a reading that is wanted."""
        return (
            sitting in self.sittings
            and gauge in self.gauges
            and (self.start_utc_us is None or t_max_utc_us >= self.start_utc_us)
            and (self.end_utc_us is None or t_min_utc_us < self.end_utc_us)
        )

    def within(self, columns: Columns) -> Columns:
        """Return the readings of a block that are wanted."""
        wanted = np.ones(len(columns), dtype=bool)
        if self.start_utc_us is not None:
            wanted &= columns.utc_us >= self.start_utc_us
        if self.end_utc_us is not None:
            wanted &= columns.utc_us < self.end_utc_us
        if wanted.all():
            return columns
        return Columns(
            columns.utc_us[wanted],
            columns.ticks[wanted],
            columns.layout[wanted],
            columns.flags[wanted],
            columns.layouts,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """The readings of one block: of one gauge in one sitting, in the order in which they came."""

    sitting: int
    gauge: int
    columns: Columns


def damaged_heads(connection: sqlite3.Connection) -> list[str]:
    """Return what is wrong with the blocks as their rows describe them: a checksum, or readings that are missing."""
    damaged = damaged_rows(connection, "tally")
    sittings = {row[0] for row in connection.execute("SELECT id FROM sitting")}
    gauges = {row[0] for row in connection.execute("SELECT id FROM gauge")}
    counted: dict[tuple[int, int], int] = {}
    seen: set[int] = set()
    for block, head_crc, *head in connection.execute(f"SELECT id, head_crc32, {_HEAD} FROM block ORDER BY id"):
        if not _fits(head, head_crc) or head[0] not in sittings or head[1] not in gauges or block in seen:
            damaged.append(f"block {block}")
            continue
        seen.add(block)
        counted[head[0], head[1]] = counted.get((head[0], head[1]), 0) + head[2]
    tallies = connection.execute("SELECT sitting, gauge, readings FROM tally NOT INDEXED")
    tallied = {(row[0], row[1]): row[2] for row in tallies}
    if not damaged:
        damaged += [
            f"sitting {sitting}, gauge {gauge}: {counted.get((sitting, gauge), 0)} of"
            f" {tallied.get((sitting, gauge), 0)} readings are there"
            for sitting, gauge in sorted({*counted, *tallied})
            if counted.get((sitting, gauge), 0) != tallied.get((sitting, gauge), 0)
        ]
    return damaged


def _fits(head: Sequence[Any], head_crc: object) -> bool:
    whole = all(isinstance(value, int) for value in (*head[:5], head[7])) and all(
        isinstance(value, float) for value in head[5:7]
    )
    return whole and 0 <= head[7] < 2**32 and head_checksum(*head) == head_crc


def read_stretches(connection: sqlite3.Connection, choice: Choice, damaged: list[str]) -> Iterator[Stretch]:
    """Yield the readings of each block that is wanted, in the order of the file; name the damaged ones."""
    heads = connection.execute(f"SELECT id, {_HEAD} FROM block ORDER BY id").fetchall()
    for block, sitting, gauge, n, t_min, t_max, _, _, data_crc in heads:
        if not choice.takes(sitting, gauge, t_min, t_max):
            continue
        (data,) = connection.execute("SELECT data FROM block WHERE id = ?", (block,)).fetchone()
        columns = _checked(data, data_crc, n)
        if columns is None:
            damaged.append(f"block {block}")
            continue
        wanted = choice.within(columns)
        if len(wanted):
            yield Stretch(sitting, gauge, wanted)


def _checked(data: object, data_crc: int, n: int) -> Columns | None:
    if not isinstance(data, bytes) or crc32(data) != data_crc:
        return None
    try:
        columns = decode(data)
    except BlockFormError:
        return None
    return columns if len(columns) == n else None


def stretch_values(stretch: Stretch, quantity: Quantity) -> NDArray[np.float64]:
    """Return the values of a stretch in the base unit."""
    return base_values(stretch.columns, quantity)


def series_of(gauge: str, quantity: Quantity, stretches: Sequence[Stretch]) -> Series:
    """Return the readings of one gauge as arrays in order of time."""
    if not stretches:
        return Series(gauge, quantity, np.empty(0, np.int64), np.empty(0), np.empty(0, np.uint8))
    utc_us = np.concatenate([stretch.columns.utc_us for stretch in stretches])
    value = np.concatenate([stretch_values(stretch, quantity) for stretch in stretches])
    flags = np.concatenate([stretch.columns.flags.astype(np.uint8) for stretch in stretches])
    if bool(np.any(utc_us[1:] < utc_us[:-1])):
        order = np.argsort(utc_us, kind="stable")
        utc_us, value, flags = utc_us[order], value[order], flags[order]
    return Series(gauge, quantity, utc_us, value, flags)


def overview_of(series: Series, silences_utc_us: Sequence[tuple[int, int]], points: int) -> Overview:
    """Return the smallest and largest value in each of up to `points` equal stretches of time.

    Args:
        series: the readings, in order of time.
        silences_utc_us: start and end of each stretch in which nothing was said; a row of NaN stands for each.
        points: the largest number of stretches, at least 1; a silence cuts the one it lies in.
    """
    gauge, quantity, utc_us, value = series.gauge, series.quantity, series.utc_us, series.value
    if points < 1:
        raise ValueError("an overview has at least one point")
    if not len(utc_us):
        nothing = np.empty(0)
        return Overview(gauge, quantity, utc_us, nothing, nothing)
    span = max(int(utc_us[-1] - utc_us[0]), 1)
    bucket = (utc_us - utc_us[0]) * points // (span + 1)
    after_gap = np.searchsorted(utc_us, [end for _, end in silences_utc_us], side="left")
    breaks = np.zeros(len(utc_us), dtype=bool)
    breaks[after_gap[(after_gap > 0) & (after_gap < len(utc_us))]] = True
    starts = np.flatnonzero(np.concatenate([[True], np.diff(bucket) > 0]) | breaks)
    ends = np.append(starts[1:], len(utc_us)) - 1
    middle = utc_us[starts] + (utc_us[ends] - utc_us[starts]) // 2
    low, high = np.minimum.reduceat(value, starts), np.maximum.reduceat(value, starts)
    gap_at = np.flatnonzero(breaks[starts])
    gap_time = (utc_us[starts[gap_at]] + utc_us[starts[gap_at] - 1]) // 2
    return Overview(
        gauge,
        quantity,
        np.insert(middle, gap_at, gap_time),
        np.insert(low, gap_at, np.nan),
        np.insert(high, gap_at, np.nan),
    )
