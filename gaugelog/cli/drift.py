"""`gaugelog drift`: the clamp session over time."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gaugelog.cli.options import (
    InstrumentOption,
    JsonOption,
    RecordingOption,
    find_recording,
    print_json,
    recorded_instrument,
)


def drift(
    chart: Annotated[
        Path | None, typer.Option("--chart", metavar="FILE.html", help="Write the chart to this file as well.")
    ] = None,
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what each gauge, and the difference of each pair, did in each phase of the clamp session."""
    from gaugelog.cli.gathering import drift_chart_of, is_simulated
    from gaugelog.review.session import session_of
    from gaugelog.show.charts import write_chart
    from gaugelog.show.documents import drift_document
    from gaugelog.show.terminal import console, drift_view
    from gaugelog.store.reader import open_recording

    with open_recording(find_recording(instrument, recording)) as source:
        piece = recorded_instrument(source)
        session = session_of(source, piece)
        simulated = is_simulated(source)
    found = session.drift()
    if chart is not None:
        write_chart(chart, drift_chart_of(session, found, piece, simulated))
    if as_json:
        print_json(drift_document(found))
        return
    console().print(drift_view(found, piece.units))
    typer.echo(f"Chart: {chart}" if chart is not None else "With --chart FILE.html: the chart, to zoom into.")
