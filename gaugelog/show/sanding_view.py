"""The stream view while sanding: a number to be read across a bench, how far off, a band, the last passes.

Here: drawing a `SandingState` at any size of terminal. Not here: the state itself, the figures (`bignumber`).
"""

from __future__ import annotations

from dataclasses import dataclass

from rich.align import Align
from rich.console import Group, RenderableType
from rich.text import Text

from gaugelog.model.readings import SAYS_NOTHING, Flag
from gaugelog.show.bignumber import big_lines
from gaugelog.show.gauge_documents import flag_words
from gaugelog.show.look import ACCENT, QUIET, STRONG, WARN, keys_line, rows_of
from gaugelog.show.numbers import (
    amount_text,
    count_text,
    decimals_of_step,
    display_unit,
    duration_text,
    rounded,
    value_text,
)
from gaugelog.show.sanding import Pass, SandingState

_GOOD, _AWAY = "bold green", "bold"
_MOST_FIGURE_ROWS = 13
_MOST_PASSES = 6
_LEAST_ROWS_FOR_BAND, _LEAST_COLUMNS_FOR_BAND = 16, 40
_ROWS_BESIDE_PASSES = 9
_COLUMNS_OF_A_PASS = 36
_SPANS = (3.0, 10.0, 30.0, 100.0)
_KEYS = (("space", "marks a pass"), ("z", "zero here"), ("q", "end"))


def sanding_view(state: SandingState, width: int, height: int) -> RenderableType:
    """Return the view of one gauge while sanding, at most `height` rows of `width` columns.

    Args:
        state: the gauge as it stands.
        width: columns of the terminal.
        height: rows of the terminal.
    """
    state_line, words = _state_line(state), _words(state)
    room = _Room(width, height - 1 - rows_of(Group(state_line, words), width) - 1)
    keys = room.for_all(keys_line(*_KEYS))
    air = [Text()] if room.for_all(Text(), Text(), Text()) else []
    with_band = state.within is not None and height >= _LEAST_ROWS_FOR_BAND and width >= _LEAST_COLUMNS_FOR_BAND
    band = room.for_all(Text(), *_band(state, width)) if with_band else []
    most = min(_MOST_PASSES, max(1, room.rows - _ROWS_BESIDE_PASSES))
    passes = room.for_all(*_passes(state, most, width))
    figures = _figures(state, width - 6, min(_MOST_FIGURE_ROWS, 1 + room.rows))
    return Group(state_line, *air, figures, *air, words, *band, *passes, *air, *keys)


@dataclass(slots=True)
class _Room:
    """What is left of a terminal: `rows` of `width` columns."""

    width: int
    rows: int

    def for_all(self, *parts: RenderableType) -> list[RenderableType]:
        """Return the parts and take their rows where there is room for all of them; nothing where there isn't."""
        needed = rows_of(Group(*parts), self.width) if parts else 0
        if needed > self.rows:
            return []
        self.rows -= needed
        return list(parts)


def _state_line(state: SandingState) -> Text:
    """Return the line over the figures: gauge, target, and whatever is wrong with the gauge."""
    text = Text(no_wrap=True, overflow="ellipsis")
    text.append(state.gauge or "gauge", style=STRONG)
    if state.simulated:
        text.append("   SIMULATED", style=WARN)
    if state.target is not None:
        target = value_text(state.target, state.quantity, state.resolution, state.units)
        text.append(f"   target {target}")
        if state.within is not None:
            text.append(f" ± {amount_text(state.within, state.quantity, state.units)}")
    if state.zeroed:
        text.append("   from zero", style=QUIET)
    for words in _troubles(state):
        text.append(f"   ! {words}", style=WARN)
    return text


def _troubles(state: SandingState) -> list[str]:
    if state.link_lost and state.link is not None:
        return [state.link.state.value + (f", {state.link.detail}" if state.link.detail else "")]
    words = flag_words(state.latest.flags) if state.latest is not None else []
    if state.silent_s:
        words.append(f"silent for {duration_text(state.silent_s)}")
    return words


def _figures(state: SandingState, width: int, rows: int) -> RenderableType:
    if state.value is None:
        return Align.center(_one_line("waiting for the first reading", QUIET))
    shown = display_unit(state.quantity, state.units)
    number = rounded(state.value / shown.divisor, decimals_of_step(state.resolution / shown.divisor))
    symbol = "°" if shown.symbol == "°" else ""
    stale = not state.counts or state.silent_s or state.link_lost
    style = QUIET if stale else _GOOD if state.inside else _AWAY
    lines = big_lines(number + symbol, width, rows)
    block = _one_line("\n".join(line.ljust(max(map(len, lines))) for line in lines), style)
    if not symbol:
        block.append(shown.symbol)
    return Align.center(block)


def _one_line(words: str, style: str) -> Text:
    return Text(words, style=style, no_wrap=True, overflow="ellipsis")


def _words(state: SandingState) -> RenderableType:
    """Return how far off and which way, in words with an arrow."""
    if state.latest is not None and state.latest.flags & SAYS_NOTHING:
        flags = state.latest.flags
        why = "on hold" if flags & Flag.HOLD else "over range" if flags & Flag.OVER_RANGE else "stuck on one value"
        return Align.center(Text(f"{why}: this reading doesn't count", style=WARN))
    if state.value is None:
        return Text()
    if state.off is None or state.target is None:
        return Align.center(Text(count_text(state.readings, "reading"), style=QUIET))
    target = value_text(state.target, state.quantity, state.resolution, state.units)
    if abs(state.off) < state.resolution / 2:
        return Align.center(Text(f"● on {target}", style=_GOOD))
    size = value_text(abs(state.off), state.quantity, state.resolution, state.units)
    side, way = ("above", "↓") if state.off > 0 else ("below", "↑")
    inside = "in the band, " if state.inside else ""
    return Align.center(Text(f"{way} {inside}{size} {side} {target}", style=_GOOD if state.inside else _AWAY))


def _band(state: SandingState, width: int) -> list[RenderableType]:
    """Return the band gauge: a pointer over a scale on which the band is solid, with its ends named below."""
    within, target = state.within or 1.0, state.target or 0.0
    off = (state.off or 0.0) / within
    span = next((span for span in _SPANS if abs(off) <= span), _SPANS[-1])
    columns = min(width - 4, 101) // 2 * 2 - 1

    def column(in_bands: float) -> int:
        return round((in_bands / span + 1) / 2 * (columns - 1))

    scale = ["─"] * columns
    low, high = column(-1.0), column(1.0)
    scale[low : high + 1] = ["━"] * (high - low + 1)
    scale[low], scale[high], scale[columns // 2] = "┣", "┫", "╋"
    scale[0], scale[-1] = "├", "┤"
    pointer = [" "] * columns
    if state.off is not None:
        place = column(off)
        beyond = "◀" if place < 0 else "▶"
        pointer[min(max(place, 0), columns - 1)] = "▼" if 0 <= place < columns else beyond
    names = _under(
        columns,
        (column(-span), amount_text(target - span * within, state.quantity, state.units)),
        (columns // 2, amount_text(target, state.quantity, state.units)),
        (column(span), amount_text(target + span * within, state.quantity, state.units)),
    )
    drawn = Text("".join(scale), style=QUIET)
    drawn.stylize(_GOOD if state.inside else ACCENT, low, high + 1)
    pointer_style = _GOOD if state.inside else STRONG
    return [Align.center(Text("".join(pointer), style=pointer_style)), Align.center(drawn), Align.center(names)]


def _under(columns: int, *labels: tuple[int, str]) -> Text:
    """Return a line with labels centred under their columns, pushed in at the ends."""
    cells = [" "] * columns
    for place, label in labels:
        start = min(max(place - len(label) // 2, 0), columns - len(label))
        cells[start : start + len(label)] = label
    return Text("".join(cells), style=QUIET)


def _passes(state: SandingState, most: int, width: int) -> list[RenderableType]:
    """Return the last passes, the newest first, after an empty line; nothing before the first."""
    if not state.passes:
        return []
    lines: list[RenderableType] = [Text()]
    lines += [Align.center(_pass_line(each, state, width)) for each in reversed(state.passes[-most:])]
    return lines


def _pass_line(each: Pass, state: SandingState, width: int) -> Text:
    value = value_text(each.value, state.quantity, state.resolution, state.units)
    change = ""
    if each.change is not None:
        change = value_text(each.change, state.quantity, state.resolution, state.units, signed=True)
    if width < _COLUMNS_OF_A_PASS:
        return _one_line(f"{each.number:>2} {value} {change}", "")
    text = _one_line(f"pass {each.number:>2}  {value:>10}  {change:>10}", "")
    text.stylize(QUIET, 0, 8)
    return text
