"""`gaugelog bench`: a live page for a tablet at the vise."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gaugelog.cli.options import InstrumentOption, RecordingOption, bring_book, find_files, load_instrument

if TYPE_CHECKING:
    from gaugelog.model.instrument import Instrument

PORT = 8470


def bench(
    share: Annotated[
        bool, typer.Option("--share", help="Open it to the workshop's network; a code shown here lets a device in.")
    ] = False,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port to listen on; 0 takes any that is free.")] = PORT,
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
) -> None:
    """Serve a live page: sand by a gauge, watch the clamp-up. Only this machine sees it, unless --share is given.

    While it runs it is the recording's one writer. Ctrl-C ends it.
    """
    from gaugelog.bench.app import Documents
    from gaugelog.bench.client import noted
    from gaugelog.bench.guard import Door
    from gaugelog.bench.serve import BenchServer, open_place
    from gaugelog.bench.work import IDLE_SITTING, Bench
    from gaugelog.cli.live import start
    from gaugelog.recorder.work import datasheet_folders, open_work

    path, target = find_files(instrument, recording)
    piece = load_instrument(path)
    with open_work(piece, target, IDLE_SITTING, datasheet_folders(path.parent)) as work:
        bring_book(work)
        place = open_place(port, share)
        door = Door(lambda code: _tell_code(place.url, code)) if share else None
        typer.echo(f"Bench: {place.url}")
        who = (
            "Whoever is in the same network and has the code can see it and use it; what they send is not encrypted."
            if share
            else "Only this machine can see it. --share opens it to the workshop's network."
        )
        typer.echo(who)
        typer.echo("Ctrl-C ends it; everything taken so far is kept.")
        documents = Documents(
            lambda: _report(target, piece),
            lambda: _chart(target, piece),
            lambda checkpoint: _place(piece, checkpoint),
        )
        with noted(target, place.listener.getsockname()[1], door.admit() if door is not None else ""):
            start(BenchServer(Bench(work), place, documents, door).attend())
    typer.echo(f"Kept in {target}.")


def _report(recording: Path, piece: Instrument) -> str:
    """Return the report of a recording as it is now."""
    from gaugelog.cli.gathering import gather_report
    from gaugelog.show.report import report_html
    from gaugelog.store.reader import open_recording

    with open_recording(recording) as source:
        return report_html(gather_report(source, piece))


def _chart(recording: Path, piece: Instrument) -> str:
    """Return the chart of a recording's clamp session as it is now.

    Raises:
        NothingToDoError: there is no session yet.
    """
    from gaugelog.cli.gathering import drift_chart_of, is_simulated
    from gaugelog.review.session import session_of
    from gaugelog.show.charts import chart_page
    from gaugelog.store.reader import open_recording

    with open_recording(recording) as source:
        session = session_of(source, piece)
        simulated = is_simulated(source)
    return chart_page(drift_chart_of(session, session.drift(), piece, simulated))


def _place(piece: Instrument, checkpoint: str) -> str:
    """Return a drawing of where a checkpoint is read, empty where the file doesn't say."""
    from gaugelog.show.neck_picture import neck_picture

    point = next((each for each in piece.checkpoints if each.id == checkpoint), None)
    if point is None or point.place.point_mm is None:
        return ""
    return str(neck_picture(piece, None, ringed=checkpoint))


def _tell_code(url: str, code: str) -> None:
    """Show the code that lets the next device in, and the address as a picture to scan."""
    import sys

    import segno

    typer.echo(f"\nCode for the next device: {code}")
    if sys.stdout.isatty():
        segno.make(url, error="m").terminal(compact=True)
