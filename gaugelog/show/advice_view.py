"""Which gauge can prove what, for the terminal and as a document.

Here: the table, its words, its JSON. Not here: the numbers (`analysis.advice`).
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.text import Text

from gaugelog.analysis.advice import Advice, AtHand, CanProve
from gaugelog.show.gauge_documents import Document, finite
from gaugelog.show.look import QUIET, STRONG, plain_table, two_lines
from gaugelog.show.numbers import amount_text, count_text, rough_text

YES, NO = "✓", "✗"


def advice_view(advice: Sequence[Advice], at_hand: Sequence[AtHand], units: str) -> RenderableType:
    """Return a row for each checkpoint and gauge: what it proves there, and whether that is the limit."""
    table = plain_table(title=f"{count_text(len(at_hand), 'gauge')} at hand")
    table.add_column("checkpoint", overflow="fold")
    table.add_column("limit", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    table.add_column("gauge", overflow="fold")
    table.add_column("provable", justify="right", no_wrap=True)
    table.add_column("", overflow="fold")
    for each in advice:
        point = each.checkpoint
        head = point.id, amount_text(point.limit, point.quantity, units) if point.limit is not None else "no limit"
        if not each.gauges:
            table.add_row(Text(head[0], style=STRONG), head[1], "", Text("none reads this", style=QUIET), "", "")
        for number, able in enumerate(each.gauges):
            first, limit = head if number == 0 else ("", "")
            table.add_row(
                Text(first, style=STRONG),
                limit,
                "" if point.limit is None else YES if able.proves(point.limit) else NO,
                two_lines(able.gauge.name, _to_its_digit(able, units)),
                "never" if able.smallest is None else rough_text(able.smallest, point.quantity, units),
                _words(each, able),
            )
    unchecked = [each.name for each in at_hand if each.study is None]
    notes = ["provable: the smallest limit that an unmoved neck is called held at, 4 times out of 5."]
    if unchecked:
        verb = "was" if len(unchecked) == 1 else "were"
        notes.append(f"{', '.join(unchecked)} {verb} never checked: taken to scatter by half a digit.")
    return Group(table, Text(), *(Text(each, style=QUIET) for each in notes))


def _to_its_digit(able: CanProve, units: str) -> str:
    digit = f"to {amount_text(able.gauge.resolution, able.gauge.quantity, units)}"
    return f"{digit}, as planned" if able.planned else digit


def _words(advice: Advice, able: CanProve) -> str:
    """Return what would do, in words; empty where the plan does."""
    point = advice.checkpoint
    if point.limit is None or able.proves(point.limit):
        return ""
    if able.enough is not None:
        return f"with {count_text(able.enough, 'placement')} a stage instead of {point.placements}"
    if able.gauge.resolution > point.limit:
        return "its digit is coarser than the limit"
    return "not with ten placements a stage either"


def advice_document(advice: Sequence[Advice]) -> Document:
    """Return the advice as a document."""
    return {
        "checkpoints": [
            {
                "id": each.checkpoint.id,
                "unit": each.checkpoint.quantity.base_unit,
                "limit": finite(each.checkpoint.limit),
                "placements": each.checkpoint.placements,
                "gauges": [
                    {
                        "name": able.gauge.name,
                        "resolution": able.gauge.resolution,
                        "checked": able.gauge.study is not None,
                        "planned": able.planned,
                        "smallest_provable": finite(able.smallest),
                        "proves": able.proves(each.checkpoint.limit),
                        "enough_placements": able.enough,
                    }
                    for able in each.gauges
                ],
            }
            for each in advice
        ]
    }
