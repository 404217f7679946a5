"""The report: one HTML file with everything, to look at, to print, to keep.

Here: what a report is made of, and writing it. Not here: its rows in words (`report_rows`), its pictures
(`strip_picture`, `neck_picture`, charts), its looks (`templates/`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelog.analysis.neck_cut import CutAdvice
from gaugelog.analysis.neck_setting import NeckSetting
from gaugelog.analysis.results import Comparison, Drift, Gap
from gaugelog.model.instrument import Instrument
from gaugelog.model.placement import Mark, Snapshot
from gaugelog.model.quantities import Quantity
from gaugelog.show.charts import ChartSeries, DriftChart, chart_html
from gaugelog.show.writing import write_whole

if TYPE_CHECKING:
    from jinja2 import Template


@dataclass(frozen=True, slots=True)
class GaugeUsed:
    """One gauge of the recording, in the base unit of its quantity: what it is, where it was, what it is worth.

    `check` says in words which check of it counts, empty where it was never checked.
    """

    name: str
    title: str
    address: str
    quantity: Quantity
    resolution: float
    accuracy: float | None = None
    identity: str = ""
    check: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class ReportData:
    """All that a report is made of; what there isn't is None or empty.

    `standing` is how the neck stood at the first stage, `cut` the wood to take off by it. `recording` is the file's
    name; `rejects` counts what could not be read by gauge and reason; `gaps` are those of the clamp session by gauge;
    `missing` says in words why there is no comparison or no clamp session, `of_time` what is to be said of its times.
    """

    instrument: Instrument
    recording: str
    version: str
    made_utc_us: int
    comparison: Comparison | None = None
    standing: NeckSetting | None = None
    cut: CutAdvice | None = None
    drift: Drift | None = None
    series: Sequence[ChartSeries] = ()
    marks: Sequence[Mark] = ()
    snapshots: Sequence[Snapshot] = ()
    gauges: Sequence[GaugeUsed] = ()
    rejects: Mapping[tuple[str, str], int] = field(default_factory=dict)
    gaps: Sequence[tuple[str, Gap]] = ()
    missing: Sequence[str] = ()
    simulated: bool = False
    of_time: Sequence[str] = ()


def write_report(path: Path, data: ReportData) -> None:
    """Write the report as one HTML file that needs no network.

    Raises:
        WriteFailedError: it can't be written; an older file of that name is left as it was.
    """
    write_whole(path, report_html(data))


def report_html(data: ReportData) -> str:
    """Return the report as HTML; everything that came from files or people is escaped."""
    from markupsafe import Markup

    from gaugelog.show.neck_picture import neck_picture
    from gaugelog.show.report_rows import report_rows

    charts = {name: Markup(html) for name, html in _charts(data).items()}
    style = Markup(_resource("report.css"))
    picture = neck_picture(data.instrument, data.comparison)
    return _template().render(style=style, picture=picture, views=_views(data), charts=charts, **report_rows(data))


def _views(data: ReportData) -> list[Any]:
    """Return the neck from the side and from above: before and after, else with the wood to take off."""
    from gaugelog.show.neck_views import side_view, top_view
    from gaugelog.show.poses import moved_poses, poses_of, wood_of

    if data.standing is None:
        return []
    wood = None if data.comparison is not None else wood_of(data.cut)
    if data.comparison is not None:
        poses = moved_poses(data.standing, data.comparison)
    else:
        poses = poses_of(data.standing, data.cut)
    return [drawn for view in (side_view, top_view) if (drawn := view(data.instrument, poses, wood))]


def _charts(data: ReportData) -> dict[str, str]:
    """Return the charts there are as HTML; the first one carries plotly.js for all."""
    from gaugelog.show.comparison_chart import comparison_figure, comparison_label, judged_rows
    from gaugelog.show.drift_chart import drift_figure, drift_label

    found: dict[str, str] = {}
    units = data.instrument.units
    if data.comparison is not None and judged_rows(data.comparison):
        figure = comparison_figure(data.comparison, units, data.snapshots)
        found["comparison"] = chart_html(figure, label=comparison_label(data.comparison), library=True)
    if data.drift is not None and any(series.utc_us.size for series in data.series):
        chart = DriftChart("", data.series, data.drift, data.marks, units, data.simulated)
        found["drift"] = chart_html(drift_figure(chart), label=drift_label(chart), library=not found)
    return found


def _resource(name: str) -> str:
    return files("gaugelog.show").joinpath("templates", name).read_text(encoding="utf-8")


@cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    surroundings: Any = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return surroundings.from_string(_resource("report.html.j2"))  # type: ignore[no-any-return]
