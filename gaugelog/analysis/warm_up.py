"""What bench and warm-up explain of the neck gauge's change: what the gauge on the body shows too.

Here: the share that both gauges show. Not here: their difference over time (`series`), the weather (`climate`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gaugelog.analysis.drift import series_drift
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

    Formula: changes n and b as `series_drift` has them, over the stretch that both gauges cover; share = b/n with
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
    of_neck, of_body = (series_drift(series, (stretch,)).phases[0] for series in (neck, body))
    if of_neck.change is None or of_body.change is None:
        return None
    share = share_u = None
    if of_neck.u is not None and abs(of_neck.change) > COVER_95 * of_neck.u:
        share = of_body.change / of_neck.change
        if of_body.u is not None:
            share_u = math.hypot(of_body.u, share * of_neck.u) / abs(of_neck.change)
    return BenchShare(of_body.change, of_neck.change, of_neck.change - of_body.change, share, share_u)


def _common(neck: Series, body: Series, start_utc_us: int, end_utc_us: int) -> Stretch | None:
    """Return the stretch that both gauges cover, None where that is too little of what was asked for."""
    start, end = start_utc_us, end_utc_us
    for series in (neck, body):
        times = series.counted().utc_us
        within = times[(times >= start_utc_us) & (times < end_utc_us)]
        if series.holds:
            # its last value still stands: only a first reading that comes late leaves something open
            start = max(start, int(times.min())) if times.size else end
        elif within.size:
            start, end = max(start, int(within.min())), min(end, int(within.max()) + 1)
        else:
            return None
    covered = (end - start) / (end_utc_us - start_utc_us)
    return Stretch("", start, end) if covered >= LEAST_COVERED else None
