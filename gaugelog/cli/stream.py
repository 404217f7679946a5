"""`gaugelog stream`: the reading large while you sand."""

from __future__ import annotations

from typing import Annotated

import typer

from gaugelog.cli.options import InstrumentOption, RecordingOption


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

    with open_sanding(gauge, target, within, record, instrument, recording) as (work, state):
        start(StreamDesk(work, state, quiet=quiet).attend())
