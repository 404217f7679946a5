"""The lock that gives a recording one writer.

Here: taking it, letting it go, telling who holds it. The system releases it when a program is killed, so no recording
stays locked. Not here: keeping readers out; nobody does.
"""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

from gaugelog.errors import GaugelogError, RecordingBusyError, WriteFailedError
from gaugelog.store.connect import identity_of, open_to_read

_TRIES = 5


def lock_path(path: Path) -> Path:
    """Return the lock file of a recording; it is there only while the recording is written."""
    return path.with_name(path.name + ".lock")


class WriterLock:
    """The right to write one recording, held from construction to `release`."""

    def __init__(self, path: Path) -> None:
        """Take the lock.

        Raises:
            RecordingBusyError: another program holds it; it is named.
            WriteFailedError: the folder is not there, or can't be written.
        """
        if not path.parent.is_dir():
            raise WriteFailedError(path, "its folder is not there")
        self._file = lock_path(path)
        self._lock = FileLock(self._file)
        for _ in range(_TRIES):
            try:
                self._lock.acquire(timeout=0)
            except Timeout:
                raise RecordingBusyError(path, holder_of(path)) from None
            except OSError as error:
                raise WriteFailedError(path, error.strerror or str(error)) from error
            if self._file.exists():
                self._taken = identity_of(self._file)
                return
            self._lock.release()  # the last holder took the file away between our opening and our locking it
        raise RecordingBusyError(path, "another program that is just ending")

    def release(self) -> None:
        """Let the lock go and take its file away; a second call does nothing."""
        if not self._lock.is_locked:
            return
        if identity_of(self._file) == self._taken:  # else somebody took it away, and another program may hold its own
            with suppress(OSError):  # not every system removes a file that is open
                self._file.unlink()
        self._lock.release()


def must_not_be_written(path: Path) -> None:
    """See that nobody writes a recording at this moment, without taking its lock file away.

    Raises:
        RecordingBusyError: another program writes it; it is named.
    """
    if not lock_path(path).exists():
        return
    lock = FileLock(lock_path(path))
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise RecordingBusyError(path, holder_of(path)) from None
    except OSError:
        return  # nobody can write where this can't be opened
    lock.release()


def holder_of(path: Path) -> str:
    """Return in words who writes a recording: program, command, machine, since when."""
    row = None
    with suppress(GaugelogError), open_to_read(path) as connection:
        row = connection.execute(
            "SELECT command, pid, host, utc_us FROM sitting WHERE ended_utc_us IS NULL ORDER BY id DESC LIMIT 1"
        ).fetchone()
    if row is None:
        return "another program that has just begun"
    command, pid, host, utc_us = row
    try:
        since = datetime.fromtimestamp(utc_us / 1e6, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    except (TypeError, ValueError, OverflowError, OSError):  # a damaged file says a moment that is none
        since = "a moment that can't be read"
    return f"gaugelog {command} (process {pid} on {host}, since {since})"
