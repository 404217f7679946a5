"""What the live watch has to know of a session's gauges.

Here: from the instrument file and the datasheets to a `Watch`. Not here: the watch itself (`analysis.watch`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from gaugelog.analysis.watch import Watch, WatchedGauge
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.instrument import Instrument
from gaugelog.review.session import pairs_of

_NECK_ANGLE = "neck-angle"


def watch_of(instrument: Instrument, datasheets: Mapping[str, Datasheet]) -> Watch:
    """Return a watch over gauges, by short name, with the pairs and the limits of the instrument file."""
    pairs = [
        pair
        for pair in pairs_of(instrument, set(datasheets))
        if datasheets[pair[0]].quantity is datasheets[pair[1]].quantity
    ]
    gauges = {name: _watched(sheet) for name, sheet in datasheets.items()}
    return Watch(gauges, pairs, creep_limits(instrument, tuple(datasheets), pairs))


def _watched(sheet: Datasheet) -> WatchedGauge:
    period_s = sheet.poll.period_s if sheet.poll else 1 / sheet.rate_hz if sheet.rate_hz else None
    silence_s = sheet.longest_silence_s if sheet.awake_s is None else None
    return WatchedGauge(sheet.resolution, sheet.quantity, sheet.sends, period_s, silence_s)


def creep_limits(
    instrument: Instrument, names: Sequence[str], pairs: Sequence[tuple[str, str]] = ()
) -> dict[str, float | None]:
    """Return how far each series may creep, in its base unit, None where the file says nothing.

    In the clamps a gauge lies on the neck, so the neck angle's limit counts where its gauge reads that; else the
    smallest limit of what it reads after the glue.
    """
    found = {name: _limit(instrument, name) for name in names}
    return found | {f"{neck} - {body}": found.get(neck) for neck, body in pairs}


def _limit(instrument: Instrument, gauge: str) -> float | None:
    points = [each for each in instrument.checkpoints if each.gauge == gauge and each.kind.glued]
    angles = [each for each in points if each.kind.slug == _NECK_ANGLE]
    limits = [each.limit for each in angles or points if each.limit is not None]
    if not limits and angles:
        return instrument.movement_limits.neck_angle
    return min(limits, default=None)
