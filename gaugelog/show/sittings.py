"""Parts of a session in which somebody was listening, so that a night between two of them takes no room in a chart.

Here: where a session falls apart. Not here: drawing its parts (`drift_chart`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gaugelog.show.envelope import Times

_LEAST_SILENCE_US = 30 * 60 * 1_000_000
_MOST_PANELS = 5
_LEAST_SHARE = 0.16


@dataclass(frozen=True, slots=True)
class Panel:
    """One part of a session, in UTC microseconds, and the share of the chart's width that it gets."""

    start_us: int
    end_us: int
    share: float


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
    merged = np.unique(np.concatenate([*known, np.array([start_us, end_us], dtype=np.int64)]))
    silent = np.flatnonzero(np.diff(merged) >= _LEAST_SILENCE_US)
    edges = [int(merged[0])]
    for place in silent:
        edges += [int(merged[place]), int(merged[place + 1])]
    edges.append(int(merged[-1]))
    parts = [(low, high) for low, high in zip(edges[::2], edges[1::2], strict=True)]
    listened = sum(high - low for low, high in parts)
    pauses = [edges[place + 1] - edges[place] for place in range(1, len(edges) - 1, 2)]
    if len(parts) > _MOST_PANELS or any(pause < listened / len(parts) for pause in pauses) or listened == 0:
        parts = [(edges[0], edges[-1])]
    return _with_shares(parts)


def _with_shares(parts: Sequence[tuple[int, int]]) -> tuple[Panel, ...]:
    roots = [math.sqrt(max(high - low, 1)) for low, high in parts]
    least = _LEAST_SHARE * sum(roots)
    widths = [max(root, least) for root in roots]
    return tuple(Panel(low, high, width / sum(widths)) for (low, high), width in zip(parts, widths, strict=True))
