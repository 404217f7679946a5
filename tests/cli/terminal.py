"""A program in a pseudo-terminal of its own, read and typed into as a person does; and a gauge in another process."""

from __future__ import annotations

import fcntl
import os
import re
import select
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

ROWS, COLUMNS = 30, 90
WAIT_S = 20.0
GAUGE_PROGRAM = Path(__file__).with_name("gauge_program.py")
AIR_PROGRAM = Path(__file__).with_name("air_program.py")
RADIO = Path(__file__).parents[1] / "radio"
GAUGELOG = [sys.executable, "-m", "gaugelog"]
_ESCAPES = re.compile(r"\x1b(?:\[[0-9;?]*[A-Za-z]|\][^\x07]*\x07|[()].)")
_WITH_TERMINAL = (
    "import fcntl, os, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); os.execv(sys.argv[1], sys.argv[1:])"
)


def environment() -> dict[str, str]:
    """Return the environment of a plain terminal."""
    kept = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES", "NO_COLOR")}
    return {**kept, "TERM": "xterm-256color", "PYTHONWARNINGS": "error::ResourceWarning"}


class Terminal:
    """gaugelog running in a terminal of 90 by 30 characters."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        self._end, near = os.openpty()
        fcntl.ioctl(near, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        self.process = subprocess.Popen(
            [sys.executable, "-c", _WITH_TERMINAL, *GAUGELOG, *arguments],
            **dict.fromkeys(("stdin", "stdout", "stderr"), near),
            cwd=folder,
            env=environment(),
            start_new_session=True,
        )
        os.close(near)
        self.raw = ""
        self._seen = 0

    @property
    def text(self) -> str:
        """All that was shown so far, without colours and cursor moves."""
        return _ESCAPES.sub("", self.raw)

    def _read(self, seconds: float) -> bool:
        if not select.select([self._end], [], [], seconds)[0]:
            return True
        try:
            data = os.read(self._end, 65536)
        except OSError:  # the program has ended
            return False
        self.raw += data.decode("utf-8", "replace")
        return bool(data)

    def expect(self, pattern: str, wait_s: float = WAIT_S) -> str:
        """Wait until what is shown from here on matches; return what matched."""
        until = time.monotonic() + wait_s
        alive = True
        while True:
            found = re.search(pattern, self.text[self._seen :])
            if found:
                self._seen += found.end()
                return found.group()
            if not alive or time.monotonic() > until:
                raise AssertionError(f"{pattern!r} never came; the last of what was shown:\n{self.text[-900:]}")
            alive = self._read(0.1)

    def type(self, text: str) -> None:
        """Press keys; what was shown before counts no longer."""
        while select.select([self._end], [], [], 0)[0] and self._read(0):
            pass
        self._seen = len(self.text)
        os.write(self._end, text.encode())

    def end(self, wait_s: float = WAIT_S) -> int:
        """Wait until the program ends; return its exit status."""
        until = time.monotonic() + wait_s
        while self._read(0.1) and time.monotonic() < until:
            pass
        return self.process.wait(max(0.1, until - time.monotonic()))

    def hang_up(self) -> None:
        """Close the window under the program."""
        os.close(self._end)
        self._end = -1

    def close(self) -> None:
        """End the program if it still runs, and close the terminal."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        if self._end >= 0:
            self.hang_up()


class Moved:
    """A gauge in another process, moved by commands."""

    def __init__(self, *command: str) -> None:
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        self.process = subprocess.Popen([sys.executable, *command], **pipes, text=True)
        self.said_first = self._line()

    def _line(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().strip()

    def do(self, command: str) -> None:
        """Give it a command and wait until it is done."""
        assert self.process.stdin is not None
        self.process.stdin.write(command + "\n")
        self.process.stdin.flush()
        assert self._line() == command.split()[0]

    def lift(self) -> None:
        """Swing it about, long enough for it to be seen."""
        self.do("lift")
        time.sleep(0.35)

    def rest(self, value: float) -> None:
        """Lift it and set it down at a value."""
        self.lift()
        self.do(f"rest {value}")

    def close(self) -> None:
        """End it."""
        self.process.kill()
        self.process.communicate()


class Gauge(Moved):
    """A gauge at a pty that is plugged in at `path`: an angle gauge, or a depth gauge."""

    def __init__(self, path: Path, kind: str = "angle") -> None:
        super().__init__(str(GAUGE_PROGRAM), str(path), kind)
        assert self.said_first == "plugged"
        self.name = f"{kind}-line@serial:{path}?baud=9600"


class GaugeInTheAir(Moved):
    """An angle gauge on Bluetooth LE; `environment` is what a program needs to hear it."""

    name = "described-angle@ble-virtual:bench-angle"

    def __init__(self) -> None:
        super().__init__(str(AIR_PROGRAM), str(RADIO))
        self.environment = {"VIRTUAL_RADIO_PORT": self.said_first, "PYTHONPATH": str(RADIO / "plugin")}


def piped(folder: Path, *arguments: str, lines: str = "", wait_s: float = WAIT_S) -> subprocess.CompletedProcess[str]:
    """Run gaugelog with nothing but pipes."""
    return subprocess.run(
        [*GAUGELOG, *arguments],
        input=lines,
        capture_output=True,
        text=True,
        cwd=folder,
        env=environment(),
        timeout=wait_s,
        check=False,
    )
