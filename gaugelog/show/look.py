"""The look of the terminal: styles, rules, bars, and the strip that draws a shift against its limit.

Here: small pieces that tables and live views are built of. Not here: any whole view.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from io import StringIO

from rich.box import Box
from rich.console import Console, ConsoleOptions, RenderableType
from rich.table import Table
from rich.text import Text

from gaugelog.analysis.results import CheckpointComparison, Verdict

QUIET, STRONG, ACCENT, WARN, ALARM = "dim", "bold", "cyan", "yellow", "bold white on red"
_STYLES = {
    Verdict.HELD: "green",
    Verdict.MOVED: "bold red",
    Verdict.NOT_PROVEN: "yellow",
    Verdict.NO_VERDICT: "magenta",
}
_HEAD_RULE = Box("    \n    \n ── \n    \n    \n    \n    \n    \n")
_SPAN_IN_LIMITS = 1.5
_BETWEEN_KEYS = "   "


def style_of(row: CheckpointComparison) -> str:
    """Return the style of a row's verdict; colour only underlines what mark and word say."""
    return _STYLES[row.verdict] if row.counts else QUIET


def plain_table(*, title: str = "", expand: bool = False) -> Table:
    """Return an empty table in the house's look: one rule under the head, no other lines."""
    return Table(
        title=title or None,
        title_justify="left",
        title_style=STRONG,
        box=_HEAD_RULE,
        header_style=QUIET,
        pad_edge=False,
        show_edge=False,
        padding=(0, 1, 0, 0),
        expand=expand,
    )


def two_lines(first: str, second: str, *, style: str = "") -> Text:
    """Return a cell of two lines, the second one quiet."""
    return Text.assemble((first, style), "\n", (second, QUIET), overflow="fold")


def strip(row: CheckpointComparison, width: int) -> Text:
    """Return one line that draws the shift with its 95 % interval against the limit band.

    The limits stand in the same columns whatever they are, so rows can be compared; what lies past the end of the
    line is an arrow.
    """
    if row.limit is None or row.limit <= 0:
        return Text("no limit".center(width), style=QUIET)
    cells = [" "] * width
    low, high = column_in_strip(-1.0, width), column_in_strip(1.0, width)
    cells[low : high + 1] = ["·"] * (high - low + 1)
    cells[width // 2] = "┆"
    cells[low] = cells[high] = "│"
    if row.shift is not None:
        _draw_interval(cells, row.shift / row.limit, (row.expanded_95 or 0.0) / row.limit)
    text = Text("".join(cells), style=style_of(row))
    for place, cell in enumerate(cells):
        if cell in "·┆│":
            text.stylize(QUIET, place, place + 1)
    return text


def column_in_strip(in_limits: float, width: int) -> int:
    """Return the column of a shift given in limits; it may lie outside the strip."""
    half = (width - 1) / 2
    return round(half + in_limits / _SPAN_IN_LIMITS * half)


def _draw_interval(cells: list[str], shift: float, half_width: float) -> None:
    """Draw the interval and its middle over the band."""
    last = len(cells) - 1
    low, high = column_in_strip(shift - half_width, len(cells)), column_in_strip(shift + half_width, len(cells))
    for place in range(max(low, 0), min(high, last) + 1):
        cells[place] = "━"
    if 0 <= low <= last and low < high:
        cells[low] = "┣"
    if 0 <= high <= last and low < high:
        cells[high] = "┫"
    if low < 0:
        cells[0] = "◀"
    if high > last:
        cells[last] = "▶"
    middle = column_in_strip(shift, len(cells))
    if 0 <= middle <= last:
        cells[middle] = "◆"


def bar(share: float, width: int) -> str:
    """Return a bar that is filled to `share` (0 to 1), in eighths of a character."""
    filled = round(min(max(share, 0.0), 1.0) * width * 8)
    whole, eighths = divmod(filled, 8)
    text = "█" * whole + ("" if eighths == 0 else " ▏▎▍▌▋▊▉"[eighths])
    return text + "░" * (width - len(text))


def rows_of(view: RenderableType, width: int) -> int:
    """Return how many rows a view takes at a width in columns."""
    return len(_measure(width).render_lines(view, pad=False))


@lru_cache(maxsize=8)
def _measure(width: int) -> Console:
    """Return a console that nothing is printed on, to lay things out for a width."""
    return Console(file=StringIO(), width=width, highlight=False, markup=False, emoji=False, color_system=None)


def folded(words: str, width: int, most: int) -> Text:
    """Return words over at most so many lines of `width` columns; what is left over ends in an ellipsis."""
    lines = Text(words).wrap(_measure(width), width, overflow="fold")
    if len(lines) <= most:
        return Text(words, overflow="fold")
    for line in lines:
        line.rstrip()
    last = Text(" ").join(lines[most - 1 :])
    last.truncate(width, overflow="ellipsis")
    return Text("\n").join([*lines[: most - 1], last])


def keys_line(*keys: tuple[str, str]) -> RenderableType:
    """Return the line that tells the keys: pairs of key and what it does, no pair broken across lines."""
    return _KeysLine(keys)


@dataclass(frozen=True, slots=True)
class _KeysLine:
    keys: tuple[tuple[str, str], ...]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterable[RenderableType]:
        """Fill lines with as many pairs as fit."""
        line = Text()
        for key, what in self.keys:
            if line and len(line) + len(_BETWEEN_KEYS) + len(key) + 1 + len(what) > options.max_width:
                yield line
                line = Text()
            line.append(_BETWEEN_KEYS if line else "").append(key, style=STRONG).append(f" {what}", style=QUIET)
        yield line
