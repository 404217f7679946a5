"""A table of a gauge study: one placement a row, by whom, on which day, in which run, of which thing.

Here: from a file to rows. Not here: what they say (`analysis.gauge_study`).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from gaugelog.errors import Fault, FaultyTableError, GaugelogError
from gaugelog.instruments.find import read_text
from gaugelog.model.quantities import Quantity
from gaugelog.model.typed import parse_typed

VALUE, UNIT = "value", "unit"
LABELS = ("person", "day", "run", "artefact")


@dataclass(frozen=True, slots=True)
class StudyTable:
    """The text of a table and its rows: each a value in the base unit with its labels, empty where none is given."""

    text: str
    rows: tuple[tuple[float, dict[str, str]], ...]


def read_study_table(path: Path, quantity: Quantity, unit: str) -> StudyTable:
    """Return the placements of a study.

    The first row names the columns: `value`, and as many of `unit`, `person`, `day`, `run`, `artefact` as there are.
    Cells stand between commas, semicolons or tabs; remarks begin with #.

    Args:
        path: the file.
        quantity: what the gauge reads.
        unit: of values that name none.

    Raises:
        UnreadableFileError: it can't be read as UTF-8 text.
        FaultyTableError: with every row that can't be read; nothing is taken.
    """
    every = read_text(path).splitlines()
    lines = [line for line in every if line.strip() and not line.lstrip().startswith("#")]
    head = lines[0] if lines else ""
    separator = next((mark for mark in (";", "\t") if mark in head), ",")
    names = [name.strip().lower() for name in head.split(separator)]
    unknown = [name for name in names if name not in (VALUE, UNIT, *LABELS)]
    if VALUE not in names or unknown or len(set(names)) < len(names):
        wanted = f"a first row naming {VALUE} and any of {', '.join((UNIT, *LABELS))}, each once"
        raise FaultyTableError(path, [Fault("first row", head[:80] or "nothing", wanted)])
    faults, rows = [], []
    for number, cells in enumerate(csv.reader(lines[1:], delimiter=separator, skipinitialspace=True), start=2):
        row = dict(zip(names, (cell.strip() for cell in cells), strict=False))
        try:
            value = parse_typed(f"{row.get(VALUE, '')} {row.get(UNIT, '')}".strip(), quantity, unit).value
            if value is None or len(cells) > len(names):
                raise ValueError("one value a row")
        except (GaugelogError, ValueError) as error:
            faults.append(Fault(f"row {number}", separator.join(cells)[:80], f"{error}"))
            continue
        rows.append((value, {name: row.get(name, "") for name in LABELS}))
    if not rows and not faults:
        faults.append(Fault("rows", "none", "one placement a row"))
    if faults:
        raise FaultyTableError(path, faults)
    return StudyTable("\n".join(lines), tuple(rows))
