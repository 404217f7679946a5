"""Options that several commands share, and finding the files they name.

Here: `--instrument`, `--recording`, `--json` and what they resolve to. Not here: reading the files' content's meaning.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from gaugelog.model.instrument import Instrument
    from gaugelog.recorder.work import Work
    from gaugelog.store.reader import Recording

CUT_STEP_MM = {"mm": 0.1, "in": 0.127}
"""What a hand takes off at the finest, in mm, by the unit of the file: 0.1 mm, or 0.005 in."""

BOOK_VARIABLE = "GAUGELOG_BOOK"

InstrumentOption = Annotated[
    Path | None, typer.Option("--instrument", metavar="FILE", help="Instrument file; else the one in this folder.")
]
RecordingOption = Annotated[
    Path | None, typer.Option("--recording", metavar="FILE", help="Recording; else the one beside the instrument file.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document (docs/documents.md) instead.")]

BookOption = Annotated[
    Path | None,
    typer.Option(
        "--book",
        metavar="FOLDER",
        envvar=BOOK_VARIABLE,
        help="Your gauge book; else the one in your own data folder.",
    ),
]


def book_folder(named: Path | None = None) -> Path:
    """Return the folder of the builder's gauge book: the one named, the environment's, else one in the user's data."""
    import os

    import platformdirs

    given = named or os.environ.get(BOOK_VARIABLE)
    return Path(given) if given else platformdirs.user_data_path("gaugelog") / "gauge-book"


def bring_book(work: Work) -> None:
    """Copy the newest check of each gauge from the builder's book into an open recording; tell what is old or broken.

    A book that can't be read bars no work.
    """
    from gaugelog.recorder.checking import bring_checks
    from gaugelog.show.numbers import count_text
    from gaugelog.store.gauge_book import read_gauge_book

    book = read_gauge_book(book_folder())
    for path, why in book.unreadable:
        _note(f"{path.name} in the gauge book can't be read, and is left out: {why}")
    for name, days, every in bring_checks(work, book):
        old = f"the check of {name} is {count_text(days, 'day')} old, you wanted one every {every}"
        _note(f"{old}. `gaugelog gauges check {name}` makes one.")


def find_files(instrument: Path | None, recording: Path | None) -> tuple[Path, Path]:
    """Return the instrument file and the recording that a command works on.

    Raises:
        NoInstrumentError: none is named and the folder holds none, or several.
    """
    from gaugelog.instruments.find import find_instrument, recording_beside

    beside = recording.with_suffix(".toml") if recording is not None else None
    if instrument is None and beside is not None and beside.is_file():
        instrument = beside
    found = find_instrument(Path.cwd(), instrument)
    return found, recording if recording is not None else recording_beside(found)


def load_instrument(path: Path) -> Instrument:
    """Read an instrument file.

    Raises:
        NoInstrumentError: the file isn't there.
        FaultyInstrumentError: it has faults, all listed.
    """
    from gaugelog.instruments.find import read_instrument_file

    return read_instrument_file(path)


def find_recording(instrument: Path | None, recording: Path | None) -> Path:
    """Return the recording that a reading command works on; the instrument file need not be there.

    Raises:
        NoRecordingError: there is none.
        NoInstrumentError: nothing tells which one is meant.
    """
    from gaugelog.errors import NoRecordingError
    from gaugelog.instruments.find import find_recording as find

    path = recording if recording is not None else find(Path.cwd(), instrument)
    if not path.is_file():
        raise NoRecordingError(path)
    return path


def recorded_instrument(recording: Recording, named: Path | None = None) -> Instrument:
    """Return the instrument that a recording is read with.

    It is the file named, else the one beside the recording as it is now, so that a limit written in afterwards counts;
    where there is none, or it has faults, the one that the recording was made with. A difference is told.
    """
    from gaugelog.errors import FaultyInstrumentError, NoInstrumentError, UnreadableFileError
    from gaugelog.instruments.read import read_instrument

    if named is not None:
        return load_instrument(named)
    if not recording.instrument_text:  # as in one that was rescued
        beside = recording.path.with_suffix(".toml")
        if not beside.is_file():
            raise NoInstrumentError(recording.path.parent)
        return load_instrument(beside)
    kept = read_instrument(recording.instrument_text, str(recording.path))
    beside = recording.path.with_suffix(".toml")
    if not beside.is_file():
        return kept
    try:
        now = load_instrument(beside)
    except (FaultyInstrumentError, UnreadableFileError) as error:
        _note(f"{error}\nThe instrument file that the recording was made with is used instead.")
        return kept
    if now.text != kept.text:
        _note(f"{beside} was changed after the last reading; it counts as it is now.")
    return now


def _note(words: str) -> None:
    typer.echo(f"gaugelog: {words}", err=True)


def print_json(document: dict[str, Any]) -> None:
    """Print one JSON document."""
    typer.echo(json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False))
