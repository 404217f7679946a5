"""What the tests of gauges share: a gauge in another process, and a port that keeps its path."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gaugelog.links.pty_pair import PtyFarEnd

WRITER = Path(__file__).parents[1] / "links" / "paced_writer.py"


@pytest.fixture
def paced_gauge() -> Iterator[Callable[[bytes], tuple[str, Callable[[], None]]]]:
    """Start another process that holds the far end of a pty; return its path and what lets it go on."""
    if sys.platform == "win32":
        pytest.skip("there are no ptys on this system")
    running: list[subprocess.Popen[str]] = []

    def start(data: bytes) -> tuple[str, Callable[[], None]]:
        command = [sys.executable, str(WRITER), "9600", "5", data.hex()]
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        running.append(process)

        def go_on() -> None:
            process.stdin.write("\n")
            process.stdin.flush()

        return process.stdout.readline().strip(), go_on

    yield start
    for process in running:
        process.kill()
        process.communicate()


class Socket:
    """A path into which one gauge after the other can be plugged."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.far: PtyFarEnd | None = None

    async def plug(self) -> PtyFarEnd:
        self.far = PtyFarEnd()
        await self.far.open()
        self.path.symlink_to(self.far.path)
        return self.far

    async def unplug(self) -> None:
        self.path.unlink(missing_ok=True)
        if self.far is not None:
            await self.far.close()


@pytest.fixture
async def socket(tmp_path: Path):
    if sys.platform == "win32":
        pytest.skip("there are no ptys on this system")
    socket = Socket(tmp_path / "tty-gauge")
    yield socket
    await socket.unplug()
