"""Whether an open recording is still the file that its path names, and what to do where it isn't.

SQLite goes on writing into a file that was removed or moved as if nothing had happened, and its log (-wal) stays behind
under the old name, where it would be taken for the log of whatever is put there next. Here: noticing that, saving what
was recorded, and leaving neither a claim nor a log behind. Not here: when (`writer`).
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from gaugelog.errors import RecordingTakenAwayError, WriteFailedError
from gaugelog.store.connect import connect_to, identity_of
from gaugelog.store.copying import save

_LOG, _INDEX = "-wal", "-shm"
_LAST = "WHERE id = (SELECT max(id) FROM sitting) AND ended_utc_us IS NULL"


def end_as_stored(connection: sqlite3.Connection) -> None:
    """End the last sitting with what is stored, where it could not be ended as it should have been.

    SQLite takes the log away as the last connection closes; without this the file would look as if its log had been
    lost. The log is moved into the file first, so that this finds room in it though the disk be full.
    """
    with suppress(sqlite3.Error):
        if connection.execute(f"SELECT count(*) FROM sitting {_LAST}").fetchone()[0]:
            connection.execute("PRAGMA wal_checkpoint(RESTART)").fetchone()
            connection.execute(f"UPDATE sitting SET ended_utc_us = latest_utc_us {_LAST}")


def _stamp_of(path: Path) -> tuple[int, int] | None:
    """Return what changes when a file is written."""
    try:
        seen = os.stat(path)
    except OSError:
        return None
    return seen.st_mtime_ns, seen.st_size


class Place:
    """Where an open recording lies, with its companions; made when its connection has begun a sitting."""

    def __init__(self, path: Path, connection: sqlite3.Connection, sitting: int) -> None:
        """Look at the files as they are now.

        Args:
            path: of the recording.
            connection: its writer's, in no transaction.
            sitting: the number of the writer's sitting, in the file itself and not only in its log.
        """
        self._path, self._db, self._sitting = path.resolve(), connection, sitting  # wherever the program stands
        self._files = {end: identity_of(self._beside(end)) for end in ("", _LOG, _INDEX)}
        self._stamp = _stamp_of(path)
        self._known_by_itself = self._knows_sitting()

    def _beside(self, end: str) -> Path:
        return self._path.with_name(self._path.name + end)

    def _is_ours(self, end: str) -> bool:
        return self._files[end] is not None and identity_of(self._beside(end)) == self._files[end]

    def must_not_be_written_over(self) -> None:
        """Look, before anything is written and after it, whether the file was changed and holds something else now.

        The writer itself, and a program that only takes over what is in the log, leave the sitting where it is.

        Raises:
            RecordingTakenAwayError: another content is in it; the connection is closed and nothing was written.
        """
        stamp = _stamp_of(self._path)
        if stamp == self._stamp or not self._is_ours(""):
            return
        self._stamp = stamp
        if not self._known_by_itself or self._knows_sitting():
            return
        with self._path_held_back():
            self._db.close()
        self._leave_no_log()
        raise RecordingTakenAwayError(self._path, "was written over", None, "its content is gone")

    def _knows_sitting(self) -> bool:
        """Return whether the file by itself, without its log, holds the writer's sitting."""
        try:
            alone = connect_to(self._path, "mode=ro&immutable=1")
            try:
                found = alone.execute("SELECT pid FROM sitting WHERE id = ?", (self._sitting,)).fetchone()
            finally:
                alone.close()
        except sqlite3.Error:
            return False
        return bool(found and found[0] == os.getpid())

    @contextmanager
    def _path_held_back(self) -> Iterator[None]:
        """Give the file another name for a moment: SQLite writes nothing into one that it doesn't find in its place."""
        aside = self._beside(".held")
        self._path.rename(aside)
        try:
            yield
        finally:
            aside.rename(self._path)

    def must_be_there(self) -> None:
        """Look, before anything is acknowledged, whether the path and its companions are still the open files.

        Raises:
            RecordingTakenAwayError: they aren't; all that was recorded is saved where it can be, and the connection
                is closed.
        """
        if all(identity_of(self._beside(end)) == seen for end, seen in self._files.items() if seen is not None):
            return
        if self._is_ours(""):
            self._end_without_log()
        what = "was replaced by another file" if self._path.exists() else "was removed or moved"
        saved, detail = self._save()
        self._move_log_into_file()
        self._db.close()
        self._leave_no_log()
        raise RecordingTakenAwayError(self._path, what, saved, detail)

    def _end_without_log(self) -> None:
        """End where the file is in its place and one beside it was taken away: all goes into the file."""
        whole = self._move_log_into_file()
        saved, detail = (self._path, "") if whole else self._save()
        self._db.close()
        raise RecordingTakenAwayError(self._path, "lost a file beside it (-wal, -shm)", saved, detail)

    def _move_log_into_file(self) -> bool:
        """End the sitting and put the log into the file, wherever it is; return whether no reader barred it."""
        end_as_stored(self._db)
        try:
            return not self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        except sqlite3.Error:
            return False

    def _save(self) -> tuple[Path | None, str]:
        """Write all that the connection sees into a new file; return where, or why not."""
        for number in range(1, 100):
            name = f"{self._path.stem}-saved{'' if number == 1 else f'-{number}'}{self._path.suffix}"
            target = self._path.with_name(name)
            if not target.exists():
                break
        try:
            save(self._db, target)
        except WriteFailedError as error:
            return None, error.detail
        return target, ""

    def _leave_no_log(self) -> None:
        """Take away the log and its index where they are still the writer's: they belong to no file that is there."""
        with suppress(OSError):
            if self._is_ours(_INDEX):
                self._beside(_INDEX).unlink()
        with suppress(OSError):
            if self._is_ours(_LOG):
                self._beside(_LOG).replace(self._beside("-wal-set-aside"))
                if not self._beside("-wal-set-aside").stat().st_size:
                    self._beside("-wal-set-aside").unlink()
