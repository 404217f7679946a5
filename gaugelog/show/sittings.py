"""Parts of a session in which somebody was listening, so that a night between two of them takes no room in a chart.

Here: where a session falls apart, and the clock of each part. Not here: drawing its parts (`drift_chart`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gaugelog.show.envelope import Times
from gaugelog.show.numbers import moment

_LEAST_SILENCE_US = 30 * 60 * 1_000_000
_MOST_PANELS = 5
_LEAST_SHARE = 0.16


@dataclass(frozen=True, slots=True)
class Panel:
    """One part of a session, in UTC microseconds, and the share of the chart's width that it gets."""

    start_us: int
    end_us: int
    share: float

    @property
    def ahead_us(self) -> int:
        """How far local time is ahead of UTC as the panel begins; all of its axis goes by that."""
        offset = moment(self.start_us).utcoffset()
        return round(offset.total_seconds() * 1e6) if offset is not None else 0

    def local(self, utc_us: Sequence[int] | Times) -> NDArray[np.datetime64]:
        """Return UTC microseconds, shape (n,), as local times without a zone, in milliseconds."""
        return ((np.asarray(utc_us, dtype=np.int64) + self.ahead_us) // 1000).astype("datetime64[ms]")

    def written(self, utc_us: int) -> str:
        """Return a moment as plotly writes one on this panel's axis."""
        return str(self.local([utc_us])[0])


def panel_at(panels: Sequence[Panel], utc_us: int) -> int:
    """Return the panel that a moment lies in, the next one where it lies in a pause."""
    return next((place for place, panel in enumerate(panels) if utc_us <= panel.end_us), len(panels) - 1)


def panels_of(times: Sequence[Times], start_us: int, end_us: int) -> tuple[Panel, ...]:
    """Return the parts of a session between long silences of all gauges; one part where there are too many.

    A silence is long from half an hour on, and only if it is longer than a part is on the average. A part's share of
    the width goes with the square root of how long it lasted, so that eight minutes beside an hour can be read.

    Args:
        times: UTC microseconds of the readings of each series, each sorted.
        start_us: beginning of the session.
        end_us: its end.
    """
    known = [each for each in times if each.size]
    if not known:
        return (Panel(start_us, end_us, 1.0),)
    parts = _joined([(start_us, start_us), (end_us, end_us), *(part for each in known for part in _heard(each))])
    listened = sum(high - low for low, high in parts)
    pauses = [after[0] - before[1] for before, after in pairwise(parts)]
    if len(parts) > _MOST_PANELS or any(pause < listened / len(parts) for pause in pauses) or listened == 0:
        parts = [(parts[0][0], parts[-1][1])]
    return _with_shares(parts)


def _heard(utc_us: Times) -> list[tuple[int, int]]:
    """Return the stretches of one series between its own long silences."""
    silent = np.flatnonzero(np.diff(utc_us) >= _LEAST_SILENCE_US)
    starts = utc_us[np.concatenate(([0], silent + 1))]
    ends = utc_us[np.append(silent, utc_us.size - 1)]
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def _joined(parts: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return stretches in order, those put together between which no long silence lies."""
    found: list[tuple[int, int]] = []
    for low, high in sorted(parts):
        if found and low - found[-1][1] < _LEAST_SILENCE_US:
            found[-1] = (found[-1][0], max(found[-1][1], high))
        else:
            found.append((low, high))
    return found


def _with_shares(parts: Sequence[tuple[int, int]]) -> tuple[Panel, ...]:
    roots = [math.sqrt(max(high - low, 1)) for low, high in parts]
    least = _LEAST_SHARE * sum(roots)
    widths = [max(root, least) for root in roots]
    return tuple(Panel(low, high, width / sum(widths)) for (low, high), width in zip(parts, widths, strict=True))
