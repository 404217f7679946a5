"""Tables of a recording as pandas DataFrames whose columns carry their unit.

Here: placements and readings as DataFrames. Not here: reading them from the file (`readings`, `snapshots`).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gaugelog.model.placement import KeptPlacement, Snapshot
from gaugelog.model.quantities import Quantity
from gaugelog.store.gauge_rows import GaugeRow
from gaugelog.store.readings import Stretch, stretch_values
from gaugelog.store.snapshots import ReadSnapshots

Moment = int | str | datetime | None
_NUMBERS = ("", "low", "high", "resolution", "spread")


def utc_us_of(moment: Moment) -> int | None:
    """Return a moment as microseconds since 1970 UTC; a time without zone is taken as UTC."""
    if moment is None or isinstance(moment, int):
        return moment
    time = pd.Timestamp(moment)
    if not isinstance(time, pd.Timestamp):
        raise ValueError(f"{moment!r} is no moment")
    time = time.tz_localize("UTC") if time.tzinfo is None else time.tz_convert("UTC")
    return int(time.value // 1000)  # pandas gives nanoseconds whatever the unit


def _times(utc_us: Any) -> pd.DatetimeIndex:
    return pd.DatetimeIndex(np.asarray(utc_us, dtype=np.int64).view("datetime64[us]")).tz_localize("UTC")


def column(quantity: Quantity, number: str = "") -> str:
    """Return the name of a column: `angle_deg`, or `angle_low_deg` for one of a placement's other numbers."""
    return "_".join(filter(None, (quantity.value, number, quantity.column)))


def readings_frame(stretches: Sequence[Stretch], gauges: Sequence[GaugeRow]) -> pd.DataFrame:
    """Return one row a reading in order of time.

    Args:
        stretches: the readings.
        gauges: the gauges they may be of.
    """
    names = list(dict.fromkeys(row.gauge.name for row in gauges))
    place = {row.id: names.index(row.gauge.name) for row in gauges}
    quantity = {row.id: row.gauge.quantity for row in gauges}
    utc_us = _joined([stretch.columns.utc_us for stretch in stretches], np.int64)
    order = None if bool(np.all(utc_us[1:] >= utc_us[:-1])) else np.argsort(utc_us, kind="stable")
    codes = [np.full(len(stretch.columns), place[stretch.gauge], dtype=np.int32) for stretch in stretches]
    flags = [stretch.columns.flags.astype(np.uint8) for stretch in stretches]
    code: NDArray[np.int32] = _ordered(_joined(codes, np.int32), order)
    table: dict[str, Any] = {
        "time_utc": _times(_ordered(utc_us, order)),
        "gauge": pd.Categorical.from_codes(code, pd.Index(names, dtype=object)),
    }
    for wanted in [each for each in Quantity if each in quantity.values()]:
        values = [
            stretch_values(stretch, wanted)
            if quantity[stretch.gauge] is wanted
            else np.full(len(stretch.columns), np.nan)
            for stretch in stretches
        ]
        table[column(wanted)] = _ordered(_joined(values, np.float64), order)
    table["flags"] = _ordered(_joined(flags, np.uint8), order)
    return pd.DataFrame(table, copy=False)


def _joined(parts: Sequence[Any], kind: type[Any]) -> Any:
    return np.concatenate(parts) if parts else np.empty(0, dtype=kind)


def _ordered(values: Any, order: Any) -> Any:
    return values if order is None else values[order]


def placements_frame(read: ReadSnapshots) -> pd.DataFrame:
    """Return one row a placement in the order in which they were taken, dropped ones included."""
    again = {each.placement_id for each in read.reinterpretations}
    rows = [(snapshot, kept) for snapshot in read.snapshots for kept in snapshot.placements]
    rows.sort(key=lambda row: row[1].id)
    table: dict[str, Any] = {
        "placement": [kept.id for _, kept in rows],
        "time_utc": _times([kept.utc_us for _, kept in rows]),
        "stage": [snapshot.stage for snapshot, _ in rows],
        "number": [snapshot.number for snapshot, _ in rows],
        "complete": [snapshot.complete_utc_us is not None for snapshot, _ in rows],
        "checkpoint": [kept.placement.checkpoint for _, kept in rows],
        "gauge": [kept.placement.gauge for _, kept in rows],
        **_numbers(rows),
        "text": [kept.placement.text for _, kept in rows],
        "unit": [kept.placement.unit for _, kept in rows],
        "settled": [kept.placement.settled.value for _, kept in rows],
        "reinterpreted": [kept.id in again for _, kept in rows],
        "dropped": [kept.dropped for _, kept in rows],
    }
    return pd.DataFrame(table)


def _numbers(rows: Sequence[tuple[Snapshot, KeptPlacement]]) -> dict[str, list[float]]:
    """Return a column for each quantity and number that any placement has, NaN where one has none."""
    found: dict[str, list[float]] = {}
    for quantity in Quantity:
        for number in _NUMBERS:
            values = [
                getattr(kept.placement, number or "value") if kept.placement.quantity is quantity else None
                for _, kept in rows
            ]
            if any(value is not None for value in values):
                found[column(quantity, number)] = [np.nan if value is None else value for value in values]
    return found
