"""The phases of a clamp session, as its marks divide it.

Here: from marks to stretches of time. Not here: what the gauges did in them (`drift`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gaugelog.model.placement import PHASE_BEGUN_BY, Mark, Phase

WHOLE_SESSION = "whole session"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A phase's name and its ends in UTC microseconds; a reading at `start` belongs to it, one at `end` to the next."""

    name: str
    start_utc_us: int
    end_utc_us: int


def phases_of(marks: Sequence[Mark], start_utc_us: int, end_utc_us: int) -> tuple[Stretch, ...]:
    """Return the phases of a session from its marks: dry fit until the first, then as each mark begins one.

    A mark set before the session's start counts from the start; two marks of one kind in a row make one phase; a
    phase without any length is left out. Without marks the whole session is one.

    Args:
        marks: in any order; notes are no phase.
        start_utc_us: begin of the session.
        end_utc_us: end of the session.
    """
    begins = sorted(
        (min(max(mark.utc_us, start_utc_us), end_utc_us), PHASE_BEGUN_BY[mark.kind].value)
        for mark in marks
        if mark.kind in PHASE_BEGUN_BY
    )
    if not begins:
        return (Stretch(WHOLE_SESSION, start_utc_us, end_utc_us),)
    opened = [(start_utc_us, Phase.DRY_FIT.value), *begins]
    first_of_run = [(t, name) for i, (t, name) in enumerate(opened) if i == 0 or name != opened[i - 1][1]]
    ends = [t for t, _ in first_of_run[1:]] + [end_utc_us]
    return tuple(
        Stretch(name, start, end) for (start, name), end in zip(first_of_run, ends, strict=True) if end > start
    )
