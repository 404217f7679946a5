"""What the chart of a clamp session is drawn from: each series as short spans of time, in the order of its rows.

Here: spans short enough to zoom into, what an axis counts from, colours. Not here: drawing (`drift_chart`), packing the
spans into a page (`drift_detail`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gaugelog.analysis.results import SeriesDrift
from gaugelog.model.quantities import Quantity
from gaugelog.show.charts import ChartSeries, DriftChart, first_level
from gaugelog.show.envelope import Envelope, Times, Values, coarser, envelope, singles, stretches
from gaugelog.show.numbers import DisplayUnit, display_unit
from gaugelog.show.palette import DIFFERENCE_COLOUR, SERIES_COLOURS
from gaugelog.show.sittings import Panel, panel_at

SPANS_A_ROW = 420
FINE_SPANS = 20_000
MOST_SINGLES = 80_000
_CLIMATE = (Quantity.TEMPERATURE, Quantity.HUMIDITY)
_CLIMATE_UNITS = {quantity.base_unit: place for place, quantity in enumerate(_CLIMATE, start=1)}
_QUANTITIES = {quantity.base_unit: quantity for quantity in Quantity}


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """Readings of one series in one panel with no gap between: `fine` is as fine as a page can hold them."""

    column: int
    fine: Envelope


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """One series to be drawn: its runs in order, what was found about it, and how it is shown.

    `zero` is the value, in the base unit, that is drawn as 0: the first level, or 0 itself for the climate.
    """

    series: ChartSeries
    told: SeriesDrift | None
    quantity: Quantity
    shown: DisplayUnit
    colour: str
    zero: float
    runs: tuple[Run, ...]

    @property
    def climate(self) -> bool:
        """Whether this is the weather of the workshop, drawn as it was and not as a change."""
        return self.quantity in _CLIMATE

    def drawn(self, value: Values) -> Values:
        """Return values in the base unit, shape (n,), as they stand on the row's axis."""
        return (value - self.zero) / self.shown.divisor

    def at(self, column: int) -> list[Envelope]:
        """Return the runs in one panel."""
        return [run.fine for run in self.runs if run.column == column]

    def span(self) -> tuple[float, float] | None:
        """Return the lowest and the highest value on the axis, None without a reading."""
        if not self.runs:
            return None
        low = min(float(run.fine.low.min()) for run in self.runs)
        high = max(float(run.fine.high.max()) for run in self.runs)
        return float(self.drawn(np.array(low))), float(self.drawn(np.array(high)))


def is_climate(unit: str) -> bool:
    """Return whether what is measured in this base unit is the weather of the workshop."""
    return _QUANTITIES[unit] in _CLIMATE


def rows_of(chart: DriftChart, panels: Sequence[Panel]) -> tuple[Row, ...]:
    """Return the rows of a chart from the top down: gauges and differences as they come, the climate last."""
    told = {each.name: each for each in chart.drift.series}
    ordered = sorted(chart.series, key=lambda series: _CLIMATE_UNITS.get(series.unit, 0))
    return tuple(
        _row(series, told.get(series.name), panels, chart.units, SERIES_COLOURS[place % len(SERIES_COLOURS)])
        for place, series in enumerate(ordered)
    )


def _row(series: ChartSeries, told: SeriesDrift | None, panels: Sequence[Panel], units: str, colour: str) -> Row:
    quantity = _QUANTITIES[series.unit]
    gaps = told.gaps if told is not None else ()
    cuts = stretches(series.utc_us, gaps, [panel.end_us for panel in panels[:-1]])
    return Row(
        series,
        told,
        quantity,
        display_unit(quantity, units),
        DIFFERENCE_COLOUR if series.difference else colour,
        0.0 if quantity in _CLIMATE else first_level(series),
        tuple(Run(panel_at(panels, int(fine.start_us[0])), fine) for fine in _fine(series.utc_us, series.value, cuts)),
    )


def _fine(utc_us: Times, value: Values, cuts: Sequence[slice]) -> list[Envelope]:
    """Return runs of single readings where a page can hold them all, else of short spans of about equal time."""
    if utc_us.size <= MOST_SINGLES:
        return [singles(utc_us[cut], value[cut]) for cut in cuts]
    lengths = [int(utc_us[cut][-1] - utc_us[cut][0]) for cut in cuts]
    return [
        envelope(utc_us[cut], value[cut], spans)
        for cut, spans in zip(cuts, shared_out(FINE_SPANS, lengths), strict=True)
    ]


def overview(runs: Sequence[Envelope], spans: float) -> list[Envelope]:
    """Return runs in about so many spans together, two at least each."""
    return [
        coarser(run, part)
        for run, part in zip(runs, shared_out(spans, [run.lasts_us for run in runs]), strict=True)
    ]  # fmt: skip


def shared_out(spans: float, lengths: Sequence[int]) -> list[int]:
    """Return how many of so many spans each of some lengths gets, two at least."""
    whole = sum(lengths) or 1
    return [max(2, round(spans * length / whole)) for length in lengths]
