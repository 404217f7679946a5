"""The clamp session over time: one row a series, one panel a sitting, marks through all of them.

Here: drawing it with few points and nothing lost. Not here: what the session did (`analysis.drift`), what is drawn
(`drift_rows`), what stands round it (`drift_frame`), writing a file (`charts`). Times are the machine's local time.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from gaugelog.show.charts import DriftChart
from gaugelog.show.drift_curve import curve_traces
from gaugelog.show.drift_detail import Place, detail_of
from gaugelog.show.drift_frame import between, frame_of, row_shares
from gaugelog.show.drift_rows import SPANS_A_ROW, Row, is_climate, overview, rows_of
from gaugelog.show.drift_shapes import axis_name
from gaugelog.show.envelope import Envelope
from gaugelog.show.palette import faded
from gaugelog.show.sittings import Panel, panels_of

if TYPE_CHECKING:
    from plotly.graph_objects import Figure, Scatter

_MARKERS_BELOW = 60
_DECIMALS = 5
CAPTION = (
    "Line: mean of the readings. Band: from the lowest to the highest. Dashed curve: fitted to the readings, between "
    "dots where it lies with 95 %. Dashed uprights: steps. Thick line at the foot: at rest. Drag over a stretch to "
    "see it closer; a double click brings all back."
)


def drift_label(chart: DriftChart) -> str:
    """Return what the chart shows in words."""
    climate = [each.name for each in chart.series if is_climate(each.unit)]
    names = ", ".join(each.name for each in chart.series if each.name not in climate)
    beside = f"; {', '.join(climate)} below" if climate else ""
    marks = ", ".join(mark.words or mark.kind.value for mark in chart.marks)
    return f"Clamp session over time: change of {names} from the start{beside}. Marks: {marks or 'none'}."


def drift_figure(chart: DriftChart) -> Figure:
    """Return the chart: each series as its change from its first level, the value itself told on pointing at it.

    A dark line is the mean, the band behind it the lowest and highest reading of each short span. Gaps stay open;
    a long pause between two sittings is left out and named. What a page needs to draw it finer where it is zoomed into
    is in the layout's `meta.detail`, words to stand below it in `meta.caption`.
    """
    from plotly.subplots import make_subplots

    start_us, end_us = _ends(chart)
    panels = panels_of([series.utc_us for series in chart.series], start_us, end_us)
    rows = rows_of(chart, panels)
    figure = make_subplots(
        rows=max(len(rows), 1),
        cols=len(panels),
        shared_xaxes="columns",
        shared_yaxes="rows",
        row_heights=row_shares(rows),
        column_widths=[panel.share for panel in panels],
        horizontal_spacing=0.03,
        vertical_spacing=between(rows),
    )
    places = []
    for number, row in enumerate(rows):
        for column, panel in enumerate(panels):
            traces = _traces(row, column, panel)
            if len(traces) > 1:
                axis = f"xaxis{axis_name(number, column, len(panels))}"
                band = len(figure.data)
                places.append(Place(row, column, axis, line=band + 1, band=band))
            for trace in (*traces, *curve_traces(row, column, panel)):
                figure.add_trace(trace, row=number + 1, col=column + 1)
    meta = {"caption": " ".join((CAPTION, *chart.of_time)), "detail": detail_of(places, panels, SPANS_A_ROW)}
    figure.update_layout(**frame_of(chart, rows, panels), meta=meta)
    return figure


def _ends(chart: DriftChart) -> tuple[int, int]:
    firsts = [int(series.utc_us[0]) for series in chart.series if series.utc_us.size]
    lasts = [int(series.utc_us[-1]) for series in chart.series if series.utc_us.size]
    return min([chart.drift.start_utc_us, *firsts]), max([chart.drift.start_utc_us, *lasts])


def _traces(row: Row, column: int, panel: Panel) -> list[Scatter]:
    """Return the band and the line of one row in one panel; the line alone where it holds every reading."""
    runs = row.at(column)
    if not runs:
        return []
    spans = SPANS_A_ROW * panel.share
    readings = sum(int(run.count.sum()) for run in runs)
    if readings <= 2 * spans:
        return [_line(row, panel, runs, markers=readings < _MARKERS_BELOW)]
    drawn = overview(runs, spans)
    return [_band(row, panel, drawn), _line(row, panel, drawn)]


def _line(row: Row, panel: Panel, runs: Sequence[Envelope], *, markers: bool = False) -> Scatter:
    from plotly.graph_objects import Scatter

    times: list[Any] = []
    changes: list[float | None] = []
    values: list[float | None] = []
    for run in runs:
        times += [*panel.local(run.middle_us), None]
        changes += [*row.drawn(run.mean).round(_DECIMALS).tolist(), None]
        values += [*(run.mean / row.shown.divisor).round(_DECIMALS).tolist(), None]
    change = "" if row.climate else "  change %{y:+.3f}"
    return Scatter(
        name=row.series.name,
        x=times[:-1],
        y=changes[:-1],
        customdata=values[:-1],
        mode="lines+markers" if markers else "lines",
        line={"color": faded(row.colour, 0.75), "width": 1.3, "shape": "linear"},
        marker={"size": 4},
        connectgaps=False,
        showlegend=False,
        hovertemplate=f"%{{x|%H:%M:%S}}  <b>%{{customdata:.3f}}{row.shown.symbol}</b>{change}<extra></extra>",
    )


def _band(row: Row, panel: Panel, runs: Sequence[Envelope]) -> Scatter:
    """Return the lowest and highest readings as one filled outline a run."""
    from plotly.graph_objects import Scatter

    times: list[Any] = []
    values: list[float | None] = []
    for run in runs:
        middle = panel.local(run.middle_us)
        times += [*middle, *middle[::-1], None]
        values += [*row.drawn(np.concatenate((run.high, run.low[::-1]))).round(_DECIMALS).tolist(), None]
    return Scatter(
        x=times[:-1],
        y=values[:-1],
        mode="lines",
        fill="toself",
        fillcolor=faded(row.colour, 0.18),
        line={"width": 0, "color": row.colour},
        hoverinfo="skip",
        showlegend=False,
    )
