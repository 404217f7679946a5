"""Phases, marks and gaps of a clamp session as plotly's shapes, row by row.

Here: what lies behind the curves. Not here: axes and names (`drift_frame`), steps and rest (`drift_steps`), curves
(`drift_chart`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from gaugelog.analysis.results import SeriesDrift
from gaugelog.model.placement import Mark, MarkKind
from gaugelog.show.drift_rows import Row
from gaugelog.show.palette import GAP_FILL, INK, PHASE_FILLS, SOFT_INK
from gaugelog.show.sittings import Panel, panel_at


def axis_name(row: int, column: int, columns: int) -> str:
    """Return what plotly puts behind x and y for the axes of a panel, counted from 0: nothing for the first."""
    number = row * columns + column + 1
    return "" if number == 1 else str(number)


def escaped(words: str) -> str:
    """Return words that plotly shows as they are, and doesn't take for its own markup."""
    return words.replace("&", "&amp;").replace("<", "&lt;")


def shapes_of(rows: Sequence[Row], marks: Sequence[Mark], panels: Sequence[Panel]) -> list[dict[str, Any]]:
    """Return the shapes of all rows."""
    shapes: list[dict[str, Any]] = []
    for place, row in enumerate(rows):
        shapes += _phases(row.told, place, panels)
        shapes += _gaps(row.told, place, panels)
        shapes += [_mark(mark, place, panels) for mark in marks]
    return shapes


def _phases(series: SeriesDrift | None, row: int, panels: Sequence[Panel]) -> Iterator[dict[str, Any]]:
    for phase in series.phases if series is not None else ():
        fill = PHASE_FILLS.get(phase.name)
        if fill is not None:
            yield from _stretch(phase.start_utc_us, phase.end_utc_us, fill, row, panels)


def _gaps(series: SeriesDrift | None, row: int, panels: Sequence[Panel]) -> Iterator[dict[str, Any]]:
    """Return the gaps that are a fault; silence that was expected is only left blank."""
    for gap in series.gaps if series is not None else ():
        if gap.fault:
            yield from _stretch(gap.start_utc_us, gap.end_utc_us, GAP_FILL, row, panels)


def _stretch(start_us: int, end_us: int, fill: str, row: int, panels: Sequence[Panel]) -> Iterator[dict[str, Any]]:
    """Return a stretch of time as a rectangle in each panel that it touches."""
    for column, panel in enumerate(panels):
        start, end = max(start_us, panel.start_us), min(end_us, panel.end_us)
        if end > start:
            corners = {"x0": panel.written(start), "x1": panel.written(end), "y0": 0, "y1": 1}
            looks = {"type": "rect", "layer": "below", "fillcolor": fill, "line": {"width": 0}}
            yield {**looks, **corners, **inside(row, column, len(panels))}


def _mark(mark: Mark, row: int, panels: Sequence[Panel]) -> dict[str, Any]:
    note = mark.kind is MarkKind.NOTE
    column = panel_at(panels, mark.utc_us)
    when = panels[column].written(mark.utc_us)
    return {
        "type": "line",
        "name": "mark",
        "x0": when,
        "x1": when,
        "y0": 0,
        "y1": 1,
        "line": {"color": SOFT_INK if note else INK, "width": 1, "dash": "dot" if note else "solid"},
        **inside(row, column, len(panels)),
    }


def inside(row: int, column: int, columns: int) -> dict[str, str]:
    """Return plotly's references for a shape that is as high as its panel."""
    axis = axis_name(row, column, columns)
    return {"xref": f"x{axis}", "yref": f"y{axis} domain"}
