"""What stands round the curves of a clamp session: axes, phases, marks, gaps, pauses.

Here: plotly's layout, as data. Not here: the curves (`drift_chart`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from gaugelog.analysis.results import Gap
from gaugelog.model.placement import MarkKind
from gaugelog.model.quantities import Quantity
from gaugelog.show.charts import ChartSeries, DriftChart, first_level
from gaugelog.show.numbers import MINUS, date_text, display_unit, duration_text
from gaugelog.show.palette import FONT, GAP_FILL, INK, PAPER, PHASE_FILLS, RULE, SOFT_INK
from gaugelog.show.sittings import Panel

Local = Callable[[Sequence[int]], Any]

_ROW_PX = 168
_LANE_PX = 17
_LANES = 4
_PLOT_PX = 760
_LETTER_PX = 7.5
_QUANTITIES = {quantity.base_unit: quantity for quantity in Quantity}


def frame_of(chart: DriftChart, panels: Sequence[Panel], local: Local) -> dict[str, Any]:
    """Return the layout of a chart whose rows are the series and whose columns are the panels."""
    rows, columns = max(len(chart.series), 1), len(panels)
    layout: dict[str, Any] = {
        "height": 130 + _ROW_PX * rows,
        "margin": {"l": 64, "r": 12, "t": 24 + _LANE_PX * _LANES, "b": 44},
        "font": {"family": FONT, "size": 13, "color": INK},
        "paper_bgcolor": PAPER,
        "plot_bgcolor": PAPER,
        "hovermode": "closest",
        "hoverlabel": {"bgcolor": PAPER, "bordercolor": SOFT_INK, "font": {"family": FONT, "color": INK}},
        "shapes": [*_phases(chart, panels, local), *_mark_lines(chart, panels, local), *_gaps(chart, panels, local)],
        "annotations": [
            *_mark_names(chart, panels, local),
            *_row_names(chart, columns),
            *_pause_names(panels, local),
        ],
    }
    spans = _spans(chart.series, chart.units)
    for row in range(rows):
        for column, panel in enumerate(panels):
            number = row * columns + column
            layout[f"xaxis{number + 1 if number else ''}"] = _time_axis(panel, local, last=row == rows - 1)
            layout[f"yaxis{number + 1 if number else ''}"] = _value_axis(chart, row, spans, first=column == 0)
    return layout


def _time_axis(panel: Panel, local: Local, *, last: bool) -> dict[str, Any]:
    start, end = local([panel.start_us])[0], local([panel.end_us])[0]
    return {
        "range": [str(start), str(end)],
        "showgrid": False,
        "showline": True,
        "linecolor": RULE,
        "ticks": "outside" if last else "",
        "tickcolor": SOFT_INK,
        "showticklabels": last,
        "tickformat": "%H:%M",
        "nticks": max(2, round(9 * panel.share)),
        "hoverformat": "%H:%M:%S",
    }


def _spans(series: Sequence[ChartSeries], units: str) -> dict[str, tuple[float, float]]:
    """Return the lowest and highest change of each unit, so that rows of one unit share their scale."""
    spans: dict[str, tuple[float, float]] = {}
    for each in series:
        if not each.value.size:
            continue
        divisor = display_unit(_QUANTITIES[each.unit], units).divisor
        change = (each.value - first_level(each)) / divisor
        low, high = spans.get(each.unit, (0.0, 0.0))
        spans[each.unit] = (min(low, float(change.min())), max(high, float(change.max())))
    return spans


def _value_axis(chart: DriftChart, row: int, spans: dict[str, tuple[float, float]], *, first: bool) -> dict[str, Any]:
    axis: dict[str, Any] = {
        "gridcolor": RULE,
        "griddash": "dot",
        "zeroline": True,
        "zerolinecolor": SOFT_INK,
        "zerolinewidth": 1,
        "nticks": 5,
        "showticklabels": first,
    }
    if row < len(chart.series):
        unit = chart.series[row].unit
        symbol = display_unit(_QUANTITIES[unit], chart.units).symbol
        low, high = spans.get(unit, (-1.0, 1.0))
        room = 0.12 * ((high - low) or 1.0)
        axis |= {"range": [low - room, high + room], "ticksuffix": symbol if first else ""}
    return axis


def _row_names(chart: DriftChart, columns: int) -> list[dict[str, Any]]:
    """Return the name of each series over the top left corner of its row."""
    names = []
    for row, series in enumerate(chart.series):
        number = row * columns + 1
        axis = "" if number == 1 else str(number)
        what = f"<b>{series.name.replace(' - ', f' {MINUS} ')}</b>, change from the start"
        names.append(
            {
                "text": what, "xref": f"x{axis} domain", "yref": f"y{axis} domain", "x": 0, "y": 1,
                "xanchor": "left", "yanchor": "bottom", "showarrow": False, "font": {"size": 12, "color": INK},
            }
        )  # fmt: skip
    return names


def _panel_at(panels: Sequence[Panel], utc_us: int) -> int:
    """Return the panel that a moment lies in, the next one where it lies in a pause."""
    return next((place for place, panel in enumerate(panels) if utc_us <= panel.end_us), len(panels) - 1)


def _axis(column: int, row: int, columns: int) -> str:
    number = row * columns + column + 1
    return "" if number == 1 else str(number)


def _phases(chart: DriftChart, panels: Sequence[Panel], local: Local) -> list[dict[str, Any]]:
    """Return the phases as shaded stretches through all rows."""
    longest = max(chart.drift.series, key=lambda series: len(series.phases), default=None)
    shapes = []
    for phase in longest.phases if longest is not None else ():
        fill = PHASE_FILLS.get(phase.name)
        for column, panel in enumerate(panels):
            start, end = max(phase.start_utc_us, panel.start_us), min(phase.end_utc_us, panel.end_us)
            if fill is None or end <= start:
                continue
            shapes.append(
                {
                    "type": "rect", "layer": "below", "xref": f"x{_axis(column, 0, len(panels))}", "yref": "paper",
                    "x0": str(local([start])[0]), "x1": str(local([end])[0]), "y0": 0, "y1": 1,
                    "fillcolor": fill, "line": {"width": 0},
                }
            )  # fmt: skip
    return shapes


def _mark_lines(chart: DriftChart, panels: Sequence[Panel], local: Local) -> list[dict[str, Any]]:
    shapes = []
    for mark in chart.marks:
        column = _panel_at(panels, mark.utc_us)
        when = str(local([mark.utc_us])[0])
        note = mark.kind is MarkKind.NOTE
        shapes.append(
            {
                "type": "line", "xref": f"x{_axis(column, 0, len(panels))}", "yref": "paper",
                "x0": when, "x1": when, "y0": 0, "y1": 1,
                "line": {"color": SOFT_INK if note else INK, "width": 1, "dash": "dot" if note else "solid"},
            }
        )  # fmt: skip
    return shapes


def _mark_names(chart: DriftChart, panels: Sequence[Panel], local: Local) -> list[dict[str, Any]]:
    """Return the names of the marks over the chart, each on the lowest lane where it is free of its neighbours."""
    ends = [float("-inf")] * _LANES
    names = []
    for mark in sorted(chart.marks, key=lambda mark: mark.utc_us):
        column = _panel_at(panels, mark.utc_us)
        words = mark.words or mark.kind.value
        left_px = _place_px(panels, column, mark.utc_us)
        lane = next((lane for lane, end in enumerate(ends) if end < left_px), _LANES - 1)
        ends[lane] = left_px + _LETTER_PX * len(words) + 14
        names.append(
            {
                "text": words, "xref": f"x{_axis(column, 0, len(panels))}", "yref": "paper",
                "x": str(local([mark.utc_us])[0]), "y": 1, "yshift": 20 + _LANE_PX * lane,
                "xanchor": "left", "yanchor": "bottom", "xshift": -3, "showarrow": False,
                "font": {"size": 12, "color": SOFT_INK if mark.kind is MarkKind.NOTE else INK},
            }
        )  # fmt: skip
    return names


def _place_px(panels: Sequence[Panel], column: int, utc_us: int) -> float:
    """Return about how far to the right a moment lies, in pixels of a usual chart."""
    panel = panels[column]
    within = (utc_us - panel.start_us) / max(panel.end_us - panel.start_us, 1)
    return _PLOT_PX * (sum(each.share for each in panels[:column]) + within * panel.share)


def _pause_names(panels: Sequence[Panel], local: Local) -> list[dict[str, Any]]:
    """Return what each panel is: when it began, and how long nobody had listened before it."""
    if len(panels) < 2:
        return []
    names = []
    for column, panel in enumerate(panels):
        pause = "" if column == 0 else f"{duration_text((panel.start_us - panels[column - 1].end_us) / 1e6)} later, "
        names.append(
            {
                "text": f"{pause}{date_text(panel.start_us)[:10]}", "xref": f"x{_axis(column, 0, len(panels))} domain",
                "yref": "paper", "x": 0, "y": 0, "yshift": -24, "xanchor": "left", "yanchor": "top",
                "showarrow": False, "font": {"size": 12, "color": SOFT_INK},
            }
        )  # fmt: skip
    return names


def _gaps(chart: DriftChart, panels: Sequence[Panel], local: Local) -> list[dict[str, Any]]:
    """Return the gaps that are a fault, hatched in grey on the rows they belong to."""
    shapes = []
    for row, series in enumerate(chart.series):
        found = next((each for each in chart.drift.series if each.name == series.name), None)
        for gap in found.gaps if found is not None else ():
            if gap.fault:
                shapes += _gap_shapes(gap, row, panels, local)
    return shapes


def _gap_shapes(gap: Gap, row: int, panels: Sequence[Panel], local: Local) -> list[dict[str, Any]]:
    shapes = []
    for column, panel in enumerate(panels):
        start, end = max(gap.start_utc_us, panel.start_us), min(gap.end_utc_us, panel.end_us)
        if end <= start:
            continue
        axis = _axis(column, row, len(panels))
        shapes.append(
            {
                "type": "rect", "layer": "below", "xref": f"x{axis}", "yref": f"y{axis} domain",
                "x0": str(local([start])[0]), "x1": str(local([end])[0]), "y0": 0, "y1": 1,
                "fillcolor": GAP_FILL, "line": {"width": 0},
            }
        )  # fmt: skip
    return shapes
