"""What was got out of a damaged file, and what was not.

Here: losses, and placements verified with the rows that belong to them. Not here: finding rows (`salvage`), writing
them (`rebuild`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from gaugelog.store.forms import Row
from gaugelog.store.placement_rows import PartRow, PlacementRow, ReinterpretationRow
from gaugelog.store.schema import checksum


@dataclass(frozen=True, slots=True)
class Loss:
    """Something that was not got out: how much, where that is known, and between which moments, microseconds UTC."""

    what: str
    words: str
    count: int | None = None
    start_utc_us: int | None = None
    end_utc_us: int | None = None


@dataclass(slots=True)
class Placed:
    """A placement with its parts, their bytes and what it was read as again, verified together."""

    row: Row
    parts: list[Row]
    raw: list[Row]
    again: list[Row]


@dataclass(slots=True)
class Salvaged:
    """All rows that are right, by table and in order; `missing` readings by sitting and gauge; all losses.

    `unread_blocks` are those of which only the head is right. `unsealed` counts rows that schema 1 left without a
    checksum, by table: they are as they stand in the file.
    """

    version: int
    rows: dict[str, list[Row]] = field(default_factory=lambda: defaultdict(list))
    placed: list[Placed] = field(default_factory=list)
    unread_blocks: list[Row] = field(default_factory=list)
    missing: dict[tuple[int, int], int] = field(default_factory=dict)
    losses: list[Loss] = field(default_factory=list)
    unsealed: dict[str, int] = field(default_factory=dict)


def whole(row: Row, column: str) -> int:
    """Return a value that is a whole number.

    Raises:
        TypeError: it isn't, so the row was never looked at by its form.
    """
    value = row[column]
    if not isinstance(value, int):
        raise TypeError(f"{column} is {value!r}")
    return value


def number(row: Row) -> int:
    """Return the number of a row."""
    return whole(row, "id")


def placement_state(row: Row) -> tuple[int, int]:
    """Return what grows each time a placement is changed."""
    return whole(row, "reinterpretations"), int(row["dropped_reason"] is not None)


def together(rows: Iterable[Row], tables: Mapping[str, Mapping[int, Row]]) -> dict[int, Placed]:
    """Return by its number each placement whose checksums fit, in its latest state.

    Args:
        rows: of the table placement, the same one perhaps in several states.
        tables: part, raw and reinterpretation, by number.
    """
    parts, again, raw = defaultdict(list), defaultdict(list), defaultdict(list)
    for each in sorted(tables["part"].values(), key=number):
        parts[each["placement"]].append(each)
    for each in sorted(tables["reinterpretation"].values(), key=lambda row: whole(row, "number")):
        again[each["placement"]].append(each)
    for each in sorted(tables["raw"].values(), key=number):
        raw[each["part"]].append(each)
    found: dict[int, Placed] = {}
    for row in rows:
        mine = parts[row["id"]]
        chunks = [raw[part["id"]] for part in mine if part["reinterpretation"] is None]
        placed = Placed(row, mine, [each for one in chunks for each in one], again[row["id"]])
        older = found.get(number(row))
        if _is_whole(placed, chunks) and (older is None or placement_state(row) > placement_state(older.row)):
            found[number(row)] = placed
    return found


def _is_whole(placed: Placed, chunks: Sequence[Sequence[Row]]) -> bool:
    row = placed.row
    bytes_of = [[(each["monotonic_ns"], each["bytes"]) for each in one] for one in chunks]
    covered = [row[name] for name in PlacementRow._fields]
    if row["checksum"] != checksum(covered, _parts(placed, None), bytes_of):
        return False
    if [each["number"] for each in placed.again] != list(range(1, whole(row, "reinterpretations") + 1)):
        return False
    return all(
        each["checksum"] == checksum([each[name] for name in ReinterpretationRow._fields], _parts(placed, number(each)))
        for each in placed.again
    )


def _parts(placed: Placed, reinterpretation: int | None) -> list[list[object]]:
    mine = [part for part in placed.parts if part["reinterpretation"] == reinterpretation]
    return [[part[name] for name in PartRow._fields] for part in mine]
