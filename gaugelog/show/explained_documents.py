"""JSON fields of what a clamp session did: steps, creep, rest.

Here: the explanation of one series as data. Not here: its phases and gaps (`documents`).
"""

from __future__ import annotations

from gaugelog.analysis.climate import ClimateShare
from gaugelog.analysis.results import SeriesDrift
from gaugelog.analysis.warm_up import BenchShare
from gaugelog.show.gauge_documents import Document, finite, iso_utc


def explained_fields(series: SeriesDrift) -> Document:
    """Return steps, creep, rest and noise of a series; empty and null where there is nothing to tell."""
    told = series.explained
    if told is None:
        return {
            "steps": [],
            "creep": None,
            "rest_at": None,
            "noise": None,
            "rejected": 0,
            "climate_share": None,
            "climate": None,
            "bench_share": None,
            "bench": None,
        }
    creep = told.creep
    return {
        "steps": [
            {"time": iso_utc(each.time_us), "size": finite(each.size), "u": finite(each.u)} for each in told.steps
        ],
        "creep": None
        if creep is None
        else {
            "start": iso_utc(creep.start_us),
            "size": finite(creep.size),
            "tau_s": finite(creep.tau_s),
            "u": finite(creep.u),
        },
        "rest_at": iso_utc(told.rest_at_us),
        "noise": finite(told.noise),
        "rejected": told.rejected,
        "climate_share": None if series.weather is None else finite(series.weather.share),
        "climate": _climate(series.weather),
        "bench_share": None if series.bench is None else finite(series.bench.share),
        "bench": _bench(series.bench),
    }


def _climate(weather: ClimateShare | None) -> Document | None:
    if weather is None:
        return None
    return {
        "explained": finite(weather.explained),
        "lowest": finite(weather.lowest),
        "highest": finite(weather.highest),
        "upper_bound": weather.upper_bound,
        "moisture_from": finite(weather.moisture_from),
        "moisture_to": finite(weather.moisture_to),
    }


def _bench(bench: BenchShare | None) -> Document | None:
    if bench is None:
        return None
    return {
        "body_change": finite(bench.body_change),
        "neck_change": finite(bench.neck_change),
        "u": finite(bench.share_u),
    }
