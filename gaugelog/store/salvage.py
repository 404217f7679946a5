"""Finding what is sound in a damaged file: every row whose checksum is right, wherever it stands.

Here: finding rows in pages, newest first, verifying them, telling what is missing. Nothing is believed of the file's
own order, and a row is taken only by its checksum; rows of schema 1 that have none are taken where a page lists them,
and named. Not here: writing them into a new recording (`rebuild`).
"""

from __future__ import annotations

import struct
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from zlib import crc32

from gaugelog.store.blocks import BlockFormError, decode
from gaugelog.store.forms import LOOSE, Form, Row, end_fits, forms_of, known_tables
from gaugelog.store.pages import Cell, Pages, cell_at, is_sound_tree, ordered_cells
from gaugelog.store.salvaged import Loss, Placed, Salvaged, number, placement_state, together, whole
from gaugelog.store.schema import APPLICATION_ID, Column, newest_version, schema_texts
from gaugelog.store.seals import COUNTED, sealed_from

LISTED, BESIDE, EARLIER = range(3)
"""Where a row was found: listed by a page, elsewhere in a newest page, in an earlier state of a page."""

_MOST_MISSING = 1_000_000
_MAGIC = b"SQLite format 3\x00"
_WAYS = ((LISTED,), (LISTED, BESIDE), (LISTED, BESIDE, EARLIER), (EARLIER, BESIDE, LISTED))
_CHANGING: Mapping[str, Callable[[Row], tuple[int, ...]]] = {
    "sitting": lambda row: (int(row["ended_utc_us"] is not None), whole(row, "latest_utc_us")),
    "snapshot": lambda row: (int(row["complete_utc_us"] is not None), whole(row, "placements")),
    "placement": placement_state,
    "skip": lambda row: (0,),
    "tally": lambda row: (whole(row, "readings"),),
    "reject": lambda row: (whole(row, "count"),),
}
"""Tables whose rows may change or go after they were written, and what grows as one does."""

Found = tuple[int, Row]


def newer_version(pages: Pages) -> int | None:
    """Return the schema version of a file that a newer program wrote, None where all its tables are known."""
    said, application = _head_numbers(pages.newest.get(1, b""))
    if application != APPLICATION_ID or said <= newest_version():
        return None
    tables = [(cell.values[1], cell.values[4]) for cell in ordered_cells(pages) if _is_of_the_schema(cell)]
    unknown = [each for each in tables if not str(each[0]).startswith("sqlite_") and each not in known_tables()]
    return said if unknown else None


def _is_of_the_schema(cell: Cell) -> bool:
    return len(cell.values) == 5 and cell.values[0] == "table" and isinstance(cell.values[4], str)


def _head_numbers(head: bytes) -> tuple[int, int]:
    """Return schema version and application as a file's head says them, zeros where it is no head."""
    if head[: len(_MAGIC)] != _MAGIC or len(head) < 100:
        return 0, 0
    return struct.unpack_from(">i", head, 60)[0], struct.unpack_from(">I", head, 68)[0]


def salvage(pages: Pages) -> Salvaged:
    """Return all that is sound in a file's pages."""
    said, application = _head_numbers(pages.newest.get(1, b""))
    if application == APPLICATION_ID and 1 <= said <= newest_version():
        return _Salvage(pages, said).result()
    tried = [_Salvage(pages, version) for version in reversed(schema_texts())]  # which the head doesn't say any more
    return max(tried, key=lambda each: each.found).result()


class _Salvage:
    def __init__(self, pages: Pages, version: int) -> None:
        self._version = version
        self._forms = {form.table: form for form in forms_of(version) if form.table != "row_count"}
        self._pages = pages
        self._rows: dict[str, dict[tuple[Column, ...], Found]] = defaultdict(dict)
        self._loose: dict[str, list[Found]] = defaultdict(list)
        self._counts: dict[str, int] = {}
        self._overflow: set[int] = set()
        self._unfit: set[str] = set()
        self._take(ordered_cells(pages), LISTED)
        self.found = sum(len(rows) for rows in (*self._rows.values(), *self._loose.values()))
        """How many rows the pages list."""

    def _look_further(self) -> None:
        """Look beside what the pages list, and into their earlier states, while anything is missing."""
        if self._is_short():
            self._take(self._beside(self._pages.newest.items()), BESIDE)
        if self._is_short():
            self._take(self._beside(self._pages.earlier), EARLIER)

    def _beside(self, pages: Iterable[tuple[int, bytes]]) -> Iterator[Cell]:
        """Yield whatever can be read as a cell anywhere in pages, but those that blocks go on in."""
        for page_number, page in pages:
            if page_number not in self._overflow:
                cells = (cell_at(page, offset, self._pages.newest) for offset in range(len(page) - 4))
                yield from (cell for cell in cells if cell is not None)

    def _take(self, cells: Iterable[Cell], where: int) -> None:
        for cell in cells:
            if len(cell.values) == 2:
                self._take_count(*cell.values, where)
            for form in self._forms.values():
                row = form.row_of(cell)
                if row is None:
                    continue
                if form.fits(row) and (form.is_sealed or where == LISTED):
                    self._keep(form, row, where, cell)
                    break
                if where == LISTED:
                    self._unfit.add(form.table)

    def _take_count(self, name: Column, count: Column, where: int) -> None:
        if isinstance(name, str) and isinstance(count, int) and where == LISTED:
            self._counts[name] = max(count, self._counts.get(name, 0))

    def _keep(self, form: Form, row: Row, where: int, cell: Cell) -> None:
        """Keep a row; what was found before stays, but for a later state from the same place, or a block that reads."""
        if form.table in LOOSE:
            self._loose[form.table].append((where, row))
            return
        names = form.names[1:-1] if form.table == "block" else form.key
        key = tuple(row[name] for name in names)
        there = self._rows[form.table].get(key)
        state = _CHANGING.get(form.table)
        if form.table == "block" and _reads(row):
            self._overflow.update(cell.overflow)
            if there is None or not _reads(there[1]):
                self._rows[form.table][key] = (where, row)
        elif there is None or (there[0] == where and state is not None and state(row) > state(there[1])):
            self._rows[form.table][key] = (where, row)

    def _expected(self, table: str) -> int | None:
        """Return how many rows a table had, None where that is not known."""
        found = len(self._placed() if table == "placement" else self._rows[table])
        if table in self._counts:
            count = self._counts[table]
            return count if found <= count <= found + _MOST_MISSING else None
        all_names_known = self._counts.keys() <= {*self._forms}
        return 0 if self._forms[table].gives_numbers and "sitting" in self._counts and all_names_known else None

    def _counted(self) -> list[str]:
        """Return the tables of which the file says how many rows there were."""
        sealed = self._version >= sealed_from()
        named = [name for name, form in self._forms.items() if form.gives_numbers or (name in COUNTED and sealed)]
        return [name for name in named if name != "reinterpretation"]

    def _is_short(self) -> bool:
        """Return whether anything is missing, or not known to be there."""
        for table in self._counted():
            found = len(self._placed() if table == "placement" else self._rows[table])
            if self._expected(table) != found:
                return True
        used, lost = self._blocks()
        return bool(lost or self._missing(used) or self._uncounted(used))

    def _missing(self, used: Iterable[Row]) -> dict[tuple[int, int], int]:
        """Return how many readings of each sitting and gauge are missing by its tally."""
        have: dict[tuple[int, int], int] = defaultdict(int)
        for row in used:
            have[whole(row, "sitting"), whole(row, "gauge")] += whole(row, "n")
        tallied = {
            (whole(row, "sitting"), whole(row, "gauge")): whole(row, "readings")
            for _, row in self._rows["tally"].values()
        }
        short = {key: count - have[key] for key, count in tallied.items()}
        return {key: count for key, count in short.items() if 0 < count <= have[key] + _MOST_MISSING}

    def _uncounted(self, used: Iterable[Row]) -> set[tuple[int, int]]:
        """Return sittings and gauges that have readings and no tally."""
        tallied = {(row["sitting"], row["gauge"]) for _, row in self._rows["tally"].values()}
        return {(whole(row, "sitting"), whole(row, "gauge")) for row in used} - tallied

    def _blocks(self) -> tuple[list[Row], list[Row]]:
        """Return the blocks to use, and those whose readings are lost."""
        mine: dict[tuple[Column, ...], list[Found]] = defaultdict(list)
        for where, row in self._rows["block"].values():
            mine[row["sitting"], row["gauge"]].append((where, row))
        used: list[Row] = []
        lost: list[Row] = []
        for key, found in mine.items():
            listed = [row for where, row in found if where == LISTED and _reads(row)]
            tally = self._rows["tally"].get(key)
            if tally is not None and sum(whole(row, "n") for row in listed) == tally[1]["readings"]:
                used += listed
                continue
            for row in _apart(found):
                (used if _reads(row) else lost).append(row)
        return sorted(used, key=_when), sorted(lost, key=_when)

    def _placed(self) -> list[Placed]:
        """Return the placements that can be verified, each in its latest state."""
        found: dict[int, Placed] = {}
        for way in (
            _WAYS if len({where for where, _ in self._loose["placement"] + self._loose["part"]}) > 1 else _WAYS[:1]
        ):
            tables: dict[str, dict[int, Row]] = {}
            for table in ("part", "raw", "reinterpretation"):
                pairs = [(number(row), row) for at in reversed(way) for where, row in self._loose[table] if where == at]
                tables[table] = dict(pairs)
            rows = [row for where, row in self._loose["placement"] if where in way]
            for key, placed in together(rows, tables).items():
                if key not in found or placement_state(placed.row) > placement_state(found[key].row):
                    found[key] = placed
        return [found[key] for key in sorted(found)]

    def result(self) -> Salvaged:
        """Return what was found, and what is missing."""
        self._look_further()
        done = Salvaged(self._version)
        done.rows["block"], done.unread_blocks = self._blocks()
        done.placed = self._placed()
        done.missing = self._missing(done.rows["block"])
        for table, form in self._forms.items():
            if table in LOOSE or table == "block":
                continue
            rows = [self._row(table, row) for _, row in self._rows[table].values()]
            done.rows[table] = sorted(rows, key=number) if form.numbered else rows
            if not form.is_sealed and rows and table != "tally":  # which blocks add up to
                done.unsealed[table] = len(rows)
        done.losses += self._losses(done)
        return done

    def _row(self, table: str, row: Row) -> Row:
        """Return a row; what a sitting says of its end only where it is sealed rightly."""
        if table == "sitting" and not end_fits(row):
            return row | {"latest_utc_us": row["utc_us"], "ended_utc_us": None}
        return row

    def _losses(self, done: Salvaged) -> Iterator[Loss]:
        for table in self._counted():
            found = len(done.placed if table == "placement" else self._rows[table])
            expected = self._expected(table)
            if expected is None:
                yield Loss(table, "it is not known how many there were")
            elif expected > found:
                yield Loss(table, f"{expected - found} of {expected}", expected - found)
        for table in self._in_doubt():
            yield Loss(table, "it is not known whether these are all")
        for sitting, gauge in sorted(self._uncounted(done.rows["block"])):
            yield Loss("readings", f"it is not known how many there were of gauge {gauge} in sitting {sitting}")
        for row in (row for _, row in self._rows["sitting"].values() if not end_fits(row)):
            yield Loss("sitting", f"when sitting {number(row)} ended")
        for table in _CHANGING:
            count = sum(where != LISTED for where in self._places(table, done))
            if count:
                yield Loss(table, f"{count} found as they once stood: what changed in them later may be lost")

    def _in_doubt(self) -> list[str]:
        """Return the tables whose rows nothing counts, as in schema 1, and of which a page is damaged."""
        pages = self._pages
        roots = {c.values[1]: c.values[3] for c in ordered_cells(pages) if _is_of_the_schema(c)}
        uncounted = set(self._forms) - set(self._counted()) - LOOSE - {"block", "tally"}

        def is_sound(table: str) -> bool:
            form = self._forms[table]
            return is_sound_tree(pages, roots.get(table), lambda cell: form.row_of(cell) is not None)

        return sorted(table for table in uncounted if table in self._unfit or not is_sound(table))

    def _places(self, table: str, done: Salvaged) -> list[int]:
        """Return where each row of a table was found."""
        if table != "placement":
            return [where for where, _ in self._rows[table].values()]
        return [min(where for where, row in self._loose[table] if row == placed.row) for placed in done.placed]


def _apart(found: Iterable[Found]) -> Iterator[Row]:
    """Yield blocks of one sitting and gauge that don't lie within each other's time, those first that can be read.

    Small blocks are merged into large ones, and remains of them are passed over so.
    """
    spans: list[tuple[int, int]] = []
    for _, row in sorted(found, key=lambda each: (not _reads(each[1]), each[0], -whole(each[1], "n"))):
        start, end = whole(row, "t_min_utc_us"), whole(row, "t_max_utc_us")
        if not any((start < high and end > low) or low <= start <= end <= high for low, high in spans):
            spans.append((start, end))
            yield row


def _when(row: Row) -> tuple[int, int]:
    """Return what blocks stand in order by: as they were written."""
    return number(row), whole(row, "t_min_utc_us")


def _reads(row: Row) -> bool:
    """Return whether the readings of a block are as its head says."""
    data = row["data"]
    if not isinstance(data, bytes) or crc32(data) != row["data_crc32"]:
        return False
    try:
        return len(decode(data)) == row["n"]
    except BlockFormError:
        return False
