"""What the tests of links share: a gauge in another process."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest


class OtherProcess:
    """The far end of a pty, held by another process."""

    def __init__(self, data: bytes, baud: int, seed: int) -> None:
        script = Path(__file__).parent / "paced_writer.py"
        self.process = subprocess.Popen(
            [sys.executable, str(script), str(baud), str(seed), data.hex()],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.path = self.process.stdout.readline().strip()

    def go_on(self) -> None:
        """Let it write; the second time, let it unplug."""
        self.process.stdin.write("\n")
        self.process.stdin.flush()

    def stop(self) -> None:
        self.process.kill()
        self.process.communicate()


@pytest.fixture
def other_process() -> Iterator[Callable[..., OtherProcess]]:
    if sys.platform == "win32":
        pytest.skip("there are no ptys on this system")
    started: list[OtherProcess] = []

    def start(data: bytes, baud: int = 9600, seed: int = 1) -> OtherProcess:
        started.append(OtherProcess(data, baud, seed))
        return started[-1]

    yield start
    for process in started:
        process.stop()
