"""`gaugelog export`: readings, placements or the comparison as a table."""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gaugelog.cli.compare import FromStageOption, ToStageOption
from gaugelog.cli.options import InstrumentOption, RecordingOption, find_recording, recorded_instrument

if TYPE_CHECKING:
    import pandas as pd

    from gaugelog.model.instrument import Instrument
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
    from_stage: FromStageOption = "before",
    to_stage: ToStageOption = "after",
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
) -> None:
    """Export as CSV or Parquet; columns carry their unit, times are UTC. The stages are those of the comparison."""
    from gaugelog.errors import BadArgumentError, FileExistsAlreadyError
    from gaugelog.show.clock_words import time_sentences
    from gaugelog.store.reader import open_recording

    if output is not None and output.suffix.lower() not in (".csv", ".parquet"):
        raise BadArgumentError(output.name, "a file name that ends in .csv or .parquet")
    if output is not None and output.exists():
        raise FileExistsAlreadyError(output)
    with open_recording(find_recording(instrument, recording)) as source:
        if what is What.COMPARISON:
            table = _comparison(source, recorded_instrument(source, instrument), from_stage, to_stage)
        else:
            table = _readings(source) if what is What.READINGS else _placements(source)
        clock_sets = source.clock_sets() if what is What.READINGS else ()
    for words in time_sentences(clock_sets, 0, 0):
        typer.echo(words, err=True)
    if output is None:
        table.to_csv(sys.stdout, index=False)
    else:
        _write(table, output)
        typer.echo(f"Wrote {len(table)} rows to {output}.")


def _readings(source: Recording) -> pd.DataFrame:
    from gaugelog.cli.gathering import simulated_gauges

    table = source.readings()
    table.insert(2, "simulated", table["gauge"].isin(simulated_gauges(source)))
    return table


def _placements(source: Recording) -> pd.DataFrame:
    from gaugelog.cli.gathering import read_by_any, simulated_gauges

    table = source.placements()
    invented = {kept.id for kept in read_by_any(simulated_gauges(source), source.snapshots())}
    table.insert(list(table.columns).index("gauge") + 1, "simulated", table["placement"].isin(invented))
    return table


def _comparison(source: Recording, instrument: Instrument, from_stage: str, to_stage: str) -> pd.DataFrame:
    from gaugelog.cli.gathering import read_by_any, simulated_gauges
    from gaugelog.review.comparing import compare_recorded
    from gaugelog.show.tables import comparison_frame

    comparison = compare_recorded(source, instrument, from_stage, to_stage)
    snapshots = [source.snapshot(stage) for stage in (from_stage, to_stage)]
    invented = read_by_any(simulated_gauges(source), snapshots)
    return comparison_frame(comparison, {kept.placement.checkpoint for kept in invented})


def _write(table: pd.DataFrame, output: Path) -> None:
    """Write the table whole or not at all.

    Raises:
        MissingPackageError: Parquet without pyarrow.
        WriteFailedError: it can't be written.
    """
    from gaugelog.errors import MissingPackageError
    from gaugelog.show.writing import whole_file

    with whole_file(output) as part:
        if output.suffix.lower() == ".csv":
            table.to_csv(part, index=False)
            return
        try:
            table.to_parquet(part, index=False)
        except ImportError:
            raise MissingPackageError("pyarrow", "writing Parquet") from None
