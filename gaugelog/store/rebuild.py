"""What was got out of a damaged file, written into a new recording.

Here: new numbers without holes, stand-ins for what is referred to and lost, checksums of the rows as they stand now,
gaps where readings are missing. Not here: finding rows (`salvage`), files and the statement (`rescue`).
"""

from __future__ import annotations

import sqlite3
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from contextlib import suppress
from fractions import Fraction
from itertools import pairwise

from gaugelog.errors import UnitMismatchError
from gaugelog.model.clock import Anchor
from gaugelog.model.datasheet import Sends
from gaugelog.model.quantities import Quantity, find_unit
from gaugelog.store.blocks import decode
from gaugelog.store.forms import LOOSE, Form, Row, forms_of, own_checksum
from gaugelog.store.placed import seal_placement
from gaugelog.store.salvaged import Loss, Placed, Salvaged, number, whole
from gaugelog.store.schema import Column, newest_version
from gaugelog.store.seals import SEALS
from gaugelog.store.session_rows import begin_sitting
from gaugelog.store.stream import head_checksum

LOST = "lost"
"""What stands in for the command of a sitting, and begins the stage of a snapshot, whose row was not got out."""

_REASON = "lost to damage of the file"
_HOLE_US = 2_000_000
_MOST_HOLES = 20
_WRITTEN_APART = LOOSE | {"sitting", "tally", "block", "row_count"}


def rebuild(connection: sqlite3.Connection, found: Salvaged) -> list[Loss]:
    """Write all that was found; return every loss, with what was lost since it belongs to something that is lost.

    Args:
        connection: of a new recording, within a transaction.
        found: what was got out.
    """
    connection.execute("PRAGMA defer_foreign_keys = ON")
    return _Rebuild(connection, found).write()


class _Rebuild:
    def __init__(self, connection: sqlite3.Connection, found: Salvaged) -> None:
        self._db = connection
        self._found = found
        self._forms = {form.table: form for form in forms_of(newest_version())}
        self._new: dict[str, dict[int, int]] = defaultdict(dict)
        self._left_out: Counter[tuple[str, str]] = Counter()
        self._losses = list(found.losses)
        self._names = {number(row): str(row["name"]) for row in found.rows["gauge"]}

    def write(self) -> list[Loss]:
        """Write everything, table by table."""
        self._sittings()
        self._lost_snapshots()
        self._lost_gauges()
        for table, form in self._forms.items():
            for row in self._found.rows[table] if table not in _WRITTEN_APART else ():
                self._insert(form, row)
        for placed in self._found.placed:
            self._place(placed)
        self._count_placements()
        self._readings()
        for (table, lacking), count in sorted(self._left_out.items()):
            words = f"{count} left out, since the {lacking} is lost that they belong to"
            self._losses.append(Loss(table, words, count))
        return self._losses

    def _sittings(self) -> None:
        """Write the sittings, and stand-ins for those that are lost and referred to."""
        known = {number(row): row for row in self._found.rows["sitting"]}
        lost = {key: times for key, times in self._times_by_sitting().items() if key not in known}
        for key in sorted({*known, *lost}):
            row = known.get(key)
            if row is None:
                anchor, latest, ended = Anchor(0, min(lost[key])), max(lost[key]), None
                new = begin_sitting(self._db, anchor, 0, LOST, "unknown", "unknown", 0)
                words = f"sitting {key}: which command it was, and when it began; what was recorded in it is kept"
                self._losses.append(Loss("sitting", words, 1, min(lost[key]), latest))
            else:
                anchor = Anchor(whole(row, "monotonic_ns"), whole(row, "utc_us"))
                latest, ended = whole(row, "latest_utc_us"), row["ended_utc_us"]
                said = str(row["command"]), str(row["program"]), str(row["host"]), whole(row, "pid")
                new = begin_sitting(self._db, anchor, whole(row, "utc_offset_s"), *said)
            self._db.execute(
                "UPDATE sitting SET latest_utc_us = ?, ended_utc_us = ? WHERE id = ?", (latest, ended, new)
            )
            self._new["sitting"][key] = new

    def _times_by_sitting(self) -> dict[int, list[int]]:
        """Return the moments that rows tell of each sitting that they refer to."""
        times: dict[int, list[int]] = defaultdict(list)
        for table in ("block", "mark", "event", "gap", "instrument", "reject_raw", "clock"):
            for row in self._found.rows[table]:
                told = [row[name] for name in ("utc_us", "t_min_utc_us", "t_max_utc_us", "start_utc_us") if name in row]
                times[whole(row, "sitting")] += [each for each in told if isinstance(each, int)]
        for placed in self._found.placed:
            times[whole(placed.row, "sitting")].append(whole(placed.row, "utc_us"))
        return times

    def _lost_snapshots(self) -> None:
        """Add a stand-in, never complete, for each lost snapshot of which there are placements."""
        known = {number(row) for row in self._found.rows["snapshot"]}
        lost: dict[int, list[int]] = defaultdict(list)
        for placed in self._found.placed:
            if whole(placed.row, "snapshot") not in known:
                lost[whole(placed.row, "snapshot")].append(whole(placed.row, "utc_us"))
        for key, times in sorted(lost.items()):
            stage = f"{LOST}-{key}"
            row: Row = {"id": key, "stage": stage, "number": 1, "begun_utc_us": min(times), "complete_utc_us": None}
            self._found.rows["snapshot"].append(row | {"placements": len(times)})
            words = f"which stage it was, and whether it was complete: its placements stand under {stage}"
            self._losses.append(Loss("snapshot", words, 1, min(times), max(times)))
        self._found.rows["snapshot"].sort(key=number)

    def _lost_gauges(self) -> None:
        """Add a stand-in for each lost gauge of which there are readings or parts, which say what it measured."""
        known = {number(row) for row in self._found.rows["gauge"]}
        lost: dict[int, tuple[Quantity, Column, int]] = {}
        for placed in self._found.placed:
            quantity = Quantity(placed.row["quantity"])
            for part in placed.parts:
                lost.setdefault(whole(part, "gauge"), (quantity, part["resolution_base"], whole(placed.row, "utc_us")))
        for row in self._found.rows["block"]:
            layout = decode(_data(row)).layouts[0]
            for quantity in Quantity:
                with suppress(UnitMismatchError):
                    digit = find_unit(layout.unit, quantity).step_to_base(Fraction(10) ** -layout.decimals)
                    lost.setdefault(whole(row, "gauge"), (quantity, digit, whole(row, "t_min_utc_us")))
        for key, (quantity, step, utc_us) in sorted(lost.items()):
            if key in known:
                continue
            name = f"{LOST}-{key}"
            there: Row = {
                "id": key,
                "utc_us": utc_us,
                "name": name,
                "datasheet": LOST,
                "datasheet_text": "",
                "address": LOST,
            }
            there |= {"identity": "", "quantity": quantity.value, "resolution_base": step, "accuracy_base": None}
            there |= {"sends": Sends.STEADILY.value, "rate_hz": None, "awake_s": None}
            self._found.rows["gauge"].append(there)
            self._names[key] = name
            words = f"which it was, its datasheet, whether it was simulated: what it read stands under {name}"
            self._losses.append(Loss("gauge", words, 1))
        self._found.rows["gauge"].sort(key=number)

    def _moved(self, form: Form, row: Row) -> Row | None:
        """Return a row that refers to new numbers, None where something that it refers to is lost; that is counted."""
        moved = {name: row[name] for name in form.names if name in row}
        for column, refers in form.refers.items():
            old = row[column]
            if old is None:
                continue
            if old not in self._new[refers]:
                self._left_out[form.table, refers] += 1
                return None
            moved[column] = self._new[refers][whole(row, column)]
        return moved

    def _insert(self, form: Form, row: Row) -> int | None:
        """Write a row under the next number and with its checksum; return the number."""
        moved = self._moved(form, row)
        if moved is None:
            return None
        if form.numbered:
            moved["id"] = new = len(self._new[form.table]) + 1
            self._new[form.table][number(row)] = new
        if "checksum" in form.names:
            sealed_elsewhere = form.table in SEALS or form.table in LOOSE
            moved["checksum"] = 0 if sealed_elsewhere else own_checksum(form.table, form.names, moved)
        places = ", ".join("?" * len(moved))
        self._db.execute(f"INSERT INTO {form.table} ({', '.join(moved)}) VALUES ({places})", tuple(moved.values()))
        return whole(moved, "id") if form.numbered else None

    def _place(self, placed: Placed) -> None:
        """Write a placement with what belongs to it, unless a gauge that it was read with is lost."""
        if any(part["gauge"] not in self._new["gauge"] for part in placed.parts):
            self._left_out["placement", "gauge"] += 1
            return
        new = self._insert(self._forms["placement"], placed.row)
        if new is None:
            return
        for table, rows in (("reinterpretation", placed.again), ("part", placed.parts), ("raw", placed.raw)):
            for row in rows:
                self._insert(self._forms[table], row)
        seal_placement(self._db, new)

    def _count_placements(self) -> None:
        """Say of each snapshot how many placements it has now; one that has lost any is complete no more."""
        form = self._forms["snapshot"]
        for row in self._found.rows["snapshot"]:
            key = self._new["snapshot"][number(row)]
            (count,) = self._db.execute("SELECT count(*) FROM placement WHERE snapshot = ?", (key,)).fetchone()
            if count == row["placements"]:
                continue
            changed = row | {"id": key, "placements": count, "complete_utc_us": None}
            self._db.execute(
                "UPDATE snapshot SET placements = ?, complete_utc_us = NULL, checksum = ? WHERE id = ?",
                (count, own_checksum("snapshot", form.names, changed), key),
            )
            words = (
                f"{row['stage']!s} {row['number']!s}: {row['placements']!s} placements, of which {count} were got out"
            )
            self._losses.append(Loss("snapshot", f"{words}; it counts as complete no more", None))

    def _readings(self) -> None:
        """Write the blocks, how many readings they make, and gaps where readings are missing."""
        counts: Counter[tuple[int, int]] = Counter()
        for row in self._found.rows["block"]:
            moved = self._moved(self._forms["block"], row)
            if moved is None:
                self._lose(row, "their gauge is lost")
                continue
            moved["id"] = len(self._new["block"]) + 1
            self._new["block"][number(moved)] = number(moved)
            head = [moved[name] for name in self._forms["block"].names[1:9]]
            moved["head_crc32"] = head_checksum(*head)  # type: ignore[arg-type]
            places = ", ".join("?" * len(moved))
            self._db.execute(f"INSERT INTO block ({', '.join(moved)}) VALUES ({places})", tuple(moved.values()))
            counts[whole(moved, "sitting"), whole(moved, "gauge")] += whole(moved, "n")
        self._left_out.pop(("block", "gauge"), None)
        for (sitting, gauge), count in counts.items():
            self._db.execute("INSERT INTO tally (sitting, gauge, readings) VALUES (?, ?, ?)", (sitting, gauge, count))
        unread: Counter[tuple[int, int]] = Counter()
        for row in self._found.unread_blocks:
            key = whole(row, "sitting"), whole(row, "gauge")
            unread[key] += whole(row, "n")
            self._lose(row, "a checksum doesn't fit")
            self._gap(key, whole(row, "t_min_utc_us"), whole(row, "t_max_utc_us"))
        for key, count in self._found.missing.items():
            if count > unread[key]:
                self._miss(key, count - unread[key])

    def _lose(self, row: Row, why: str) -> None:
        of = self._of((whole(row, "sitting"), whole(row, "gauge")))
        span = whole(row, "t_min_utc_us"), whole(row, "t_max_utc_us")
        self._losses.append(Loss("readings", f"{row['n']!s} {of}: {why}", whole(row, "n"), *span))

    def _of(self, key: tuple[int, int]) -> str:
        name = self._names.get(key[1])
        return f"of {name} in sitting {key[0]}" if name is not None else f"of a lost gauge in sitting {key[0]}"

    def _miss(self, key: tuple[int, int], count: int) -> None:
        """Tell of readings of which not even a block's head was found, and leave gaps where they may have been."""
        holes = list(self._holes(key))[:_MOST_HOLES]
        span = (holes[0][0], holes[-1][1]) if holes else (None, None)
        where = f" in {len(holes)} stretches of that time" if len(holes) > 1 else ""
        self._losses.append(Loss("readings", f"{count} {self._of(key)}{where}", count, *span))
        for start, end in holes:
            self._gap(key, start, end)

    def _holes(self, key: tuple[int, int]) -> Iterator[tuple[int, int]]:
        """Yield the stretches without readings that no recorded gap explains."""

        def mine(rows: Sequence[Row]) -> list[Row]:
            return [row for row in rows if (row["sitting"], row["gauge"]) == key]

        blocks = mine([*self._found.rows["block"], *self._found.unread_blocks])
        spans = [(whole(row, "t_min_utc_us"), whole(row, "t_max_utc_us")) for row in blocks]
        for row in self._found.rows["sitting"]:
            if number(row) == key[0]:
                end = row["ended_utc_us"] if isinstance(row["ended_utc_us"], int) else whole(row, "latest_utc_us")
                spans += [(whole(row, "utc_us"),) * 2, (end, end)]
        gaps = [(whole(row, "start_utc_us"), whole(row, "end_utc_us")) for row in mine(self._found.rows["gap"])]
        for (_, start), (end, _) in pairwise(sorted(spans)):
            explained = any(low <= start + _HOLE_US and high >= end - _HOLE_US for low, high in gaps)
            if end - start > _HOLE_US and not explained:
                yield start, end

    def _gap(self, key: tuple[int, int], start_utc_us: int, end_utc_us: int) -> None:
        sitting, gauge = self._new["sitting"].get(key[0]), self._new["gauge"].get(key[1])
        if sitting is None or gauge is None:
            return
        self._db.execute(
            "INSERT INTO gap (sitting, gauge, start_utc_us, end_utc_us, reason, fault) VALUES (?, ?, ?, ?, ?, 1)",
            (sitting, gauge, start_utc_us, end_utc_us, _REASON),
        )


def _data(row: Row) -> bytes:
    data = row["data"]
    if not isinstance(data, bytes):
        raise TypeError("a block's data are no bytes")
    return data
