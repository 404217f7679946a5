"""The clamp session over time: one row a series, one panel a sitting, marks through all of them.

Here: drawing it with few points and nothing lost. Not here: what the session did (`analysis.drift`), writing a file
(`charts`). Times are the machine's local time.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.results import Gap, SeriesDrift
from gaugelog.model.quantities import Quantity
from gaugelog.show.charts import ChartSeries, DriftChart, first_level
from gaugelog.show.drift_frame import frame_of
from gaugelog.show.envelope import Envelope, Times, Values, envelope, stretches
from gaugelog.show.numbers import display_unit, moment
from gaugelog.show.palette import DIFFERENCE_COLOUR, SERIES_COLOURS, faded
from gaugelog.show.sittings import Panel, panels_of

if TYPE_CHECKING:
    from plotly.graph_objects import Figure, Scatter

_SPANS_A_SERIES = 420
_QUANTITIES = {quantity.base_unit: quantity for quantity in Quantity}


def drift_label(chart: DriftChart) -> str:
    """Return what the chart shows in words."""
    names = ", ".join(series.name for series in chart.series)
    marks = ", ".join(mark.words or mark.kind.value for mark in chart.marks)
    return f"Clamp session over time: change of {names} from the start. Marks: {marks or 'none'}."


def drift_figure(chart: DriftChart) -> Figure:
    """Return the chart: each series as its change from its first level, the value itself told on pointing at it.

    A dark line is the mean, the band behind it the lowest and highest reading of each short span. Gaps stay open;
    a long pause between two sittings is left out and named.
    """
    from plotly.subplots import make_subplots

    start_us, end_us = _ends(chart)
    panels = panels_of([series.utc_us for series in chart.series], start_us, end_us)
    figure = make_subplots(
        rows=max(len(chart.series), 1),
        cols=len(panels),
        shared_xaxes="columns",
        shared_yaxes="rows",
        column_widths=[panel.share for panel in panels],
        horizontal_spacing=0.03,
        vertical_spacing=0.12 / max(len(chart.series), 1),
    )
    for row, series in enumerate(chart.series, start=1):
        gaps = _gaps_of(chart, series.name)
        level = first_level(series)
        for column, panel in enumerate(panels, start=1):
            for trace in _traces(series, panel, gaps, level, _colour(series, row), chart.units):
                figure.add_trace(trace, row=row, col=column)
    figure.update_layout(**frame_of(chart, panels, local))
    return figure


def _ends(chart: DriftChart) -> tuple[int, int]:
    firsts = [int(series.utc_us[0]) for series in chart.series if series.utc_us.size]
    lasts = [int(series.utc_us[-1]) for series in chart.series if series.utc_us.size]
    return min([chart.drift.start_utc_us, *firsts]), max([chart.drift.start_utc_us, *lasts])


def _gaps_of(chart: DriftChart, name: str) -> tuple[Gap, ...]:
    found: SeriesDrift | None = next((each for each in chart.drift.series if each.name == name), None)
    return found.gaps if found is not None else ()


def _colour(series: ChartSeries, row: int) -> str:
    return DIFFERENCE_COLOUR if series.difference else SERIES_COLOURS[(row - 1) % len(SERIES_COLOURS)]


def local(utc_us: Sequence[int] | Times) -> NDArray[np.datetime64]:
    """Return UTC microseconds as local times without a zone, for an axis; the zone is that of the first."""
    times = np.asarray(utc_us, dtype=np.int64)
    if times.size == 0:
        return times.astype("datetime64[ms]")
    offset = moment(int(times[0])).utcoffset()
    shift_us = round(offset.total_seconds() * 1e6) if offset is not None else 0
    return ((times + shift_us) // 1000).astype("datetime64[ms]")


def _traces(
    series: ChartSeries, panel: Panel, gaps: Sequence[Gap], level: float, colour: str, units: str
) -> list[Scatter]:
    """Return the band and the line of one series in one panel."""
    inside = slice(*np.searchsorted(series.utc_us, (panel.start_us, panel.end_us + 1)).tolist())
    utc_us, value = series.utc_us[inside], series.value[inside]
    if utc_us.size == 0:
        return []
    runs = stretches(utc_us, gaps)
    few = utc_us.size <= 2 * _SPANS_A_SERIES * panel.share
    if few:
        return [
            _line(series, [(utc_us[run], value[run]) for run in runs], level, colour, units, markers=utc_us.size < 60)
        ]
    whole_us = sum(int(utc_us[run][-1] - utc_us[run][0]) for run in runs) or 1
    spans = _SPANS_A_SERIES * panel.share
    drawn = [
        envelope(utc_us[run], value[run], max(2, round(spans * int(utc_us[run][-1] - utc_us[run][0]) / whole_us)))
        for run in runs
    ]
    middles = [((each.start_us + each.end_us) // 2, each.mean) for each in drawn]
    return [_band(drawn, level, colour, units, series.unit), _line(series, middles, level, colour, units)]


def _divisor(unit: str, units: str) -> float:
    return display_unit(_QUANTITIES[unit], units).divisor


def _line(
    series: ChartSeries,
    runs: Sequence[tuple[Times, Values]],
    level: float,
    colour: str,
    units: str,
    *,
    markers: bool = False,
) -> Scatter:
    from plotly.graph_objects import Scatter

    divisor, symbol = _divisor(series.unit, units), display_unit(_QUANTITIES[series.unit], units).symbol
    times: list[Any] = []
    values: list[float | None] = []
    for utc_us, value in runs:
        times += [*local(utc_us), None]
        values += [*(float(each) / divisor for each in value), None]
    return Scatter(
        name=series.name,
        x=times[:-1],
        y=[None if value is None else round(value - level / divisor, 5) for value in values[:-1]],
        customdata=[None if value is None else round(value, 5) for value in values[:-1]],
        mode="lines+markers" if markers else "lines",
        line={"color": colour, "width": 2 if series.difference else 1.6, "shape": "linear"},
        connectgaps=False,
        showlegend=False,
        hovertemplate=f"%{{x|%H:%M:%S}}  <b>%{{customdata:.3f}}{symbol}</b>  change %{{y:+.3f}}<extra></extra>",
    )


def _band(drawn: Sequence[Envelope], level: float, colour: str, units: str, unit: str) -> Scatter:
    """Return the lowest and highest readings as one filled outline a stretch."""
    from plotly.graph_objects import Scatter

    divisor = _divisor(unit, units)
    times: list[Any] = []
    values: list[float | None] = []
    for each in drawn:
        middle = local((each.start_us + each.end_us) // 2)
        times += [*middle, *middle[::-1], None]
        values += [round((float(v) - level) / divisor, 5) for v in (*each.high, *each.low[::-1])]
        values.append(None)
    return Scatter(
        x=times[:-1],
        y=values[:-1],
        mode="lines",
        fill="toself",
        fillcolor=faded(colour, 0.18),
        line={"width": 0, "color": colour},
        hoverinfo="skip",
        showlegend=False,
    )
