"""The fitted curve of a series and its 95 % band, over the mean of the readings.

Here: at which moments it is drawn, and as which traces. Not here: the fit (`analysis.explained`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gaugelog.analysis.explained import Curve, fitted
from gaugelog.show.drift_rows import Row
from gaugelog.show.envelope import Envelope, Times
from gaugelog.show.palette import FIT_COLOUR, faded
from gaugelog.show.sittings import Panel

if TYPE_CHECKING:
    from plotly.graph_objects import Scatter

_POINTS_A_ROW = 40
_BENDS_TAUS, _BENDS = 5.0, 25
_DECIMALS = 5


def curve_traces(row: Row, column: int, panel: Panel) -> list[Scatter]:
    """Return the band and the curve of a row in one panel; none where nothing was fitted."""
    from plotly.graph_objects import Scatter

    told = row.told.explained if row.told is not None else None
    if told is None or told.curve is None:
        return []
    line_x: list[object] = []
    line_y: list[float | None] = []
    band_x: list[object] = []
    band_y: list[float | None] = []
    for run in row.at(column):
        times = curve_moments(run, told.curve, max(2, round(_POINTS_A_ROW * panel.share)))
        value, half = fitted(told, times)
        local = panel.local(times)
        line_x += [*local, None]
        line_y += [*row.drawn(value).round(_DECIMALS).tolist(), None]
        edges = np.concatenate((value + half, (value - half)[::-1]))
        band_x += [*local, *local[::-1], None]
        band_y += [*row.drawn(edges).round(_DECIMALS).tolist(), None]
    band = Scatter(
        x=band_x[:-1],
        y=band_y[:-1],
        name=f"{row.series.name}, 95 % of the fit",
        mode="lines",
        fill="toself",
        fillcolor=faded(FIT_COLOUR, 0.05),
        line={"width": 0.8, "color": faded(FIT_COLOUR, 0.7), "dash": "1px,3px"},
        hoverinfo="skip",
        showlegend=False,
    )
    line = Scatter(
        x=line_x[:-1],
        y=line_y[:-1],
        name=f"{row.series.name}, fitted",
        mode="lines",
        line={"color": FIT_COLOUR, "width": 1.7, "dash": "7px,4px"},
        connectgaps=False,
        hoverinfo="skip",
        showlegend=False,
    )
    return [band, line]


def curve_moments(run: Envelope, curve: Curve, points: int) -> Times:
    """Return the moments, UTC microseconds, at which a curve is drawn over a run.

    They lie evenly, on both sides of each jump, and close together where creep bends.

    Args:
        run: the readings that the curve goes through.
        curve: the fit.
        points: how many evenly spaced ones, 2 or more.
    """
    start, end = int(run.start_us[0]), int(run.end_us[-1])
    apart_s = [np.asarray(curve.jump_s, dtype=np.float64)]
    if curve.settling is not None:
        apart_s.append(curve.settling.start_s + curve.settling.tau_s * np.linspace(0, _BENDS_TAUS, _BENDS))
    bends = curve.origin_us + np.rint(np.concatenate(apart_s) * 1e6).astype(np.int64)
    inside = bends[(bends > start) & (bends < end)]
    evenly = np.linspace(start, end, points).astype(np.int64)
    return np.unique(np.concatenate((evenly, inside - 1, inside + 1)))
