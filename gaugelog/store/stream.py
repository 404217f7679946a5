"""What one gauge says, on its way into blocks.

Here: collecting readings and rejects, writing them as a small block, merging small blocks into a large one.
Not here: when (`writer`), nor how a block is encoded (`blocks`).
"""

from __future__ import annotations

import sqlite3
import struct
from collections import Counter
from collections.abc import Iterable
from zlib import crc32

import numpy as np

from gaugelog.model.clock import Anchor
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Reading, Reject
from gaugelog.store.blocks import Columns, Layout, base_values, concatenate, encode, ticks_of

REJECTS_KEPT = 1000
MERGE_AFTER_NS = 600 * 10**9
MERGE_AFTER_READINGS = 32_768
_TEXTS_KNOWN = 4_096
"""How many numbers as shown are kept ready at most: one that moves for ever must not fill the memory."""
_HEAD = struct.Struct("<qqqqqddI")


def head_checksum(
    sitting: int, gauge: int, n: int, t_min_utc_us: int, t_max_utc_us: int, v_min: float, v_max: float, data_crc: int
) -> int:
    """Return the CRC-32 of what a block's row says of its data."""
    return crc32(_HEAD.pack(sitting, gauge, n, t_min_utc_us, t_max_utc_us, v_min, v_max, data_crc))


class GaugeStream:
    """Readings and rejects of one gauge in one sitting, collected until they are written.

    `write` puts them into a transaction; `settle` says that it was committed, and only then are they let go: after a
    failed transaction everything is still here to be written again.
    """

    def __init__(self, gauge: int, quantity: Quantity, sitting: int, anchor: Anchor) -> None:
        self._gauge, self._quantity, self._sitting, self._anchor = gauge, quantity, sitting, anchor
        self._known: dict[tuple[str, str, float], tuple[int, Layout]] = {}
        self._readings: list[tuple[int, int, Layout, int]] = []
        self._counts: Counter[str] = Counter()
        self._rejects: list[Reject] = []
        self._rejects_kept = 0
        self._small: list[tuple[int, Columns]] = []
        self._small_next: list[tuple[int, Columns]] = []
        self._small_since_ns = 0

    def in_sitting(self, sitting: int, anchor: Anchor) -> GaugeStream:
        """Return a stream of the same gauge for another sitting."""
        return GaugeStream(self._gauge, self._quantity, sitting, anchor)

    @property
    def is_waiting(self) -> bool:
        """Whether something is to be written."""
        return bool(self._readings or self._counts)

    def take(self, items: Iterable[Reading | Reject]) -> None:
        """Collect what came of a chunk."""
        for item in items:
            if isinstance(item, Reading):
                key = (item.text, item.unit, item.value)
                number = self._known.get(key) or self._learn(key)
                self._readings.append((item.time_ns, number[0], number[1], int(item.flags)))
            else:
                self._counts[item.reason.value] += 1
                if self._rejects_kept + len(self._rejects) < REJECTS_KEPT:
                    self._rejects.append(item)

    def _learn(self, key: tuple[str, str, float]) -> tuple[int, Layout]:
        if len(self._known) >= _TEXTS_KNOWN:
            self._known.clear()
        text, unit, value = key
        number = self._known[key] = ticks_of(text, value, unit, self._quantity)
        return number

    def _columns(self) -> Columns:
        layouts: dict[Layout, int] = {}
        places = [layouts.setdefault(layout, len(layouts)) for _, _, layout, _ in self._readings]
        time_ns = np.array([reading[0] for reading in self._readings], dtype=np.int64)
        return Columns(
            self._anchor.utc_us + (time_ns - self._anchor.monotonic_ns) // 1000,
            np.array([reading[1] for reading in self._readings], dtype=np.int64),
            np.array(places, dtype=np.int64),
            np.array([reading[3] for reading in self._readings], dtype=np.int64),
            tuple(layouts),
        )

    def merge_is_due(self, now_ns: int) -> bool:
        """Whether the small blocks are old or many enough to become a large one."""
        if not self._small:
            return False
        readings = sum(len(columns) for _, columns in self._small)
        return now_ns - self._small_since_ns >= MERGE_AFTER_NS or readings >= MERGE_AFTER_READINGS

    def write(self, connection: sqlite3.Connection, now_ns: int, *, merge: bool) -> None:
        """Write what was collected, within the caller's transaction."""
        self._small_next = list(self._small)
        if self._readings:
            columns = self._columns()
            if not self._small:
                self._small_since_ns = now_ns
            self._small_next.append((self._insert(connection, columns), columns))
            connection.execute(
                "INSERT INTO tally (sitting, gauge, readings) VALUES (?, ?, ?)"
                " ON CONFLICT (sitting, gauge) DO UPDATE SET readings = readings + excluded.readings",
                (self._sitting, self._gauge, len(columns)),
            )
        if merge:
            self._merge(connection)
        self._write_rejects(connection)

    def _merge(self, connection: sqlite3.Connection) -> None:
        if len(self._small_next) > 1:
            connection.executemany("DELETE FROM block WHERE id = ?", [(number,) for number, _ in self._small_next])
            self._insert(connection, concatenate([columns for _, columns in self._small_next]))
        self._small_next = []

    def _insert(self, connection: sqlite3.Connection, columns: Columns) -> int:
        data = encode(columns)
        values = base_values(columns, self._quantity)
        head = (
            self._sitting,
            self._gauge,
            len(columns),
            int(columns.utc_us.min()),
            int(columns.utc_us.max()),
            float(values.min()),
            float(values.max()),
            crc32(data),
        )
        cursor = connection.execute(
            "INSERT INTO block (sitting, gauge, n, t_min_utc_us, t_max_utc_us, v_min_base, v_max_base, data_crc32,"
            " head_crc32, data) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (*head, head_checksum(*head), data),
        )
        return int(cursor.lastrowid or 0)

    def _write_rejects(self, connection: sqlite3.Connection) -> None:
        key = (self._sitting, self._gauge)
        connection.executemany(
            "INSERT INTO reject (sitting, gauge, reason, count) VALUES (?, ?, ?, ?)"
            " ON CONFLICT (sitting, gauge, reason) DO UPDATE SET count = count + excluded.count",
            [(*key, reason, count) for reason, count in self._counts.items()],
        )
        connection.executemany(
            "INSERT INTO reject_raw (sitting, gauge, utc_us, reason, detail, bytes) VALUES (?, ?, ?, ?, ?, ?)",
            [
                (*key, self._anchor.utc_us_of(each.time_ns), each.reason.value, each.detail, each.raw)
                for each in self._rejects
            ],
        )

    def settle(self) -> None:
        """Let go of what the committed transaction holds."""
        self._small = self._small_next
        self._readings.clear()
        self._counts.clear()
        self._rejects_kept += len(self._rejects)
        self._rejects.clear()
