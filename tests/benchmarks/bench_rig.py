"""A bench page served for measuring: gauges at pseudo-terminals, the server as a process of its own, plain clients."""

from __future__ import annotations

import contextlib
import http.client
import os
import pty
import re
import subprocess
import sys
import tempfile
import threading
import time
import tty
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from gaugelog.instruments.new import new_instrument

if TYPE_CHECKING:
    from collections.abc import Iterator

PORT = 8479
ADDRESS = f"http://127.0.0.1:{PORT}/"
CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
FIRST = "angle"


@dataclass(frozen=True, slots=True)
class Rig:
    """A running bench.

    Attributes:
        pid: process of the server.
        first: where to write the lines of the gauge named `angle`.
        stop: set to end the threads that write and listen.
    """

    pid: int
    first: int
    stop: threading.Event


@contextlib.contextmanager
def served(others: int, others_hz: float) -> Iterator[Rig]:
    """Serve a bench with one gauge to write to and others that are written to already."""
    pairs = [pty.openpty() for _ in range(1 + others)]
    for _, near in pairs:
        tty.setraw(near)
    stop = threading.Event()
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "bench.toml").write_text(plan([os.ttyname(near) for _, near in pairs]), encoding="utf-8")
        server = subprocess.Popen(
            [sys.executable, "-m", "gaugelog", "bench", "--port", str(PORT)], cwd=folder, stdout=subprocess.DEVNULL
        )
        try:
            await_answer()
            ends = [far for far, _ in pairs[1:]]
            threading.Thread(target=send_others, args=(ends, others_hz, stop), daemon=True).start()
            yield Rig(server.pid, pairs[0][0], stop)
        finally:
            stop.set()
            server.terminate()
            server.wait(10)


def plan(paths: list[str]) -> str:
    """Return an instrument file with a gauge at each port."""
    text = new_instrument("latency", gauges="one")
    first = re.sub(r"angle-line@serial:[^\"]*", f"angle-line@serial:{paths[0]}?baud=115200", text, count=1)
    others = [f'g{place} = "angle-line@serial:{path}?baud=115200"' for place, path in enumerate(paths[1:])]
    return first.replace("[gauges]\n", "\n".join(["[gauges]", *others, ""]), 1)


def await_answer() -> None:
    """Wait until the server answers.

    Raises:
        SystemExit: it did not within 20 s.
    """
    until = time.monotonic() + 20
    while time.monotonic() < until:
        with contextlib.suppress(OSError):
            connection = http.client.HTTPConnection("127.0.0.1", PORT, timeout=5)
            connection.request("GET", "/")
            connection.getresponse().read()
            return
        time.sleep(0.1)
    raise SystemExit("the bench did not answer within 20 s")


def send_others(ends: list[int], rate_hz: float, stop: threading.Event) -> None:
    """Write the lines of the other gauges until told to stop."""
    began, sent = time.monotonic(), 0
    while not stop.is_set():
        for place, end in enumerate(ends):
            os.write(end, b"+%6.2f deg \r\n" % (2.8 + 0.05 * ((sent * 7 + place) % 3)))
        sent += 1
        time.sleep(max(0.0, began + sent / rate_hz - time.monotonic()))


def drain(stop: threading.Event) -> None:
    """Listen as a plain client until told to stop."""
    connection = http.client.HTTPConnection("127.0.0.1", PORT, timeout=60)
    connection.request("GET", "/events")
    answer = connection.getresponse()
    while not stop.is_set() and answer.readline():
        pass
    connection.close()


def cpu_s(pid: int) -> float:
    """Return the processor time of a process."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_mb(pid: int) -> float:
    """Return the memory that a process holds, in MB."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
