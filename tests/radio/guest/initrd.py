"""Pack the first file system of the guest: busybox, kernel modules, and the script that mounts all else.

Run as `initrd.py WORK INIT OUTPUT`. Here: the cpio archive, in the form "newc" that the kernel's own documentation
describes (driver-api/early-userspace/buffer-format). Not here: what the script does (`init`).
"""

from __future__ import annotations

import gzip
import shutil
import stat
import sys
from pathlib import Path

_FOLDER, _FILE = stat.S_IFDIR | 0o755, stat.S_IFREG | 0o755
_CONSOLE = (5, 1)


class Archive:
    """A cpio archive of the form "newc"."""

    def __init__(self) -> None:
        self._data = bytearray()
        self._number = 0

    def add(self, name: str, mode: int, content: bytes = b"", device: tuple[int, int] = (0, 0)) -> None:
        """Add a file, folder or device."""
        self._number += 1
        path = name.encode() + b"\0"
        fields = [self._number, mode, 0, 0, 1, 0, len(content), 0, 0, *device, len(path), 0]
        self._data += b"070701" + b"".join(b"%08x" % field for field in fields) + path
        self._pad()
        self._data += content
        self._pad()

    def packed(self) -> bytes:
        """End the archive and return it compressed."""
        self.add("TRAILER!!!", 0)
        return gzip.compress(bytes(self._data), 1)

    def _pad(self) -> None:
        self._data += b"\0" * (-len(self._data) % 4)


def _busybox(work: Path) -> Path:
    fetched = work / "tools/usr/bin/busybox"
    found = fetched if fetched.exists() else Path(shutil.which("busybox") or "")
    if b"/ld-linux" in found.read_bytes():
        raise SystemExit(f"{found} needs libraries; the guest begins with none: install busybox-static")
    return found


def main(work: Path, init: Path, output: Path) -> None:
    """Write the archive to `output`."""
    archive = Archive()
    for folder in ("bin", "dev", "modules", "new", "proc", "sys", "tools", "usr"):
        archive.add(folder, _FOLDER)
    archive.add("dev/console", stat.S_IFCHR | 0o600, device=_CONSOLE)
    archive.add("bin/busybox", _FILE, _busybox(work).read_bytes())
    for module in sorted((work / "modules").iterdir()):
        archive.add(f"modules/{module.name}", _FILE, module.read_bytes())
    archive.add("init", _FILE, init.read_bytes())
    output.write_bytes(archive.packed())


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:4]))
