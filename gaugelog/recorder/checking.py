"""Checking a gauge: a recording of its own in the builder's gauge book, taken like any snapshot.

Here: beginning a check or going on with one, its parts in order, keeping what came of it; checks brought from the book
into the recording of a neck. Not here: what is read (`model.gauge_check`), what it tells (`analysis`).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType

from gaugelog.analysis.gauge_check import StudyRow, facts_of, study_document
from gaugelog.errors import BadArgumentError, NothingToDoError
from gaugelog.gauges.connect import open_gauge
from gaugelog.instruments.check_file import check_file_text
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.study_table import read_study_table
from gaugelog.model.clock import Anchor
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.gauge_check import CHECK_STAGE, PLAN, REST_SITTING, RESTED, RESULT, CheckPlan, plan_from
from gaugelog.model.instrument import NamedGauge
from gaugelog.recorder.sanding import SandingWork
from gaugelog.recorder.snapshotting import SnapshotWork
from gaugelog.recorder.work import Work, now, open_work
from gaugelog.review.checked import book_checks, work_out
from gaugelog.store.gauge_book import GaugeBook, whose
from gaugelog.store.reader import open_recording
from gaugelog.store.writer import RecordingWriter


class CheckWork:
    """A check that is under way; a context manager that finishes its recording."""

    def __init__(self, work: Work, plan: CheckPlan, begun_utc_us: int, *, resumed: bool) -> None:
        """Take the open recording, what is read, when it was begun, and whether it goes on with an earlier one."""
        self.work, self.plan = work, plan
        self.begun_utc_us, self.resumed = begun_utc_us, resumed
        (self.named,) = work.instrument.gauges.values()
        self._snapshot: SnapshotWork | None = None

    def __enter__(self) -> CheckWork:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.work.writer.finish()

    @property
    def path(self) -> Path:
        """The recording."""
        return self.work.writer.path

    @property
    def simulated(self) -> bool:
        """Whether the gauge is none."""
        return self.named.gauge.address.scheme == "sim"

    @property
    def rest_s(self) -> float:
        """How long the gauge is still to be left alone, in seconds: once it was, it isn't again."""
        with open_recording(self.path) as recording:
            rested = any(event.kind == RESTED for event in recording.events())
        return 0.0 if rested else self.plan.rest_s

    def rested(self, now_ns: int | None = None) -> None:
        """Say that the gauge was left alone for long enough; `now_ns` is the moment."""
        self.work.writer.event(RESTED, self.named.name, "", now().monotonic_ns if now_ns is None else now_ns)
        self.work.writer.flush()

    def resting(self) -> SandingWork:
        """Return the gauge to be left alone, with a sitting of its own."""
        stream = open_gauge(self.named.gauge, self.work.folders, self.named.name, reconnect=True)
        sheet = self.work.datasheets[self.named.name]
        return SandingWork(self.named, sheet, stream, self.work.anchor, self.work.writer)

    def settings(self, now_ns: int | None = None) -> SnapshotWork | None:
        """Return the walk through all settings of the gauge, None where none is left; `now_ns` is the moment."""
        if self._walked:
            return None
        self.work.next_sitting(CHECK_STAGE, now().monotonic_ns if now_ns is None else now_ns)
        self._snapshot = SnapshotWork(self.work, CHECK_STAGE)
        return self._snapshot

    @property
    def missing(self) -> int:
        """How many times the gauge is still to be set down."""
        if self._walked:
            return 0
        self._snapshot = self._snapshot or SnapshotWork(self.work, CHECK_STAGE)
        return self._snapshot.missing

    @property
    def _walked(self) -> bool:
        """Whether no setting is left: the plan has none, or all were read before the program was cut off."""
        if not self.work.instrument.checkpoints:
            return True
        with open_recording(self.path) as recording:
            return any(each.complete_utc_us is not None for each in recording.snapshots(CHECK_STAGE))

    def finish(self, *, anyway: bool = False, moment: Anchor | None = None) -> bool:
        """Work out what the check tells and keep it; return whether it was: not while something is missing.

        Args:
            anyway: work out what there is.
            moment: this one, where it isn't the machine's.

        Raises:
            NothingToDoError: nothing was read at all.
        """
        if (self.rest_s or self.missing) and not anyway:
            return False
        moment = moment or now()
        self.work.writer.flush()
        with open_recording(self.path) as recording:
            found = work_out(recording, self.plan)
        if found is None:
            raise NothingToDoError("nothing of this check was read", "The same command without --finish goes on.")
        self.work.writer.put_check(self.named.name, RESULT, moment.utc_us, json.dumps(found, allow_nan=False))
        return True


def open_check(
    book: GaugeBook,
    named: NamedGauge,
    plan: CheckPlan,
    folders: Sequence[Path] = (),
    *,
    anew: bool = False,
    anchor: Anchor | None = None,
) -> CheckWork:
    """Begin a check of a gauge, or go on with the one that isn't finished, as it was planned then.

    Args:
        book: the builder's.
        named: the gauge.
        plan: what is read.
        folders: with the builder's own datasheets.
        anew: begin another, whatever is unfinished.
        anchor: this moment, where it isn't the machine's.

    Raises:
        RecordingBusyError: it is under way in another terminal.
        UnknownDatasheetError, FaultyDatasheetError, WriteFailedError: as they are found.
    """
    begun = None if anew else book.unfinished(whose(named))
    if begun is not None:
        plan = plan_from(json.loads(begun.plan))
    anchor = anchor or now()
    path = begun.path if begun is not None else book.new_file(named, anchor.utc_us)
    instrument = read_instrument(check_file_text(named, plan), path.name)
    work = open_work(instrument, path, REST_SITTING, tuple(folders), anchor)
    if begun is None:
        work.writer.put_check(named.name, PLAN, anchor.utc_us, json.dumps(plan.document(), allow_nan=False))
    return CheckWork(work, plan, begun.utc_us if begun is not None else anchor.utc_us, resumed=begun is not None)


def take_study(book: GaugeBook, named: NamedGauge, sheet: Datasheet, table: Path, every_days: int) -> Path:
    """Keep a study by several people or on several days as a check of its own; return its recording.

    Raises:
        UnreadableFileError, FaultyTableError: nothing was kept.
        BadArgumentError: nothing in it was read twice.
    """
    study = read_study_table(table, sheet.quantity, sheet.value.unit)
    rows = [StudyRow(value, **labels) for value, labels in study.rows]
    try:
        found = study_document(rows, sheet.quantity, sheet.resolution, every_days, sheet.accuracy)
    except ValueError as error:
        raise BadArgumentError(str(table), str(error)) from error
    moment = now()
    path = book.new_file(named, moment.utc_us)
    with RecordingWriter.open(path, anchor=moment, command=CHECK_STAGE) as writer:
        writer.put_gauge(named, sheet)
        writer.put_check(named.name, PLAN, moment.utc_us, json.dumps({"table": study.text}))
        writer.put_check(named.name, RESULT, moment.utc_us, json.dumps(found, allow_nan=False))
    return path


def bring_checks(work: Work, book: GaugeBook) -> list[tuple[str, int, int]]:
    """Copy the newest check of each gauge from the book into the recording of the work, where it isn't there yet.

    The work then knows how each of these gauges repeats.

    Returns:
        The gauges whose check is older than the builder's interval: short name, age and interval in days.
    """
    overdue = []
    newest = {each.gauge.whose: each for each in book_checks(book)}
    for name, named in work.instrument.gauges.items():
        checked = newest.get(whose(named))
        if checked is None:
            continue
        work.writer.put_check(name, RESULT, checked.utc_us, json.dumps(checked.found, allow_nan=False))
        study = facts_of(checked.found).study
        if study is not None:
            work.studies[name] = study
        days = checked.overdue_days(work.anchor.utc_us)
        if days is not None:
            overdue.append((name, days, int(checked.found["every_days"])))
    return overdue
