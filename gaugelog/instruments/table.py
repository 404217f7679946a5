"""A table of placements: `checkpoint,value[,unit]`, one row a placement.

Here: the table to placements, or all its faults. Not here: asking at the bench, keeping the placements.
Each line is a row, so a quoted cell may not run over a line's end; a row's number is what a spreadsheet shows.
"""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from gaugelog.errors import Fault, FaultyTableError, UnitMismatchError, ValueTextError
from gaugelog.instruments.find import read_text
from gaugelog.instruments.typed_placement import typed_placement
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.placement import Placement, Settled

COLUMNS = ("checkpoint", "value", "unit")
_LINE_END = re.compile(r"\r\n|\n|\r")


@dataclass(frozen=True, slots=True)
class _Row:
    """One row that holds something: its number, and its cells without surrounding space."""

    number: int
    cells: tuple[str, ...]

    def fault(self, got: str, wanted: str) -> Fault:
        return Fault(f"row {self.number}", got, wanted)


def read_table(
    text: str,
    instrument: Instrument,
    stage: str,
    origin: str,
    resolution_of: Callable[[Checkpoint], float],
    time_ns: int,
) -> tuple[Placement, ...]:
    """Return the placements that a table holds, in order.

    Cells stand between commas, semicolons or tabs; with the latter two a decimal comma is fine. A first row that
    names the columns may be left out. Empty rows and rows that begin with # are skipped.

    Args:
        text: the table.
        instrument: whose checkpoints the rows name.
        stage: the stage that the placements are for.
        origin: where the table came from, for the error.
        resolution_of: the resolution of a checkpoint's gauge in the base unit, asked where it has no step of its own.
        time_ns: monotonic nanoseconds, the time of all its placements.

    Raises:
        FaultyTableError: with every fault of the table by row; nothing is taken from it then.
    """
    faults: list[Fault] = []
    placements: list[Placement] = []
    for row in _rows(text, faults):
        found = _checkpoint_of(row, instrument, stage)
        if isinstance(found, Fault):
            faults.append(found)
            continue
        given_unit = row.cells[2] if len(row.cells) > 2 else ""
        resolution = found.step if found.step is not None else resolution_of(found)
        try:
            placements.append(
                typed_placement(found, row.cells[1], time_ns, Settled.TABLE, resolution, given_unit or None)
            )
        except ValueTextError as reason:
            faults.append(row.fault(f'"{row.cells[1]}"', reason.wanted))
        except UnitMismatchError as reason:
            faults.append(row.fault(f'the unit "{reason.got}"', f"{reason.quantity} in {' or '.join(reason.wanted)}"))
    if not placements and not faults:
        faults.append(Fault("row 1", "nothing", "rows of checkpoint,value or checkpoint,value,unit"))
    if faults:
        raise FaultyTableError(origin, sorted(faults, key=lambda fault: int(fault.key.removeprefix("row "))))
    return tuple(placements)


def read_table_file(
    path: Path, instrument: Instrument, stage: str, resolution_of: Callable[[Checkpoint], float], time_ns: int
) -> tuple[Placement, ...]:
    """Return the placements that a file with a table holds, in order; see `read_table`.

    Raises:
        UnreadableFileError: the file can't be read as UTF-8 text.
        FaultyTableError: with every fault of the table; nothing is taken from it then.
    """
    return read_table(read_text(path), instrument, stage, str(path), resolution_of, time_ns)


def _checkpoint_of(row: _Row, instrument: Instrument, stage: str) -> Checkpoint | Fault:
    """Return the checkpoint that a row names, or what is wrong with the row."""
    if len(row.cells) < 2 or not row.cells[0] or not row.cells[1]:
        return row.fault(f'half a row: "{", ".join(row.cells)}"', "a checkpoint and a value")
    if len(row.cells) > len(COLUMNS):
        return row.fault(
            f"{len(row.cells)} cells", "checkpoint, value, unit (a decimal comma needs semicolons between the cells)"
        )
    known = {checkpoint.id: checkpoint for checkpoint in instrument.checkpoints}
    checkpoint = known.get(row.cells[0])
    if checkpoint is None:
        near = difflib.get_close_matches(row.cells[0], known, 3, 0.5)
        offer = f"a checkpoint of the instrument file (perhaps {' or '.join(near)})" if near else ", ".join(known)
        return row.fault(f'"{row.cells[0]}"', offer)
    if checkpoint not in instrument.at_stage(stage):
        return row.fault(
            f"{checkpoint.id} at the stage {stage}",
            f"a checkpoint that is read then ({checkpoint.id} is read {', '.join(checkpoint.stages)})",
        )
    return checkpoint


def _rows(text: str, faults: list[Fault]) -> Iterator[_Row]:
    """Yield the rows that hold something, without the one that names the columns; a broken one is a fault."""
    lines = _LINE_END.split(text.removeprefix("\ufeff"))
    separator = _separator(lines)
    first = True
    for number, line in enumerate(lines, 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        try:
            cells = [
                cell.strip()
                for cell in next(csv.reader([line], delimiter=separator, skipinitialspace=True, strict=True))
            ]
        except csv.Error as reason:
            faults.append(Fault(f"row {number}", f"a broken cell ({reason})", "cells without a stray quotation mark"))
            continue
        while cells and not cells[-1]:
            cells.pop()
        row = _Row(number, tuple(cells))
        names_columns = first and tuple(cell.lower() for cell in row.cells) in (COLUMNS, COLUMNS[:2])
        first = False
        if cells and not names_columns:
            yield row


def _separator(lines: list[str]) -> str:
    """Return what stands between cells: a semicolon or a tab where the first row has one, else a comma."""
    first = next((line for line in lines if line.strip() and not line.lstrip().startswith("#")), "")
    return next((mark for mark in (";", "\t") if mark in first), ",")
