"""Checks of gauges: from the recording of one to what it says, and from the gauge book to what is at hand.

Here: which readings belong to which part of a check. Not here: the numbers (`analysis.gauge_check`), taking the
readings (`recorder.checking`).
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gaugelog.analysis.advice import AtHand
from gaugelog.analysis.gauge_check import CheckReadings, Rested, check_document, facts_of
from gaugelog.analysis.uncertainty import Study, of_placement
from gaugelog.errors import DamagedRecordingError
from gaugelog.model.datasheet import Datasheet, Sends
from gaugelog.model.gauge_check import CHECK_STAGE, REST_SITTING, RESULT, CheckPlan
from gaugelog.model.instrument import Instrument
from gaugelog.review.session import counted_readings
from gaugelog.store.gauge_book import GaugeBook, whose
from gaugelog.store.reader import Recording
from gaugelog.store.records import RecordedCheck, RecordedGauge

_DAY_US = 86_400_000_000


@dataclass(frozen=True, slots=True)
class Checked:
    """A finished check: of which gauge, when (UTC microseconds), and what came of it (docs/documents.md).

    `path` is its own recording, None where it was read from the recording of a neck.
    """

    gauge: RecordedGauge
    utc_us: int
    found: Mapping[str, Any]
    path: Path | None = None

    @property
    def simulated(self) -> bool:
        """Whether the gauge was none."""
        return self.gauge.address.startswith("sim:")

    def overdue_days(self, now_utc_us: int) -> int | None:
        """Return the age in days where it is more than the builder's interval, None where it isn't or none is set."""
        every = int(self.found.get("every_days", 0))
        age = (now_utc_us - self.utc_us) // _DAY_US
        return int(age) if every and age > every else None


def work_out(recording: Recording, plan: CheckPlan) -> dict[str, Any] | None:
    """Return what the recording of a check says as JSON can hold it, None where nothing was read.

    Raises:
        DamagedRecordingError: a checksum does not fit.
    """
    (gauge,) = recording.gauges.values()
    snapshots = recording.snapshots(CHECK_STAGE)
    kept = snapshots[-1].placements if snapshots else ()
    values: dict[str, list[float]] = {}
    for each in kept:
        if each.dropped is None and each.placement.value is not None:
            values.setdefault(each.placement.checkpoint, []).append(each.placement.value)
    utc_us, rested = counted_readings(recording, gauge.name, REST_SITTING)
    alone = Rested(utc_us, rested, holds=gauge.sends is Sends.ON_CHANGE) if utc_us.size else None
    readings = CheckReadings(values, alone)
    return check_document(plan, readings, gauge.resolution, gauge.accuracy)


def checked_of(row: RecordedCheck, path: Path | None = None) -> Checked:
    """Return a finished check as a row of a recording holds it.

    Raises:
        DamagedRecordingError: the row isn't a check's result.
    """
    try:
        found = json.loads(row.result)
    except ValueError as error:
        raise DamagedRecordingError(path or "", [f"the check of {row.gauge.name}: {error}"]) from error
    return Checked(row.gauge, row.utc_us, found, path)


def newest_checks(recording: Recording) -> dict[str, Checked]:
    """Return the newest check of each gauge of a recording, by the gauge's key."""
    rows = [each for each in recording.checks() if each.kind == RESULT]
    return {row.gauge.key: checked_of(row, None) for row in rows}


def book_checks(book: GaugeBook) -> tuple[Checked, ...]:
    """Return every finished check of a book, oldest first."""
    return tuple(
        checked_of(RecordedCheck(each.gauge, RESULT, each.utc_us, each.result), each.path)
        for each in book.entries
        if each.result is not None
    )


def planned_studies(instrument: Instrument, book: GaugeBook) -> dict[str, Study]:
    """Return how a placement at each checkpoint will repeat by the newest checks of its gauges, by checkpoint id.

    A checkpoint with a gauge that was never checked is left out.
    """
    newest = {each.gauge.whose: each for each in book_checks(book)}
    known = {
        name: study
        for name, named in instrument.gauges.items()
        if (checked := newest.get(whose(named))) is not None and (study := facts_of(checked.found).study) is not None
    }
    found = {}
    for point in instrument.checkpoints:
        names = [point.gauge] * point.readings_per_placement
        if point.body_gauge is not None:
            names = [point.gauge, point.body_gauge]
        studies = [known[name] for name in names if name in known]
        if studies and len(studies) == len(names):
            found[point.id] = of_placement(Counter(studies))
    return found


def gauges_at_hand(instrument: Instrument, sheets: Mapping[str, Datasheet], book: GaugeBook) -> tuple[AtHand, ...]:
    """Return the gauges of an instrument file, and the others that the book knows, each with its newest check."""
    newest = {each.gauge.whose: each for each in book_checks(book)}
    at_hand = []
    for name, named in instrument.gauges.items():
        checked = newest.pop(whose(named), None)
        study = facts_of(checked.found).study if checked is not None else None
        at_hand.append(AtHand(name, sheets[name].quantity, sheets[name].resolution, study))
    for each in newest.values():
        gauge = each.gauge
        at_hand.append(AtHand(gauge.whose, gauge.quantity, gauge.resolution, facts_of(each.found).study))
    return tuple(at_hand)
