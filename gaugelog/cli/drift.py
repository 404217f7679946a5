"""`gaugelog drift`: the clamp session over time."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gaugelog.cli.options import (
    InstrumentOption,
    JsonOption,
    RecordingOption,
    find_recording,
    print_json,
    recorded_instrument,
)

if TYPE_CHECKING:
    from gaugelog.show.charts import DriftChart


def drift(
    chart: Annotated[
        Path | None,
        typer.Option("--chart", metavar="FILE.html", help="Where to write the chart; else beside the recording."),
    ] = None,
    no_chart: Annotated[bool, typer.Option("--no-chart", help="Write no chart.")] = False,
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what each gauge, and the difference of each pair, did in each phase of the clamp session.

    A chart to zoom into is written too; with --json only where --chart names it.
    """
    from gaugelog.cli.gathering import drift_chart_of, simulated_gauges
    from gaugelog.review.session import session_of
    from gaugelog.show.charts import write_chart
    from gaugelog.show.documents import drift_document
    from gaugelog.show.terminal import console, drift_view, simulated_above
    from gaugelog.store.reader import open_recording

    if chart is not None and no_chart:
        raise typer.BadParameter("--chart writes a chart, --no-chart leaves it out: choose one")
    path = find_recording(instrument, recording)
    with open_recording(path) as source:
        piece = recorded_instrument(source, instrument)
        session = session_of(source, piece)
        simulated = simulated_gauges(source)
    found = session.drift()
    drawn = drift_chart_of(session, found, piece, bool(simulated))
    if chart is not None:
        write_chart(chart, drawn)
    if as_json:
        print_json(drift_document(found, simulated, session.clock_sets))
        return
    console().print(simulated_above(drift_view(found, piece.units, drawn.of_time), simulated))
    if chart is not None:
        typer.echo(f"Chart: {chart}")
    elif not no_chart:
        typer.echo(_write_beside(path, drawn))


def _write_beside(recording: Path, drawn: DriftChart) -> str:
    """Write the chart beside the recording and say so, or why not: the file is somebody else's, or can't be written."""
    from gaugelog.errors import WriteFailedError
    from gaugelog.show.charts import is_own_chart, write_chart

    target = recording.with_name(f"{recording.stem}-drift.html")
    if target.exists() and not is_own_chart(target):
        return f"No chart: {target} is there and is none of gaugelog's. --chart FILE.html writes it elsewhere."
    try:
        write_chart(target, drawn)
    except WriteFailedError as error:
        return f"No chart: {error}. --chart FILE.html writes it elsewhere."
    return f"Chart: {target}"
