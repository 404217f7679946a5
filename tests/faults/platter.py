"""What is left of files when the power goes: a model of a disk that keeps its word, and nothing beyond it.

What it takes as sure: a sync that came back has put on the disk all that was written to that file before; one of a
folder, the names made, changed and taken away in it. Nothing else is: what was written since may be there, may not, may
be there in part (by sectors of 512 or 4096 bytes), in any combination, later without earlier; so may each new name,
each name taken away, each change of a file's length. A length that grew without its bytes reads as zeros.

What it doesn't cover: a disk that says it has synced and hasn't, sectors that are themselves torn or go bad, bytes that
were on the disk before and get lost, more than one folder.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from tracing import Call

_SECTORS = (512, 4096)


@dataclass(slots=True)
class _File:
    """A file's bytes as they are surely on the disk, and what has happened since: (offset, bytes), or a new length."""

    sure: bytearray = field(default_factory=bytearray)
    since: list[tuple[int, bytes | None]] = field(default_factory=list)
    size: int = 0

    def sync(self) -> None:
        for at, data in self.since:
            _apply(self.sure, at, data)
        self.since.clear()


def _apply(content: bytearray, at: int, data: bytes | None) -> None:
    if data is None:
        del content[at:]
        content.extend(bytes(at - len(content)))
        return
    content.extend(bytes(max(0, at - len(content))))
    content[at : at + len(data)] = data


class Platter:
    """A folder on a disk, to which a program's calls are done one after another."""

    def __init__(self, folder: Path, files: dict[str, bytes]) -> None:
        """Begin with files that are surely there, by name."""
        self._folder = folder
        self._sure = {name: _File(bytearray(data), size=len(data)) for name, data in files.items()}
        self._now = dict(self._sure)
        self._renamed: list[tuple[str, str | _File | None]] = []
        self._open: dict[int, tuple[_File | None, int]] = {}

    def do(self, call: Call) -> None:
        """Do what a program did."""
        match call.name:
            case "open":
                self._do_open(call)
            case "close":
                self._open.pop(call.fd, None)
            case "unlink":
                name = self._name(call.path)
                self._now.pop(name)
                self._renamed.append((name, None))
            case "rename":
                old, new = self._name(call.path), self._name(call.other)
                self._now[new] = self._now.pop(old)
                self._renamed.append((old, new))
            case "sync":
                self._do_sync(call)
            case "seek" | "write" | "truncate":
                self._do_content(call)

    def _name(self, path: str) -> str:
        return os.path.relpath(path, self._folder)

    def _do_open(self, call: Call) -> None:
        name = self._name(call.path)
        if name == "." or (name not in self._now and "O_CREAT" not in call.flags):
            self._open[call.fd] = (None, 0)
            return
        if name not in self._now:
            self._now[name] = _File()
            self._renamed.append((name, self._now[name]))
        file = self._now[name]
        if "O_TRUNC" in call.flags and file.size:
            file.since.append((0, None))
            file.size = 0
        self._open[call.fd] = (file, file.size if "O_APPEND" in call.flags else 0)

    def _do_sync(self, call: Call) -> None:
        file, _ = self._open[call.fd]
        if file is not None:
            file.sync()
            return
        self._sure = dict(self._now)
        self._renamed.clear()

    def _do_content(self, call: Call) -> None:
        file, place = self._open[call.fd]
        if file is None:
            raise AssertionError(f"written without being open: {call.path}")
        if call.name == "seek":
            self._open[call.fd] = (file, call.at or 0)
        elif call.name == "truncate":
            file.since.append((call.at or 0, None))
            file.size = call.at or 0
        else:
            at = place if call.at is None else call.at
            file.since.append((at, call.data))
            file.size = max(file.size, at + len(call.data))
            if call.at is None:
                self._open[call.fd] = (file, at + len(call.data))

    def power_off(self, chance: Random) -> tuple[dict[str, bytes], int]:
        """Return the files as they may be found when the power is back, and how many changes were lost or torn."""
        names, lost = self._names_left(chance)
        left = {}
        for name, file in names.items():
            left[name], torn = _content_left(file, chance)
            lost += torn
        return left, lost

    def _names_left(self, chance: Random) -> tuple[dict[str, _File], int]:
        left, lost = dict(self._sure), 0
        for (name, what), stays in zip(self._renamed, _which(len(self._renamed), chance), strict=True):
            lost += not stays
            if not stays:
                continue
            if what is None:
                left.pop(name, None)
            elif isinstance(what, str):
                if name in left:
                    left[what] = left.pop(name)
            else:
                left[name] = what
        return left, lost


def _which(count: int, chance: Random) -> Iterable[bool]:
    """Return which of so many changes stay: all, none, the first of them, or any."""
    way = chance.choice(("all", "none", "first", "any", "any"))
    first, odds = chance.randrange(count + 1), chance.random()
    return [
        way == "all" or (way == "first" and number < first) or (way == "any" and chance.random() < odds)
        for number in range(count)
    ]


def _content_left(file: _File, chance: Random) -> tuple[bytes, int]:
    content, lost = bytearray(file.sure), 0
    for (at, data), stays in zip(file.since, _which(len(file.since), chance), strict=True):
        torn = data is not None and chance.random() < 0.25
        lost += torn or not stays
        if torn and data is not None:
            _tear(content, at, data, chance)
        elif stays:
            _apply(content, at, data)
    return bytes(content), lost


def _tear(content: bytearray, at: int, data: bytes, chance: Random) -> None:
    """Write only some of the sectors that a write touches."""
    sector = chance.choice(_SECTORS)
    start = at
    while start < at + len(data):
        end = min((start // sector + 1) * sector, at + len(data))
        if chance.random() < 0.5:
            _apply(content, start, data[start - at : end - at])
        start = end
