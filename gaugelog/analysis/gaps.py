"""Stretches of a clamp session in which a gauge said nothing.

Here: which silences are gaps, and whether they are a fault. Not here: filling them; a gap stays a gap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.results import Gap
from gaugelog.model.datasheet import LEAST_SILENCE_S, SILENCE_PERIODS

SILENT = "no reading"


def silence_limit_us(utc_us: NDArray[np.int64], period_s: float | None = None) -> int | None:
    """Return how long a steadily sending gauge may say nothing: max(2 s, 5 periods), in microseconds.

    Where its period is not known it is the median distance of its readings; None with fewer than three of them.
    """
    if period_s is None:
        if utc_us.size < 3:
            return None
        period_s = float(np.median(np.diff(utc_us))) / 1e6
    return int(max(LEAST_SILENCE_S, SILENCE_PERIODS * period_s) * 1e6)


def silences(
    utc_us: NDArray[np.int64], limit_us: int, start_utc_us: int, end_utc_us: int, *, fault: bool = True
) -> tuple[Gap, ...]:
    """Return the stretches longer than `limit_us` between two readings, before the first, and behind the last.

    When this is wrong: a computer that slept looks like a silent gauge; the recorder's own gaps say which it was.

    Args:
        utc_us: times of readings, sorted, microseconds.
        limit_us: the longest silence that is none.
        start_utc_us: begin of the session.
        end_utc_us: end of the session.
        fault: whether the silence is one.
    """
    edges = np.concatenate(([start_utc_us], utc_us, [end_utc_us]))
    found = np.flatnonzero(np.diff(edges) > limit_us)
    return tuple(Gap(int(edges[i]), int(edges[i + 1]), SILENT, fault) for i in found)


def merge_gaps(recorded: Sequence[Gap], silent: Sequence[Gap]) -> tuple[Gap, ...]:
    """Return recorded gaps and silences in order of time; a silence that recorded gaps explain is not told twice.

    Recorded gaps give the reason; the silence, which began with the last reading and ended with the next, stretches
    the first of them back and the last of them on.
    """
    kept = sorted(recorded, key=_when)
    for silence in silent:
        inside = [
            i
            for i, gap in enumerate(kept)
            if gap.start_utc_us < silence.end_utc_us and silence.start_utc_us < gap.end_utc_us
        ]
        if not inside:
            kept.append(silence)
            continue
        first, last = inside[0], inside[-1]
        kept[first] = replace(kept[first], start_utc_us=min(kept[first].start_utc_us, silence.start_utc_us))
        kept[last] = replace(kept[last], end_utc_us=max(kept[last].end_utc_us, silence.end_utc_us))
    return tuple(sorted(kept, key=_when))


def _when(gap: Gap) -> tuple[int, int]:
    return gap.start_utc_us, gap.end_utc_us
