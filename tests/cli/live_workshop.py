"""A folder with an instrument file, a gauge in another process, and programs in terminals. All values invented."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from terminal import GAUGELOG, Gauge, GaugeInTheAir, Terminal, environment, piped

from gaugelog.store.reader import Recording, open_recording

PLAN = """
name = "baritone"
flat_spot = "tape mark behind the bridge"

[gauges]
{gauges}

[[checkpoint]]
id = "neck-angle"
kind = "neck-angle"
todo = "body, then frets"
stages = ["before", "after"]
placements = 1
gauge = "angle"
limit = 0.2

[[checkpoint]]
id = "block"
kind = "free"
quantity = "angle"
todo = "gauge on the block"
stages = ["before"]
placements = 2
gauge = "angle"

[[checkpoint]]
id = "clearance-bass"
kind = "fret-to-bridge-clearance"
side = "bass"
todo = "feelers over the saddle"
stages = ["before", "wet", "after"]
placements = 2
step = 0.05
limit = 0.25

[[checkpoint]]
id = "relief"
kind = "neck-relief"
todo = "feelers in the middle"
stages = ["before", "after"]
placements = 2
step = 0.05
limit = 0.25
"""


class Workshop:
    """One builder's folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / "baritone.toml"
        self.recording_path = folder / "baritone.gaugelog"
        self._open: list[Any] = []
        self.plan(f'angle = "angle-line@serial:{self.port}?baud=9600"')

    @property
    def port(self) -> Path:
        """Where the gauge is plugged in."""
        return self.folder / "tty-gauge"

    def plan(self, gauges: str) -> None:
        """Write the instrument file with these gauges."""
        self.path.write_text(PLAN.format(gauges=gauges), encoding="utf-8")

    def plug_in(self, kind: str = "angle") -> Gauge:
        """Start a gauge in another process."""
        gauge = Gauge(self.port, kind)
        self._open.append(gauge)
        return gauge

    def switch_on(self) -> GaugeInTheAir:
        """Start a gauge on Bluetooth LE, in another process."""
        gauge = GaugeInTheAir()
        self._open.append(gauge)
        return gauge

    def run(self, *arguments: str) -> Terminal:
        """Run gaugelog in a terminal."""
        terminal = Terminal(self.folder, *arguments)
        self._open.append(terminal)
        return terminal

    def piped(self, *arguments: str, lines: str = "") -> subprocess.CompletedProcess[str]:
        """Run gaugelog with nothing but pipes, to its end."""
        return piped(self.folder, *arguments, lines=lines)

    @contextmanager
    def started(self, *arguments: str) -> Iterator[subprocess.Popen[str]]:
        """Run gaugelog with nothing but pipes, alongside."""
        pipes = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
        program = subprocess.Popen(
            [*GAUGELOG, *arguments], **pipes, text=True, cwd=self.folder, env=environment(), bufsize=1
        )
        try:
            yield program
        finally:
            program.kill()
            program.communicate()

    def document(self, *arguments: str) -> dict[str, Any]:
        """Run a command with --json and return its document."""
        document: dict[str, Any] = json.loads(self.piped(*arguments, "--json").stdout)
        return document

    @property
    def recording(self) -> Recording:
        """The recording, to read."""
        return open_recording(self.recording_path)

    def texts(self, stage: str) -> dict[str, list[str]]:
        """Return what each checkpoint's counting placements of a stage say."""
        found: dict[str, list[str]] = {}
        for kept in self.recording.snapshot(stage).placements:
            if kept.dropped is None:
                found.setdefault(kept.placement.checkpoint, []).append(kept.placement.text)
        return found

    def close(self) -> None:
        """End all programs."""
        for each in reversed(self._open):
            each.close()
