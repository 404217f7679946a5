"""Keys from the person at the terminal.

Here: key presses as they come, or whole lines where the input is no terminal, each stamped with monotonic time.
Not here: what a key means (the command line decides).
"""

from __future__ import annotations

import asyncio
import codecs
import os
import sys
import threading
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from gaugelog.links.clock import now_ns

_NAMES = {"\r": "enter", "\n": "enter", "\x7f": "backspace", "\x08": "backspace", "\x1b": "escape", "\t": "tab"}


@dataclass(frozen=True, slots=True)
class Key:
    """One key: its character, or `enter`, `backspace`, `escape`, `tab`; or a whole line of piped input."""

    time_ns: int
    text: str
    whole_line: bool = False


@contextmanager
def _single_keys(descriptor: int) -> Iterator[None]:
    """Let a POSIX terminal hand over each key at once, unechoed, even those pressed before; put it back afterwards."""
    import termios
    import tty

    before = termios.tcgetattr(descriptor)
    try:
        tty.setcbreak(descriptor, termios.TCSADRAIN)
        yield
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


def _keys_in(text: str) -> Iterator[str]:
    """Split what arrived at once into keys; an escape sequence (an arrow key) is one key and named escape-nothing."""
    if text.startswith("\x1b") and len(text) > 1:
        return
    for character in text:
        yield _NAMES.get(character, character)


async def keys(clock: Callable[[], int] = now_ns) -> AsyncIterator[Key]:
    """Yield keys until the input ends, none where there is no input; arrow keys and the like are passed over."""
    if sys.stdin is None:  # the program was started with its input closed
        return
    descriptor = sys.stdin.fileno()
    if os.name != "posix":  # pragma: no cover - Windows only
        async for key in _from_thread(_windows_key if sys.stdin.isatty() else sys.stdin.readline, clock):
            yield key
    elif os.isatty(descriptor):
        with _single_keys(descriptor):
            decoder = codecs.getincrementaldecoder("utf-8")("ignore")
            async for data in _bytes_of(descriptor):
                for text in _keys_in(decoder.decode(data)):
                    yield Key(clock(), text)
    else:
        async for key in _from_thread(sys.stdin.readline, clock):
            yield key


async def _bytes_of(descriptor: int) -> AsyncIterator[bytes]:
    """Yield what can be read, reading only when the loop says that something is there: a read must never wait."""
    loop = asyncio.get_running_loop()
    queue: asyncio.Queue[bytes] = asyncio.Queue()

    def take() -> None:
        data = b""
        with suppress(OSError):  # the terminal was closed
            data = os.read(descriptor, 256)
        if not data:
            loop.remove_reader(descriptor)
        queue.put_nowait(data)

    loop.add_reader(descriptor, take)
    try:
        while data := await queue.get():
            yield data
    finally:
        loop.remove_reader(descriptor)


def _windows_key() -> str:  # pragma: no cover - Windows only
    """Wait for one key of a Windows console; the second half of a function key is swallowed."""
    import msvcrt

    key: str = msvcrt.getwch()  # type: ignore[attr-defined,unused-ignore]
    if key in "\x00\xe0":
        msvcrt.getwch()  # type: ignore[attr-defined,unused-ignore]
        return _windows_key()
    return key


async def _from_thread(read: Callable[[], str], clock: Callable[[], int]) -> AsyncIterator[Key]:
    """Yield what `read` returns, called again and again in a thread that never holds up the end of the program."""
    loop = asyncio.get_running_loop()
    queue: asyncio.Queue[Key | None] = asyncio.Queue()

    def put(key: Key | None) -> None:
        try:
            loop.call_soon_threadsafe(queue.put_nowait, key)
        except RuntimeError:  # the loop has ended: nobody is listening any more
            return

    def work() -> None:
        while text := read():
            line = text.rstrip("\r\n")
            put(Key(clock(), line, True) if read is not _windows_key else Key(clock(), _NAMES.get(text, text)))
        put(None)

    threading.Thread(target=work, daemon=True, name="keyboard").start()
    while (key := await queue.get()) is not None:
        yield key
