"""A rescue in words and as a JSON document: what was got out of a damaged recording, and what is missing.

Here: sentences and the document. Not here: the rescue itself (`store.rescue`).
"""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from gaugelog.show.gauge_documents import Document, iso_utc
from gaugelog.show.look import QUIET, STRONG, WARN
from gaugelog.show.numbers import clock_text, count_text, moment
from gaugelog.store.rescue import Rescue
from gaugelog.store.salvaged import Loss

_WORDS = {
    "readings": "reading",
    "placement": "placement",
    "snapshot": "snapshot",
    "mark": "mark",
    "gauge": "gauge",
    "instrument": "version of the instrument file",
    "sitting": "sitting",
    "event": "event",
    "gap": "gap",
    "skip": "skip",
    "gauge_check": "record of a gauge's check",
    "reject_raw": "message that was no reading",
}
_PLURALS = {
    "instrument": "versions of the instrument file",
    "reject": "counts of messages that were no reading",
    "reject_raw": "messages that were no reading",
    "gauge_check": "records of gauges' checks",
    "clock": "notes of a clock that was set",
    "tally": "counts of readings",
    "-wal file": "-wal file",
}


def rescue_view(done: Rescue) -> RenderableType:
    """Return what was got out, what is missing with its times, and what no checksum vouches for."""
    kept = [_counted(count, what) for what, count in _in_order(done) if count]
    lines: list[RenderableType] = [
        Text(f"Got out of {done.source.name} into {done.target}:", style=STRONG),
        *(Padding(Text(words), (0, 0, 0, 2)) for words in kept),
        Text(),
    ]
    if done.losses:
        lines += [Text("Missing, or not known to be all:", style=WARN)]
        lines += [Padding(Text(loss_words(loss)), (0, 0, 0, 2)) for loss in done.losses]
    else:
        lines += [Text("Nothing is missing.")]
    if done.unsealed:
        what = ", ".join(_counted(count, table) for table, count in done.unsealed.items())
        words = f"Taken as they stood, since recordings of schema 1 keep no checksum of them: {what}."
        lines += [Text(), Text(words, style=QUIET)]
    lines += [Text(), Text(f"{done.source.name} was left as it is. Keep it until you know that you don't need it.")]
    return Group(*lines)


def _in_order(done: Rescue) -> list[tuple[str, int]]:
    return [(what, done.kept[what]) for what in _WORDS if what in done.kept]


def _counted(count: int, what: str) -> str:
    if count != 1 and what in _PLURALS:
        return f"{count} {_PLURALS[what]}"
    return count_text(count, _WORDS.get(what, what.replace("_", " ")))


def loss_words(loss: Loss) -> str:
    """Return a loss in one line: what, how much, between which moments."""
    what = _PLURALS.get(loss.what) or (_WORDS.get(loss.what, loss.what).removesuffix("s") + "s")
    words = f"{what}: {loss.words}"
    if loss.start_utc_us is None or loss.end_utc_us is None:
        return words
    first, last = moment(loss.start_utc_us), moment(loss.end_utc_us)
    start = f"{first:%Y-%m-%d} {clock_text(loss.start_utc_us, seconds=True)}"
    day = f"{last:%Y-%m-%d} " if last.date() != first.date() else ""
    return f"{words}, {start} to {day}{clock_text(loss.end_utc_us, seconds=True)}"


def rescue_document(done: Rescue) -> Document:
    """Return the same as a document."""
    return {
        "source": str(done.source),
        "target": str(done.target),
        "whole": done.is_whole,
        "kept": dict(done.kept),
        "missing": [
            {
                "what": loss.what,
                "words": loss.words,
                "count": loss.count,
                "start": iso_utc(loss.start_utc_us),
                "end": iso_utc(loss.end_utc_us),
            }
            for loss in done.losses
        ],
        "without_checksum": dict(done.unsealed),
    }
