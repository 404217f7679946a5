"""A clamp session over time: how each gauge, and the difference of two, went in each phase.

Here: levels and changes with their uncertainty, phase by phase. Not here: steps and creep (`explained`), phases
(`phases`), gaps (`gaps`), bringing two gauges together (`series`), charts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from gaugelog.analysis.explained import Explained, explain
from gaugelog.analysis.gaps import merge_gaps, silence_limit_us, silences
from gaugelog.analysis.levels import bounds, levels_in, mean_in
from gaugelog.analysis.phases import Stretch, phases_of
from gaugelog.analysis.results import Drift, Gap, PhaseDrift, SeriesDrift
from gaugelog.analysis.series import Series, difference_of
from gaugelog.model.placement import Mark
from gaugelog.model.quantities import Quantity

GLANCE_S = 10.0
_WEATHER = (Quantity.TEMPERATURE, Quantity.HUMIDITY)


def _farthest(series: Series, stretch: Stretch, level: float) -> tuple[float, int] | None:
    """Return the mean over `GLANCE_S` that is farthest from a level, as departure, and the moment it began.

    Of a gauge that sends on change each value is one.
    """
    low, high = bounds(series, stretch)
    times, values = series.utc_us[low:high], series.value[low:high]
    if times.size == 0:
        return None
    if series.holds:
        glances, begins = values, times
    else:
        place = (times - times[0]) // int(GLANCE_S * 1e6)
        firsts = np.flatnonzero(np.diff(place, prepend=-1))
        glances = np.add.reduceat(values, firsts) / np.diff(np.append(firsts, values.size))
        begins = times[firsts]
    at = int(np.argmax(np.abs(glances - level)))
    return float(glances[at] - level), int(begins[at])


def _phase_drift(series: Series, stretch: Stretch) -> PhaseDrift:
    """Return how a series, sorted and counted, went in one phase."""
    low, high = bounds(series, stretch)
    told = PhaseDrift(
        stretch.name, stretch.start_utc_us, stretch.end_utc_us, high - low, mean_in(series, stretch), None, None
    )
    levels = levels_in(series, stretch)
    if levels is None:
        return told
    told = replace(told, change=levels.change, u=levels.u)
    farthest = _farthest(series, stretch, levels.begin.value)
    return told if farthest is None else replace(told, farthest=farthest[0], farthest_utc_us=farthest[1])


def series_drift(series: Series, stretches: Sequence[Stretch], rest_rate_per_day: float | None = None) -> SeriesDrift:
    """Return one series over the session's phases, and what it did over all of them (`explained.explain`).

    Formula: the level at the start and at the end of a phase is the mean over the first and the last
    min(60 s, a quarter of the phase) of its readings; change = end - start. A mean, not a median: the median of a
    quiet gauge sticks to one digit while the mean sees how often each digit showed. u² = s_1²/n_eff,1 + s_2²/n_eff,2 +
    2 Σ r²/12, the last over the readings in a value (two for a difference). Where a window wandered so that n_eff is
    refused, its s² counts in full, as one look. For a gauge that sends on change, levels and means are weighted with
    the time each value stood, and s² counts in full.
    Source: GUM (JCGM 100:2008) F.2.2.1 for the digits; n_eff as `describe.effective_size`.

    `farthest` is the mean over 10 s that departs most from the level at the start.

    When this is wrong: something that happens within the first or last window is told in part only; a gauge that
    sends on change and was cut off is taken to have stood still (its gaps tell); a reading caught while a
    hand was at the gauge pulls the mean; u knows nothing of slow wander of the gauge itself.

    Args:
        series: readings in any order; those on hold or over range are left out of the numbers.
        stretches: the session's phases.
        rest_rate_per_day: what counts as rest, base unit a day; a digit where it isn't given.

    Returns:
        `mean` None in a phase without readings (a gauge that sends on change holds its last one); `change` None with
        fewer than two; `u` None where a window holds fewer than three readings (spot readings).
    """
    ordered = series.in_order()
    counted = ordered.counted()
    return SeriesDrift(
        series.name,
        series.quantity,
        series.difference,
        counted.utc_us.size,
        tuple(_phase_drift(counted, stretch) for stretch in stretches),
        _gaps(ordered, stretches),
        _explained(counted, rest_rate_per_day),
    )


def _explained(series: Series, rest_rate_per_day: float | None) -> Explained | None:
    """Return what a series that counts did over the whole session; None for the weather."""
    if series.quantity in _WEATHER:
        return None
    return explain(
        series.utc_us,
        series.value,
        series.steps,
        gaps=series.gaps,
        rest_rate_per_day=rest_rate_per_day or max(series.steps),
        holds=series.holds,
    )


def _gaps(series: Series, stretches: Sequence[Stretch]) -> tuple[Gap, ...]:
    """Return the gaps of a series sorted by time; a difference has those of its two gauges."""
    if series.difference or not series.steady or not stretches:
        return merge_gaps(series.gaps, ())
    limit = silence_limit_us(series.utc_us, series.period_s)
    if limit is None:
        return merge_gaps(series.gaps, ())
    start, end = stretches[0].start_utc_us, stretches[-1].end_utc_us
    return merge_gaps(series.gaps, silences(series.utc_us, limit, start, end))


def drift(
    gauges: Sequence[Series],
    marks: Sequence[Mark] = (),
    *,
    pairs: Sequence[tuple[str, str]] = (),
    start_utc_us: int | None = None,
    end_utc_us: int | None = None,
    limits: Mapping[str, float | None] | None = None,
) -> Drift:
    """Return a whole clamp session: each gauge, then each difference, phase by phase.

    With a gauge on the neck and one on the body, their difference takes the bench out; with one, creep is the neck's
    or the gauge's.

    Args:
        gauges: the series of the session.
        marks: of the session, in any order.
        pairs: names of two gauges each, first less second.
        start_utc_us: begin of the session; the first reading where it isn't given.
        end_utc_us: end of the session; just behind the last reading where it isn't given.
        limits: how far each series may creep, by its name, base unit: less than that in a day counts as rest.

    Raises:
        ValueError: a pair names a gauge that isn't there, or two quantities; no reading and no start and end.
    """
    times = [series.utc_us for series in gauges if series.utc_us.size]
    if not times and (start_utc_us is None or end_utc_us is None):
        raise ValueError("a session without readings needs its start and end")
    start = start_utc_us if start_utc_us is not None else min(int(each.min()) for each in times)
    end = end_utc_us if end_utc_us is not None else max(int(each.max()) for each in times) + 1
    stretches = phases_of(marks, start, end)
    rest = limits or {}
    told = [series_drift(series, stretches, rest.get(series.name)) for series in gauges]
    with_gaps = {s.name: replace(s, gaps=each.gaps) for s, each in zip(gauges, told, strict=True)}
    for first, second in pairs:
        if first not in with_gaps or second not in with_gaps:
            raise ValueError(f"no gauge called {first if first not in with_gaps else second}")
        pair = difference_of(with_gaps[first], with_gaps[second])
        told.append(series_drift(pair, stretches, rest.get(pair.name)))
    return Drift(start, tuple(told))
