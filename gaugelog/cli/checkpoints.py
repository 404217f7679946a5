"""`gaugelog checkpoints`: the plan, and what it will be able to prove."""

from __future__ import annotations

from gaugelog.cli.options import (
    InstrumentOption,
    JsonOption,
    RecordingOption,
    book_folder,
    find_files,
    load_instrument,
    print_json,
)


def checkpoints(
    instrument: InstrumentOption = None, recording: RecordingOption = None, as_json: JsonOption = False
) -> None:
    """Show the plan: each checkpoint, and the smallest shift that its gauge will be able to prove."""
    from gaugelog.analysis.plan import plan
    from gaugelog.recorder.work import datasheet_folders, datasheets_of, step_of
    from gaugelog.review.checked import planned_studies
    from gaugelog.show.documents import plan_document
    from gaugelog.show.terminal import console, plan_table
    from gaugelog.store.gauge_book import read_gauge_book

    path, _ = find_files(instrument, recording)
    work = load_instrument(path)
    datasheets = datasheets_of(work, datasheet_folders(path.parent))
    studies = planned_studies(work, read_gauge_book(book_folder()))
    rows = plan(work, {point.id: step_of(point, datasheets) for point in work.checkpoints}, studies)
    if as_json:
        print_json(plan_document(rows, work))
    else:
        console().print(plan_table(rows, work))
