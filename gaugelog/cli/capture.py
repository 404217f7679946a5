"""`gaugelog capture`: take the snapshot of a stage."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gaugelog.cli.options import (
    InstrumentOption,
    JsonOption,
    RecordingOption,
    bring_book,
    find_files,
    load_instrument,
    print_json,
)

if TYPE_CHECKING:
    from gaugelog.model.instrument import Instrument
    from gaugelog.model.placement import Placement
    from gaugelog.recorder.snapshotting import SnapshotWork


def capture(
    stage: Annotated[
        str, typer.Argument(metavar="STAGE", help="before, wet (while the glue is open), after, or a name of your own.")
    ],
    again: Annotated[
        bool, typer.Option("--again", help="Begin a new snapshot of this stage; older ones stay.")
    ] = False,
    more: Annotated[
        int, typer.Option(min=0, metavar="N", help="Reopen the last snapshot for N more placements at each checkpoint.")
    ] = 0,
    at: Annotated[list[str] | None, typer.Option(metavar="ID", help="Only this checkpoint; may be repeated.")] = None,
    from_table: Annotated[
        Path | None,
        typer.Option("--from", metavar="FILE.csv", help="Take placements from a table: checkpoint,value[,unit]."),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="No bell.")] = False,
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
    as_json: JsonOption = False,
) -> None:
    """Walk through the checkpoints of a stage and keep each placement at once; stop with q and go on later."""
    from gaugelog.cli.bench_desk import join_bench
    from gaugelog.cli.capture_desk import CaptureDesk
    from gaugelog.cli.live import start
    from gaugelog.recorder.snapshotting import SnapshotWork
    from gaugelog.recorder.stages import check_stage
    from gaugelog.recorder.work import datasheet_folders, now, open_work

    if again and more:
        raise typer.BadParameter("--again begins a new snapshot, --more adds to the last: choose one")
    path, target = find_files(instrument, recording)
    piece = load_instrument(path)
    check_stage(stage, piece, target)
    at_bench = {"do": "snapshot", "stage": stage, "again": again, "more": more, "only": at or []}
    if not (from_table or as_json) and join_bench(target, at_bench, quiet=quiet):
        return
    folders = datasheet_folders(path.parent)
    anchor = now()
    table = _read_table(piece, folders, from_table, stage, anchor.monotonic_ns) if from_table is not None else ()
    with open_work(piece, target, f"capture {stage}", folders, anchor) as work:
        bring_book(work)
        snapshot = SnapshotWork(work, stage, again=again, more=more, only=tuple(at or ()))
        if from_table is None:
            start(CaptureDesk(snapshot, quiet=quiet, aside=as_json).attend())
        else:
            _refuse_surplus(snapshot, table, from_table)
            with work.writer.whole():
                for placement in table:
                    snapshot.keep(placement)
    tell_snapshot(snapshot, target, as_json)


def _refuse_surplus(snapshot: SnapshotWork, table: Sequence[Placement], path: Path | None) -> None:
    """Refuse a table that adds more placements than are missing: given twice, it would count every value twice.

    Raises:
        FaultyTableError: with each checkpoint; nothing was taken.
    """
    from gaugelog.errors import Fault, FaultyTableError

    faults = [
        Fault(
            task.checkpoint.id,
            f"{count} rows",
            f"{task.missing} at most, {len(task.taken)} being there already"
            " (--more N allows N more, --again begins a new snapshot)",
        )
        for task, count in snapshot.surplus(table)
    ]
    if faults:
        raise FaultyTableError(path or "", faults)


def _read_table(
    piece: Instrument, folders: tuple[Path, ...], table: Path, stage: str, time_ns: int
) -> tuple[Placement, ...]:
    """Return the placements of a table: all of them or, where it has faults, none."""
    from gaugelog.instruments.table import read_table_file
    from gaugelog.recorder.work import datasheets_of, step_of

    datasheets = datasheets_of(piece, folders)
    return read_table_file(table, piece, stage, lambda point: step_of(point, datasheets), time_ns)


def tell_snapshot(snapshot: SnapshotWork, recording: Path, as_json: bool) -> None:
    """Say how a snapshot stands now, and what to do next."""
    from gaugelog.model.kinds import BEFORE, WET
    from gaugelog.review.comparing import compare_recorded
    from gaugelog.show.documents import snapshot_document
    from gaugelog.show.numbers import count_text
    from gaugelog.show.terminal import comparison_view, console, snapshot_table
    from gaugelog.store.reader import open_recording

    piece = snapshot.work.instrument
    with open_recording(recording) as source:
        taken = next(each for each in source.snapshots(snapshot.stage) if each.id == snapshot.snapshot.id)
        wet = snapshot.stage == WET and bool(source.snapshots(BEFORE))
        comparison = compare_recorded(source, piece, BEFORE, WET) if wet else None
    if as_json:
        print_json(snapshot_document(taken, piece))
        return
    screen = console()
    screen.print(snapshot_table(taken, piece))
    if comparison is not None:
        screen.print(comparison_view(comparison, piece.units))
    if snapshot.missing:
        typer.echo(
            f"{count_text(snapshot.missing, 'placement')} still to take. Go on with: gaugelog capture {snapshot.stage}"
        )
    else:
        typer.echo(f"The snapshot {snapshot.stage} is complete, in {recording}.")
