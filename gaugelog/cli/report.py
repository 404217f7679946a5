"""`gaugelog report`: everything in one HTML file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gaugelog.cli.compare import FromStageOption, ToStageOption
from gaugelog.cli.options import InstrumentOption, RecordingOption, find_recording, recorded_instrument


def report(
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="Where to write it; else beside the recording."),
    ] = None,
    from_stage: FromStageOption = "before",
    to_stage: ToStageOption = "after",
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
) -> None:
    """Write one self-contained HTML file: comparison, drift, every placement, gauges; it prints well on paper."""
    from gaugelog.cli.gathering import gather_report
    from gaugelog.show.report import write_report
    from gaugelog.store.reader import open_recording

    path = find_recording(instrument, recording)
    target = output if output is not None else path.with_suffix(".html")
    with open_recording(path) as source:
        write_report(target, gather_report(source, recorded_instrument(source, instrument), from_stage, to_stage))
    typer.echo(f"Wrote {target}.")
