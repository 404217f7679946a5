"""What can be got out of a damaged recording, put into a new one, with a statement of what is missing.

Here: the files, the statement, the note of it in the new recording. The damaged file is only ever read. Not here: how
rows are found (`salvage`) and written (`rebuild`).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from gaugelog.errors import (
    FileExistsAlreadyError,
    NewerRecordingError,
    NoRecordingError,
    NothingToRescueError,
    UnreadableFileError,
)
from gaugelog.model.clock import Anchor
from gaugelog.model.version import program_version
from gaugelog.store import connect
from gaugelog.store.lock import must_not_be_written
from gaugelog.store.pages import page_size_of, pages_of
from gaugelog.store.rebuild import rebuild
from gaugelog.store.salvage import newer_version, salvage
from gaugelog.store.salvaged import Loss
from gaugelog.store.schema import newest_version
from gaugelog.store.session_rows import begin_sitting
from gaugelog.store.walog import Log, read_log

RESCUE = "rescue"
"""What a recording calls the sitting and the event of a rescue."""

_COUNTED = (
    "sitting",
    "instrument",
    "gauge",
    "snapshot",
    "placement",
    "mark",
    "event",
    "gap",
    "reject_raw",
    "skip",
    "gauge_check",
)
_WAL_MODE = b"\x02\x02"


@dataclass(frozen=True, slots=True)
class Rescue:
    """What came of a rescue: rows got out by table (and `readings`), all losses, rows that no checksum covers."""

    source: Path
    target: Path
    kept: Mapping[str, int]
    losses: tuple[Loss, ...]
    unsealed: Mapping[str, int]

    @property
    def is_whole(self) -> bool:
        """Whether nothing is known to be missing, or may be."""
        return not self.losses


def rescued_beside(path: Path) -> Path:
    """Return where a rescue goes unless another name is wanted."""
    return path.with_name(f"{path.stem}-rescued{path.suffix}")


def rescue(path: Path, target: Path, now: Anchor) -> Rescue:
    """Get out of a damaged recording what can be got, into a new one; the damaged one is left as it is.

    A row is taken where its checksum is right, wherever in the file it stands. The new recording has new checksums and
    a gap wherever readings are missing; its last event says what is missing. No value is guessed.

    Args:
        path: the damaged recording.
        target: the new one.
        now: this moment on both clocks.

    Raises:
        NoRecordingError: there is no such file.
        FileExistsAlreadyError: the new recording would overwrite something.
        RecordingBusyError: it is being written.
        UnreadableFileError: the system can't read it.
        NewerRecordingError: a newer version made it.
        NothingToRescueError: no row of it is right.
        WriteFailedError: the new recording can't be written; nothing of it is left.
    """
    if not path.exists():
        raise NoRecordingError(path)
    if target.exists():
        raise FileExistsAlreadyError(target)
    must_not_be_written(path)
    data, log_data = _bytes_of(path), _bytes_of(connect.log_path(path)) if connect.log_path(path).exists() else None
    log = read_log(log_data or b"", page_size_of(data))
    pages = pages_of(data, log)
    newer = newer_version(pages)
    if newer is not None:
        raise NewerRecordingError(path, newer, newest_version())
    found = salvage(pages)
    if not found.placed and not any(found.rows.values()):
        raise NothingToRescueError(path)
    found.losses += _log_losses(data, log, log_data)
    part = target.with_name(target.name + ".part")
    try:
        with connect.writing(part):
            part.unlink(missing_ok=True)
        db = connect.open_to_write(part)
        try:
            with connect.writing(part):
                db.execute("BEGIN IMMEDIATE")
                losses = rebuild(db, found)
                kept = _kept(db)
                _note(db, path, losses, found.unsealed, now)
                db.execute("COMMIT")
                connect.leave_plain(db)
        finally:
            db.close()
        with connect.writing(target):
            part.replace(target)
    except BaseException:
        for each in (part, connect.log_path(part)):
            with suppress(OSError):
                each.unlink(missing_ok=True)
        raise
    return Rescue(path, target, kept, tuple(losses), dict(found.unsealed))


def _bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise UnreadableFileError(path, error.strerror or str(error)) from error


def _log_losses(data: bytes, log: Log, log_data: bytes | None) -> list[Loss]:
    """Tell what of the log is damaged or not there; what it would have changed stands as it was before."""
    if log_data is None and data[18:20] != _WAL_MODE:
        return []
    if log_data is None:
        words = "it is not beside the file, which was not finished: the last things stored may be missing"
        return [Loss("-wal file", words)]
    ends = [place for place, frame in enumerate(log.frames) if frame.ends]
    unfit = sum(not frame.fits for frame in log.frames[: ends[-1] + 1 if ends else len(log.frames)])
    if unfit or not log.head_fits:
        words = f"{unfit} of {len(log.frames)} pages in it are damaged: what they changed stands as it was before"
        return [Loss("-wal file", words, unfit or None)]
    return [Loss("-wal file", "the file was not finished: nothing tells whether it went on and this was cut off")]


def _kept(db: sqlite3.Connection) -> dict[str, int]:
    kept = {table: int(db.execute(f"SELECT count(*) FROM {table}").fetchone()[0]) for table in _COUNTED}
    (readings,) = db.execute("SELECT coalesce(sum(readings), 0) FROM tally").fetchone()
    return kept | {"readings": int(readings)}


def _note(db: sqlite3.Connection, path: Path, losses: Sequence[Loss], unsealed: Mapping[str, int], now: Anchor) -> None:
    """Write into the new recording that it was rescued, and what is missing."""
    sitting = begin_sitting(db, now, 0, RESCUE, f"gaugelog {program_version()}", "", 0)
    db.execute("UPDATE sitting SET ended_utc_us = ? WHERE id = ?", (now.utc_us, sitting))
    missing = "; ".join(f"{loss.what}: {loss.words}" for loss in losses) or "nothing"
    words = f"rescued from {path.name}; missing: {missing}"
    if unsealed:
        words += f"; without checksums in schema 1, taken as they stood: {', '.join(sorted(unsealed))}"
    db.execute(
        "INSERT INTO event (sitting, gauge, utc_us, kind, words) VALUES (?, NULL, ?, ?, ?)",
        (sitting, now.utc_us, RESCUE, words),
    )
