"""Every shift with its 95 % interval against its limit, in one chart.

Here: drawing it; the limit is 1 for every checkpoint, so degrees and millimetres stand side by side. Not here: numbers.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from gaugelog.analysis.results import CheckpointComparison, Comparison, Verdict
from gaugelog.model.placement import Snapshot
from gaugelog.show.numbers import amount_text, placement_text, probability_text, uncertain_text
from gaugelog.show.palette import FONT, INK, PAPER, RULE, SOFT_INK, VERDICT_COLOURS, VERDICT_SYMBOLS, faded
from gaugelog.show.words import outcome

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

_ROW_PX = 44
_CLEAR = "rgba(0,0,0,0)"
_LEAST_SPAN, _MOST_SPAN = 1.6, 4.0
_ABOVE, _BELOW = 180, 0
_FIRST_DOT_PX, _DOT_PX, _MOST_DOTS = 9, 5, 3


def judged_rows(comparison: Comparison) -> tuple[CheckpointComparison, ...]:
    """Return the rows that have a shift and a limit, in the plan's order."""
    return tuple(row for row in comparison.checkpoints if row.counts and row.shift is not None and row.limit)


def comparison_label(comparison: Comparison) -> str:
    """Return what the chart shows in words."""
    return f"Shift of each checkpoint with its 95 % interval against its limit. {outcome(comparison)}"


def comparison_figure(comparison: Comparison, units: str = "mm", snapshots: Sequence[Snapshot] = ()) -> Figure:
    """Return the chart of all shifts, each divided by its limit; a symbol a verdict, readable in grey.

    Beside each shift stand the placements it comes from as small dots, less the first stage's mean and divided by the
    limit like the rest: open ones of the first stage above the line, around 0; full ones of the second below it, around
    the shift. Equal ones are stacked.

    Args:
        comparison: at least one of its rows has a shift and a limit.
        units: mm or in, for what is told on pointing at a symbol.
        snapshots: the recording's, or none to leave the placements out.
    """
    from plotly.graph_objects import Figure, Scatter

    rows = judged_rows(comparison)
    figure = Figure()
    for verdict in Verdict:
        chosen = [row for row in rows if row.verdict is verdict]
        if not chosen:
            continue
        figure.add_trace(
            Scatter(
                name=verdict.value,
                x=[_in_limits(row, row.shift) for row in chosen],
                y=[row.id for row in chosen],
                mode="markers",
                marker={"symbol": VERDICT_SYMBOLS[verdict], "size": 11, "color": VERDICT_COLOURS[verdict]}
                | ({"line": {"width": 2}} if "open" in VERDICT_SYMBOLS[verdict] else {}),
                error_x=_interval(chosen, VERDICT_COLOURS[verdict]),
                customdata=[[_told(row, units)] for row in chosen],
                hovertemplate="%{customdata[0]}<extra></extra>",
            )
        )
    for stage, angle in ((comparison.from_stage, _ABOVE), (comparison.to_stage, _BELOW)):
        snapshot = last_that_counts(snapshots, stage)
        if snapshot is not None:
            figure.add_trace(_dots(rows, snapshot, angle, units))
    figure.update_layout(**_layout(rows))
    return figure


def last_that_counts(snapshots: Sequence[Snapshot], stage: str) -> Snapshot | None:
    """Return the snapshot of a stage that is compared: the last complete one, else the one begun last."""
    of_stage = [each for each in snapshots if each.stage == stage]
    complete = [each for each in of_stage if each.complete_utc_us is not None]
    return next(reversed(complete or of_stage), None)


def _dots(rows: tuple[CheckpointComparison, ...], snapshot: Snapshot, angle: int, units: str) -> Any:
    """Return the placements of one stage as small dots off the line, equal ones one further off than the other.

    The legend draws what comes first: a dot on the line that has no place in the chart.
    """
    from plotly.graph_objects import Scatter

    x: list[float | None] = [None]
    y: list[str] = [rows[0].id]
    told: list[list[str]] = [[""]]
    standoff = [0]
    for row in rows:
        stacked: Counter[float] = Counter()
        for placement in snapshot.of(row.id):
            if placement.value is None or row.before.mean is None:
                continue
            place = round(_in_limits(row, placement.value - row.before.mean), 6)
            x.append(place)
            y.append(row.id)
            told.append([f"{row.id}, {snapshot.stage}: {placement_text(placement, units)}"])
            standoff.append(_FIRST_DOT_PX + _DOT_PX * min(stacked[place], _MOST_DOTS - 1))
            stacked[place] += 1
    full = angle == _BELOW
    return Scatter(
        name=f"placement {snapshot.stage}",
        x=x,
        y=y,
        mode="markers",
        marker={
            "symbol": "circle" if full else "circle-open",
            "size": 4,
            "color": INK if full else SOFT_INK,
            "angle": angle,
            "standoff": standoff,
        },
        customdata=told,
        hovertemplate="%{customdata[0]}<extra></extra>",
    )


def _in_limits(row: CheckpointComparison, value: float | None) -> float:
    return (value or 0.0) / (row.limit or 1.0)


def _interval(rows: list[CheckpointComparison], colour: str) -> dict[str, Any]:
    return {
        "type": "data",
        "array": [_in_limits(row, row.expanded_95) for row in rows],
        "color": colour,
        "thickness": 2,
        "width": 6,
    }


def _told(row: CheckpointComparison, units: str) -> str:
    shift = uncertain_text(row.shift, row.expanded_95, row.quantity, units, signed=True)
    limit = amount_text(row.limit, row.quantity, units)
    within = probability_text(row.p_within)
    return f"<b>{row.id}</b>: {row.verdict.value}<br>{shift} (95 %)<br>limit {limit}, within with {within}"


def _span(rows: tuple[CheckpointComparison, ...]) -> float:
    """Return how many limits the axis reaches to either side: all of it, up to four."""
    reach = [abs(_in_limits(row, row.shift)) + _in_limits(row, row.expanded_95) for row in rows]
    return min(max([_LEAST_SPAN, *(1.1 * each for each in reach)]), _MOST_SPAN)


def _layout(rows: tuple[CheckpointComparison, ...]) -> dict[str, Any]:
    span = _span(rows)
    return {
        "height": 110 + _ROW_PX * len(rows),
        "margin": {"l": 10, "r": 10, "t": 40, "b": 40},
        "font": {"family": FONT, "size": 13, "color": INK},
        "paper_bgcolor": PAPER,
        "plot_bgcolor": PAPER,
        "legend": {"orientation": "h", "x": 0, "y": 1, "yanchor": "bottom", "itemclick": False, "bgcolor": _CLEAR},
        "xaxis": {
            "range": [-span, span],
            "tickvals": [-1, 0, 1],
            "ticktext": ["\u2212limit", "0", "+limit"],
            "zeroline": True,
            "zerolinecolor": SOFT_INK,
            "zerolinewidth": 1,
            "showgrid": False,
            "fixedrange": True,
        },
        "yaxis": {
            "categoryorder": "array",
            "categoryarray": [row.id for row in reversed(rows)],
            "automargin": True,
            "gridcolor": RULE,
            "griddash": "dot",
            "fixedrange": True,
        },
        "shapes": [
            {
                "type": "rect", "layer": "below", "xref": "x", "yref": "paper",
                "x0": -1, "x1": 1, "y0": 0, "y1": 1,
                "fillcolor": faded(VERDICT_COLOURS[Verdict.HELD], 0.08),
                "line": {"color": faded(VERDICT_COLOURS[Verdict.HELD], 0.55), "width": 1},
            }
        ],
        "hoverlabel": {"bgcolor": PAPER, "bordercolor": SOFT_INK, "font": {"family": FONT, "color": INK}},
    }  # fmt: skip
