"""What a recording costs and saves, as ratios within one run; all readings are synthetic.

Four gauges at ten readings a second for a day, a quantised walk with 1 ms of jitter: opening them into a DataFrame
against pandas.read_sql of the same readings stored one a row, and bytes a reading on disk. Then the processor time of
writing eight gauges at fifty readings a second for one simulated minute.

Run: python tests/benchmarks/store_benchmark.py [HOURS]
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.model.clock import Anchor
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Heard, Reading
from gaugelog.store.reader import open_recording
from gaugelog.store.writer import RecordingWriter

ANCHOR = Anchor(0, 1_700_000_000_000_000)


def heard_of(gauges: int, rate_hz: int, seconds: float) -> list[Heard]:
    """Return what the gauges say, in order of time."""
    chance = np.random.default_rng(686)
    n = int(rate_hz * seconds)
    found = []
    for gauge in range(gauges):
        ticks = 57 + np.cumsum(chance.choice((-1, 0, 1), n, p=(0.05, 0.9, 0.05)))
        times = (np.arange(n) * 1e9 / rate_hz + 1e6 * chance.normal(size=n) + 1e8).astype(np.int64)
        for time_ns, tick in zip(times.tolist(), (ticks * 5).tolist(), strict=True):
            text = f"{tick / 100:.2f}"
            reading = Reading(time_ns, f"g{gauge}", Quantity.ANGLE, float(text), text, "deg", 0.05)
            found.append(Heard(f"g{gauge}", Chunk(time_ns, b""), (reading,)))
    return sorted(found, key=lambda each: each.chunk.time_ns)


def write(path: Path, gauges: int, heard: list[Heard]) -> float:
    """Record it; return the processor time in seconds."""
    with RecordingWriter.open(path, anchor=ANCHOR, command="clamp") as writer:
        for gauge in range(gauges):
            named = NamedGauge(f"g{gauge}", parse_gauge("angle-line@typed:", f"g{gauge}"))
            writer.put_gauge(named, find_datasheet("angle-line"))
        before = time.process_time()
        for each in heard:
            writer.hear(each)
            writer.keep_up(each.chunk.time_ns)
        return time.process_time() - before


def best_s(work: Callable[[], object]) -> float:
    """Return the shortest of three runs in seconds."""
    spent = []
    for _ in range(3):
        before = time.perf_counter()
        work()
        spent.append(time.perf_counter() - before)
    return min(spent)


def main() -> None:
    """Print the figures."""
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 24.0
    with tempfile.TemporaryDirectory() as folder:
        path, rows = Path(folder, "day.gaugelog"), Path(folder, "rows.sqlite")
        write(path, 4, heard_of(4, 10, 3600 * hours))
        frame = open_recording(path).readings()
        bare = sqlite3.connect(rows)
        plain = pd.DataFrame(
            {
                "utc_us": frame["time_utc"].astype("int64"),
                "gauge": frame["gauge"].cat.codes.astype("int64"),
                "angle_deg": frame["angle_deg"],
                "flags": frame["flags"].astype("int64"),
            }
        )
        plain.to_sql("reading", bare, index=False)
        ours_s = best_s(lambda: open_recording(path).readings())
        rows_s = best_s(lambda: pd.read_sql("SELECT * FROM reading", bare))
        bare.close()
        print(f"{len(frame)} readings: DataFrame {ours_s:.3f} s, read_sql {rows_s:.3f} s, ratio {rows_s / ours_s:.1f}")
        print(
            f"bytes a reading: {path.stat().st_size / len(frame):.2f}, one a row {rows.stat().st_size / len(frame):.1f}"
        )
        share = write(Path(folder, "minute.gaugelog"), 8, heard_of(8, 50, 60)) / 60
        print(f"writing 8 gauges at 50 readings/s: {100 * share:.2f} % of a core")


if __name__ == "__main__":
    main()
