"""Placements read again: a caliper whose unit was taken for millimetres. All values invented."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.gauges.bench import BenchGauge, SimulatedBench, VirtualClock
from gaugelog.gauges.motions import Hand
from gaugelog.instruments.find import read_instrument_file
from gaugelog.model.clock import Anchor
from gaugelog.recorder.snapshotting import SnapshotWork
from gaugelog.recorder.work import open_work

PLAN = """
name = "baritone"
flat_spot = "tape mark"

[gauges]
depth = "depth-line@sim:"

[[checkpoint]]
id = "end-rise"
kind = "fretboard-end-rise"
todo = "depth gauge on the body top"
gauge = "depth"
limit = 0.25
"""


@pytest.fixture
async def taken(tmp_path: Path) -> Path:
    """A recording with three placements of a depth gauge at 3.00 mm."""
    path = tmp_path / "baritone.toml"
    path.write_text(PLAN, encoding="utf-8")
    instrument = read_instrument_file(path)
    recording = tmp_path / "baritone.gaugelog"
    clock = VirtualClock()
    with open_work(instrument, recording, "capture before", anchor=Anchor(0, 1_700_000_000_000_000)) as work:
        taking = SnapshotWork(work, "before")
        named = replace(instrument.gauge("depth").gauge, name="depth")
        gauge = BenchGauge(named, find_datasheet("depth-line"), Hand(3.0, swing=2.0), 5)
        async for event in SimulatedBench([gauge], clock, 20).events():
            taking.hear(event)
        assert taking.complete
    return recording


def values(run) -> list[str]:
    return [line for line in run("export", "placements").out.splitlines()[1:] if line]


async def test_a_corrected_datasheet_reads_the_same_bytes_otherwise(taken, run, tmp_path: Path) -> None:
    corrected = find_datasheet("depth-line").text.replace('unit = "mm"', 'unit = "cm"')
    corrected = corrected.replace('units = {mm = "mm"}', 'units = {mm = "cm"}').replace("range = [-1, 50]", "")
    (tmp_path / "corrected.toml").write_text(corrected, encoding="utf-8")
    before = values(run)
    assert run("decode", "depth", "--datasheet", "corrected.toml", "--look").status == 0
    assert values(run) == before
    told = run("decode", "depth", "--datasheet", "corrected.toml")
    assert told.status == 0
    assert "3 changed" in told.out
    assert all(",30.0," in line for line in values(run))
    assert run("decode", "dept", "--datasheet", "corrected.toml").status == 2
    text = (tmp_path / "baritone.toml").read_text(encoding="utf-8")
    renamed = text.replace('depth = "depth-line@sim:"', 'other = "depth-line@sim:"').replace(
        'gauge = "depth"', 'gauge = "other"'
    )
    (tmp_path / "baritone.toml").write_text(renamed, encoding="utf-8")
    assert "3 changed" in run("decode", "depth").out
    assert all(",3.0," in line for line in values(run))
