"""`gaugelog decode`: the bytes of placements once more, through a corrected datasheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gaugelog.cli.options import InstrumentOption, JsonOption, RecordingOption, find_files, load_instrument, print_json

if TYPE_CHECKING:
    from gaugelog.model.instrument import Instrument
    from gaugelog.store.reader import Recording


def decode(
    gauge: Annotated[
        str, typer.Argument(metavar="GAUGE", help="Short name of the gauge whose placements to read again.")
    ],
    datasheet: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The corrected datasheet; else the one the gauge names now.")
    ] = None,
    look: Annotated[bool, typer.Option("--look", help="Only show what would change.")] = False,
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
    as_json: JsonOption = False,
) -> None:
    """Run the raw bytes of placements again through a corrected datasheet; the old values stay beside the new ones."""
    from gaugelog.cli.gathering import simulated_gauges
    from gaugelog.datasheets.catalogue import find_datasheet, read_datasheet_file
    from gaugelog.errors import NoRecordingError
    from gaugelog.recorder.rereading import read_again
    from gaugelog.recorder.work import datasheet_folders, open_work
    from gaugelog.show.documents import rereading_document
    from gaugelog.show.terminal import console, rereading_table, simulated_above
    from gaugelog.store.reader import open_recording

    path, target = find_files(instrument, recording)
    piece = load_instrument(path)
    folders = datasheet_folders(path.parent)
    if not target.is_file():
        raise NoRecordingError(target)
    with open_recording(target) as source:
        name = _datasheet_name(gauge, piece, source)
        sheet = read_datasheet_file(datasheet) if datasheet else find_datasheet(name, folders)
        found = read_again(source.snapshots(), piece, {gauge: sheet})
        simulated = simulated_gauges(source)
    changed = [each for each in found if each.differs]
    if changed and not look:
        with open_work(piece, target, "decode", folders) as work:
            for each in changed:
                if each.new is not None:
                    work.writer.reinterpret(each.old.id, each.new, {gauge: sheet.text})
    pairs = [(each.old, each.new) for each in found]
    if as_json:
        print_json(rereading_document(pairs, simulated))
        return
    console().print(simulated_above(rereading_table(pairs, piece.units), simulated))
    unread = sum(each.new is None for each in found)
    change = "would change" if look else "changed"
    typer.echo(f"{len(found)} placements read again: {len(changed)} {change}, {unread} unreadable.")


def _datasheet_name(gauge: str, piece: Instrument, source: Recording) -> str:
    """Return the datasheet that a gauge names now; that of the recording where the file has no such gauge any more.

    Raises:
        UnknownGaugeError: neither has it.
    """
    if gauge in piece.gauges or gauge not in source.gauges:
        return piece.gauge(gauge).gauge.datasheet
    return source.gauges[gauge].datasheet
