"""`gaugelog demo`: the whole job on simulated gauges."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def demo(
    into: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Where to put the demo's files; else a temporary folder.")
    ] = None,
) -> None:
    """Run a whole neck set on simulated gauges: snapshot, clamp-up, snapshot, comparison, drift, report."""
    import tempfile

    from gaugelog.cli.demo_play import play
    from gaugelog.cli.live import start

    folder = into if into is not None else Path(tempfile.mkdtemp(prefix="gaugelog-demo-"))
    folder.mkdir(parents=True, exist_ok=True)
    start(play(folder, typer.echo))
