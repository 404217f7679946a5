"""Reading a recording.

Here: `open_recording` and everything that can be asked of a recording. Each question opens the file for one short
transaction, so that a recording can be read while it is written. Not here: writing (`writer`), analysis (`review`).
"""

from __future__ import annotations

import difflib
import sqlite3
from collections.abc import Mapping, Sequence
from hashlib import sha256
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import TYPE_CHECKING

from gaugelog.errors import DamagedRecordingError, FileExistsAlreadyError, UnknownGaugeError, UnknownStageError
from gaugelog.model.placement import Mark, Snapshot
from gaugelog.store import connect, copying, session_rows
from gaugelog.store.check_rows import read_checks
from gaugelog.store.gauge_rows import GaugeRow, read_gauges
from gaugelog.store.marks import read_marks
from gaugelog.store.records import (
    ClockSet,
    Event,
    Gap,
    Overview,
    RecordedCheck,
    RecordedGauge,
    Reinterpretation,
    RejectCount,
    Series,
    Sitting,
)
from gaugelog.store.seals import damaged_rows
from gaugelog.store.snapshots import ReadSnapshots, read_snapshots

if TYPE_CHECKING:
    import pandas as pd

    from gaugelog.store.frames import Moment
    from gaugelog.store.readings import Stretch


def open_recording(path: str | Path) -> Recording:
    """Return a recording to read, also while it is being written.

    Raises:
        NoRecordingError: there is no such file.
        NotARecordingError: the file is something else.
        NewerRecordingError: a newer version made it.
        DamagedRecordingError: it is damaged beyond opening, or its -wal file is, so that things stored are not seen.
    """
    recording = Recording(Path(path))
    with connect.open_to_read(recording.path):
        connect.must_see_all(recording.path)
        return recording


class Recording:
    """A recording, read only. It holds nothing open between two questions; as a context manager it reads well."""

    def __init__(self, path: Path) -> None:
        """Take the path; use `open_recording`, which looks whether it is a recording."""
        self.path = path

    def __enter__(self) -> Recording:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        return None

    def __repr__(self) -> str:
        return f"Recording({str(self.path)!r})"

    def _must_be_whole(self, damaged: Sequence[str]) -> None:
        if damaged:
            raise DamagedRecordingError(self.path, damaged)

    @property
    def instrument_text(self) -> str:
        """The instrument file as it was when the recording was last written, TOML; empty if there was none."""
        with connect.open_to_read(self.path) as db:
            self._must_be_whole(damaged_rows(db, "instrument"))
            row = db.execute("SELECT id, text, sha256 FROM instrument ORDER BY id DESC LIMIT 1").fetchone()
        if row is None:
            return ""
        number, text, digest = row
        if sha256(str(text).encode()).hexdigest() != digest:
            raise DamagedRecordingError(self.path, [f"instrument {number}"])
        return str(text)

    def _gauge_rows(self, db: sqlite3.Connection) -> tuple[GaugeRow, ...]:
        rows, damaged = read_gauges(db)
        self._must_be_whole(damaged)
        return rows

    def _rows_of(self, db: sqlite3.Connection, gauge: str | None) -> tuple[GaugeRow, ...]:
        """Return every version of the gauge of a short name, newest last; of all gauges for None."""
        known = self._gauge_rows(db)
        rows = tuple(row for row in known if gauge is None or row.gauge.name == gauge)
        if gauge is not None and not rows:
            names = sorted({row.gauge.name for row in known})
            raise UnknownGaugeError(gauge, difflib.get_close_matches(gauge, names, 3, 0.5), names)
        return rows

    @property
    def gauges(self) -> Mapping[str, RecordedGauge]:
        """The gauges by short name, each as it was last put in."""
        with connect.open_to_read(self.path) as db:
            return MappingProxyType({row.gauge.name: row.gauge for row in self._gauge_rows(db)})

    def every_gauge(self) -> tuple[RecordedGauge, ...]:
        """Return every gauge in every version in which it was put in, in that order: a short name may occur again."""
        with connect.open_to_read(self.path) as db:
            return tuple(row.gauge for row in self._gauge_rows(db))

    def _read_snapshots(self) -> ReadSnapshots:
        with connect.open_to_read(self.path) as db:
            self._gauge_rows(db)
            read = read_snapshots(db)
        self._must_be_whole(read.damaged)
        return read

    def snapshots(self, stage: str | None = None) -> tuple[Snapshot, ...]:
        """Return all snapshots, or those of a stage, in the order in which they were begun.

        Raises:
            DamagedRecordingError: a checksum does not fit.
        """
        return tuple(each for each in self._read_snapshots().snapshots if stage is None or each.stage == stage)

    def snapshot(self, stage: str) -> Snapshot:
        """Return the snapshot of a stage that counts: the last complete one, else the one begun last.

        Raises:
            UnknownStageError: there is none; the known stages are named.
            DamagedRecordingError: a checksum does not fit.
        """
        every = self.snapshots()
        of_stage = [each for each in every if each.stage == stage]
        if not of_stage:
            known = list(dict.fromkeys(each.stage for each in every))
            raise UnknownStageError(stage, difflib.get_close_matches(stage, known, 3, 0.5), known)
        complete = [each for each in of_stage if each.complete_utc_us is not None]
        return (complete or of_stage)[-1]

    def reinterpretations(self) -> tuple[Reinterpretation, ...]:
        """Return every reading-again of a placement's bytes: what it was before, what it is then."""
        return self._read_snapshots().reinterpretations

    def placements(self) -> pd.DataFrame:
        """Return one row a placement, dropped ones included; columns carry their unit (docs/recordings.md)."""
        from gaugelog.store.frames import placements_frame

        return placements_frame(self._read_snapshots())

    def _stretches(
        self,
        db: sqlite3.Connection,
        gauges: Sequence[GaugeRow],
        start_utc_us: int | None,
        end_utc_us: int | None,
        command: str | None = None,
    ) -> list[Stretch]:
        from gaugelog.store.readings import Choice, damaged_heads, read_stretches

        sittings = [each.id for each in self._sittings(db) if command is None or each.command == command]
        choice = Choice([row.id for row in gauges], sittings, start_utc_us, end_utc_us)
        damaged = damaged_heads(db)
        self._must_be_whole(damaged)
        stretches = list(read_stretches(db, choice, damaged))
        self._must_be_whole(damaged)
        return stretches

    def readings(self, gauge: str | None = None, start: Moment = None, end: Moment = None) -> pd.DataFrame:
        """Return one row a reading in order of time: `time_utc`, `gauge`, a column a quantity, `flags`.

        Args:
            gauge: its short name; all gauges unless said.
            start: the first moment wanted: a time with zone, microseconds since 1970 UTC, or text such as
                `2026-11-25 10:00`, which is taken as UTC.
            end: the moment before which readings are wanted.

        Raises:
            UnknownGaugeError: no such gauge; the nearest names are offered.
            DamagedRecordingError: a checksum does not fit; no value of a damaged block is returned.
        """
        from gaugelog.store.frames import readings_frame, utc_us_of

        start_utc_us, end_utc_us = utc_us_of(start), utc_us_of(end)
        with connect.open_to_read(self.path) as db:
            rows = self._rows_of(db, gauge)
            stretches = self._stretches(db, rows, start_utc_us, end_utc_us)
        return readings_frame(stretches, rows)

    def series(
        self, gauge: str, start_utc_us: int | None = None, end_utc_us: int | None = None, command: str | None = None
    ) -> Series:
        """Return what one gauge said, as arrays in order of time.

        Args:
            gauge: its short name.
            start_utc_us: the first microsecond wanted.
            end_utc_us: the microsecond before which readings are wanted.
            command: only of sittings of this command, such as clamp.

        Raises:
            UnknownGaugeError, DamagedRecordingError: as `readings`.
        """
        from gaugelog.store.readings import series_of

        with connect.open_to_read(self.path) as db:
            rows = self._rows_of(db, gauge)
            stretches = self._stretches(db, rows, start_utc_us, end_utc_us, command)
        return series_of(gauge, rows[-1].gauge.quantity, stretches)

    def overview(self, gauge: str, points: int, command: str | None = None) -> Overview:
        """Return the true smallest and largest value in each of `points` stretches of time, for a plot.

        A recorded gap, and the time between two sittings, stands as a row of NaN.

        Raises:
            UnknownGaugeError, DamagedRecordingError: as `readings`.
        """
        from gaugelog.store.readings import overview_of

        series = self.series(gauge, command=command)
        silences = [(gap.start_utc_us, gap.end_utc_us) for gap in self.gaps() if gap.gauge == gauge]
        silences += [(one.end_utc_us, other.start_utc_us) for one, other in pairwise(self.sittings())]
        return overview_of(series, silences, points)

    def marks(self) -> tuple[Mark, ...]:
        """Return all marks in order of time."""
        with connect.open_to_read(self.path) as db:
            marks, damaged = read_marks(db)
        self._must_be_whole(damaged)
        return marks

    def events(self) -> tuple[Event, ...]:
        """Return all events in order of time."""
        with connect.open_to_read(self.path) as db:
            self._must_be_whole([*read_gauges(db)[1], *damaged_rows(db, "event")])
            return session_rows.read_events(db)

    def clock_sets(self) -> tuple[ClockSet, ...]:
        """Return where the computer's clock was set within a sitting; no time of a reading follows it."""
        with connect.open_to_read(self.path) as db:
            self._must_be_whole(damaged_rows(db, "sitting", "clock"))
            return session_rows.read_clock_sets(db)

    def gaps(self) -> tuple[Gap, ...]:
        """Return all gaps in order of time."""
        with connect.open_to_read(self.path) as db:
            self._must_be_whole([*read_gauges(db)[1], *damaged_rows(db, "gap")])
            return session_rows.read_gaps(db)

    def rejects(self) -> tuple[RejectCount, ...]:
        """Return how often bytes of each gauge were no reading, by sitting and reason, with the first of them."""
        with connect.open_to_read(self.path) as db:
            self._must_be_whole([*read_gauges(db)[1], *damaged_rows(db, "reject", "reject_raw")])
            return session_rows.read_rejects(db)

    def checks(self) -> tuple[RecordedCheck, ...]:
        """Return all checks of gauges in order of the time they were made.

        Raises:
            DamagedRecordingError: a checksum does not fit.
        """
        with connect.open_to_read(self.path) as db:
            found, damaged = read_checks(db)
        self._must_be_whole(damaged)
        return found

    def sittings(self) -> tuple[Sitting, ...]:
        """Return the sittings in order: each run of a program that wrote."""
        with connect.open_to_read(self.path) as db:
            return self._sittings(db)

    def _sittings(self, db: sqlite3.Connection) -> tuple[Sitting, ...]:
        sittings, damaged = session_rows.read_sittings(db)
        self._must_be_whole(damaged)
        return sittings

    def check(self) -> None:
        """Verify every checksum and SQLite's own structure.

        Raises:
            DamagedRecordingError: listing all that is damaged.
        """
        from gaugelog.store.checking import all_damage

        with connect.open_to_read(self.path) as db:
            connect.must_see_all(self.path)
            damaged = all_damage(db)
            damaged += connect.lost_log(db, self.path)
        self._must_be_whole(damaged)

    def copy_to(self, path: str | Path) -> None:
        """Copy the recording whole, also while it is written, into one plain file.

        Raises:
            FileExistsAlreadyError: it would be overwritten.
            WriteFailedError: the copy can't be written; nothing of it is left.
        """
        target = Path(path)
        if target.exists():
            raise FileExistsAlreadyError(target)
        copying.copy(self.path, target)
