"""What the live watch has to know of a session's gauges.

Here: from the instrument file and the datasheets to a `Watch`. Not here: the watch itself (`analysis.watch`).
"""

from __future__ import annotations

from collections.abc import Mapping

from gaugelog.analysis.watch import Watch, WatchedGauge
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.instrument import Instrument
from gaugelog.review.session import creep_limits, pairs_of


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
