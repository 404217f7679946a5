"""What bench and warm-up explain of the neck gauge's change: what the gauge on the body shows too.

Here: the share that both gauges show. Not here: their difference over time (`series`), the weather (`climate`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from gaugelog.analysis.levels import Levels, levels_in
from gaugelog.analysis.phases import Stretch
from gaugelog.analysis.series import Series

COVER_95 = 1.959963984540054
LEAST_COVERED = 0.9


@dataclass(frozen=True, slots=True)
class BenchShare:
    """How much of the neck gauge's change the body gauge showed too, changes in the base unit.

    `difference` is the neck's change less the body's. `share` is the body's change over the neck's, None where the
    neck's lies within its 95 % uncertainty or has none: below 0 they went opposite ways, above 1 the body went farther.
    `share_u` is the standard uncertainty of the share.
    """

    body_change: float
    neck_change: float
    difference: float
    share: float | None
    share_u: float | None = None


def bench_share(neck: Series, body: Series, start_utc_us: int, end_utc_us: int) -> BenchShare | None:
    """Return how much of the neck gauge's change between two moments the body gauge showed too.

    Formula: changes n and b as `levels_in` has them, over the stretch that both gauges cover; share = b/n with
    u² = (u_b² + share² u_n²)/n² (GUM, JCGM 100:2008, 5.1.2, the two taken as independent).

    A bench that sags, a body that turns and a workshop that warms two gauges of one make alike move both; what only the
    neck's shows is the neck's, or that gauge's own.

    When this is wrong: two gauges that warm up differently, the share of a gauge's own warm-up then isn't in it; a body
    gauge that slipped on its own; clamps that bend the body, which both see and a builder may care about. The share
    says what both showed, not what caused it.

    Args:
        neck: the gauge on the neck.
        body: the gauge on the body, of the same quantity.
        start_utc_us: from when.
        end_utc_us: until when.

    Returns:
        None where both gauges together cover less than nine tenths of the stretch, or one has too few readings.

    Raises:
        ValueError: the two measure different quantities, or the stretch has no length.
    """
    if neck.quantity is not body.quantity:
        raise ValueError("only gauges of one quantity can share a change")
    if end_utc_us <= start_utc_us:
        raise ValueError("a stretch ends after its start")
    stretch = _common(neck, body, start_utc_us, end_utc_us)
    if stretch is None:
        return None
    of_neck, of_body = (levels_in(series.in_order().counted(), stretch) for series in (neck, body))
    if of_neck is None or of_body is None:
        return None
    share, share_u = _share(of_neck, of_body)
    return BenchShare(of_body.change, of_neck.change, of_neck.change - of_body.change, share, share_u)


def _share(of_neck: Levels, of_body: Levels) -> tuple[float | None, float | None]:
    """Return the share and its standard uncertainty, None where it can't be told."""
    if of_neck.u is None or abs(of_neck.change) <= COVER_95 * of_neck.u:
        return None, None
    share = of_body.change / of_neck.change
    if of_body.u is None:
        return share, None
    return share, math.hypot(of_body.u, share * of_neck.u) / abs(of_neck.change)


def _common(neck: Series, body: Series, start_utc_us: int, end_utc_us: int) -> Stretch | None:
    """Return the stretch that both gauges cover, None where that is too little of what was asked for."""
    covered = [_covered(series, start_utc_us, end_utc_us) for series in (neck, body)]
    start, end = max(low for low, _ in covered), min(high for _, high in covered)
    enough = end - start >= LEAST_COVERED * (end_utc_us - start_utc_us)
    return Stretch("", start, end) if enough else None


def _covered(series: Series, start_utc_us: int, end_utc_us: int) -> tuple[int, int]:
    """Return from when until when a gauge tells something of a stretch; nothing where the end lies before the start."""
    times = series.in_order().counted().utc_us
    first, last = np.searchsorted(times, [start_utc_us, end_utc_us])
    if not series.holds:
        return (int(times[first]), int(times[last - 1]) + 1) if last > first else (end_utc_us, start_utc_us)
    # a value stands until the next one, but not through a gap: there only readings tell
    lost_first, lost_last = (
        any(gap.start_utc_us <= moment < gap.end_utc_us for gap in series.gaps)
        for moment in (start_utc_us, end_utc_us - 1)
    )
    if first == 0 or lost_first:
        start_utc_us = int(times[first]) if last > first else end_utc_us
    if lost_last:
        end_utc_us = int(times[last - 1]) + 1 if last > 0 else start_utc_us
    return start_utc_us, end_utc_us
