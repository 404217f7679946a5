"""Run as a program: an invented gauge that counts its readings, on a pty or behind a TCP port, and that can be harmed.

Each reading is the number of the one before plus one, in hundredths of a millimetre. It prints where it is, then obeys
one command a line, each answered with its first word once it is done:

    unplug, plug        the pty goes (the system's end is closed, its link removed) and a new one comes in its place
    hang up, reset      the connection is closed properly, or cut off with what is on its way
    hush, speak         nothing is sent for a while, though the link stands
    leave               from now on nothing can arrive, until a new connection is made: a cable was pulled
    burst N             N readings at once, as fast as they are taken
    end                 prints as JSON each reading that was sent whole with its time, and from when to when it was away

Arguments: `pty PATH` or `tcp HOST:PORT` (port 0 for any), and readings a second. Times are those of gaugelog's clock.
"""

import contextlib
import json
import os
import select
import socket
import struct
import sys
import time
import tty
from abc import ABC, abstractmethod

from gaugelog.links.clock import now_ns

NO_LINGER = struct.pack("ii", 1, 0)


def line_of(number: int) -> bytes:
    """Return a reading as the datasheet of the bench says."""
    return b"#%d.%02d\r\n" % divmod(number, 100)


class Source(ABC):
    """What all have in common: counting, and what was sent when."""

    def __init__(self) -> None:
        self.sent: list[tuple[int, int]] = []
        self.away: list[list[int]] = []
        self.number = 0
        self.hushed = False

    @abstractmethod
    def write(self, data: bytes) -> int:
        """Send what is taken at once; return how much that was."""

    @abstractmethod
    def ready(self) -> bool:
        """Return whether there is anything to send into."""

    def say(self) -> None:
        """Send the next reading; one that isn't taken whole was never sent."""
        if self.hushed or not self.ready():
            return
        self.number += 1
        line, time_ns = line_of(self.number), now_ns()
        if self.write(line) == len(line):
            self.sent.append((self.number, time_ns))

    def burst(self, count: int) -> None:
        """Send many at once, waiting only until they are taken."""
        left = b"".join(line_of(self.number + place + 1) for place in range(count))
        time_ns = now_ns()
        while left:
            taken = self.write(left)
            left = left[taken:]
            if not taken:
                time.sleep(0.0005)
        self.sent += [(self.number + place + 1, time_ns) for place in range(count)]
        self.number += count

    def leave(self) -> None:
        """Take note that from now on nothing can arrive."""
        self.away.append([now_ns(), 0])

    def come(self) -> None:
        """Take note that it is back."""
        if self.away and not self.away[-1][1]:
            self.away[-1][1] = now_ns()

    def obey(self, words: list[str]) -> None:
        """Do what a command says."""
        match words:
            case ["leave"]:
                self.leave()
            case ["hush"]:
                self.leave()
                self.hushed = True
            case ["speak"]:
                self.hushed = False
                self.come()
            case ["burst", count]:
                self.burst(int(count))
            case ["end"]:
                print(json.dumps({"sent": self.sent, "away": self.away}), flush=True)
                sys.exit(0)


class Plugged(Source):
    """At the far end of a pty."""

    def __init__(self, path: str) -> None:
        super().__init__()
        self.path, self.far, self.near = path, -1, -1
        self.plug(path)
        print(path, flush=True)

    def plug(self, path: str) -> None:
        self.far, self.near = os.openpty()
        tty.setraw(self.near)
        os.set_blocking(self.far, False)
        self.path = path
        os.symlink(os.ttyname(self.near), path)

    def ready(self) -> bool:
        return self.far >= 0

    def write(self, data: bytes) -> int:
        try:
            return os.write(self.far, data)
        except BlockingIOError:
            return 0

    def obey(self, words: list[str]) -> None:
        match words:
            case ["unplug"]:
                self.leave()
                os.unlink(self.path)
                os.close(self.near)
                os.close(self.far)
                self.far = -1
            case ["plug"]:
                self.plug(self.path)
                self.come()
            case ["end"] if self.far >= 0:
                os.unlink(self.path)  # before the pty goes: the system gives its name to whoever asks next
                super().obey(words)
            case _:
                super().obey(words)


class Served(Source):
    """Behind a TCP port, for one at a time."""

    def __init__(self, host: str, port: int) -> None:
        super().__init__()
        self.listener = socket.create_server((host, port))
        self.connection: socket.socket | None = None
        print(f"{host}:{self.listener.getsockname()[1]}", flush=True)

    def ready(self) -> bool:
        if select.select([self.listener], [], [], 0)[0]:
            self.connection, _ = self.listener.accept()
            self.connection.setblocking(False)
            self.connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.come()
        return self.connection is not None

    def write(self, data: bytes) -> int:
        if self.connection is None:
            return 0
        try:
            return self.connection.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self.connection.close()
            self.connection = None
            return 0

    def obey(self, words: list[str]) -> None:
        match words:
            case ["hang", "up"] | ["reset"]:
                self.leave()
                if self.connection is not None:
                    if words == ["reset"]:
                        self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, NO_LINGER)
                    self.connection.close()
                    self.connection = None
            case _:
                super().obey(words)


def _place(where: str) -> tuple[str, int]:
    host, _, port = where.rpartition(":")
    return host or "127.0.0.1", int(port)


def main() -> None:
    kind, where, rate = sys.argv[1], sys.argv[2], float(sys.argv[3])
    source: Source = Plugged(where) if kind == "pty" else Served(*_place(where))
    beat_s, due_s, waiting = 1 / rate, time.monotonic(), ""
    while True:
        source.say()
        due_s = max(due_s + beat_s, time.monotonic() - beat_s)
        if select.select([sys.stdin], [], [], max(0.0, due_s - time.monotonic()))[0]:
            read = os.read(0, 4096).decode()
            if not read:
                return
            *commands, waiting = (waiting + read).split("\n")
            for command in commands:
                source.obey(command.split())
                print(command.split()[0], flush=True)
            time.sleep(max(0.0, due_s - time.monotonic()))


with contextlib.suppress(KeyboardInterrupt, BrokenPipeError):
    main()
