"""The workshop in which harm is done: an instrument file with a simulated gauge, the programs, and what is kept.

All values are invented. Not here: any fault.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from rounds import HERE, TOP, Outcome

from gaugelog.errors import GaugelogError
from gaugelog.store.reader import Recording, open_recording

GAUGELOG = [sys.executable, "-m", "gaugelog"]
PROGRAM = HERE / "writing.py"
WAIT_S = 60.0

PLAN = """
name = "baritone"
flat_spot = "tape mark behind the bridge"

[gauges]
angle = "angle-line@sim:?value=2.80&noise=0.15&rate=50"

[[checkpoint]]
id = "clearance-bass"
kind = "fret-to-bridge-clearance"
side = "bass"
todo = "feelers over the saddle"
stages = ["before", "after"]
placements = 400
step = 0.05
limit = 0.25
"""
RECORDING = "baritone.gaugelog"
_PLACED = re.compile(r"clearance-bass \d+ of \d+: (\S+)")


def environment() -> dict[str, str]:
    """Return the environment in which this checkout's own gaugelog runs, its output unbuffered."""
    kept = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES", "NO_COLOR")}
    return {**kept, "PYTHONPATH": str(TOP), "TERM": "xterm-256color", "TZ": "UTC"}


def set_up(folder: Path) -> Path:
    """Put the instrument file into a folder where it isn't yet; return the recording's path."""
    plan = folder / "baritone.toml"
    if not plan.exists():
        plan.write_text(PLAN, encoding="utf-8")
    return folder / RECORDING


def start(folder: Path, *arguments: str, program: Iterable[str] = GAUGELOG, **more: Any) -> subprocess.Popen[str]:
    """Start gaugelog, or another program, in a folder, with nothing but pipes."""
    pipes = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
    return subprocess.Popen(
        [*program, *arguments], **{**pipes, **more}, text=True, cwd=folder, env=environment(), bufsize=1
    )


def ran(
    folder: Path, *arguments: str, lines: str = "", program: Iterable[str] = GAUGELOG, **more: Any
) -> subprocess.CompletedProcess[str]:
    """Run gaugelog, or another program, in a folder to its end."""
    return subprocess.run(
        [*program, *arguments],
        input=lines,
        capture_output=True,
        text=True,
        cwd=folder,
        env=environment(),
        timeout=WAIT_S,
        check=False,
        **more,
    )


def values(first: int, count: int) -> list[str]:
    """Return values to type, each one different from all others."""
    return [f"{0.05 * number:.2f}" for number in range(first, first + count)]


def placed(text: str) -> list[str]:
    """Return the values that a capture said it had kept, from whole lines of its output."""
    return _PLACED.findall(text[: text.rfind("\n") + 1])


def kept(recording: Recording, stage: str = "before") -> list[str]:
    """Return the texts of the placements that a recording holds of a stage, in order."""
    return [each.placement.text for snapshot in recording.snapshots(stage) for each in snapshot.placements]


def look_for(
    outcome: Outcome, said: Iterable[str], found: Iterable[str], what: str, earlier: Iterable[str] = ()
) -> None:
    """Count what was acknowledged, and what of it isn't there; `earlier` is looked for too, and was counted before."""
    told, there = list(said), set(found)
    missing = [each for each in (*earlier, *told) if each not in there]
    outcome.acknowledged += len(told)
    outcome.lost += len(missing)
    if missing:
        outcome.wrong.append(f"{what} lost: {', '.join(missing[:5])}")


def opened(outcome: Outcome, path: Path) -> Recording | None:
    """Open a recording and check all of it; what is wrong with it is told."""
    try:
        recording = open_recording(path)
        recording.check()
    except GaugelogError as error:
        outcome.wrong.append(f"{path.name}: {error}")
        return None
    return recording


class Ledger:
    """What was acknowledged in all rounds so far, kept in a file of the family's folder."""

    def __init__(self, folder: Path, name: str = "ledger.txt") -> None:
        self._path = folder / name

    def all(self) -> list[str]:
        """Return all of it in order."""
        return self._path.read_text(encoding="utf-8").split("\n")[:-1] if self._path.exists() else []

    def add(self, said: Iterable[str]) -> None:
        """Write further things down."""
        with self._path.open("a", encoding="utf-8") as file:
            file.writelines(f"{each}\n" for each in said)
