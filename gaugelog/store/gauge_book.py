"""The builder's gauge book: a folder with one recording for each check of a gauge, the old ones kept.

Here: which checks there are, the newest of a gauge, the file of a new one. Not here: making a check (`recorder`), what
it found (`analysis`), where the folder is (`cli.options`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from gaugelog.errors import GaugelogError
from gaugelog.model.gauge_check import PLAN, RESULT
from gaugelog.model.gauges import book_key
from gaugelog.model.instrument import NamedGauge
from gaugelog.store.reader import open_recording
from gaugelog.store.records import RecordedGauge

_SUFFIX = ".gaugelog"
_LONGEST_NAME = 60


@dataclass(frozen=True, slots=True)
class BookEntry:
    """One check in the book; `result` is JSON, None while the check isn't finished; `utc_us` is when it was, or begun.

    `plan` is the JSON of what it reads.
    """

    path: Path
    gauge: RecordedGauge
    utc_us: int
    plan: str
    result: str | None


@dataclass(frozen=True, slots=True)
class GaugeBook:
    """All checks in order of time, and files of the book that can't be read, each with the reason."""

    folder: Path
    entries: tuple[BookEntry, ...] = ()
    unreadable: tuple[tuple[Path, str], ...] = ()

    def of(self, whose: str) -> tuple[BookEntry, ...]:
        """Return the checks of one gauge, oldest first; `whose` as `model.gauges.book_key` names it."""
        return tuple(each for each in self.entries if each.gauge.whose == whose)

    def unfinished(self, whose: str) -> BookEntry | None:
        """Return the check of a gauge that was begun last and isn't finished, None where there is none."""
        mine = self.of(whose)
        return mine[-1] if mine and mine[-1].result is None else None

    def new_file(self, named: NamedGauge, utc_us: int) -> Path:
        """Return a file that isn't there yet for a new check of a gauge; the folder is made."""
        self.folder.mkdir(parents=True, exist_ok=True)
        key = whose(named)
        words = re.sub(r"[^a-z0-9]+", "-", key.lower()).strip("-")[:_LONGEST_NAME].strip("-")
        when = datetime.fromtimestamp(utc_us / 1e6, UTC)
        stem = f"{words}-{when:%Y%m%d-%H%M%S}"
        names = (self.folder / f"{stem}{f'-{number}' if number else ''}{_SUFFIX}" for number in range(1000))
        return next(path for path in names if not path.exists())


def whose(named: NamedGauge) -> str:
    """Return what a gauge of an instrument file goes by in the book."""
    return book_key(named.gauge.datasheet, str(named.gauge.address), named.identity)


def read_gauge_book(folder: Path) -> GaugeBook:
    """Return the book of a folder; an empty one where there is no folder."""
    entries: list[BookEntry] = []
    unreadable: list[tuple[Path, str]] = []
    for path in sorted(folder.glob(f"*{_SUFFIX}")):
        try:
            entry = _entry(path)
        except GaugelogError as error:
            unreadable.append((path, f"{error}"))
            continue
        if entry is not None:
            entries.append(entry)
    return GaugeBook(folder, tuple(sorted(entries, key=lambda each: each.utc_us)), tuple(unreadable))


def _entry(path: Path) -> BookEntry | None:
    """Return the check that a recording is of, None where it is of none yet."""
    with open_recording(path) as recording:
        checks = recording.checks()
    plan = next((each for each in checks if each.kind == PLAN), None)
    if plan is None:
        return None
    done = [each for each in checks if each.kind == RESULT]
    newest = done[-1] if done else plan
    return BookEntry(path, newest.gauge, newest.utc_us, plan.result, done[-1].result if done else None)
