"""The terminal's view of a running bench: what its pages show, as text.

Here: drawing the bench's own document, which is in words already. Not here: the document (`bench.state`), following it
(`cli.bench_desk`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from gaugelog.show.bignumber import big_lines
from gaugelog.show.live_parts import BeingTyped, entry_line
from gaugelog.show.look import ACCENT, ALARM, QUIET, STRONG, WARN, bar, folded, keys_line, plain_table
from gaugelog.show.numbers import UNKNOWN

_BAR, _FIGURE_ROWS, _FIGURES_OF_A_PLACEMENT, _MOST_MESSAGE_ROWS = 24, 9, 5, 2
_LEAVE = ("q", "leave, the bench goes on")
_KEYS = {
    "": (_LEAVE,),
    "sanding": (("space", "marks a pass"), ("z", "zero here"), ("e", "end the sanding"), _LEAVE),
    "snapshot": (
        ("Enter", "take now"), ("l", "lifted"), ("d", "drop last"), ("r", "redo"), ("s", "skip"), ("t", "turn to"),
        ("e", "end the snapshot"), _LEAVE,
    ),
    "clamps": (
        ("a", "acknowledge"), ("g", "glue on"), ("c", "clamps on"), ("f", "clamps off"), ("n", "note"),
        ("r", "spot reading"), ("w", "wet check"), ("e", "end the session"), _LEAVE,
    ),
}  # fmt: skip
_HINTS = {"snapshot": "a value may be typed", "clamps": "a value may be typed for the wet check"}

Document = Mapping[str, Any]


def bench_view(state: Document, entry: BeingTyped, message: str, silent_s: float, width: int) -> RenderableType:
    """Return the view of a bench, whatever it does.

    Args:
        state: the work as a whole, with what was told since.
        entry: the line being typed.
        message: what was said last.
        silent_s: seconds since the bench was last heard where that is too long, else 0.
        width: columns of the terminal.
    """
    doing = state["doing"]
    parts: list[RenderableType] = [
        Text.assemble(("at the bench  ", QUIET), (doing or "nothing under way", STRONG), f"   {state['instrument']}")
    ]
    if state["simulated"]:
        parts.append(Text(state["simulated"], style=WARN))
    if silent_s:
        words = f" ! NOT LIVE  nothing heard from the bench for {silent_s:.0f} s"
        parts.append(Text(words.ljust(width), style=ALARM, overflow="fold"))
    old = bool(silent_s)
    if state["clamps"] is not None:
        parts += _clamps(state["clamps"], width)
    elif state["sanding"] is not None:
        parts += _sanding(state["sanding"], width, old)
    elif state["snapshot"] is None:
        parts += [Text(), _gauges(state["gauges"])]
    if state["snapshot"] is not None:
        parts += _snapshot(state["snapshot"], width, old)
    below = [entry_line(entry, _HINTS.get(doing, "")), folded(message, width, _MOST_MESSAGE_ROWS), Text()]
    return Group(*parts, Text(), *below, keys_line(*_KEYS[doing]))


def _gauges(gauges: Sequence[Document]) -> RenderableType:
    table = plain_table()
    table.add_column("gauge", style=STRONG, overflow="fold")
    table.add_column("now", justify="right", no_wrap=True)
    table.add_column("", overflow="fold")
    for each in gauges:
        table.add_row(each["name"], each["value"] or UNKNOWN, _troubles(each["troubles"]))
    return table


def _troubles(words: Sequence[str]) -> Text:
    return Text("! " + ", ".join(words), style=WARN) if words else Text()


def _clamps(clamps: Document, width: int) -> list[RenderableType]:
    """Return alarms that call, times, gauges and the last marks."""
    lines: list[RenderableType] = [Text(clamps["phase"], style=STRONG)]
    calling = [each for each in clamps["alarms"] if each["calls"]]
    bars = [f" ! {each['head']}  {each['words']}".ljust(width) for each in reversed(calling)]
    lines += [Text(words, style=ALARM, overflow="fold") for words in bars]
    if calling:
        lines.append(Text("   a: I have seen it", style=STRONG))
    elif clamps["alarms"]:
        last = clamps["alarms"][-1]
        lines.append(Text(f"last told: {last['head'].lower()}, {last['words']}", style=QUIET))
    lines += [Text(words) for words in clamps["times"]]
    table = plain_table()
    table.add_column("gauge", style=STRONG, overflow="fold")
    for head in ("now", "change"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("", overflow="fold", style=QUIET)
    for gauge in clamps["gauges"]:
        table.add_row(gauge["name"], gauge["now"] or UNKNOWN, gauge["change"] or UNKNOWN, gauge["link"])
    marks = ", ".join(each["words"] or each["kind"] for each in clamps["marks"])
    return [*lines, Text(), table, Text(f"marks: {marks}" if marks else "no mark yet", style=QUIET)]


def _sanding(sanding: Document, width: int, old: bool) -> list[RenderableType]:
    """Return the figures large, how far off, the last passes."""
    head = Text.assemble((sanding["gauge"], STRONG))
    if sanding["target"]:
        head.append(f"   target {sanding['target']}" + (f" ± {sanding['within']}" if sanding["within"] else ""))
    if sanding["zeroed"]:
        head.append("   from zero", style=QUIET)
    stale = old or not sanding["live"]
    style = QUIET if stale else "bold green" if sanding["inside"] else STRONG
    figures = _large(sanding["figures"], sanding["symbol"], width, _FIGURE_ROWS, style)
    words = Text(sanding["way"] or ("" if sanding["live"] else "this reading does not count right now"), style=STRONG)
    passes = [Text(f"pass {each['number']}  {each['value']}  {each['change'] or ''}") for each in sanding["passes"]]
    return [head, Text(), figures, Text(), words, *passes, Text(sanding["left"], style=QUIET)]


def _large(figures: str | None, symbol: str, width: int, rows: int, style: str) -> Text:
    if figures is None:
        return Text("waiting for the gauge", style=QUIET)
    drawn = figures + (symbol if symbol == "°" else "")
    block = Text("\n".join(f"  {line}" for line in big_lines(drawn, width - 8, rows)), style=style)
    return block if symbol == "°" else block.append(f" {symbol}")


def _snapshot(snapshot: Document, width: int, old: bool) -> list[RenderableType]:
    """Return the checkpoints with what was taken, and the one whose turn it is."""
    table = plain_table()
    table.add_column("", no_wrap=True)
    table.add_column("checkpoint", style=STRONG, overflow="fold")
    table.add_column("taken", justify="right", no_wrap=True)
    table.add_column("values", overflow="fold")
    table.add_column("", overflow="fold")
    for task in snapshot["tasks"]:
        count = f"skipped: {task['skipped']}" if task["skipped"] else f"{task['taken']} of {task['wanted']}"
        said = " · ".join(words for words in (task["tolerance"], task["verdict"]) if words)
        mark = "▸" if task["current"] else ""
        table.add_row(mark, task["id"], count, ", ".join(task["values"]), Text(said, style=WARN if task["out"] else ""))
    now = snapshot["now"]
    if now is None:
        return [Text(f"snapshot {snapshot['stage']}"), Text(), table]
    turn: list[RenderableType] = [Text.assemble((now["id"], STRONG), f"  {now['todo']}"), Text(now["where"], STRONG)]
    if not now["typed"]:
        figures, _, symbol = (now["reading"] or "").partition("\u00a0")
        symbol = "°" if figures.endswith("°") else symbol
        style = QUIET if old else "bold green" if now["progress"] else STRONG
        turn.append(_large(figures.rstrip("°") or None, symbol, width, _FIGURES_OF_A_PLACEMENT, style))
        turn.append(Text(f"  {bar(now['progress'], _BAR)}", style=ACCENT))
    return [Text(f"snapshot {snapshot['stage']}"), Text(), table, Text(), *turn]
