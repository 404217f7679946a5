"""Gauges as rows.

Here: the table gauge, written, sealed with a checksum and read back. Not here: what a gauge sent (`stream`).
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from gaugelog.model.datasheet import Datasheet, Sends
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.quantities import Quantity
from gaugelog.store.counting import missing_rows
from gaugelog.store.records import RecordedGauge
from gaugelog.store.schema import checksum

_GAUGE = (
    "name, datasheet, datasheet_text, address, identity, quantity, resolution_base, accuracy_base, sends, rate_hz,"
    " awake_s"
)


@dataclass(frozen=True, slots=True)
class GaugeRow:
    """A gauge with its number in the recording."""

    id: int
    gauge: RecordedGauge


def find_or_insert_gauge(connection: sqlite3.Connection, named: NamedGauge, datasheet: Datasheet, utc_us: int) -> int:
    """Return the number of a gauge exactly as it is now, written if it is new."""
    row = (
        *(named.name, datasheet.name, datasheet.text, str(named.gauge.address), named.identity),
        *(datasheet.quantity.value, datasheet.resolution, datasheet.accuracy, datasheet.sends.value),
        *(datasheet.rate_hz, datasheet.awake_s),
    )
    same = " AND ".join(f"{column} IS ?" for column in _GAUGE.split(", "))
    known = connection.execute(f"SELECT id FROM gauge WHERE {same} ORDER BY id DESC LIMIT 1", row).fetchone()
    if known is not None:
        return int(known[0])
    cursor = connection.execute(
        f"INSERT INTO gauge ({_GAUGE}, utc_us, checksum) VALUES ({', '.join('?' * (len(row) + 2))})",
        (*row, utc_us, 0),
    )
    gauge_id = int(cursor.lastrowid or 0)
    sealed = connection.execute(f"SELECT id, utc_us, {_GAUGE} FROM gauge WHERE id = ?", (gauge_id,)).fetchone()
    connection.execute("UPDATE gauge SET checksum = ? WHERE id = ?", (checksum(*sealed), gauge_id))
    return gauge_id


def gauge_id_of(connection: sqlite3.Connection, name: str) -> int | None:
    """Return the number of the gauge last put in under a short name, None if there is none."""
    row = connection.execute("SELECT id FROM gauge WHERE name = ? ORDER BY id DESC LIMIT 1", (name,)).fetchone()
    return None if row is None else int(row[0])


def read_gauges(connection: sqlite3.Connection) -> tuple[tuple[GaugeRow, ...], tuple[str, ...]]:
    """Return all gauges in the order in which they were first seen, and what is damaged among them."""
    found, damaged = [], missing_rows(connection, "gauge")
    for sealed, *row in connection.execute(f"SELECT checksum, id, utc_us, {_GAUGE} FROM gauge ORDER BY id"):
        if sealed != checksum(*row):
            damaged.append(f"gauge {row[0]}")
            continue
        (gauge_id, _, name, datasheet, text, address, identity, quantity, resolution, accuracy, sends, rate, awake) = (
            row
        )
        found.append(
            GaugeRow(
                gauge_id,
                RecordedGauge(
                    name=name,
                    datasheet=datasheet,
                    datasheet_text=text,
                    address=address,
                    identity=identity,
                    quantity=Quantity(quantity),
                    resolution=resolution,
                    accuracy=accuracy,
                    sends=Sends(sends),
                    rate_hz=rate,
                    awake_s=awake,
                ),
            )
        )
    return tuple(found), tuple(damaged)
