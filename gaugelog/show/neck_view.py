"""How a neck stands, in a terminal: the figures, the bridge's travel drawn, the budget, what to take off.

Here: tables and drawing. Not here: the sentences (`neck_words`), the numbers (`analysis`), pictures (`neck_views`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.text import Text

from gaugelog.analysis.neck_cut import CutAdvice
from gaugelog.analysis.neck_setting import Input, NeckSetting, Origin
from gaugelog.analysis.neckset import SIDES
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Instrument
from gaugelog.model.quantities import Quantity
from gaugelog.show.look import QUIET, STRONG, WARN, plain_table
from gaugelog.show.neck_words import (
    CENTRELINE_MEANS,
    FIGURE_WORDS,
    cut_sentences,
    misfit_sentences,
    missing_sentences,
    taken_sentences,
    travel_sentence,
)
from gaugelog.show.numbers import UNKNOWN, amount_text, length_text, rough_text, rounded, uncertain_text, value_beside_u

_BUDGET_FIGURES = {
    "neck angle": ("neck_angle",),
    "bearing": ("required_bearing.bass", "required_bearing.treble"),
    "centreline": ("centreline_offset",),
}
"""Columns of the budget, and the figures of which each shows the larger share."""
_LEAST_SHARE = 0.001
_SIDED = ("plane_at_saddle", "required_bearing", "string_margin")


def figure_text(name: str, estimate: Estimate | None, units: str, *, signed: bool = False) -> str:
    """Return one figure with its standard uncertainty, a dash where it can't be told."""
    if estimate is None:
        return UNKNOWN
    if estimate.unit == "mm/deg":
        if units == "in":
            return f"{rounded(estimate.value / 25.4, 3)} in a degree"
        return f"{rounded(estimate.value, 2)} mm a degree"
    quantity = Quantity.ANGLE if estimate.unit == "deg" else Quantity.LENGTH
    if estimate.u <= 0:
        return amount_text(round(estimate.value, 4), quantity, units)
    return uncertain_text(estimate.value, estimate.u, quantity, units, signed=signed)


def neck_view(
    setting: NeckSetting,
    instrument: Instrument,
    *,
    title: str,
    budget: bool = False,
    cut: CutAdvice | None = None,
    passes: int | None = None,
) -> RenderableType:
    """Return how a neck stands and what that asks of the bridge.

    Args:
        setting: the figures.
        instrument: whose neck it is.
        title: what they come from, in words.
        budget: show what each input contributes.
        cut: what to take off, None where that isn't asked for.
        passes: how many passes that is, where the recording knows.
    """
    units = instrument.units
    parts: list[RenderableType] = [Text(title, style=STRONG), Text(), _figures(setting.figures, units)]
    if "travel.margin_low" in setting.figures:
        parts += [Text(), _Travel(setting, instrument)]
    parts += [Text(), *_sentences(setting, instrument)]
    parts.append(Text("Behind each ±: the standard uncertainty.", style=QUIET))
    if cut is not None:
        parts += [Text(), *_cut(setting, cut, instrument, passes)]
    if budget:
        parts += [Text(), *_budget(setting, units)]
    return Group(*parts)


def figure_rows(figures: Mapping[str, Estimate], units: str) -> Iterable[tuple[str, str, str]]:
    """Yield each figure as text: what it is, its value ± u, and what that means; a side's name goes with it."""
    for name in ("neck_angle", "roll", "centreline_offset", "break_angle", "plane_height", "mm_per_degree"):
        if name in figures:
            signed = name in ("roll", "centreline_offset")
            shown = figure_text(name, figures[name], units, signed=signed)
            yield FIGURE_WORDS[name], shown, _remark(name, figures, units)
    for base in _SIDED:
        for side in SIDES:
            if f"{base}.{side}" in figures:
                yield f"{FIGURE_WORDS[base]}, {side}", figure_text(base, figures[f"{base}.{side}"], units), ""


def _figures(figures: Mapping[str, Estimate], units: str) -> RenderableType:
    singles = plain_table()
    singles.show_header = False
    singles.add_column("", overflow="fold", style=STRONG)
    singles.add_column("", no_wrap=True)
    singles.add_column("", overflow="fold", style=QUIET)
    for words, shown, remark in figure_rows(
        {name: each for name, each in figures.items() if name.partition(".")[0] not in _SIDED}, units
    ):
        singles.add_row(words, shown, remark)
    table = plain_table()
    table.add_column("", overflow="fold", style=STRONG)
    for side in SIDES:
        table.add_column(side, justify="right", no_wrap=True)
    for base in _SIDED:
        sides = [figure_text(base, figures.get(f"{base}.{side}"), units) for side in SIDES]
        if sides != [UNKNOWN, UNKNOWN]:
            table.add_row(FIGURE_WORDS[base], *sides)
    return Group(singles, Text(), table) if table.row_count else singles


def _remark(name: str, figures: Mapping[str, Estimate], units: str) -> str:
    low, high = figures.get("angle_window.low"), figures.get("angle_window.high")
    if name == "neck_angle" and low is not None and high is not None:
        if low.value > high.value:
            return "no neck angle works on both sides"
        ends = [value_beside_u(each.value, each.u, Quantity.ANGLE, units) for each in (low, high)]
        return f"works from {ends[0]} to {ends[1]}"
    if name == "roll" and abs(figures[name].value) > 2 * figures[name].u:
        return "treble edge higher" if figures[name].value > 0 else "bass edge higher"
    if name == "centreline_offset" and abs(figures[name].value) > 2 * figures[name].u:
        return CENTRELINE_MEANS[figures[name].value < 0]
    return ""


@dataclass(frozen=True, slots=True)
class _Travel:
    """The bridge's travel as a line, with its reserve and where the two sides must bear."""

    setting: NeckSetting
    instrument: Instrument

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterable[RenderableType]:
        """Draw for the width there is."""
        units = self.instrument.units
        figures = self.setting.figures
        low, high = figures["travel.low"].value, figures["travel.high"].value
        ends = [amount_text(end, Quantity.LENGTH, units) for end in (low, high)]
        width = max(min(options.max_width, 80) - sum(map(len, ends)) - 2, 21)
        reserve = (self.instrument.bridge.travel_reserve or 0.0) / (high - low)
        kept = round(reserve * (width - 1))
        line = ["─"] * width
        line[:kept] = line[width - kept :] = "░" * kept
        sides = {
            side: (figures[f"required_bearing.{side}"].value - low) / (high - low)
            for side in SIDES
            if f"required_bearing.{side}" in figures
        }
        for side, share in sides.items():
            line[round(min(max(share, 0.0), 1.0) * (width - 1))] = side[0].upper()
        drawn = Text(f"{ends[0]} {''.join(line)} {ends[1]}")
        yield Text("bridge travel, ░ reserve; B and T: where bass and treble must bear", style=QUIET)
        yield drawn
        places = ", ".join(f"{side} at {rounded(100 * share, 0)} %" for side, share in sides.items())
        margins = [figure_text(name, figures[name], units) for name in ("travel.margin_low", "travel.margin_high")]
        yield Text(f"{places} of the travel; left {margins[0]} down, {margins[1]} up", style=QUIET)


def _sentences(setting: NeckSetting, instrument: Instrument) -> list[RenderableType]:
    found: list[RenderableType] = []
    travel = travel_sentence(setting, instrument)
    if travel is not None:
        found.append(Text(travel[0], style=WARN if travel[1] else STRONG))
    found += [Text(words, style=WARN) for words in misfit_sentences(setting)]
    bend, least = setting.figure("break_angle"), instrument.bridge.least_break_angle
    if bend is not None and least is not None and bend.value < least:
        wanted = amount_text(least, Quantity.ANGLE)
        found.append(Text(f"The strings bend over the saddle less than the {wanted} wanted.", style=WARN))
    found += [Text(words) for words in missing_sentences(setting)]
    found += [Text(words, style=QUIET) for words in taken_sentences(setting, instrument.units)]
    return found


def _cut(setting: NeckSetting, cut: CutAdvice, instrument: Instrument, passes: int | None) -> Iterable[RenderableType]:
    units = instrument.units
    yield Text("Wood to take off", style=STRONG)
    for words, warning in cut_sentences(cut, instrument, passes):
        yield Text(words, style=WARN if warning else "")
    if cut.needed and cut.aim is not None:
        table = plain_table()
        table.add_column("", overflow="fold", style=STRONG)
        table.add_column("now", justify="right", no_wrap=True)
        table.add_column("after the cut", justify="right", no_wrap=True)
        for name in ("neck_angle", "required_bearing.bass", "required_bearing.treble", "roll", "centreline_offset"):
            if name in cut.figures:
                base, _, side = name.partition(".")
                words = f"{FIGURE_WORDS[base]}, {side}" if side else FIGURE_WORDS[base]
                signed = base in ("roll", "centreline_offset")
                table.add_row(
                    words,
                    figure_text(name, setting.figures[name], units, signed=signed),
                    figure_text(name, cut.figures[name], units, signed=signed),
                )
        yield table
        if not cut.exact.nothing:
            ends = [length_text(depth, 0.01, units) for depth in (cut.exact.body_edge, cut.exact.tail)]
            u = rough_text(cut.u_depth, Quantity.LENGTH, units)
            step = amount_text(cut.step, Quantity.LENGTH, units)
            exact = (
                f"Unrounded: {ends[0]} at the body-edge end, {ends[1]} at the tail end, uncertain by {u}; in steps of"
            )
            yield Text(f"{exact} {step}.", style=QUIET)
        yield Text("Blade and sander: guards on, hands behind the edge, dust drawn off, a mask on.", style=QUIET)


def _budget(setting: NeckSetting, units: str) -> Iterable[RenderableType]:
    """Yield what each input's uncertainty does to the figures that matter, the largest first."""
    columns = {
        head: told
        for head, names in _BUDGET_FIGURES.items()
        if (told := tuple(name for name in names if name in setting.figures))
    }
    table = plain_table(title="What the uncertainties are made of")
    table.add_column("input", overflow="fold", style=STRONG)
    table.add_column("± u", justify="right", no_wrap=True)
    for head in columns:
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("a digit\nat the bridge", justify="right", no_wrap=True)
    names = [name for told in columns.values() for name in told]
    rows = sorted(setting.inputs, key=lambda each: -max((_share(setting, name, each) for name in names), default=0.0))
    shown = [
        each for each in rows if any(_share(setting, name, each) >= _LEAST_SHARE for name in names) or each.worth_mm
    ]
    for each in shown:
        quantity = Quantity.ANGLE if each.estimate.unit == "deg" else Quantity.LENGTH
        u = rough_text(each.estimate.u, quantity, units) if each.estimate.u > 0 else "exact"
        cells = [_contribution(setting, told, each, units) for told in columns.values()]
        worth = "" if each.worth_mm is None else rough_text(each.worth_mm, Quantity.LENGTH, units)
        table.add_row(_input_words(each), u, *cells, worth)
    together = [_together(setting, told, units) for told in columns.values()]
    table.add_row("together", "", *together, "", style=STRONG)
    yield table
    rest = len(setting.inputs) - len(shown)
    if rest:
        yield Text(f"Left out: {rest} lengths of the file, each less than a thousandth of any u².", style=QUIET)
    yield Text(
        "u² together is the sum of the squares above it; for the bearing, of the side that is less sure.", style=QUIET
    )


def _input_words(each: Input) -> str:
    """Return an input as the builder knows it: a checkpoint's id, or a key of the file in words."""
    if each.origin is Origin.READ:
        return each.name
    if each.origin is Origin.FILE:
        return each.name.partition(".")[2].replace("_", " ")
    return f"{each.name.partition('.')[2].replace('_', ' ') or each.name}, not read"


def _together(setting: NeckSetting, told: tuple[str, ...], units: str) -> str:
    worst = max((setting.figures[name] for name in told), key=lambda each: each.u)
    return rough_text(worst.u, _quantity(worst), units) if worst.u > 0 else "exact"


def _quantity(estimate: Estimate) -> Quantity:
    return Quantity.ANGLE if estimate.unit == "deg" else Quantity.LENGTH


def _share(setting: NeckSetting, figure: str, each: Input) -> float:
    """Return an input's share of a figure's variance."""
    u = setting.figures[figure].u
    return (setting.budget[figure].get(each.name, 0.0) / u) ** 2 if u > 0 else 0.0


def _contribution(setting: NeckSetting, told: tuple[str, ...], each: Input, units: str) -> str:
    """Return the larger of what an input's uncertainty does to these figures; empty where it does next to nothing."""
    name = max(told, key=lambda figure: abs(setting.budget[figure].get(each.name, 0.0)))
    if _share(setting, name, each) < _LEAST_SHARE:
        return ""
    return rough_text(abs(setting.budget[name][each.name]), _quantity(setting.figures[name]), units)
