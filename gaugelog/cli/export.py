"""`gaugelog export`: readings, placements or the comparison as a table."""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gaugelog.cli.options import InstrumentOption, RecordingOption, find_recording, recorded_instrument

if TYPE_CHECKING:
    import pandas as pd

    from gaugelog.store.reader import Recording


class What(StrEnum):
    """What to export."""

    READINGS = "readings"
    PLACEMENTS = "placements"
    COMPARISON = "comparison"


def export(
    what: Annotated[What, typer.Argument(metavar="WHAT", help="readings, placements or comparison.")],
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help=".csv or .parquet; else CSV to standard output."),
    ] = None,
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
) -> None:
    """Export as CSV or Parquet; columns carry their unit, times are UTC."""
    from gaugelog.errors import FileExistsAlreadyError, ValueTextError
    from gaugelog.store.reader import open_recording

    if output is not None and output.suffix.lower() not in (".csv", ".parquet"):
        raise ValueTextError(output.name, "a file name that ends in .csv or .parquet")
    if output is not None and output.exists():
        raise FileExistsAlreadyError(output)
    with open_recording(find_recording(instrument, recording)) as source:
        table = _table(source, what)
    if output is None:
        table.to_csv(sys.stdout, index=False)
    else:
        _write(table, output)
        typer.echo(f"Wrote {len(table)} rows to {output}.")


def _table(source: Recording, what: What) -> pd.DataFrame:
    if what is What.READINGS:
        return source.readings()
    if what is What.PLACEMENTS:
        return source.placements()
    from gaugelog.review.comparing import compare_recorded
    from gaugelog.show.tables import comparison_frame

    return comparison_frame(compare_recorded(source, recorded_instrument(source)))


def _write(table: pd.DataFrame, output: Path) -> None:
    """Write the table whole or not at all.

    Raises:
        MissingPackageError: Parquet without pyarrow.
        WriteFailedError: it can't be written.
    """
    from gaugelog.errors import MissingPackageError, WriteFailedError

    part = output.with_name(output.name + ".part")
    try:
        if output.suffix.lower() == ".csv":
            table.to_csv(part, index=False)
        else:
            table.to_parquet(part, index=False)
        part.replace(output)
    except ImportError:
        raise MissingPackageError("pyarrow", "writing Parquet") from None
    except OSError as reason:
        raise WriteFailedError(output, reason.strerror or str(reason)) from None
    finally:
        part.unlink(missing_ok=True)
