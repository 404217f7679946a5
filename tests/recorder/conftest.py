"""A piece of work with a real recording, on a clock moved by hand. All values invented."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from gaugelog.gauges.bench import BenchGauge, SimulatedBench, VirtualClock
from gaugelog.gauges.motions import LIFTED_S, RESTING_S, Hand, Motion
from gaugelog.instruments.find import read_instrument_file
from gaugelog.model.clock import Anchor
from gaugelog.model.instrument import Instrument
from gaugelog.recorder.work import Work, datasheet_folders, open_work

UTC_US = 1_700_000_000_000_000

PLAN = """
name = "baritone"
flat_spot = "tape mark behind the bridge"

[gauges]
angle = "{angle}@sim:"

[[checkpoint]]
id = "neck-angle"
kind = "neck-angle"
todo = "body, then frets"
stages = ["before", "wet", "after"]
gauge = "angle"
limit = 0.2

[[checkpoint]]
id = "clearance-bass"
kind = "fret-to-bridge-clearance"
side = "bass"
todo = "feelers over the saddle"
stages = ["before", "wet", "after"]
step = 0.05
limit = 0.25

[[checkpoint]]
id = "block"
kind = "free"
quantity = "angle"
todo = "gauge on the block"
stages = ["before"]
placements = 2
gauge = "angle"
"""


class Shop:
    """One instrument in a folder, its clock, and a hand that sets its gauge down."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / "baritone.toml"
        self.path.write_text(PLAN.format(angle="angle-line"), encoding="utf-8")
        self.recording = folder / "baritone.gaugelog"
        self.clock = VirtualClock()
        self.open_works: list[Work] = []

    def use_datasheet(self, name: str, text: str) -> None:
        """Let the gauge be one of the builder's own."""
        (self.folder / "datasheets").mkdir(exist_ok=True)
        (self.folder / "datasheets" / f"{name}.toml").write_text(text, encoding="utf-8")
        self.path.write_text(PLAN.format(angle=name), encoding="utf-8")

    def open(self, command: str) -> Work:
        now_ns = self.clock.now_ns()
        anchor = Anchor(now_ns, UTC_US + now_ns // 1000)
        work = open_work(
            read_instrument_file(self.path), self.recording, command, datasheet_folders(self.folder), anchor
        )
        self.open_works.append(work)
        return work

    @property
    def instrument(self) -> Instrument:
        return read_instrument_file(self.path)

    def gauge(self, work: Work, motion: Motion, rate_hz: float = 10.0) -> BenchGauge:
        gauge = replace(work.instrument.gauge("angle").gauge, name="angle")
        return BenchGauge(gauge, work.datasheets["angle"], motion, rate_hz)

    def play(self, hear: Callable, work: Work, motion: Motion, duration_s: float) -> None:
        """Let the gauge be moved for a while and hand over whatever is heard."""

        async def playing() -> None:
            async for event in SimulatedBench([self.gauge(work, motion)], self.clock, duration_s).events():
                hear(event)

        asyncio.run(playing())

    def set_down(self, hear: Callable, work: Work, *values_deg: float) -> None:
        """Lift the gauge and set it down at each value in turn."""
        for value_deg in values_deg:
            self.play(hear, work, Hand(value_deg, noise=0.01, swing=12.0), LIFTED_S + RESTING_S)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    shop = Shop(tmp_path)
    yield shop
    for work in shop.open_works:
        work.writer.finish()
