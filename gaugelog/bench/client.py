"""Asking a running bench from the command line: the bench is the recording's one writer, a command its client.

Here: the note beside the recording that says where its bench is, and asking it. Not here: what it does (`work`).

The note (`NAME.gaugelog.bench`) can be read by its owner only: where the bench is shared, it holds a key that lets in.
A note that a killed bench left behind leads nowhere and harms nothing.
"""

from __future__ import annotations

import asyncio
import json
import os
import socket
import threading
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager, suppress
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any, NamedTuple

from gaugelog.errors import BenchGoneError, BenchRefusedError

LOOPBACK = "127.0.0.1"
COOKIE = "gaugelog-bench"
"""Under which a key is sent, by a browser and by a command."""
_WAIT_S = 10.0


class Told(NamedTuple):
    """What the bench tells: `state` the work as a whole, `reading` what came since, `beat` that it lives."""

    kind: str
    data: dict[str, Any]


def note_path(recording: Path) -> Path:
    """Return the note beside a recording; it is there while a bench serves the recording."""
    return recording.with_name(recording.name + ".bench")


@contextmanager
def noted(recording: Path, port: int, key: str) -> Iterator[None]:
    """Leave a note beside a recording for as long as its bench runs; a folder that can't be written gets none."""
    path = note_path(recording)
    with suppress(OSError):
        path.unlink(missing_ok=True)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            json.dump({"port": port, "key": key}, file)
    try:
        yield
    finally:
        with suppress(OSError):
            path.unlink(missing_ok=True)


def _read_note(recording: Path) -> tuple[HTTPConnection, dict[str, str]] | None:
    """Return the way to the bench that a note tells of, not yet gone, and the headers it wants; None without one."""
    try:
        note = json.loads(note_path(recording).read_text(encoding="utf-8"))
        port, key = int(note["port"]), str(note["key"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    origin = f"http://{LOOPBACK}:{port}"
    headers = {"Origin": origin, "Content-Type": "application/json", "Cookie": f"{COOKIE}={key}"}
    return HTTPConnection(LOOPBACK, port, timeout=_WAIT_S), headers


def ask_bench(recording: Path, asked: dict[str, Any]) -> str | None:
    """Ask the bench that serves a recording to do something, and return what it says, None where no bench answers.

    Raises:
        BenchRefusedError: it answers that it can't; it did nothing.
    """
    note = _read_note(recording)
    if note is None:
        return None
    connection, headers = note
    try:
        connection.request("POST", "/do", json.dumps(asked), headers)
        answer = json.loads(connection.getresponse().read())
    except (OSError, HTTPException, ValueError):
        return None
    finally:
        connection.close()
    if "error" in answer:
        raise BenchRefusedError(answer["error"])
    return str(answer["said"])


async def told_by(recording: Path) -> AsyncIterator[Told]:
    """Yield what the bench that serves a recording tells, until it ends or can't be heard any more.

    Raises:
        BenchGoneError: at its end; what it kept is in the recording.
    """
    note = _read_note(recording)
    if note is None:
        raise BenchGoneError
    connection, headers = note
    heard: asyncio.Queue[Told | None] = asyncio.Queue()
    loop = asyncio.get_running_loop()

    def listen() -> None:
        with suppress(OSError, HTTPException, ValueError, AttributeError, RuntimeError):
            for told in _events(connection, headers):
                loop.call_soon_threadsafe(heard.put_nowait, told)
        with suppress(RuntimeError):  # the loop has ended before
            loop.call_soon_threadsafe(heard.put_nowait, None)

    threading.Thread(target=listen, daemon=True).start()
    try:
        while (told := await heard.get()) is not None:
            yield told
    finally:
        if connection.sock is not None:
            with suppress(OSError):
                connection.sock.shutdown(socket.SHUT_RDWR)  # closing alone waits for what is being read
        connection.close()
    raise BenchGoneError


def _events(connection: HTTPConnection, headers: dict[str, str]) -> Iterator[Told]:
    """Yield server-sent events (WHATWG HTML, 9.2) of the form that the bench sends: one line of data each."""
    connection.request("GET", "/events", headers=headers)
    answer = connection.getresponse()
    kind = ""
    while line := answer.readline().decode("utf-8"):
        name, _, text = line.rstrip("\n").partition(": ")
        if name == "event":
            kind = text
        elif name == "data":
            yield Told(kind, json.loads(text))
