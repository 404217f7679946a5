"""JSON documents of finding and trying gauges, explained field by field in docs/documents.md.

Here: what a program reads. Not here: text for people (`finding_view`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from gaugelog.errors import GaugelogError, PluginBrokenError
from gaugelog.gauges.found import Choice, Found, Place
from gaugelog.gauges.trying import Message, Tried
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.readings import Reading
from gaugelog.plugins import Plugin
from gaugelog.show.gauge_documents import Document, finite, reading_document


def finding_document(found: Found, written: Document | None = None) -> Document:
    """Return what a search found: places, what was heard there, which datasheets fit; and what was written, if any."""
    choices = iter(found.choices)
    return {
        "places": [_place(place, choices) for place in found.places],
        "blind": [{"scheme": each.scheme, **_failure(each.reason)} for each in found.blind],
        "written": written,
    }


def written_document(path: str, name: str, gauge: str) -> Document:
    """Return what was written into an instrument file."""
    return {"instrument": path, "name": name, "gauge": gauge}


def _place(place: Place, choices: Iterator[Choice]) -> Document:
    sighting = place.sighting
    return {
        "address": sighting.address,
        "name": sighting.name,
        "detail": sighting.detail,
        "services": list(sighting.services),
        "strength_dbm": sighting.strength_dbm,
        "passed_over": place.passed_over,
        "failure": None if place.failure is None else _failure(place.failure),
        "heard": [
            {
                "address": heard.address.text,
                "question": heard.question.hex(),
                "bytes": b"".join(chunk.data for chunk in heard.chunks).hex(),
                "fits": [_choice(next(choices)) for _ in heard.fits],
            }
            for heard in place.heard
        ],
    }


def _failure(reason: GaugelogError) -> Document:
    return {"error": reason.slug, "words": str(reason), "hint": reason.hint}


def _choice(choice: Choice) -> Document:
    fit = choice.fit
    return {
        "number": choice.number,
        "gauge": choice.gauge,
        "datasheet": fit.datasheet.name,
        "quantity": fit.datasheet.quantity.value,
        "best": choice.alike,
        "readings": fit.readings,
        "rejects": fit.rejects,
        "share": finite(fit.share),
        "rate_hz": finite(fit.rate_hz),
        "guarded": fit.guarded,
        "radio_named": fit.radio_named,
        "example": _message(fit.example, fit.example.time_ns),
    }


def _message(message: Message, start_ns: int) -> Document:
    item = message.item
    document: Document = {"seconds": (message.time_ns - start_ns) / 1e9, "bytes": message.raw.hex()}
    if isinstance(item, Reading):
        return {**document, "reading": reading_document(item, start_ns), "reason": None, "detail": ""}
    return {**document, "reading": None, "reason": item.reason.value, "detail": item.detail}


def trying_document(datasheet: Datasheet, broken_rule: str, tried: Tried | None, start_ns: int = 0) -> Document:
    """Return whether a datasheet keeps the rules, and what it makes of the bytes that were given, if any."""
    document: dict[str, Any] = {"datasheet": datasheet.name, "broken_rule": broken_rule or None}
    if tried is None:
        return {**document, "messages": None, "left_over": None, "readings": None, "rejects": None}
    return {
        **document,
        "messages": [_message(each, start_ns) for each in tried.messages],
        "left_over": [_message(each, start_ns) for each in tried.left_over],
        "readings": len(tried.readings),
        "rejects": len(tried.rejects),
    }


def plugins_document(plugins: Iterable[tuple[Plugin, str]], broken: Iterable[PluginBrokenError]) -> Document:
    """Return what installed packages add, each with why it can't be used (empty where it can)."""
    return {
        "plugins": [
            {
                "group": plugin.group,
                "name": plugin.name,
                "target": plugin.target,
                "package": plugin.package,
                "version": plugin.version,
                "broken": reason or None,
            }
            for plugin, reason in plugins
        ],
        "broken_datasheets": [str(each) for each in broken],
    }
