"""`gaugelog rescue`: what can be got out of a damaged recording, into a new one."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer

from gaugelog.cli.options import JsonOption, print_json


def rescue(
    damaged: Annotated[Path, typer.Argument(metavar="DAMAGED", help="The damaged recording; it is only read.")],
    to: Annotated[
        Path | None,
        typer.Option("--to", metavar="NEW", help="The new recording; else NAME-rescued.gaugelog beside it."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Get out of a damaged recording what can be got, into a new one, and say what is missing.

    Only what a checksum vouches for is taken, and nothing is guessed. Leave the -wal file beside the damaged recording.

    Exit status 0 where all was got out, 1 where something is missing or may be, 2 where nothing could be got out.
    """
    from gaugelog.model.clock import Anchor
    from gaugelog.show.rescue_view import rescue_document, rescue_view
    from gaugelog.show.terminal import console
    from gaugelog.store import rescue as rescuing

    now = Anchor(time.monotonic_ns(), time.time_ns() // 1000)
    done = rescuing.rescue(damaged, to if to is not None else rescuing.rescued_beside(damaged), now)
    if as_json:
        print_json(rescue_document(done))
    else:
        console().print(rescue_view(done))
    if not done.is_whole:
        raise typer.Exit(1)
