"""What a clamp session did, in words: slips, creep, rest, and what the bench explains of it.

Here: sentences, series by series, what the neck did first. Not here: tables and charts, the numbers (`analysis`).
"""

from __future__ import annotations

from collections.abc import Iterator

from gaugelog.analysis.results import Drift, SeriesDrift
from gaugelog.show.numbers import MINUS, duration_text, rough_text, uncertain_text, when_text
from gaugelog.show.words import listed

_COVER = 1.96
_MOST_STEPS = 6


def drift_sentences(drift: Drift, units: str = "mm") -> Iterator[tuple[str, str]]:
    """Yield what each series did: its name, and the sentence; differences first, and gauges they speak for last.

    Args:
        drift: the session.
        units: mm or in, for lengths.
    """
    for series in sorted(drift.series, key=lambda each: not each.difference):
        words = series_sentence(series, drift, units)
        if words:
            yield series.name.replace(" - ", f" {MINUS} "), words


def series_sentence(series: SeriesDrift, drift: Drift, units: str) -> str:
    """Return what one series did in one or two sentences, empty where that isn't told of it."""
    told = series.explained
    if told is None or series.n == 0:
        return ""
    parts = []
    steps = sorted(told.steps, key=lambda each: -abs(each.size))[:_MOST_STEPS]
    for step in sorted(steps, key=lambda each: each.time_us):
        size = uncertain_text(abs(step.size), _COVER * step.u, series.quantity, units)
        way = "up" if step.size > 0 else "down"
        parts.append(f"{way} by {size} at {when_text(step.time_us, drift.start_utc_us)}{_phase(series, step.time_us)}")
    if len(told.steps) > len(steps):
        parts.append(f"and {len(told.steps) - len(steps)} smaller steps")
    said = f"It stepped {listed(parts)}." if parts else "No step can be seen in it."
    if told.creep is not None:
        size = uncertain_text(abs(told.creep.size), _COVER * told.creep.u, series.quantity, units)
        way = "up" if told.creep.size > 0 else "down"
        said += (
            f" It crept {way} by {size} in all, slowing down with a time constant of {duration_text(told.creep.tau_s)}."
        )
    if told.rest_at_us is not None:
        said += f" It came to rest at {when_text(told.rest_at_us, drift.start_utc_us)}."
    elif parts or told.creep is not None:
        said += " When it came to rest can't be told from this session."
    said += _bench(series, units) + _weather(series, units)
    if told.rejected:
        wild = "1 wild reading was" if told.rejected == 1 else f"{told.rejected} wild readings were"
        said += f" {wild} left out."
    return said


def _bench(series: SeriesDrift, units: str) -> str:
    """Return how much of the neck gauge's change the body gauge showed too, where there was a change to share."""
    bench = series.bench
    if bench is None or bench.share is None:
        return ""
    neck, body = (rough_text(abs(each), series.quantity, units) for each in (bench.neck_change, bench.body_change))
    ways = ["up" if each > 0 else "down" for each in (bench.neck_change, bench.body_change)]
    return (
        f" From start to end the neck gauge went {ways[0]} by {neck}, the body gauge {ways[1]} by {body}: what both"
        " show is the bench, the body or the warming of both."
    )


def _weather(series: SeriesDrift, units: str) -> str:
    """Return what the weather could explain of a change; it is told beside it and never taken off."""
    weather = series.weather
    if weather is None:
        return ""
    most = "at most " if weather.upper_bound else ""
    size = rough_text(abs(weather.explained), series.quantity, units)
    way = "up" if weather.explained > 0 else "down"
    wood = f"{weather.moisture_from:.1f} to {weather.moisture_to:.1f} %"
    return (
        f" The weather could account for {most}{size} {way} of it, if the wood had come to the moisture of the air"
        f" ({wood}); within a day it goes a small part of that way."
    )


def _phase(series: SeriesDrift, utc_us: int) -> str:
    phase = next((each for each in series.phases if each.start_utc_us <= utc_us < each.end_utc_us), None)
    return f" ({phase.name})" if phase is not None and len(series.phases) > 1 else ""


def noise_text(series: SeriesDrift, units: str = "mm") -> str:
    """Return the noise of one reading as text, a dash where it isn't told."""
    return rough_text(None if series.explained is None else series.explained.noise, series.quantity, units)
