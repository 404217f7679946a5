"""`gaugelog new`: write an instrument file."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Owned(StrEnum):
    """How many gauges with a plug the builder owns."""

    NONE = "none"
    ONE = "one"
    TWO = "two"


class Units(StrEnum):
    """What lengths are thought in."""

    MM = "mm"
    IN = "in"


def new(
    name: Annotated[
        str, typer.Argument(metavar="NAME", help="Name of the instrument; the file is NAME.toml in this folder.")
    ],
    gauges: Annotated[
        Owned,
        typer.Option(
            metavar="none|one|two", help="Gauges with a plug that you own; with none, every value is typed in."
        ),
    ] = Owned.ONE,
    full: Annotated[bool, typer.Option("--full", help="All kinds of checkpoint, not just the usual seven.")] = False,
    units: Annotated[Units, typer.Option(metavar="mm|in", help="What you think lengths in.")] = Units.MM,
) -> None:
    """Write a commented instrument file for a neck set, filled in with sensible defaults."""
    from gaugelog.errors import BadArgumentError, FileExistsAlreadyError, WriteFailedError
    from gaugelog.instruments.new import new_instrument

    if not name.strip() or any(character in name for character in '/\\:*?"<>|') or name.startswith("."):
        raise BadArgumentError(name, "the name becomes a file name: letters, digits, spaces, - and _")
    path = Path(f"{name.removesuffix('.toml')}.toml")
    text = new_instrument(path.stem, gauges=gauges.value, full=full, units=units.value)
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise FileExistsAlreadyError(path) from None
    except OSError as reason:
        raise WriteFailedError(path, str(reason.strerror or reason)) from None
    recording = path.with_suffix(".gaugelog")
    typer.echo(f"Wrote {path}. Replace its example numbers by those of your instrument; the comments say how.\n")
    typer.echo("Then, in this folder:")
    typer.echo("  gaugelog checkpoints      the plan, and what your gauges will be able to prove")
    typer.echo(f"  gaugelog capture before   the snapshot before the glue, into {recording}")
