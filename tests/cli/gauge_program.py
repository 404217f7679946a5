"""Run as a program: an invented gauge in another process, at the far end of a pty, moved by commands.

It links the near end of the pty to the path it is given and prints `plugged`. Then it sends a line a reading for ever,
at the pace of 9600 baud, in pieces that respect no line. Commands, one a line on its standard input, each answered with
its first word once it is done: `rest VALUE` sets it down, `lift` swings it about, `unplug` and `plug` take it off its
path and put it back. It ends with its input.

Arguments: the path, and what it is: `angle` or `depth`.
"""

import contextlib
import math
import os
import random
import select
import sys
import time
import tty

BAUD = 9600


class Gauge:
    """The gauge, its port, and what it reads."""

    def __init__(self, path: str, kind: str) -> None:
        self.path, self.kind = path, kind
        self.chance = random.Random(7)
        self.value, self.lifted = 0.0, False
        self.far = self.near = -1
        self.plug()

    def plug(self) -> None:
        self.far, self.near = os.openpty()
        tty.setraw(self.near)
        os.set_blocking(self.far, False)
        os.symlink(os.ttyname(self.near), self.path)

    def unplug(self) -> None:
        os.unlink(self.path)
        os.close(self.near)
        os.close(self.far)
        self.far = -1

    def line(self) -> bytes:
        swing = 3.0 * (1.2 + math.sin(9 * time.monotonic())) if self.lifted else 0.0
        if self.kind == "depth":
            return f"D{self.value + swing:7.2f} mm\r\n".encode()
        shown = round((self.value + swing) / 0.05) * 0.05
        return f"{'-' if shown < -0.01 else '+'}{abs(shown):6.2f} deg\r\n".encode()

    def say(self) -> None:
        line = self.line()
        while line and self.far >= 0:
            piece = line[: self.chance.choice((1, 2, 3, 5, 7, 11))]
            line = line[len(piece) :]
            with contextlib.suppress(BlockingIOError):  # nobody listens: the bytes are lost, as on a serial line
                os.write(self.far, piece)
            time.sleep(len(piece) * 10 / BAUD)

    def obey(self, words: list[str]) -> None:
        match words:
            case ["rest", value]:
                self.value, self.lifted = float(value), False
            case ["lift"]:
                self.lifted = True
            case ["unplug"]:
                self.unplug()
            case ["plug"]:
                self.plug()
        print(words[0], flush=True)


def main() -> None:
    gauge = Gauge(sys.argv[1], sys.argv[2])
    print("plugged", flush=True)
    while True:
        gauge.say()
        if select.select([sys.stdin], [], [], 0.02 if gauge.far < 0 else 0)[0]:
            command = os.read(0, 200).decode().split()
            if not command:
                return
            gauge.obey(command)


main()
