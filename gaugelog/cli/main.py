"""The Typer app and the one error boundary.

Here: the list of commands, and the turning of errors into words and exit status. Not here: what a command does.

Exit status: 0 all well; 1 something moved, is missing, or isn't ready; 2 wrong use or unusable input; 3 something is
not proven; 70 a fault of gaugelog itself; 130 stopped by Ctrl-C; 141 whoever read the output went away.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from gaugelog.cli import (
    bench,
    capture,
    checkpoints,
    clamp,
    compare,
    copying,
    decode,
    demo,
    drift,
    export,
    gauges,
    neck,
    new,
    ready,
    report,
    rescue,
    stream,
)
from gaugelog.errors import GaugelogError

_READER_GONE = 141

app = typer.Typer(
    name="gaugelog",
    help="Listens to your gauges while you set a neck, and proves after the glue what held and what moved.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
for _name, _command, _short in (
    ("demo", demo.demo, "the whole job on simulated gauges"),
    ("new", new.new, "write an instrument file"),
    ("checkpoints", checkpoints.checkpoints, "the plan, and what it can prove"),
    ("stream", stream.stream, "the reading large while you sand"),
    ("capture", capture.capture, "take a snapshot: before, wet, after"),
    ("neck", neck.neck, "how it stands, and the wood to take off"),
    ("ready", ready.ready, "may the glue be opened"),
    ("clamp", clamp.clamp, "record through clamp-up and cure"),
    ("bench", bench.bench, "a live page for a tablet"),
    ("compare", compare.compare, "held, moved, or not proven"),
    ("drift", drift.drift, "the clamp session over time"),
    ("report", report.report, "all of it in one HTML file"),
    ("export", export.export, "tables as CSV or Parquet"),
    ("decode", decode.decode, "read placements again from their bytes"),
    ("copy", copying.copy, "a proper copy of a recording"),
    ("rescue", rescue.rescue, "what can be got out of a damaged recording"),
):
    app.command(_name, short_help=_short)(_command)
app.add_typer(gauges.app, name="gauges", short_help="ports, datasheets, what a gauge says")


def _version(wanted: bool) -> None:
    if wanted:
        from gaugelog.model.version import program_version

        typer.echo(f"gaugelog {program_version()}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and end.")
    ] = False,
) -> None:
    """Take the options that stand before any command."""


def _tell(error: GaugelogError) -> None:
    print(f"gaugelog: {error}", file=sys.stderr)
    if error.hint:
        print(f"  {error.hint}", file=sys.stderr)
    print(f"  (more: docs/errors.md, {error.slug})", file=sys.stderr)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit status."""
    command = typer.main.get_command(app)
    try:
        status = command.main(args=list(arguments) if arguments is not None else None, standalone_mode=False)
    except GaugelogError as error:
        _tell(error)
        return 2
    except SystemExit:  # this is how the command line library ends when the reader of a pipe has gone
        return _READER_GONE
    except KeyboardInterrupt:
        print("\ngaugelog: stopped; everything taken so far is kept.", file=sys.stderr)
        return 130
    except Exception as error:
        return _usage_or_fault(error)
    return int(status or 0)


def _usage_or_fault(error: Exception) -> int:
    """Tell wrong use in the words of the command line, and a fault of gaugelog itself with its traceback."""
    show = getattr(error, "show", None)
    if show is not None:
        show()
        return 2
    import traceback

    traceback.print_exception(error)
    print("gaugelog: this is a fault of gaugelog itself; everything taken so far is kept.", file=sys.stderr)
    return 70


def run() -> None:
    """Run the command line and end the process with its status."""
    sys.exit(main())
