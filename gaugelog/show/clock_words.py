"""What has to be said of the times in a session, in words.

Here: that the computer's clock was set meanwhile, and that the clocks changed to or from summer time. Not here: a time
as text (`numbers`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta, tzinfo

from gaugelog.show.numbers import duration_text, moment, zone_text
from gaugelog.store.records import ClockSet

_LEAST_TOLD_S = 1.0
_STEP_US = 3_600_000_000
_LONGEST_US = 400 * 24 * _STEP_US


def time_sentences(
    sets: Sequence[ClockSet], start_utc_us: int, end_utc_us: int, zone: tzinfo | None = None
) -> list[str]:
    """Return what has to be said of the times of a session; nothing where its clocks ran as clocks do.

    Args:
        sets: where the computer's clock was set; by less than a second isn't told.
        start_utc_us: beginning of the session.
        end_utc_us: its end.
        zone: of the clock times, the machine's own where none is given.
    """
    told = [_set_words(each, zone) for each in sets if abs(each.by_s) >= _LEAST_TOLD_S]
    if told:
        told.append("Times of this session go on as each sitting began them, evenly and in order.")
    return told + [_change_words(each, zone) for each in _changes(start_utc_us, end_utc_us, zone)]


def set_back_sentence(began_utc_us: int, zone: tzinfo | None = None) -> str:
    """Return that a sitting began, by its clock, before the one before it had ended."""
    when = f"{moment(began_utc_us, zone):%Y-%m-%d %H:%M:%S}"
    return (
        f"A sitting began at {when} by the computer's clock, before the one before it had ended: the clock was set back"
        " between the two, or is wrong. What came first can't be told from their times, and where they overlap their"
        " readings are mixed."
    )


def _set_words(each: ClockSet, zone: tzinfo | None) -> str:
    way = "forward" if each.by_s > 0 else "back"
    if abs(each.ahead_s) < _LEAST_TOLD_S:
        now = "so that it agreed with this session's time again"
    else:
        side = "ahead of" if each.ahead_s > 0 else "behind"
        now = f"from then on it was {duration_text(abs(each.ahead_s))} {side} this session's time"
    when = f"{moment(each.utc_us, zone):%Y-%m-%d %H:%M:%S}"
    return f"The computer's clock was set {way} by {duration_text(abs(each.by_s))} at {when}; {now}."


def _change_words(utc_us: int, zone: tzinfo | None) -> str:
    before, after = moment(utc_us - 1, zone).utcoffset(), moment(utc_us, zone).utcoffset()
    shown = moment(utc_us, zone).replace(tzinfo=None) + (before or timedelta()) - (after or timedelta())
    words = (
        f"The clocks changed on {shown:%Y-%m-%d} at {shown:%H:%M} ({zone_text(before)}) to"
        f" {moment(utc_us, zone):%H:%M} ({zone_text(after)})"
    )
    if (after or timedelta()) < (before or timedelta()):
        words += "; a time that was shown twice says which it is"
    return f"{words}. A chart's axis goes on by the clock as it was at its left edge."


def _changes(start_utc_us: int, end_utc_us: int, zone: tzinfo | None) -> Iterator[int]:
    """Yield the first microsecond of each other distance from UTC between two moments, to the second."""
    end_utc_us = min(end_utc_us, start_utc_us + _LONGEST_US)
    low = start_utc_us
    while low < end_utc_us:
        high = min(low + _STEP_US, end_utc_us)
        offset = moment(low, zone).utcoffset()
        if moment(high, zone).utcoffset() != offset:
            same, other = low // 1_000_000, -(-high // 1_000_000)
            while other - same > 1:
                middle = (same + other) // 2
                if moment(middle * 1_000_000, zone).utcoffset() == offset:
                    same = middle
                else:
                    other = middle
            yield other * 1_000_000
        low = high
