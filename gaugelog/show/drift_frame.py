"""What stands round the curves of a clamp session: axes, names of series, marks and pauses.

Here: plotly's layout, as data. Not here: the curves (`drift_chart`), what lies behind them
(`drift_shapes`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from gaugelog.model.placement import MarkKind
from gaugelog.show.charts import DriftChart
from gaugelog.show.drift_lanes import Lane, reach_of
from gaugelog.show.drift_rows import Row
from gaugelog.show.drift_shapes import axis_name, escaped, shapes_of
from gaugelog.show.drift_steps import found_names, found_shapes
from gaugelog.show.numbers import MINUS, date_text, duration_text
from gaugelog.show.palette import FONT, INK, PAPER, RULE, SOFT_INK
from gaugelog.show.sittings import Panel, panel_at

_ROW_PX = 146
_LANE_PX = 17
_LANES = 4
_ABOVE_PX = 24 + _LANE_PX * _LANES
_BELOW_PX = 28
_PAUSE_PX = 34
_LETTER_PX = 7.5
_MOST_LETTERS = 30
_BETWEEN_PX = 27
_CLIMATE_SHARE = 0.6


def frame_of(chart: DriftChart, rows: Sequence[Row], panels: Sequence[Panel]) -> dict[str, Any]:
    """Return the layout of a chart whose rows are the series and whose columns are the panels."""
    columns = len(panels)
    below_px = _BELOW_PX + (_PAUSE_PX if columns > 1 else 0)
    layout: dict[str, Any] = {
        "height": _ABOVE_PX + round(plot_px(rows)) + below_px,
        "margin": {"l": 64, "r": 12, "t": _ABOVE_PX, "b": below_px},
        "font": {"family": FONT, "size": 13, "color": INK},
        "paper_bgcolor": PAPER,
        "plot_bgcolor": PAPER,
        "hovermode": "closest",
        "hoverlabel": {"bgcolor": PAPER, "bordercolor": SOFT_INK, "font": {"family": FONT, "color": INK}},
        "shapes": [*shapes_of(rows, chart.marks, panels), *found_shapes(rows, panels)],
        "annotations": [
            *_mark_names(chart, panels),
            *_row_names(rows, columns),
            *_pause_names(panels),
            *found_names(rows, panels, chart.units),
        ],
    }
    spans = _spans(rows)
    for place in range(max(len(rows), 1)):
        for column, panel in enumerate(panels):
            axis = axis_name(place, column, columns)
            row = rows[place] if rows else None
            layout[f"xaxis{axis}"] = _time_axis(panel, last=place >= len(rows) - 1)
            layout[f"yaxis{axis}"] = _value_axis(row, spans, first=column == 0)
    return layout


def row_shares(rows: Sequence[Row]) -> list[float]:
    """Return how high each row is, against that of a gauge: the climate needs less room."""
    return [_CLIMATE_SHARE if row.climate else 1.0 for row in rows] or [1.0]


def plot_px(rows: Sequence[Row]) -> float:
    """Return how high all rows are together, with the room between them for their names."""
    shares = row_shares(rows)
    return _ROW_PX * sum(shares) + _BETWEEN_PX * (len(shares) - 1)


def between(rows: Sequence[Row]) -> float:
    """Return the room between two rows as a share of the height of all."""
    return _BETWEEN_PX / plot_px(rows)


def _time_axis(panel: Panel, *, last: bool) -> dict[str, Any]:
    return {
        "type": "date",
        "range": [panel.written(panel.start_us), panel.written(panel.end_us)],
        "showgrid": False,
        "showline": True,
        "linecolor": RULE,
        "ticks": "outside" if last else "",
        "tickcolor": SOFT_INK,
        "showticklabels": last,
        "tickformat": "%H:%M",
        "tickformatstops": [
            {"dtickrange": [None, 59_999], "value": "%H:%M:%S"},
            {"dtickrange": [60_000, None], "value": "%H:%M"},
        ],
        "nticks": max(2, round(7 * panel.share)),
        "tickangle": 0,
        "hoverformat": "%H:%M:%S",
    }


def _spans(rows: Sequence[Row]) -> dict[str, tuple[float, float]]:
    """Return the lowest and highest value drawn of each unit, so that rows of one unit share their scale."""
    spans: dict[str, tuple[float, float]] = {}
    for row in rows:
        span = row.span()
        if span is None:
            continue
        unit = row.series.unit
        low, high = spans.get(unit, span if row.climate else (0.0, 0.0))
        spans[unit] = (min(low, span[0]), max(high, span[1]))
    return spans


def _value_axis(row: Row | None, spans: dict[str, tuple[float, float]], *, first: bool) -> dict[str, Any]:
    axis: dict[str, Any] = {
        "gridcolor": RULE,
        "griddash": "dot",
        "zeroline": row is None or not row.climate,
        "zerolinecolor": SOFT_INK,
        "zerolinewidth": 1,
        "nticks": 5,
        "showticklabels": first,
    }
    if row is not None:
        low, high = spans.get(row.series.unit, (-1.0, 1.0))
        room = 0.12 * ((high - low) or 1.0)
        axis |= {"range": [low - room, high + room], "ticksuffix": row.shown.symbol if first else ""}
        axis |= {"nticks": 4} if row.climate else {}
    return axis


def _row_names(rows: Sequence[Row], columns: int) -> list[dict[str, Any]]:
    """Return the name of each series over the top left corner of its row."""
    names = []
    for place, row in enumerate(rows):
        axis = axis_name(place, 0, columns)
        name = escaped(row.series.name).replace(" - ", f" {MINUS} ")
        what = f"<b>{name}</b>, {row.quantity.value if row.climate else 'change from the start'}"
        names.append(
            {
                "text": what, "name": "row", "xref": f"x{axis} domain", "yref": f"y{axis} domain", "x": 0, "y": 1,
                "xanchor": "left", "yanchor": "bottom", "showarrow": False, "font": {"size": 12, "color": INK},
            }
        )  # fmt: skip
    return names


def _mark_names(chart: DriftChart, panels: Sequence[Panel]) -> list[dict[str, Any]]:
    """Return the names of the marks over the chart, none over another; those of notes give way to the others."""
    lanes = [Lane(foot=False, up=up) for up in range(_LANES)]
    names = []
    for mark in sorted(chart.marks, key=lambda mark: (mark.kind is MarkKind.NOTE, mark.utc_us)):
        words = mark.words or mark.kind.value
        written = words if len(words) <= _MOST_LETTERS else f"{words[: _MOST_LETTERS - 1]}…"
        column = panel_at(panels, mark.utc_us)
        reach = reach_of(panels, column, mark.utc_us, _LETTER_PX * len(written) + 12, end=1.0)
        lane = next((lane for lane in lanes if lane.takes(reach)), None)
        if lane is None:
            continue
        names.append(
            {
                "text": escaped(written), "hovertext": escaped(words), "name": "mark",
                "xref": f"x{axis_name(0, column, len(panels))}", "yref": "paper",
                "x": panels[column].written(mark.utc_us), "y": 1, "yshift": 20 + _LANE_PX * lane.up,
                "xanchor": "right" if reach.leftwards else "left", "xshift": 3 if reach.leftwards else -3,
                "yanchor": "bottom", "showarrow": False,
                "font": {"size": 12, "color": SOFT_INK if mark.kind is MarkKind.NOTE else INK},
            }
        )  # fmt: skip
    return names


def _pause_names(panels: Sequence[Panel]) -> list[dict[str, Any]]:
    """Return what each panel is: when it began, and how long nobody had listened before it."""
    if len(panels) < 2:
        return []
    names = []
    for column, panel in enumerate(panels):
        pause = "" if column == 0 else f"{duration_text((panel.start_us - panels[column - 1].end_us) / 1e6)} later<br>"
        last = column == len(panels) - 1
        names.append(
            {
                "text": f"{pause}{date_text(panel.start_us)[:10]}", "name": "panel", "showarrow": False,
                "xref": f"x{axis_name(0, column, len(panels))} domain", "yref": "paper", "yshift": -24,
                "x": 1 if last else 0, "xanchor": "right" if last else "left", "y": 0, "yanchor": "top",
                "align": "right" if last else "left", "font": {"size": 12, "color": SOFT_INK},
            }
        )  # fmt: skip
    return names
