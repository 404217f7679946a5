"""Writing a recording: the one writer of a piece of work.

Here: what is put into a recording, and when it is on the disk. Not here: the blocks (`stream`, `blocks`), rows of
placements (`placed`, `snapshots`), reading (`reader`). The caller passes the time: this file looks at no clock.

What is acknowledged is safe: `place`, `mark` and everything about snapshots is on the disk when the call returns,
together with all that was buffered before; readings, rejects, events and gaps are there after at most a second of
`keep_up`. A call that raises has stored nothing, and what was buffered is still there for the next.
"""

from __future__ import annotations

import os
import platform
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from types import TracebackType

from gaugelog.errors import DamagedRecordingError, NothingToDoError, RecordingTakenAwayError
from gaugelog.model.clock import Anchor
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.instrument import Instrument, NamedGauge
from gaugelog.model.placement import KeptPlacement, Mark, Placement, Snapshot
from gaugelog.model.readings import Heard
from gaugelog.store import connect
from gaugelog.store.check_rows import insert_check
from gaugelog.store.gauge_rows import find_or_insert_gauge, gauge_id_of
from gaugelog.store.lock import WriterLock
from gaugelog.store.marks import insert_mark, read_marks
from gaugelog.store.place import Place, end_as_stored
from gaugelog.store.placed import drop_placement, insert_placement, insert_reinterpretation
from gaugelog.store.session_rows import begin_sitting
from gaugelog.store.snapshots import begin_snapshot, complete_snapshot, count_placement, read_snapshots
from gaugelog.store.stream import GaugeStream

_COMMIT_EVERY_NS = 10**9
_CLOCK_DEPARTS_US = 100_000
_TRANSACTION = ("BEGIN IMMEDIATE", "COMMIT", ("ROLLBACK",))
_PART_OF_WHOLE = ("SAVEPOINT part", "RELEASE part", ("ROLLBACK TO part", "RELEASE part"))


def _program() -> str:
    try:
        return f"gaugelog {version('gaugelog')}"
    except PackageNotFoundError:
        return "gaugelog, not installed"


class RecordingWriter:
    """The open recording of one piece of work; a context manager that finishes it. Made by `open`."""

    def __init__(self, path: Path, lock: WriterLock, connection: sqlite3.Connection, anchor: Anchor) -> None:
        """Take what `open` made ready."""
        self.path = path
        self.anchor = anchor
        self._lock = lock
        self._db = connection
        self._place: Place | None = None
        self._taken_away: RecordingTakenAwayError | None = None
        self._is_open = True
        self._is_whole = False
        self._sitting = 0
        self._now_ns = self._committed_ns = anchor.monotonic_ns
        self._last_clock = anchor
        self._gauges: dict[str, int] = {}
        self._streams: dict[str, GaugeStream] = {}
        self._waiting: list[tuple[str, tuple[object, ...]]] = []

    @classmethod
    def open(cls, path: Path, *, anchor: Anchor, command: str) -> RecordingWriter:
        """Open or begin a recording for writing; this begins a sitting.

        Args:
            path: the file.
            anchor: this moment on both clocks; it may lie in the past.
            command: what the sitting is called, such as clamp.

        Raises:
            RecordingBusyError: another program writes it; it is named.
            NewerRecordingError, NotARecordingError: the file is left as it is.
            WriteFailedError: the folder is not there or can't be written.
        """
        path = Path(path)
        lock = WriterLock(path)
        try:
            writer = cls(path, lock, connect.open_to_write(path), anchor)
        except BaseException:
            lock.release()
            raise
        try:
            writer._begin_sitting(command)
            writer._place = Place(path, writer._db, writer._sitting)
        except BaseException:
            writer._close()
            raise
        return writer

    def __enter__(self) -> RecordingWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.finish()

    @contextmanager
    def _transaction(self, *, merge_all: bool = False) -> Iterator[sqlite3.Connection]:
        """Everything buffered and what the caller adds, all or nothing; one of several within `whole`.

        Raises:
            RecordingTakenAwayError: the file isn't in its place any more; the writer is finished.
        """
        if self._taken_away is not None:
            raise self._taken_away
        if not self._is_open:
            raise ValueError("the recording is finished")
        if self._is_whole and not self._db.in_transaction:
            raise ValueError("what belongs together has failed already")
        self._look(before=True)
        begin, commit, back = _PART_OF_WHOLE if self._is_whole else _TRANSACTION
        with connect.writing(self.path):
            self._db.execute(begin)
            try:
                self._write_buffered(merge_all)
                yield self._db
                self._db.execute(commit)
            except BaseException:
                if self._db.in_transaction:
                    for statement in back:
                        self._db.execute(statement)
                raise
        self._committed_ns = self._now_ns
        self._waiting.clear()
        for stream in self._streams.values():
            stream.settle()
        self._look()

    @contextmanager
    def whole(self) -> Iterator[None]:
        """Keep all that is stored within, or nothing of it; all is on the disk when the block ends.

        Gauges have to be put in before.

        Raises:
            WriteFailedError: nothing of it was stored.
        """
        with self._transaction():
            pass
        with connect.writing(self.path):
            self._db.execute("BEGIN IMMEDIATE")
        self._is_whole = True
        try:
            yield
            with self._transaction():
                pass
            with connect.writing(self.path):
                self._db.execute("COMMIT")
        except BaseException:
            if self._is_open and self._db.in_transaction:
                self._db.execute("ROLLBACK")
            self._waiting.clear()
            self._streams = {name: each.in_sitting(self._sitting, self.anchor) for name, each in self._streams.items()}
            raise
        finally:
            self._is_whole = False
        self._look()

    def _look(self, *, before: bool = False) -> None:
        """See that the file is still in its place: before something is written, and before it is acknowledged.

        Raises:
            RecordingTakenAwayError: it isn't; the writer is finished.
        """
        if self._place is None or self._is_whole:
            return
        try:
            self._place.must_not_be_written_over()
            if not before:
                self._place.must_be_there()
        except RecordingTakenAwayError as told:
            self._taken_away = told  # who goes on nevertheless is told so again
            self._close()
            raise

    def _write_buffered(self, merge_all: bool) -> None:
        for stream in self._streams.values():
            stream.write(self._db, self._now_ns, merge=merge_all or stream.merge_is_due(self._now_ns))
        for statement, values in self._waiting:
            self._db.execute(statement, values)
        self._db.execute("UPDATE sitting SET latest_utc_us = ? WHERE id = ?", (self._now_utc_us, self._sitting))

    @property
    def _now_utc_us(self) -> int:
        return self.anchor.utc_us_of(self._now_ns)

    def _see(self, time_ns: int) -> None:
        self._now_ns = max(self._now_ns, time_ns)

    def _begin_sitting(self, command: str) -> None:
        offset = datetime.fromtimestamp(self.anchor.utc_us / 1e6, UTC).astimezone().utcoffset()
        offset_s = int(offset.total_seconds()) if offset is not None else 0
        with self._transaction() as db:
            sitting = begin_sitting(db, self.anchor, offset_s, command, _program(), platform.node(), os.getpid())
        with connect.writing(self.path):  # so that the file itself says that it is unfinished, should its log be lost
            self._db.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
        self._sitting = sitting

    def next_sitting(self, command: str, now_ns: int) -> None:
        """End this sitting and begin another with the same gauges; nobody else can write in between.

        Args:
            command: what the new one is called.
            now_ns: when, monotonic nanoseconds.
        """
        self._see(now_ns)
        with self._transaction(merge_all=True) as db:
            db.execute("UPDATE sitting SET ended_utc_us = ? WHERE id = ?", (self._now_utc_us, self._sitting))
        self.anchor = self._last_clock = Anchor(self._now_ns, self._now_utc_us)
        self._begin_sitting(command)
        self._streams = {name: stream.in_sitting(self._sitting, self.anchor) for name, stream in self._streams.items()}

    def note_clock(self, anchor: Anchor) -> bool:
        """Take another look at both clocks; return whether it was kept, as the wall clock departed by over 0.1 s.

        Times go on being counted from the sitting's own anchor: a wall clock that is set back changes no reading.
        """
        if abs(self._last_clock.utc_us_of(anchor.monotonic_ns) - anchor.utc_us) <= _CLOCK_DEPARTS_US:
            return False
        with self._transaction() as db:
            db.execute(
                "INSERT INTO clock (sitting, monotonic_ns, utc_us) VALUES (?, ?, ?)",
                (self._sitting, anchor.monotonic_ns, anchor.utc_us),
            )
        self._last_clock = anchor
        return True

    def put_instrument(self, instrument: Instrument) -> None:
        """Keep the instrument file's text, unless the newest one kept is the same."""
        digest = sha256(instrument.text.encode()).hexdigest()
        with connect.reading(self.path):
            newest = self._db.execute("SELECT sha256 FROM instrument ORDER BY id DESC LIMIT 1").fetchone()
        if newest is not None and newest[0] == digest:
            return
        with self._transaction() as db:
            db.execute(
                "INSERT INTO instrument (sitting, utc_us, text, sha256) VALUES (?, ?, ?, ?)",
                (self._sitting, self._now_utc_us, instrument.text, digest),
            )

    def put_gauge(self, named: NamedGauge, datasheet: Datasheet) -> None:
        """Make a gauge known by its short name, with its datasheet as it is now; before anything of it is heard."""
        with self._transaction(merge_all=named.name in self._streams) as db:
            gauge_id = find_or_insert_gauge(db, named, datasheet, self._now_utc_us)
        self._gauges[named.name] = gauge_id
        self._streams[named.name] = GaugeStream(gauge_id, datasheet.quantity, self._sitting, self.anchor)

    def put_check(self, gauge: str, kind: str, utc_us: int, result: str) -> bool:
        """Keep a check of a gauge at once, unless the same one is there; return whether it was kept.

        Args:
            gauge: its short name.
            kind: plan or check.
            utc_us: when it was made.
            result: JSON.

        Raises:
            ValueError: the gauge was not put in before.
        """
        gauge_id = self._gauge_id(gauge)
        with self._transaction() as db:
            return insert_check(db, gauge_id, kind, utc_us, result)

    def _gauge_id(self, name: str) -> int:
        if name in self._gauges:
            return self._gauges[name]
        known = gauge_id_of(self._db, name)
        if known is None:
            raise ValueError(f"the gauge {name!r} was never put into the recording")
        return known

    def hear(self, heard: Heard) -> None:
        """Buffer the readings and rejects of a chunk; `keep_up` stores them.

        Raises:
            ValueError: the gauge was not put in before.
        """
        stream = self._streams.get(heard.gauge)
        if stream is None:
            raise ValueError(f"the gauge {heard.gauge!r} was not put into this sitting")
        self._see(heard.chunk.time_ns)
        stream.take(heard.items)

    def keep_up(self, now_ns: int) -> None:
        """Store what is buffered, where a second has passed since the last time.

        Raises:
            WriteFailedError: nothing was stored; all of it is still buffered.
        """
        self._see(now_ns)
        if now_ns - self._committed_ns < _COMMIT_EVERY_NS:
            return
        if self._waiting or any(stream.is_waiting for stream in self._streams.values()):
            with self._transaction():
                pass
        else:
            self._look()

    def flush(self) -> None:
        """Store what is buffered, without waiting for its second.

        Raises:
            WriteFailedError: nothing was stored; all of it is still buffered.
        """
        with self._transaction():
            pass

    def _snapshots(self) -> tuple[Snapshot, ...]:
        with connect.reading(self.path):
            read = read_snapshots(self._db)
        if read.damaged:
            raise DamagedRecordingError(self.path, read.damaged)
        return read.snapshots

    def snapshot(self, stage: str, *, again: bool = False, reopen: bool = False) -> Snapshot:
        """Begin the snapshot of a stage, or go on with the last one if it is not complete.

        Args:
            stage: before, wet, after, spot, or a name of the builder's.
            again: begin a new one, whether the last is complete or not; older ones stay.
            reopen: return the last one though it is complete, so that placements can be added.

        Raises:
            NothingToDoError: the last one is complete, and neither was asked for.
            DamagedRecordingError: a checksum does not fit.
        """
        of_stage = [snapshot for snapshot in self._snapshots() if snapshot.stage == stage]
        last = of_stage[-1] if of_stage else None
        if last is not None and not again:
            if last.complete_utc_us is None or reopen:
                return last
            todo = "--again begins a new one; --more N adds placements"
            raise NothingToDoError(f"the snapshot {stage} is complete", todo)
        with self._transaction() as db:
            return begin_snapshot(db, stage, self._now_utc_us)

    def place(self, snapshot_id: int, placement: Placement) -> KeptPlacement:
        """Store a placement at once, with all that was buffered; when this returns it is on the disk.

        Raises:
            WriteFailedError: nothing was stored.
            ValueError: no such snapshot, or a gauge that was never put in.
        """
        self._see(placement.time_ns)
        utc_us = self.anchor.utc_us_of(placement.time_ns)
        with self._transaction() as db:
            placement_id = insert_placement(db, snapshot_id, self._sitting, placement, utc_us, self._gauge_id)
            stage = count_placement(db, snapshot_id)
        return KeptPlacement(placement_id, snapshot_id, stage, utc_us, placement)

    def drop(self, placement_id: int, reason: str) -> None:
        """Say that a placement no longer counts, and why; it stays in the recording.

        Raises:
            ValueError: no such placement.
        """
        self._must_have(placement_id)
        with self._transaction() as db:
            drop_placement(db, placement_id, reason)

    def reinterpret(self, placement_id: int, placement: Placement, datasheet_texts: Mapping[str, str]) -> None:
        """Keep what a placement's bytes read as through corrected datasheets; the old values stay beside it.

        Args:
            placement_id: the placement.
            placement: as it reads now, its parts in the order of the old ones.
            datasheet_texts: TOML of the datasheets used, by short name of the gauge.

        Raises:
            ValueError: no such placement, or other parts than it has.
        """
        old = self._must_have(placement_id)
        if [part.role for part in placement.parts] != [part.role for part in old.parts]:
            raise ValueError(f"placement {placement_id} has other parts")
        with self._transaction() as db:
            now_us = self._now_utc_us
            insert_reinterpretation(db, placement_id, placement, datasheet_texts, now_us, self._gauge_id)

    def _must_have(self, placement_id: int) -> Placement:
        """Return a placement that is about to be changed; damage must not be sealed with a new checksum."""
        for snapshot in self._snapshots():
            for kept in snapshot.placements:
                if kept.id == placement_id:
                    return kept.placement
        raise ValueError(f"there is no placement {placement_id}")

    def skip(self, snapshot_id: int, checkpoint: str, reason: str) -> None:
        """Say that a checkpoint is left out of a snapshot, and why."""
        with self._transaction() as db:
            db.execute(
                "INSERT INTO skip (snapshot, checkpoint, reason) VALUES (?, ?, ?)"
                " ON CONFLICT (snapshot, checkpoint) DO UPDATE SET reason = excluded.reason",
                (snapshot_id, checkpoint, reason),
            )

    def unskip(self, snapshot_id: int, checkpoint: str) -> None:
        """Take a skip back."""
        with self._transaction() as db:
            db.execute("DELETE FROM skip WHERE snapshot = ? AND checkpoint = ?", (snapshot_id, checkpoint))

    def complete(self, snapshot_id: int) -> None:
        """Say that nothing is missing in a snapshot."""
        with self._transaction() as db:
            complete_snapshot(db, snapshot_id, self._now_utc_us)

    def mark(self, mark: Mark) -> None:
        """Store a mark at once."""
        with self._transaction() as db:
            insert_mark(db, self._sitting, mark, self._now_utc_us)

    def marks(self) -> tuple[Mark, ...]:
        """Return all marks of the recording in order of time."""
        with connect.reading(self.path):
            marks, damaged = read_marks(self._db)
        if damaged:
            raise DamagedRecordingError(self.path, damaged)
        return marks

    def event(self, kind: str, gauge: str, words: str, time_ns: int) -> None:
        """Buffer something that happened; `gauge` is empty where it concerns none."""
        self._see(time_ns)
        gauge_id = self._gauge_id(gauge) if gauge else None
        statement = "INSERT INTO event (sitting, gauge, utc_us, kind, words) VALUES (?, ?, ?, ?, ?)"
        self._waiting.append((statement, (self._sitting, gauge_id, self.anchor.utc_us_of(time_ns), kind, words)))

    def gap(self, gauge: str, start_ns: int, end_ns: int, reason: str, fault: bool = True) -> None:
        """Buffer a stretch of time in which a gauge said nothing; `fault` is false where it merely slept."""
        self._see(end_ns)
        start_us, end_us = self.anchor.utc_us_of(start_ns), self.anchor.utc_us_of(end_ns)
        statement = (
            "INSERT INTO gap (sitting, gauge, start_utc_us, end_utc_us, reason, fault) VALUES (?, ?, ?, ?, ?, ?)"
        )
        self._waiting.append((statement, (self._sitting, self._gauge_id(gauge), start_us, end_us, reason, int(fault))))

    def finish(self) -> None:
        """Store what is buffered, merge, leave one plain file, let the lock go; a second call does nothing.

        A reader that is reading at this moment keeps the file's companions (-wal, -shm) alive; the next writer
        clears them up.

        Raises:
            WriteFailedError: what was still buffered is lost; everything stored before is safe.
        """
        if not self._is_open:
            return
        try:
            with self._transaction(merge_all=True) as db:
                db.execute("UPDATE sitting SET ended_utc_us = ? WHERE id = ?", (self._now_utc_us, self._sitting))
            with connect.writing(self.path):
                connect.leave_plain(self._db)
        finally:
            self._close()

    def _close(self) -> None:
        self._is_open = False
        if self._taken_away is None:
            end_as_stored(self._db)
        self._db.close()
        self._lock.release()
