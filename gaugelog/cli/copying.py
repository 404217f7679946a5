"""`gaugelog copy`: a proper copy of a recording, also while it is written."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gaugelog.cli.options import InstrumentOption, RecordingOption, find_recording


def copy(
    target: Annotated[Path, typer.Argument(metavar="TARGET", help="The copy to write.")],
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
) -> None:
    """Copy the recording, whole even while it is being written (copying the file by hand then is not)."""
    from gaugelog.errors import FileExistsAlreadyError
    from gaugelog.store.reader import open_recording

    if target.exists():
        raise FileExistsAlreadyError(target)
    with open_recording(find_recording(instrument, recording)) as source:
        source.copy_to(target)
    typer.echo(f"Copied to {target}.")
