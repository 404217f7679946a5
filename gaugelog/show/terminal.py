"""What the commands print: the console, and tables of plan, snapshot, ports, datasheets and readings.

Here: whole tables for a terminal of any width. Not here: comparison and drift (`terminal_results`, handed on from
here), live views (`snapshot_view`, `clamp_view`, `sanding`), rounding (`numbers`).
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from gaugelog.analysis.plan import PlanRow
from gaugelog.errors import UnknownCheckpointError
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.instrument import Instrument
from gaugelog.model.placement import KeptPlacement, Placement, Snapshot
from gaugelog.model.quantities import Quantity
from gaugelog.show.gauge_documents import Port, WhatWasHeard, flag_words
from gaugelog.show.look import QUIET, STRONG, WARN, plain_table, two_lines
from gaugelog.show.numbers import (
    UNKNOWN,
    amount_text,
    count_text,
    placement_text,
    rough_text,
    value_text,
)
from gaugelog.show.terminal_results import comparison_view, drift_view
from gaugelog.show.words import (
    must_but_cannot_prove,
    out_of_tolerance,
    simulated_gauges,
    simulated_words,
    tolerance_text,
)

__all__ = [
    "comparison_view",
    "console",
    "datasheet_table",
    "drift_view",
    "heard_view",
    "plan_table",
    "port_table",
    "rereading_table",
    "simulated_above",
    "snapshot_table",
]


def console(*, aside: bool = False) -> Console:
    """Return the console on standard output; it leaves colour out where there is none or NO_COLOR is set.

    Args:
        aside: write to standard error, where standard output is for a document.
    """
    stream = sys.stderr if aside else sys.stdout
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None and (stream.encoding or "").lower().replace("-", "") != "utf8":
        reconfigure(errors="replace")
    return Console(stderr=aside, highlight=False, markup=False, emoji=False)


def simulated_above(view: RenderableType, gauges: Sequence[str]) -> RenderableType:
    """Return a view under one line that says which gauges were simulated; the view alone where none was."""
    words = simulated_words(gauges)
    return Group(Text(words, style=WARN), Text(), view) if words else view


def plan_table(rows: Iterable[PlanRow], instrument: Instrument) -> RenderableType:
    """Return the plan: each checkpoint, its gauge, its limit, and the smallest shift that can be proven there."""
    listed = tuple(rows)
    table = plain_table(title=f"{instrument.name}: {count_text(len(listed), 'checkpoint')}")
    table.add_column("", no_wrap=True)
    table.add_column("checkpoint", overflow="fold")
    table.add_column("read with", overflow="fold")
    for head in ("×", "limit", "provable"):
        table.add_column(head, justify="right", no_wrap=True)
    for row in listed:
        point = row.checkpoint
        table.add_row(
            "!" if _warned(row) else "",
            two_lines(point.id, ", ".join(point.stages), style=STRONG),
            two_lines(*_read_with(row, instrument.units)),
            str(point.placements),
            two_lines(
                amount_text(point.limit, point.quantity, instrument.units), "must be proven" if point.must_prove else ""
            ),
            rough_text(row.smallest_provable, point.quantity, instrument.units),
            style=WARN if _warned(row) else "",
        )
    view = Group(table, Text(), *_plan_notes(listed, instrument.units))
    return simulated_above(view, simulated_gauges(instrument))


def _warned(row: PlanRow) -> bool:
    return row.hopeless or must_but_cannot_prove(row)


def _read_with(row: PlanRow, units: str) -> tuple[str, str]:
    """Return the gauges of a checkpoint, and the step they read to."""
    point = row.checkpoint
    step = "" if row.resolution is None else f"to {amount_text(row.resolution, point.quantity, units)}"
    return " + ".join(name for name in (point.gauge, point.body_gauge) if name) or "typed", step


def _plan_notes(rows: Sequence[PlanRow], units: str) -> list[RenderableType]:
    """Return what the table means, and a way round each hopeless limit."""
    notes: list[RenderableType] = []
    for row in rows:
        if not _warned(row):
            continue
        point = row.checkpoint
        limit = amount_text(point.limit, point.quantity, units)
        better = f" Better: {row.better.words}." if row.better is not None else ""
        words = f"! {point.id}: a limit of {limit} {_why_unproven(row)}.{better}"
        if must_but_cannot_prove(row):
            words += " It must be proven: the work isn't ready."
        notes.append(Text(words, style=WARN))
    explain = "provable: the smallest limit that an unmoved neck is called held at, 4 times out of 5."
    notes.append(Text(explain, style=QUIET))
    return notes


def _why_unproven(row: PlanRow) -> str:
    if row.hopeless:
        return "is finer than can be proven here"
    return "can't be proven: " + ("its step isn't known" if row.resolution is None else "it never gets a verdict")


def snapshot_table(snapshot: Snapshot, instrument: Instrument) -> RenderableType:
    """Return a snapshot: what was read at each checkpoint, how far the placements spread, what was left out."""
    state = "complete" if snapshot.complete_utc_us is not None else "not complete yet"
    table = plain_table(title=f"{snapshot.stage}, {_ordinal(snapshot.number)} snapshot: {state}")
    table.add_column("checkpoint", overflow="fold", style=STRONG)
    table.add_column("taken", no_wrap=True)
    table.add_column("placements", overflow="fold")
    table.add_column("spread", justify="right", no_wrap=True)
    judged = any(point.tolerance is not None for point in instrument.at_stage(snapshot.stage))
    if judged:
        table.add_column("tolerance", no_wrap=True)
    skips = {skip.checkpoint: skip.reason for skip in snapshot.skips}
    for name in _checkpoints_of(snapshot, instrument):
        placements = snapshot.of(name)
        dropped = sum(kept.dropped is not None and kept.placement.checkpoint == name for kept in snapshot.placements)
        words = "  ".join(placement_text(placement, instrument.units) for placement in placements)
        if name in skips:
            words = f"{words}  skipped: {skips[name]}".strip()
        if dropped:
            words = f"{words}  ({dropped} dropped)".strip()
        cells = (name, _taken(name, len(placements), snapshot, instrument), words)
        tolerance = (_tolerance(name, snapshot, instrument),) if judged else ()
        table.add_row(*cells, _spread(placements, instrument.units), *tolerance)
    return simulated_above(table, simulated_gauges(instrument))


def _tolerance(name: str, snapshot: Snapshot, instrument: Instrument) -> Text:
    """Return how the mean stands against the tolerance; empty where there is none."""
    out = out_of_tolerance(name, snapshot, instrument)
    if out is None:
        return Text()
    return Text(tolerance_text(out, instrument.checkpoint(name).quantity, instrument.units), style=WARN if out else "")


def _ordinal(number: int) -> str:
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def _checkpoints_of(snapshot: Snapshot, instrument: Instrument) -> list[str]:
    planned = [point.id for point in instrument.at_stage(snapshot.stage)]
    others = [kept.placement.checkpoint for kept in snapshot.placements]
    return list(dict.fromkeys(planned + others))


def _taken(name: str, taken: int, snapshot: Snapshot, instrument: Instrument) -> str:
    try:
        return f"{taken} of {instrument.checkpoint(name).wanted_at(snapshot.stage)}"
    except UnknownCheckpointError:
        return str(taken)


def _spread(placements: Sequence[Placement], units: str) -> str:
    values = [placement.value for placement in placements if placement.value is not None]
    if len(values) < 2:
        return UNKNOWN
    first = placements[0]
    return value_text(max(values) - min(values), first.quantity, first.resolution, units)


def port_table(ports: Iterable[Port]) -> RenderableType:
    """Return the serial ports that are there."""
    listed = tuple(ports)
    if not listed:
        return Text("No serial port is there.\n")
    table = plain_table(title="Serial ports")
    for head in ("port", "what it says it is", "hardware"):
        table.add_column(head, overflow="fold")
    for port in listed:
        table.add_row(Text(port.path, style=STRONG), port.description or UNKNOWN, port.hardware or UNKNOWN)
    return Group(table, Text())


def datasheet_table(datasheets: Iterable[Datasheet]) -> RenderableType:
    """Return the datasheets that are known."""
    table = plain_table(title="Datasheets")
    table.add_column("datasheet", overflow="fold")
    table.add_column("sends", no_wrap=True)
    table.add_column("step", justify="right", no_wrap=True)
    table.add_column("accuracy", justify="right", no_wrap=True)
    for sheet in datasheets:
        units = "in" if sheet.value.unit == "in" and sheet.quantity is Quantity.LENGTH else "mm"
        accuracy = amount_text(sheet.accuracy, sheet.quantity, units)
        table.add_row(
            two_lines(sheet.name, sheet.title, style=STRONG),
            sheet.sends.value,
            amount_text(sheet.resolution, sheet.quantity, units),
            accuracy if sheet.accuracy is None else f"±{accuracy}",
        )
    return table


def heard_view(heard: WhatWasHeard, raw: bool = False) -> RenderableType:
    """Return what a gauge said: its readings, what could not be read and, with `raw`, the bytes as they came."""
    lines: list[RenderableType] = [Text(str(heard.device), style=QUIET)] if heard.device is not None else []
    for reading in heard.readings:
        flags = flag_words(reading.flags)
        text = Text(f"{reading.text:>10} {reading.unit}", style=STRONG)
        lines.append(text.append(f"  {', '.join(flags)}", style=WARN) if flags else text)
    if heard.rejects:
        lines.append(Text(f"{count_text(len(heard.rejects), 'line')} could not be read:", style=WARN))
    for reject in heard.rejects:
        detail = f" ({reject.detail})" if reject.detail else ""
        lines.append(_indented(f"{_printable(reject.raw)}  {reject.reason.value}{detail}"))
    if raw:
        lines.append(Text("Bytes as they came:", style=QUIET))
        lines += [_indented(f"{chunk.data.hex(' ')}  {_printable(chunk.data)}") for chunk in heard.chunks]
    return Group(*lines)


def _indented(words: str) -> Padding:
    return Padding(Text(words, overflow="fold"), (0, 0, 0, 2))


def _printable(data: bytes) -> str:
    """Return bytes as text between quotes; what can't be printed is written as an escape."""
    return repr(data)[1:]


def rereading_table(pairs: Iterable[tuple[KeptPlacement, Placement | None]], units: str = "mm") -> RenderableType:
    """Return placements read again from their bytes: as they were, and as they read now."""
    table = plain_table()
    table.add_column("stage", no_wrap=True)
    table.add_column("checkpoint", overflow="fold", style=STRONG)
    table.add_column("was", justify="right", no_wrap=True)
    table.add_column("reads now", justify="right", no_wrap=True)
    for old, new in pairs:
        now = "nothing readable" if new is None else placement_text(new, units)
        was = placement_text(old.placement, units)
        same = new is not None and new.value == old.placement.value
        table.add_row(
            old.stage, old.placement.checkpoint, was, "the same" if same else now, style=QUIET if same else ""
        )
    return table
