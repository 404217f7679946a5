"""`gaugelog ready`: may the glue be opened."""

from __future__ import annotations

from typing import Annotated

import typer

from gaugelog.cli.options import (
    InstrumentOption,
    JsonOption,
    RecordingOption,
    find_recording,
    print_json,
    recorded_instrument,
)


def ready(
    stage: Annotated[str, typer.Argument(metavar="STAGE", help="Stage whose newest readings count.")] = "before",
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say whether the glue may be opened: tolerances, the bridge's travel, and what will be provable afterwards.

    Exit status: 0 ready; 1 not ready.
    """
    from gaugelog.cli.gathering import counting_checks, simulated_gauges, tell_checks
    from gaugelog.review.standing import ready_at
    from gaugelog.show.check_view import counting_document
    from gaugelog.show.neck_documents import ready_document
    from gaugelog.show.ready_view import ready_view
    from gaugelog.show.terminal import console, simulated_above
    from gaugelog.store.reader import open_recording

    with open_recording(find_recording(instrument, recording)) as source:
        work = recorded_instrument(source, instrument)
        found = ready_at(source, work, stage)
        complete = source.snapshots(stage)[-1].complete_utc_us is not None
        simulated, checks = simulated_gauges(source), counting_checks(source)
    if as_json:
        print_json(ready_document(found, work, simulated) | {"checks": counting_document(checks)})
    else:
        console().print(simulated_above(ready_view(found, work, complete), simulated))
        tell_checks(checks)
    raise typer.Exit(0 if found.ready else 1)
