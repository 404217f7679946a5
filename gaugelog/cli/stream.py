"""`gaugelog stream`: the reading large while you sand."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from gaugelog.cli.options import InstrumentOption, RecordingOption, find_files
from gaugelog.errors import GaugelogError


def stream(
    gauge: Annotated[
        str, typer.Argument(metavar="GAUGE", help="A short name of the instrument file, or DATASHEET@ADDRESS.")
    ],
    target: Annotated[str | None, typer.Option(metavar="VALUE", help="What you sand towards, such as 90.")] = None,
    within: Annotated[str | None, typer.Option(metavar="VALUE", help="Half the width of the band around it.")] = None,
    record: Annotated[bool, typer.Option("--record", help="Keep the stream in the recording.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No bell on entering the band.")] = False,
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
) -> None:
    """Show a gauge's reading large, how far off and which way; piped, print one JSON object a line.

    Space or Enter marks a pass, z takes this spot as zero, q ends.
    """
    from gaugelog.cli.live import start
    from gaugelog.cli.stream_desk import StreamDesk, open_sanding

    if (
        sys.stdout.isatty()
        and "@" not in gauge
        and _sanding_at_bench(gauge, target, within, quiet, instrument, recording)
    ):
        return
    with open_sanding(gauge, target, within, record, instrument, recording) as (work, state):
        start(StreamDesk(work, state, quiet=quiet).attend())


def _sanding_at_bench(
    gauge: str, target: str | None, within: str | None, quiet: bool, instrument: Path | None, recording: Path | None
) -> bool:
    """Sand by a gauge of a running bench, which has its port; return whether one runs."""
    from gaugelog.cli.bench_desk import join_bench

    try:
        _, kept_in = find_files(instrument, recording)
    except GaugelogError:  # no instrument file here, so no bench either
        return False
    asked = {"do": "sand", "gauge": gauge, "target": target or "", "within": within or ""}
    return join_bench(kept_in, asked, quiet=quiet)
