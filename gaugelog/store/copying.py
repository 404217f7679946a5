"""Whole copies of a recording.

Here: copying while it is written, saving what an open connection sees, keeping half a copy from ever bearing its name.
Not here: why (`reader`, `place`).
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import suppress
from pathlib import Path

from gaugelog.store.connect import connect_to, open_to_read, writing

_COMPANIONS = ("", "-journal", "-wal", "-shm")


def copy(path: Path, target: Path) -> None:
    """Copy a recording whole, also while it is written; the copy is one plain file.

    Raises:
        NoRecordingError, NotARecordingError, NewerRecordingError, DamagedRecordingError: as the recording deserves.
        WriteFailedError: the copy can't be written; nothing of it is left.
    """
    with open_to_read(path) as source:
        source.execute("COMMIT")
        save(source, target)


def save(source: sqlite3.Connection, target: Path) -> None:
    """Write all that a connection sees into one plain file, which bears its name only once it is whole on the disk.

    Raises:
        WriteFailedError: it can't be written; nothing of it is left.
    """
    part = target.with_name(target.name + ".part")
    try:
        with writing(target):
            _remove(part)  # a copy that was cut off
            copied = connect_to(part, "mode=rwc")
            try:
                source.backup(copied)
                copied.execute("PRAGMA journal_mode = DELETE").fetchone()
            finally:
                copied.close()
            part.replace(target)
            _sync_folder(target.parent)
    except BaseException:
        with suppress(OSError):
            _remove(part)
        raise


def _remove(part: Path) -> None:
    for companion in _COMPANIONS:
        part.with_name(part.name + companion).unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    """Put a folder's names on the disk, on systems where that is asked for apart."""
    if os.name != "posix":
        return
    opened = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):  # some file systems don't know it
            os.fsync(opened)
    finally:
        os.close(opened)
