"""`gaugelog clamp --from`: a session logged elsewhere, brought in with progress.

Here: opening the table, saying how far it is, and what was left out. Not here: its rows (`session_table`), keeping them
(`recorder.bringing_in`).
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from gaugelog.model.instrument import Instrument
    from gaugelog.recorder.bringing_in import BroughtIn

_MOST_NAMED = 20


def take_table(table: Path, instrument: Instrument, recording: Path, folder: Path) -> None:
    """Bring a table's session into a recording, and say what came of it.

    Raises:
        UnreadableFileError: the file can't be read as text.
        NothingToDoError: it holds no reading; nothing was kept.
    """
    from gaugelog.errors import UnreadableFileError
    from gaugelog.instruments.session_table import session_rows, survey
    from gaugelog.recorder.bringing_in import bring_in
    from gaugelog.recorder.work import datasheet_folders, datasheets_of
    from gaugelog.show.numbers import count_text, date_text

    datasheets = datasheets_of(instrument, datasheet_folders(folder))
    try:
        with table.open(encoding="utf-8", newline="") as lines:
            seen = survey(lines)
        total = seen.readings or 1
        saved_us = table.stat().st_mtime_ns // 1000
        start_us = saved_us - seen.last_us

        def progress(rows: int) -> None:
            if sys.stderr.isatty():
                print(f"\r{min(rows / total, 1.0):4.0%} of {total} readings", end="", file=sys.stderr, flush=True)

        with table.open(encoding="utf-8", newline="") as lines:
            found = bring_in(session_rows(lines), seen, instrument, datasheets, recording, table, start_us, progress)
    except KeyboardInterrupt:
        typer.echo(f"\nStopped: nothing of the table was kept; {table} can be given again.", err=True)
        raise
    except (OSError, UnicodeDecodeError) as reason:
        raise UnreadableFileError(table, str(getattr(reason, "strerror", None) or "it is not UTF-8 text")) from None
    if sys.stderr.isatty():
        print(file=sys.stderr)
    _tell_left_out(found)
    taken = ", ".join(f"{name} {count_text(count, 'reading')}" for name, count in found.readings.items())
    typer.echo(f"Brought in: {taken}; {count_text(found.marks, 'mark')}.")
    for name, unit in found.taken_for.items():
        typer.echo(f"{name} names no unit, and is not in the instrument file: taken as {unit}.")
    if not seen.dated:
        typer.echo(
            f"Its seconds count from {date_text(start_us)}: the last one is taken for when the table was last written."
        )
    typer.echo(f"Kept in {recording}. Next: gaugelog drift.")


def _tell_left_out(found: BroughtIn) -> None:
    if not found.left_out:
        return
    count = len(found.left_out)
    typer.echo(f"{count} {'row was' if count == 1 else 'rows were'} left out:", err=True)
    for row in found.left_out[:_MOST_NAMED]:
        typer.echo(f"  row {row.number}: {row.reason}", err=True)
    if count > _MOST_NAMED:
        typer.echo(f"  and {count - _MOST_NAMED} more", err=True)
