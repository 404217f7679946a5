"""Folders in which there is little room, or nothing may be written; and room made again.

Here: a small file system of its own (mounted for the purpose, where that is allowed), and the system's limit of a
file's size for one process. Not here: what is done in them.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from random import Random

import scene

_LIMITED = (
    "import os, resource, sys; limit = int(sys.argv[1]);"
    "resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY));"
    "os.execv(sys.argv[2], sys.argv[2:])"
)
_SMALL = "16m"


@cache
def cant_mount() -> str:
    """Say why no file system can be mounted here, or nothing."""
    if not sys.platform.startswith("linux") or os.geteuid():
        return "mounting a small file system takes a superuser on Linux"
    with tempfile.TemporaryDirectory() as folder:
        ran = subprocess.run(["mount", "-t", "tmpfs", "none", folder], capture_output=True, text=True, check=False)
        if ran.returncode:
            return f"no file system may be mounted here: {ran.stderr.strip()}"
        subprocess.run(["umount", folder], check=True)
    return ""


@contextmanager
def mounted(folder: Path, size: str = _SMALL) -> Iterator[Path]:
    """Give a folder that is a small file system of its own."""
    folder.mkdir(parents=True, exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "none", str(folder)], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def may_be_written(folder: Path, allowed: bool) -> None:
    """Forbid or allow writing in a mounted folder, for everybody."""
    subprocess.run(["mount", "-o", f"remount,{'rw' if allowed else 'ro'}", str(folder)], check=True)


class Tight:
    """A folder with so many bytes of room left, by a full file system or by a limit of a file's size."""

    def __init__(self, folder: Path, mount: bool) -> None:
        self.folder, self.is_mounted = folder, mount
        self._filler = folder / "filler"
        self._limit = resource.RLIM_INFINITY
        self.program: subprocess.Popen[str] | None = None

    def leave(self, room: int) -> None:
        """Leave so many bytes of room; with a limit, no file may grow larger than that."""
        self._limit = room
        if self.is_mounted:
            free = os.statvfs(self.folder)
            with self._filler.open("wb") as file:
                file.write(bytes(max(0, free.f_bavail * free.f_frsize - room)))

    def start(self, *command: str) -> subprocess.Popen[str]:
        """Start a program in the folder as it is."""
        tight = () if self.is_mounted else (sys.executable, "-c", _LIMITED, str(self._limit))
        self.program = scene.start(self.folder, program=[*tight, *command])
        return self.program

    def run(self, *command: str, lines: str = "") -> subprocess.CompletedProcess[str]:
        """Run a program in the folder as it is, to its end."""
        tight = () if self.is_mounted else (sys.executable, "-c", _LIMITED, str(self._limit))
        return scene.ran(self.folder, program=[*tight, *command], lines=lines)

    def limit_running(self) -> None:
        """Put the limit on the program that runs."""
        assert self.program is not None
        resource.prlimit(self.program.pid, resource.RLIMIT_FSIZE, (self._limit, resource.RLIM_INFINITY))

    def make_room(self) -> None:
        """Let there be room again, also for a program that runs."""
        self._filler.unlink(missing_ok=True)
        if not self.is_mounted and self.program is not None and self.program.poll() is None:
            resource.prlimit(self.program.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))


@contextmanager
def tight(chance: Random, folder: Path) -> Iterator[Tight]:
    """Give an empty folder whose room can be made little: mounted, where that is allowed, or with a limit."""
    place = folder / f"tight-{chance.randrange(10**9)}"
    if not cant_mount() and chance.random() < 0.5:
        with mounted(place):
            yield Tight(place, mount=True)
        return
    place.mkdir()
    yield Tight(place, mount=False)
