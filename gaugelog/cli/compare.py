"""`gaugelog compare`: one stage against another, with a verdict for every checkpoint."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from gaugelog.cli.options import (
    InstrumentOption,
    JsonOption,
    RecordingOption,
    find_recording,
    print_json,
    recorded_instrument,
)

if TYPE_CHECKING:
    from gaugelog.analysis.results import Comparison


FromStageOption = Annotated[str, typer.Option(metavar="STAGE", help="Stage to compare from.")]
ToStageOption = Annotated[str, typer.Option(metavar="STAGE", help="Stage to compare to.")]


def exit_status(comparison: Comparison) -> int:
    """Return 1 where something moved, 3 where nothing moved but something has no proof, 0 where all held."""
    from gaugelog.analysis.results import Verdict

    if comparison.having(Verdict.MOVED):
        return 1
    held = comparison.having(Verdict.HELD)
    counting = [row for row in comparison.checkpoints if row.counts]
    return 0 if counting and len(held) == len(counting) else 3


def compare(
    from_stage: Annotated[str, typer.Argument(metavar="FROM", help="Stage to compare from.")] = "before",
    to_stage: Annotated[str, typer.Argument(metavar="TO", help="Stage to compare to.")] = "after",
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare two snapshots: what held, what moved, what isn't proven and what would prove it.

    Exit status: 0 all held; 1 something moved; 3 nothing moved but something is not proven, unread or without verdict.
    """
    from gaugelog.cli.gathering import counting_checks, simulated_gauges, tell_checks
    from gaugelog.review.comparing import compare_recorded
    from gaugelog.show.check_view import counting_document
    from gaugelog.show.documents import comparison_document
    from gaugelog.show.terminal import comparison_view, console, simulated_above
    from gaugelog.store.reader import open_recording

    with open_recording(find_recording(instrument, recording)) as source:
        work = recorded_instrument(source, instrument)
        comparison = compare_recorded(source, work, from_stage, to_stage)
        simulated, checks = simulated_gauges(source), counting_checks(source)
    if as_json:
        print_json(comparison_document(comparison, simulated) | {"checks": counting_document(checks)})
    else:
        console().print(simulated_above(comparison_view(comparison, work.units), simulated))
        tell_checks(checks)
    raise typer.Exit(exit_status(comparison))
