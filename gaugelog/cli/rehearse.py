"""`gaugelog clamp --rehearse`: a finished session through the live watch."""

from __future__ import annotations

import json
from pathlib import Path

import typer

USUAL_SPEED = 100.0


def rehearse_session(path: Path, instrument: Path | None, speed: float | None, *, as_json: bool, quiet: bool) -> None:
    """Run a recording's clamp session again: on a screen at a pace, else alarm by alarm as fast as it goes.

    Raises:
        NoRecordingError: there is no such recording.
        NothingToDoError: it holds no clamp session.
    """
    from gaugelog.cli.live import start
    from gaugelog.cli.options import recorded_instrument
    from gaugelog.cli.rehearse_desk import RehearsalDesk, told_in
    from gaugelog.errors import NoRecordingError, NothingToDoError
    from gaugelog.recorder.rehearsing import sittings_of
    from gaugelog.review.session import session_of
    from gaugelog.show.alarm_words import alarm_document
    from gaugelog.store.reader import open_recording

    if not path.is_file():
        raise NoRecordingError(path)
    with open_recording(path) as source:
        work = recorded_instrument(source, instrument)
        sittings = sittings_of(session_of(source, work), source.gauges)
    if not sittings:
        raise NothingToDoError("the clamp session holds spot readings only", "A rehearsal takes what a gauge said.")
    if as_json and speed is None:
        for told, utc_us in told_in(sittings, work):
            typer.echo(json.dumps(alarm_document(told.alarm, utc_us), allow_nan=False))
        return
    desk = RehearsalDesk(sittings, work, speed or USUAL_SPEED, quiet=quiet, as_json=as_json)
    start(desk.attend())
    if not as_json:
        typer.echo(f"The rehearsal has ended: {desk.told} {'alarm' if desk.told == 1 else 'alarms'}.")
