"""How a neck stands, in a terminal: the figures, the bridge's travel drawn, what to take off.

Here: tables and drawing. Not here: the sentences (`neck_words`), the budget (`neck_budget_view`), the numbers
(`analysis`), pictures (`neck_views`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.text import Text

from gaugelog.analysis.neck_cut import CutAdvice
from gaugelog.analysis.neck_setting import NeckSetting
from gaugelog.analysis.neckset import SIDES
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Instrument
from gaugelog.model.quantities import Quantity
from gaugelog.show.layout import fitting, prose
from gaugelog.show.look import QUIET, STRONG, WARN, plain_table, two_lines
from gaugelog.show.neck_budget_view import budget_view
from gaugelog.show.neck_words import (
    CENTRELINE_MEANS,
    FIGURE_WORDS,
    break_sentences,
    cut_sentences,
    left_open_sentences,
    misfit_sentences,
    missing_sentences,
    taken_sentences,
    travel_sentence,
)
from gaugelog.show.numbers import (
    UNKNOWN,
    amount_text,
    fraction_text,
    length_text,
    rough_text,
    rounded,
    uncertain_text,
    value_beside_u,
)

_SIDED = ("plane_at_saddle", "required_bearing", "string_margin")
_MM_PER_INCH = 25.4
_LEAST_FRACTION = 1 / 128
_CUT_FIGURES = ("neck_angle", "required_bearing.bass", "required_bearing.treble", "roll", "centreline_offset")


def figure_text(name: str, estimate: Estimate | None, units: str, *, signed: bool = False) -> str:
    """Return one figure with its standard uncertainty, a dash where it can't be told."""
    if estimate is None:
        return UNKNOWN
    if estimate.unit == "mm/deg":
        if units == "in":
            return f"{rounded(estimate.value / _MM_PER_INCH, 3)} in a degree"
        return f"{rounded(estimate.value, 2)} mm a degree"
    quantity = Quantity.ANGLE if estimate.unit == "deg" else Quantity.LENGTH
    if estimate.u <= 0:
        alone = amount_text(round(estimate.value, 4), quantity, units)
        return f"+{alone}" if signed and round(estimate.value, 4) > 0 else alone
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
    parts: list[RenderableType] = [prose(title, style=STRONG), Text(), _figures(setting.figures, units)]
    if "travel.margin_low" in setting.figures:
        parts += [Text(), _Travel(setting, instrument)]
    parts += [Text(), *_sentences(setting, instrument, cut is None)]
    if any(each.u > 0 for each in setting.figures.values()):
        parts.append(prose("Behind each ±: the standard uncertainty.", style=QUIET))
    if cut is not None:
        parts += [Text(), *_cut(setting, cut, instrument, passes)]
    if budget:
        parts += [Text(), *budget_view(setting, units)]
    return Group(*parts)


def figure_rows(figures: Mapping[str, Estimate], units: str) -> Iterable[tuple[str, str, str]]:
    """Yield each figure as text: what it is, its value ± u, and what that means; a side's name goes with it.

    A length in inches has its nearest 1/64 with what it means.
    """
    for name in ("neck_angle", "roll", "centreline_offset", "break_angle", "plane_height", "mm_per_degree"):
        if name in figures:
            signed = name in ("roll", "centreline_offset")
            shown = figure_text(name, figures[name], units, signed=signed)
            said = (_fraction(figures[name], units), _remark(name, figures, units))
            yield FIGURE_WORDS[name], shown, ", ".join(words for words in said if words)
    for base in _SIDED:
        for side in SIDES:
            if f"{base}.{side}" in figures:
                estimate = figures[f"{base}.{side}"]
                shown = figure_text(base, estimate, units)
                yield f"{FIGURE_WORDS[base]}, {side}", shown, _fraction(estimate, units)


def _fraction(estimate: Estimate | None, units: str) -> str:
    """Return a length to the nearest 1/64 in where lengths are in inches and it isn't next to nothing; else nothing."""
    if estimate is None or estimate.unit != "mm" or units != "in":
        return ""
    inches = estimate.value / _MM_PER_INCH
    return f"{fraction_text(inches)}\N{NO-BREAK SPACE}in" if abs(inches) >= _LEAST_FRACTION else ""


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
        sides = [figures.get(f"{base}.{side}") for side in SIDES]
        if any(sides):
            table.add_row(FIGURE_WORDS[base], *(_side_cell(base, each, units) for each in sides))
    return Group(singles, Text(), table) if table.row_count else singles


def _side_cell(base: str, estimate: Estimate | None, units: str) -> RenderableType:
    shown, fraction = figure_text(base, estimate, units), _fraction(estimate, units)
    return two_lines(shown, fraction) if fraction else shown


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
        ends = [value_beside_u(end, None, Quantity.LENGTH, units) for end in (low, high)]
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
        columns = {side: round(min(max(share, 0.0), 1.0) * (width - 1)) for side, share in sides.items()}
        together = len(set(columns.values())) < len(columns)
        for side, column in columns.items():
            line[column] = "◆" if together else side[0].upper()
        yield prose(_travel_key(kept > 0, together), style=QUIET)
        yield Text(f"{ends[0]} {''.join(line)} {ends[1]}")
        places = ", ".join(f"{side} at {rounded(100 * share, 0)} %" for side, share in sides.items())
        margins = [figure_text(name, figures[name], units) for name in ("travel.margin_low", "travel.margin_high")]
        yield prose(f"{places} of the travel; room left: {margins[0]} down, {margins[1]} up", style=QUIET)


def _travel_key(reserve: bool, together: bool) -> str:
    """Return what the marks on the line mean; two sides at the same place share one."""
    kept = ", ░ reserve" if reserve else ""
    marks = "◆: where both sides" if together else "B and T: where bass and treble"
    return f"bridge travel{kept}; {marks} must bear"


def _sentences(setting: NeckSetting, instrument: Instrument, advise: bool) -> list[RenderableType]:
    """Return what is to be said of a neck; with `advise` where to ask what to do about it."""
    found: list[RenderableType] = []
    travel = travel_sentence(setting, instrument)
    if travel is not None:
        words, bad = travel
        remedy = " `gaugelog neck --cut` says where wood comes off." if bad and advise else ""
        found.append(prose(words + remedy, style=WARN if bad else STRONG))
    found += [prose(words, style=WARN) for words in misfit_sentences(setting)]
    found += [prose(words, style=WARN) for words in break_sentences(setting, instrument)]
    found += [prose(words) for words in missing_sentences(setting)]
    found += [prose(words) for words in left_open_sentences(setting, instrument)]
    found += [prose(words, style=QUIET) for words in taken_sentences(setting, instrument.units)]
    return found


def _cut(setting: NeckSetting, cut: CutAdvice, instrument: Instrument, passes: int | None) -> Iterable[RenderableType]:
    units = instrument.units
    yield Text("Wood to take off", style=STRONG)
    for words, warning in cut_sentences(cut, instrument, passes):
        yield prose(words, style=WARN if warning else "")
    if not cut.needed or cut.aim is None:
        return
    yield Text()
    yield fitting(_outcome(setting, cut, units, aside=True), _outcome(setting, cut, units, aside=False))
    if not cut.exact.nothing:
        yield prose(_unrounded(cut, units), style=QUIET)
    yield prose("Blade and sander: guards on, hands behind the edge, dust drawn off, a mask on.", style=QUIET)


def _outcome(setting: NeckSetting, cut: CutAdvice, units: str, *, aside: bool) -> RenderableType:
    """Return the figures now and after the cut, beside each other or one under the other."""
    table = plain_table()
    table.add_column("", overflow="fold", style=STRONG)
    for head in ("now", "after the cut") if aside else ("now → after the cut",):
        table.add_column(head, justify="right", no_wrap=True)
    for name in _CUT_FIGURES:
        if name not in cut.figures:
            continue
        base, _, side = name.partition(".")
        signed = base in ("roll", "centreline_offset")
        now, after = (figure_text(name, each[name], units, signed=signed) for each in (setting.figures, cut.figures))
        cells = (now, after) if aside else (f"{now}\n→ {after}",)
        table.add_row(f"{FIGURE_WORDS[base]}, {side}" if side else FIGURE_WORDS[base], *cells)
    return table


def _unrounded(cut: CutAdvice, units: str) -> str:
    """Return the floor's depths to a tenth of a step, with their uncertainty where there is one."""
    tenth = cut.step / 10
    ends = [length_text(round(depth / tenth) * tenth, tenth, units) for depth in (cut.exact.body_edge, cut.exact.tail)]
    u = f", uncertain by {rough_text(cut.u_depth, Quantity.LENGTH, units)}" if cut.u_depth > 0 else ""
    step = amount_text(cut.step, Quantity.LENGTH, units)
    return f"Unrounded: {ends[0]} at the body-edge end, {ends[1]} at the tail end{u}. Rounded to steps of {step}."
