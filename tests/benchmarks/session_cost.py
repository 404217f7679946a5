"""What it costs to look back at a whole clamp session, beside reading the same readings with pandas, in one run.

Four gauges at ten readings a second for a day, synthetic, written by the store's own writer: from opening the recording
to the verdicts, the steps and creep of each series and of the pair's difference, and the chart with all that a page
needs to zoom. Beside it `pandas.read_sql` of the same readings kept one row a reading. Each in a process of its own,
imports left out, best of three (one of a long session); memory is the growth of the resident set to its peak.

Run: python tests/benchmarks/session_cost.py [--hours 24] [--profile] [--keep FOLDER]
120 hours are 17.3 million readings: they tell whether the cost grows in proportion. Writing them takes minutes; a kept
folder is used again.
"""

from __future__ import annotations

import argparse
import json
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

GAUGES = ("neck", "body", "roll", "bench")
RATE_HZ = 10
LONG_HOURS = 48
UTC_US = 1_773_498_300_000_000
PLAN = """
name = "invented baritone"
[gauges]
neck = "angle-line@typed:"
body = "angle-line@typed:"
roll = "angle-line@typed:"
bench = "angle-line@typed:"
[[checkpoint]]
id = "neck-angle"
kind = "neck-angle"
gauge = "neck"
body_gauge = "body"
limit = 0.2
[[checkpoint]]
id = "centreline-bridge"
kind = "centreline-offset"
step = 0.1
limit = 0.5
point = [274.5, 0, 19.4]
direction = [0, 1, 0]
"""


def ticks_of(gauge: int, count: int) -> np.ndarray:
    """Return what a gauge shows, in hundredths of a degree: noise, warm-up, and steps and creep on the neck."""
    chance = np.random.default_rng(686 + gauge)
    time_s = np.arange(count) / RATE_HZ
    value = 1.3 + 0.1 * (1 - np.exp(-time_s / 1500)) + chance.normal(0, 0.02, count)
    if gauge == 0:
        value += (
            0.2 * (time_s > 2000) - 0.12 * (time_s > 2600) + 0.15 * (1 - np.exp(-np.maximum(time_s - 3000, 0) / 1800))
        )
    return (5 * np.rint(value / 0.05)).astype(np.int64)


def write(path: Path, hours: float) -> None:
    """Write the synthetic recording: two snapshots and the clamp session between."""
    from gaugelog.datasheets.catalogue import find_datasheet
    from gaugelog.instruments.read import read_instrument
    from gaugelog.model.clock import Anchor
    from gaugelog.model.gauges import parse_gauge
    from gaugelog.model.instrument import NamedGauge
    from gaugelog.model.placement import Mark, MarkKind
    from gaugelog.model.quantities import Quantity
    from gaugelog.model.readings import Chunk, Heard, Reading
    from gaugelog.store.writer import RecordingWriter

    plan = read_instrument(PLAN, "the benchmark's plan")
    count = round(3600 * hours * RATE_HZ)
    take(path, plan, "before", UTC_US - 600_000_000)
    said = [ticks_of(gauge, count).tolist() for gauge in range(len(GAUGES))]
    late_ns = np.random.default_rng(1).integers(0, 2_000_000, count).tolist()
    with RecordingWriter.open(path, anchor=Anchor(0, UTC_US), command="clamp") as writer:
        for name in GAUGES:
            writer.put_gauge(NamedGauge(name, parse_gauge("angle-line@typed:", name)), find_datasheet("angle-line"))
        for minutes, kind in ((2, MarkKind.GLUE_ON), (5, MarkKind.CLAMPS_ON)):
            writer.mark(Mark(UTC_US + minutes * 60_000_000, kind))
        for place in range(count):
            time_ns = place * 1_000_000_000 // RATE_HZ + late_ns[place]
            for name, ticks in zip(GAUGES, said, strict=True):
                text = f"{ticks[place] / 100:.2f}"
                reading = Reading(time_ns, name, Quantity.ANGLE, float(text), text, "deg", 0.05)
                writer.hear(Heard(name, Chunk(time_ns, b""), (reading,)))
            writer.keep_up(time_ns)
    take(path, plan, "after", UTC_US + round(3600e6 * hours) + 600_000_000)


def take(path: Path, plan: Any, stage: str, utc_us: int) -> None:
    """Take a snapshot of three typed placements a checkpoint."""
    from gaugelog.instruments.typed_placement import typed_placement
    from gaugelog.model.clock import Anchor
    from gaugelog.model.placement import Settled
    from gaugelog.store.writer import RecordingWriter

    with RecordingWriter.open(path, anchor=Anchor(0, utc_us), command="snapshot") as writer:
        writer.put_instrument(plan)
        snapshot = writer.snapshot(stage).id
        for place in range(3 * len(plan.checkpoints)):
            point = plan.checkpoints[place // 3]
            text = "2.80" if point.gauge else "0.1"
            writer.place(snapshot, typed_placement(point, text, place * 10**9, Settled.TYPED, 0.05))
        writer.complete(snapshot)


def write_rows(path: Path, rows: Path) -> None:
    """Keep the same readings one row a reading."""
    import pandas as pd

    from gaugelog.store.reader import open_recording

    connection = sqlite3.connect(rows)
    with open_recording(path) as recording:
        for place, name in enumerate(GAUGES):
            series = recording.series(name, command="clamp")
            frame = pd.DataFrame(
                {
                    "utc_us": series.utc_us,
                    "gauge": place,
                    "angle_deg": series.value,
                    "flags": series.flags.astype("int64"),
                }
            )
            frame.to_sql("reading", connection, index=False, if_exists="append")
    connection.close()


def look_back(path: Path) -> dict[str, float]:
    """Do what a builder asks for the next day; return the seconds of each part."""
    from gaugelog.cli.gathering import drift_chart_of
    from gaugelog.instruments.read import read_instrument
    from gaugelog.review.comparing import compare_recorded
    from gaugelog.review.session import session_of
    from gaugelog.show.drift_chart import drift_figure
    from gaugelog.store.reader import open_recording

    parts: dict[str, float] = {}
    clock = time.perf_counter()

    def done(part: str) -> None:
        nonlocal clock
        parts[part] = time.perf_counter() - clock
        clock = time.perf_counter()

    with open_recording(path) as recording:
        plan = read_instrument(recording.instrument_text, "plan")
        compared = compare_recorded(recording, plan)
        done("verdict")
        session = session_of(recording, plan)
        done("readings")
    drift = session.drift()
    done("steps and creep")
    figure = drift_figure(drift_chart_of(session, drift, plan, simulated=True))
    done("chart")
    told = {each.name: each.explained for each in drift.series}
    parts["found"] = sum(len(each.steps) for each in told.values() if each is not None)
    parts["traces"], parts["checkpoints"] = len(figure.data), len(compared.checkpoints)
    parts["readings kept"] = sum(series.utc_us.size for series in session.series)
    return parts


def read_rows(path: Path) -> dict[str, float]:
    """Read the rows with pandas; return the seconds."""
    import pandas as pd

    connection = sqlite3.connect(path)
    began = time.perf_counter()
    frame = pd.read_sql("SELECT * FROM reading", connection)
    spent = time.perf_counter() - began
    connection.close()
    return {"read_sql": spent, "readings kept": len(frame)}


def resident_mb(which: str) -> float:
    """Return the resident set (VmRSS) or its peak (VmHWM) of this process; Linux tells them in /proc/self/status."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(which)) / 1024


def child(work: Callable[[Path], dict[str, float]], path: Path, warm: Path) -> None:
    """Do the work once on a small file, so that all is imported, then on the real one; print what it cost."""
    work(warm)
    before = resident_mb("VmRSS")
    parts = work(path)
    print(json.dumps({**parts, "memory": resident_mb("VmHWM") - before}))


def run(what: str, path: Path, warm: Path, rounds: int) -> dict[str, float]:
    """Return what the best of some rounds cost, each in a process of its own."""
    found = []
    for _ in range(rounds):
        command = [sys.executable, __file__, "--child", what, str(path), str(warm)]
        said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
        found.append(json.loads(said))
    return min(found, key=seconds_of)


PARTS = ("verdict", "readings", "steps and creep", "chart")


def seconds_of(parts: dict[str, float]) -> float:
    """Return the seconds of all parts together."""
    return parts["read_sql"] if "read_sql" in parts else sum(parts[name] for name in PARTS)


def ready(folder: Path, hours: float) -> tuple[Path, Path]:
    """Return a recording of so many hours and the same as rows, written if they aren't there."""
    path, rows = folder / f"{hours:g}h.gaugelog", folder / f"{hours:g}h.sqlite"
    if not path.exists():
        write(path, hours)
    if not rows.exists():
        write_rows(path, rows)
    return path, rows


def profile(path: Path) -> None:
    """Print where the time goes."""
    import cProfile
    import pstats

    look_back(path)
    with cProfile.Profile() as profiler:
        look_back(path)
    pstats.Stats(profiler).sort_stats("tottime").print_stats(22)


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--profile", action="store_true")
    parser.add_argument("--child", nargs=3)
    asked = parser.parse_args()
    if asked.child is not None:
        what, path, warm = asked.child
        child(look_back if what == "ours" else read_rows, Path(path), Path(warm))
        return
    with tempfile.TemporaryDirectory() as passing:
        folder = asked.keep or Path(passing)
        folder.mkdir(exist_ok=True)
        warm, warm_rows = ready(folder, 0.2)
        path, rows = ready(folder, asked.hours)
        rounds = 3 if asked.hours <= LONG_HOURS else 1
        ours, theirs = run("ours", path, warm, rounds), run("rows", rows, warm_rows, rounds)
        if asked.profile:
            profile(path)
    for name in PARTS:
        print(f"  {name:16} {1000 * ours[name]:7.0f} ms")
    print(f"{ours['readings kept']:.0f} readings, {ours['traces']:.0f} traces drawn, {ours['found']:.0f} steps found")
    print(f"looking back {seconds_of(ours):.2f} s, {ours['memory']:.0f} MB at most")
    print(f"pandas.read_sql {seconds_of(theirs):.2f} s, {theirs['memory']:.0f} MB at most")
    print(f"ratio {seconds_of(ours) / seconds_of(theirs):.2f} of read_sql")


if __name__ == "__main__":
    main()
