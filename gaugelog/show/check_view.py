"""What a check of a gauge found, for the terminal and as a document; and the gauge while it is left alone.

Here: sentences first, then the budget as the GUM has it. Not here: the sentences themselves (`check_words`), the
numbers (`analysis`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rich.align import Align
from rich.console import Group, RenderableType
from rich.text import Text

from gaugelog.model.datasheet import Datasheet
from gaugelog.model.quantities import Quantity
from gaugelog.review.checked import Checked
from gaugelog.show.bignumber import big_lines
from gaugelog.show.check_words import check_cautions, check_sentences, unknown_sentences, whose_words
from gaugelog.show.gauge_documents import Document, iso_utc
from gaugelog.show.look import ACCENT, QUIET, STRONG, WARN, bar, keys_line, plain_table, two_lines
from gaugelog.show.numbers import (
    UNKNOWN,
    date_text,
    decimals_of_u,
    duration_text,
    rough_text,
    rounded,
    uncertain_text,
    value_text,
)
from gaugelog.show.words import simulated_words
from gaugelog.store.gauge_book import BookEntry

_BAR = 40
_MOST_FIGURE_ROWS = 9


def rest_view(
    name: str,
    sheet: Datasheet,
    *,
    latest: str,
    values: Sequence[float],
    heard_s: float,
    rest_s: float,
    simulated: bool,
    message: str,
    width: int,
    height: int,
) -> RenderableType:
    """Return the view of a gauge that is left alone: its reading, how far it went, how long it still takes."""
    head = Text.assemble((name, STRONG), ("   left alone", QUIET), no_wrap=True, overflow="ellipsis")
    if simulated:
        head.append("   SIMULATED", style=WARN)
    number = latest.split("\u00a0")[0]
    lines = big_lines(number, width - 6, max(1, min(_MOST_FIGURE_ROWS, height - 8))) if latest else []
    figures = Text("\n".join(lines) if lines else "waiting for the gauge", style=STRONG if lines else QUIET)
    left = Text.assemble((bar(heard_s / rest_s if rest_s else 1.0, min(_BAR, width - 24)), ACCENT))
    left.append(f"  {duration_text(max(0.0, rest_s - heard_s))} left")
    went = ""
    if values:
        ends = (value_text(each, sheet.quantity, sheet.resolution) for each in (min(values), max(values)))
        went = " to ".join(ends)
    words = Text(f"between {went}" if went else "", style=QUIET)
    todo = Text("Set it on something firm and leave it alone: don't touch the bench, no sun, no draught.")
    keys = keys_line(("q", "enough, go on"))
    return Group(head, todo, Text(), Align.center(figures), Text(), left, words, Text(message), keys)


def check_view(checked: Checked, now_utc_us: int | None = None) -> RenderableType:
    """Return what a check found: in sentences, then the budget, then what is not known."""
    found = checked.found
    parts: list[RenderableType] = []
    if checked.simulated:
        parts.append(Text(simulated_words([checked.gauge.name]), style=WARN))
    parts.append(Text.assemble((f"check of {whose_words(checked.gauge)}", STRONG), f", {date_text(checked.utc_us)}"))
    overdue = None if now_utc_us is None else checked.overdue_days(now_utc_us)
    if overdue is not None:
        words = f"It is {overdue} days old; you wanted one every {found['every_days']}. Check this gauge again."
        parts.append(Text(words, style=WARN))
    parts.append(Text())
    parts += [Text(f"· {each}") for each in check_sentences(found)]
    parts += [Text(), budget_table(found), Text()]
    parts += [Text(each) for each in unknown_sentences(found)]
    cautions = check_cautions(found)
    if cautions:
        parts += [Text(), Text("Mind:", style=QUIET), *(Text(f"· {each}", style=QUIET) for each in cautions)]
    return Group(*parts)


def book_view(checks: Sequence[Checked], unfinished: Sequence[BookEntry], now_utc_us: int) -> RenderableType:
    """Return the gauge book: a row a check, the newest of each gauge marked, and what is begun and not finished."""
    if not checks and not unfinished:
        return Text("Your gauge book is empty. `gaugelog gauges check GAUGE` makes a check.")
    table = plain_table(title="Gauge book")
    for head, fold in (("", False), ("gauge", True), ("checked", False), ("scatter", False), ("zero", False)):
        table.add_column(head, overflow="fold" if fold else "ellipsis", no_wrap=not fold)
    table.add_column("right to", no_wrap=True)
    newest = {each.gauge.whose: each for each in checks}
    for each in sorted(checks, key=lambda one: (one.gauge.whose, -one.utc_us)):
        counts = newest[each.gauge.whose] is each
        overdue = each.overdue_days(now_utc_us) if counts else None
        table.add_row(
            "▸" if counts else "",
            two_lines(each.gauge.name, _which(each) if counts else ""),
            two_lines(date_text(each.utc_us), f"{overdue} days ago: overdue" if overdue is not None else ""),
            *_figures(each),
            style="" if counts else QUIET,
        )
    notes = [Text("▸ the newest of each gauge counts; `gaugelog gauges show GAUGE` tells more.", style=QUIET)]
    notes += [
        Text(f"Begun {date_text(each.utc_us)} and not finished: {whose_words(each.gauge)}.", style=WARN)
        for each in unfinished
    ]
    return Group(table, Text(), *notes)


def _which(checked: Checked) -> str:
    gauge = checked.gauge
    return f"{gauge.datasheet}, {gauge.identity or gauge.address}" + (", SIMULATED" if checked.simulated else "")


def _figures(checked: Checked) -> tuple[str, str, str]:
    """Return scatter, zero error and limit of error, a dash for what wasn't checked."""
    found, quantity = checked.found, Quantity(checked.found["quantity"])
    pooled, zero, limit = found["pooled"], found["budget"]["zero_error"], found["limit_of_error"]
    return (
        UNKNOWN if pooled is None else rough_text(pooled["sd"], quantity),
        UNKNOWN if zero is None else uncertain_text(zero["value"], zero["half_95"], quantity, signed=True),
        UNKNOWN if limit is None else f"± {rough_text(limit['half_width'], quantity)}",
    )


def budget_table(found: Mapping[str, Any]) -> RenderableType:
    """Return the budget of one reading and of a change as a table of the GUM's columns."""
    quantity, unit = Quantity(found["quantity"]), found["unit"]
    table = plain_table(title=f"Uncertainty budget, {_unit_words(quantity, unit)}")
    table.add_column("from", overflow="fold")
    for head in ("size", "shape", "÷", "u", "c", "ν", "type"):
        table.add_column(head, justify="left" if head in ("shape", "type") else "right", no_wrap=True)
    table.add_column("in a change", overflow="fold")
    for row in found["budget"]["rows"]:
        table.add_row(
            row["source"],
            _significant(row["value"]),
            row["distribution"],
            f"{row['divisor']:.2f}",
            _significant(row["u"]),
            f"{row['sensitivity']:.3g}",
            _dof(row["dof"]),
            row["kind"],
            "drops out" if row["cancels"] else "once" if row["in_change"] == 1 else "both times",
        )
    lines = [Text(_sum_words(name, found["budget"][key], quantity)) for key, name in _SUMS]
    return Group(table, *lines)


_SUMS = (("single", "One reading, corrected for zero and scale"), ("change", "A change read by this gauge"))


def _sum_words(name: str, total: Mapping[str, Any], quantity: Quantity) -> str:
    symbol = "°" if quantity is Quantity.ANGLE else f" {quantity.base_unit}"
    return (
        f"{name}: u {_significant(total['u'])}{symbol}, ν {_dof(total['dof'])}, k {total['k']:.2f}, "
        f"± {_significant(total['half_95'])}{symbol} (95 %)"
    )


def _unit_words(quantity: Quantity, unit: str) -> str:
    return "degrees" if quantity is Quantity.ANGLE else unit


def _significant(number: float | None) -> str:
    """Return a number with two significant digits, as an uncertainty is written (GUM 7.2.6)."""
    if number is None:
        return UNKNOWN
    return "0" if number == 0 else rounded(number, decimals_of_u(number))


def _dof(dof: float | None) -> str:
    return "∞" if dof is None else f"{dof:.0f}" if dof >= 10 else f"{dof:.1f}".removesuffix(".0")


def counting_document(checks: Iterable[Checked]) -> list[Document]:
    """Return of each check what counts in a result."""
    return [
        {
            "gauge": each.gauge.name,
            "time": iso_utc(each.utc_us),
            "pooled": each.found["pooled"],
            "limit_of_error": each.found["limit_of_error"],
        }
        for each in checks
    ]


def checked_document(checked: Checked) -> Document:
    """Return a check as a document."""
    return {
        "gauge": checked.gauge.name,
        "datasheet": checked.gauge.datasheet,
        "address": checked.gauge.address,
        "identity": checked.gauge.identity,
        "simulated": checked.simulated,
        "time": iso_utc(checked.utc_us),
        **checked.found,
    }
