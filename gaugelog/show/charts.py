"""Charts to look into: the clamp session over time, and every shift against its limit.

Here: what a chart is made of, and writing one to a file of its own. Not here: drawing the drift (`drift_chart`) or the
shifts (`comparison_chart`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.results import Drift
from gaugelog.model.placement import Mark
from gaugelog.show.palette import FONT, INK, SOFT_INK
from gaugelog.show.writing import write_whole

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

_FIRST_READINGS = 15
CONFIG = {"displaylogo": False, "responsive": True, "modeBarButtonsToRemove": ["lasso2d", "select2d", "autoScale2d"]}


@dataclass(frozen=True, slots=True, eq=False)
class ChartSeries:
    """One curve: `utc_us` sorted and `value` in `unit`, the base unit, both of shape (n,)."""

    name: str
    unit: str
    utc_us: NDArray[np.int64]
    value: NDArray[np.float64]
    difference: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class DriftChart:
    """A clamp session to be drawn; `simulated` is said in the chart, `of_time` (`clock_words`) below it."""

    title: str
    series: Sequence[ChartSeries]
    drift: Drift
    marks: Sequence[Mark] = ()
    units: str = "mm"
    simulated: bool = False
    of_time: Sequence[str] = ()


def first_level(series: ChartSeries) -> float:
    """Return the level that a series is drawn from: the median of its first readings, 0 where it has none."""
    return float(np.median(series.value[:_FIRST_READINGS])) if series.value.size else 0.0


def chart_html(figure: Figure, *, label: str, library: bool) -> str:
    """Return a figure as a piece of HTML that says in words what it shows.

    Where the figure's `meta` holds a caption it stands below; where it holds detail, zooming in draws that.

    Args:
        figure: the chart.
        label: what it shows, for those who can't see it.
        library: carry plotly.js too; once a page is enough.
    """
    meta = figure.layout.meta or {}
    body: Any = figure.to_html(full_html=False, include_plotlyjs=library, config=CONFIG, default_height="auto")
    drawn = ' <span class="drawn" aria-live="polite"></span>' if "detail" in meta else ""
    caption = f"<figcaption>{escape(meta['caption'])}{drawn}</figcaption>" if "caption" in meta else ""
    zoom = f"<script>{_zoom_script()}</script>" if "detail" in meta else ""
    return (
        f'<figure class="chart" role="group" aria-label="{escape(label, quote=True)}">{body}{caption}'
        f"<noscript><p>This chart is drawn by a script in this page, and scripts are switched off.</p></noscript>"
        f"</figure>{zoom}"
    )


def _zoom_script() -> str:
    return files("gaugelog.show").joinpath("templates", "drift_zoom.js").read_text(encoding="utf-8")


_GENERATOR = '<meta name="generator" content="gaugelog drift chart">'
_LOOKED_AT = 1000


def is_own_chart(path: Path) -> bool:
    """Return whether a file is a chart that `write_chart` once wrote, and so may be replaced by a newer one."""
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            return _GENERATOR in file.read(_LOOKED_AT)
    except OSError:
        return False


def write_chart(path: Path, chart: DriftChart) -> None:
    """Write the chart of a clamp session as one HTML file that needs no network.

    Raises:
        WriteFailedError: it can't be written; an older file of that name is left as it was.
    """
    write_whole(path, chart_page(chart))


def chart_page(chart: DriftChart) -> str:
    """Return the chart of a clamp session as one HTML page that needs no network."""
    from gaugelog.show.drift_chart import drift_figure, drift_label

    figure = drift_figure(chart)
    words = (
        "SIMULATED: gauges of this recording were simulated, their readings are invented." if chart.simulated else ""
    )
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8">{_GENERATOR}'
        f'<title>{escape(chart.title)}</title><meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>body{{margin:1.5rem;font:16px/1.5 {FONT};color:{INK};background:#fff}}"
        "h1{font-size:1.25rem;margin:0}figure{margin:1rem 0}"
        "@media(max-width:480px){body{margin:1rem .5rem}}"
        f"figcaption{{max-width:46rem;font-size:.875rem;color:{SOFT_INK}}}</style></head><body>"
        f"<h1>{escape(chart.title)}</h1><p>{words}</p>"
        f"{chart_html(figure, label=drift_label(chart), library=True)}</body></html>"
    )
