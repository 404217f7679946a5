"""What the uncertainties of a neck set are made of, in a terminal.

Here: the budget as a table. Not here: the figures themselves (`neck_view`), the numbers (`analysis.neck_setting`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rich.console import RenderableType
from rich.table import Table

from gaugelog.analysis.neck_setting import Input, NeckSetting, Origin
from gaugelog.model.estimate import Estimate
from gaugelog.model.quantities import Quantity
from gaugelog.show.layout import fitting, prose
from gaugelog.show.look import QUIET, STRONG, plain_table, two_lines
from gaugelog.show.numbers import count_text, rough_text

_FIGURES = {
    "neck angle": ("neck_angle",),
    "bearing": ("required_bearing.bass", "required_bearing.treble"),
    "centreline": ("centreline_offset",),
}
"""Columns, and the figures of which each shows the larger share."""
_LEAST_SHARE = 0.001


def budget_view(setting: NeckSetting, units: str) -> Iterable[RenderableType]:
    """Yield what each input's uncertainty does to the figures that matter, the largest first.

    Args:
        setting: the figures with their budget.
        units: mm or in, for lengths.
    """
    columns = {
        head: told
        for head, names in _FIGURES.items()
        if (told := tuple(name for name in names if name in setting.figures))
    }
    names = [name for told in columns.values() for name in told]
    rows = sorted(setting.inputs, key=lambda each: -max((_share(setting, name, each) for name in names), default=0.0))
    shown = [
        each for each in rows if any(_share(setting, name, each) >= _LEAST_SHARE for name in names) or each.worth_mm
    ]
    if not shown:
        yield prose(
            "Everything here is taken as exact: there is nothing that the uncertainties are made of.", style=QUIET
        )
        return
    yield fitting(_wide(setting, shown, columns, units), _narrow(setting, shown, columns, units))
    rest = len(setting.inputs) - len(shown)
    if rest:
        yield prose(f"Left out: {count_text(rest, 'input')} with less than a thousandth of every u².", style=QUIET)
    yield prose(
        "u² together is the sum of the squares above it; for the bearing, of the side that is less sure.", style=QUIET
    )


def _wide(
    setting: NeckSetting, shown: Iterable[Input], columns: Mapping[str, tuple[str, ...]], units: str
) -> RenderableType:
    table = _headed(columns, "± u")
    table.add_column("a digit\nat the bridge", justify="right", no_wrap=True)
    for each in shown:
        worth = "" if each.worth_mm is None else rough_text(each.worth_mm, Quantity.LENGTH, units)
        table.add_row(input_words(each), _u(each, units), *_cells(setting, each, columns, units), worth)
    table.add_row("together", "", *_together(setting, columns, units), "", style=STRONG)
    return table


def _narrow(
    setting: NeckSetting, shown: Iterable[Input], columns: Mapping[str, tuple[str, ...]], units: str
) -> RenderableType:
    """Return the same with u and the digit's worth under the input's name."""
    table = _headed(columns)
    for each in shown:
        under = f"± {_u(each, units)}" if each.estimate.u > 0 else "exact"
        if each.worth_mm is not None:
            under += f"\na digit: {rough_text(each.worth_mm, Quantity.LENGTH, units)}"
        table.add_row(two_lines(input_words(each), under, style=STRONG), *_cells(setting, each, columns, units))
    table.add_row("together", *_together(setting, columns, units), style=STRONG)
    return table


def _headed(columns: Iterable[str], *more: str) -> Table:
    table = plain_table(title="What the uncertainties are made of")
    table.add_column("input", overflow="fold", style=STRONG)
    for head in (*more, *columns):
        table.add_column(head, justify="right", no_wrap=True)
    return table


def input_words(each: Input) -> str:
    """Return an input as the builder knows it: a checkpoint's id, or a key of the file in words."""
    if each.origin is Origin.READ:
        return each.name
    key = (each.name.partition(".")[2] or each.name).replace("_", " ")
    return key if each.origin is Origin.FILE else f"{key}, not read"


def _u(each: Input, units: str) -> str:
    return rough_text(each.estimate.u, _quantity(each.estimate), units) if each.estimate.u > 0 else "exact"


def _cells(setting: NeckSetting, each: Input, columns: Mapping[str, tuple[str, ...]], units: str) -> list[str]:
    return [_contribution(setting, told, each, units) for told in columns.values()]


def _together(setting: NeckSetting, columns: Mapping[str, tuple[str, ...]], units: str) -> list[str]:
    worst = [max((setting.figures[name] for name in told), key=lambda each: each.u) for told in columns.values()]
    return [rough_text(each.u, _quantity(each), units) if each.u > 0 else "exact" for each in worst]


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
