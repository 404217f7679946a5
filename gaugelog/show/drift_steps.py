"""Steps and rest of each series in the chart of a clamp session: upright marks with their size, and a line at rest.

Here: where they stand, and names that don't run into each other. Not here: marks that people set (`drift_frame`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from gaugelog.analysis.explained import Explained, fitted
from gaugelog.analysis.steps import Step
from gaugelog.show.drift_lanes import Lane, reach_of
from gaugelog.show.drift_rows import Row
from gaugelog.show.drift_shapes import axis_name, escaped, inside
from gaugelog.show.numbers import clock_text, decimals_of_u, uncertain_text
from gaugelog.show.palette import PAPER, faded
from gaugelog.show.sittings import Panel, panel_at

MOST_NAMED = 10
_LETTER_PX = 7.0
_LANE_PX = 15
_LANES_A_SIDE = 2
_COVER_95 = 1.96
_REST_PX = 4


@dataclass(frozen=True, slots=True)
class _Name:
    """What is to be written in a row: at which moment, whether the curve runs in the row's upper half there."""

    utc_us: int
    text: str
    hover: str
    high: bool


def found_shapes(rows: Sequence[Row], panels: Sequence[Panel]) -> Iterator[dict[str, Any]]:
    """Yield an upright mark for each step, and a line along the foot of a row from when its series was at rest."""
    for place, row in enumerate(rows):
        told = _told(row)
        if told is None:
            continue
        for step in told.steps:
            column = panel_at(panels, step.time_us)
            at = panels[column].written(step.time_us)
            line = {"color": row.colour, "width": 1, "dash": "4px,2px"}
            yield {"type": "line", "x0": at, "x1": at, "y0": 0, "y1": 1, "line": line,
                   "name": "step", **inside(place, column, len(panels))}  # fmt: skip
        if told.rest_at_us is not None:
            yield from _rest(told.rest_at_us, place, row, panels)


def _rest(rest_at_us: int, place: int, row: Row, panels: Sequence[Panel]) -> Iterator[dict[str, Any]]:
    for column, panel in enumerate(panels):
        if rest_at_us >= panel.end_us:
            continue
        ends = {"x0": panel.written(max(rest_at_us, panel.start_us)), "x1": panel.written(panel.end_us)}
        line = {"color": row.colour, "width": _REST_PX}
        yield {"type": "line", **ends, "y0": 0, "y1": 0, "line": line, "name": "rest",
               **inside(place, column, len(panels))}  # fmt: skip


def found_names(rows: Sequence[Row], panels: Sequence[Panel], units: str) -> Iterator[dict[str, Any]]:
    """Yield the names of rest and of the largest steps of each row, none over another; on pointing, more is told."""
    middle = _middles(rows)
    for place, row in enumerate(rows):
        told = _told(row)
        if told is None:
            continue
        lanes = [Lane(foot, up) for up in range(_LANES_A_SIDE) for foot in (True, False)]
        for name in _names(told, row, middle.get(row.quantity.base_unit, 0.0), units):
            column = panel_at(panels, name.utc_us)
            reach = reach_of(panels, column, name.utc_us, _LETTER_PX * len(name.text) + 8)
            lane = next((lane for lane in _nearest(lanes, foot=name.high) if lane.takes(reach)), None)
            if lane is not None:
                yield _written(name, lane, row, place, column, panels, leftwards=reach.leftwards)


def _told(row: Row) -> Explained | None:
    return row.told.explained if row.told is not None else None


def _middles(rows: Sequence[Row]) -> dict[str, float]:
    """Return the middle of the scale that the rows of each unit share."""
    spans: dict[str, list[float]] = {}
    for row in rows:
        spans.setdefault(row.quantity.base_unit, [0.0]).extend(row.span() or ())
    return {unit: (min(each) + max(each)) / 2 for unit, each in spans.items()}


def _names(told: Explained, row: Row, middle: float, units: str) -> Iterator[_Name]:
    if told.rest_at_us is not None:
        yield _Name(told.rest_at_us, "at rest", f"at rest from {clock_text(told.rest_at_us, seconds=True)}", high=True)
    for step in sorted(told.steps, key=lambda each: -abs(each.size))[:MOST_NAMED]:
        way = "up" if step.size > 0 else "down"
        spread = uncertain_text(abs(step.size), _COVER_95 * step.u, row.quantity, units)
        hover = f"{escaped(row.series.name)}: {way} by {spread} (95 %) at {clock_text(step.time_us, seconds=True)}"
        yield _Name(step.time_us, size_text(step, row), hover, high=_level(told, row, step.time_us) > middle)


def size_text(step: Step, row: Row) -> str:
    """Return a step's signed size with one significant digit of its uncertainty, as it fits beside a mark."""
    u = step.u / row.shown.divisor
    decimals = max(decimals_of_u(u) - 1, 0) if u > 0 else 2
    return row.shown.write(step.size, decimals, signed=True)


def _level(told: Explained, row: Row, utc_us: int) -> float:
    """Return where on the row's axis the curve runs about a moment."""
    if told.curve is None:
        return 0.0
    value, _ = fitted(told, np.array([utc_us - 1, utc_us + 1], dtype=np.int64))
    return float(row.drawn(value).mean())


def _nearest(lanes: Sequence[Lane], *, foot: bool) -> list[Lane]:
    """Return the lanes with the wanted side first."""
    return sorted(lanes, key=lambda lane: (lane.up, lane.foot is not foot))


def _written(
    name: _Name, lane: Lane, row: Row, place: int, column: int, panels: Sequence[Panel], *, leftwards: bool
) -> dict[str, Any]:
    axis = axis_name(place, column, len(panels))
    shift = _REST_PX / 2 + _LANE_PX * lane.up
    return {
        "text": name.text,
        "hovertext": name.hover,
        "name": "found",
        "xref": f"x{axis}",
        "yref": f"y{axis} domain",
        "x": panels[column].written(name.utc_us),
        "y": 0 if lane.foot else 1,
        "xanchor": "right" if leftwards else "left",
        "yanchor": "bottom" if lane.foot else "top",
        "xshift": -1 if leftwards else 1,
        "yshift": shift if lane.foot else -shift,
        "borderpad": 0,
        "bgcolor": faded(PAPER, 0.75),
        "showarrow": False,
        "font": {"size": 11, "color": row.colour},
    }
