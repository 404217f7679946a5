"""What the live watch tells, in words.

Here: an alarm as one sentence a builder would say, and as fields. Not here: when something is an alarm
(`analysis.watch`), the screen (`clamp_view`).
"""

from __future__ import annotations

from datetime import tzinfo

from gaugelog.analysis.slip import AlarmKind
from gaugelog.analysis.watch import Alarm
from gaugelog.model.instrument import Glue, Instrument
from gaugelog.model.placement import Phase
from gaugelog.model.quantities import Quantity
from gaugelog.show.gauge_documents import Document, iso_utc
from gaugelog.show.numbers import MINUS, clock_text, duration_text, rough_text

_NECK_ANGLE = "neck-angle"
_HEADS = {
    AlarmKind.SLIP: "SLIP",
    AlarmKind.CREEP: "CREEP",
    AlarmKind.LOST: "LOST",
    AlarmKind.NOTICE: "note",
}
MENDABLE = (AlarmKind.SLIP, AlarmKind.CREEP)
"""What can be put right while the glue is open, so that the time left is told with it."""


def alarm_head(kind: AlarmKind) -> str:
    """Return the word that an alarm begins with."""
    return _HEADS[kind]


def series_words(alarm: Alarm, instrument: Instrument) -> str:
    """Return what moved: the neck angle where a difference reads it, else the gauge or what it lies on."""
    neck = alarm.series.split(" - ")[0]
    reads = any(each.kind.slug == _NECK_ANGLE and each.gauge == neck for each in instrument.checkpoints)
    if alarm.of_difference:
        return "neck angle" if reads else alarm.series.replace(" - ", f" {MINUS} ")
    if alarm.quantity is Quantity.ANGLE and reads:
        return f"neck or gauge ({alarm.series}; no body gauge takes the bench out)"
    return alarm.series


def alarm_words(alarm: Alarm, instrument: Instrument, since_utc_us: int, zone: tzinfo | None = None) -> str:
    """Return an alarm as words: "neck angle up 0.15° at 12:04:31".

    Args:
        alarm: what was told.
        instrument: whose neck it is.
        since_utc_us: when it began, microseconds UTC.
        zone: of the clock times, the machine's own where none is given.
    """
    when = clock_text(since_utc_us, zone, seconds=True)
    if alarm.kind is AlarmKind.LOST:
        return f"nothing of use heard from {alarm.series} since {when}: look at the gauge and its link"
    what = series_words(alarm, instrument)
    way = "up" if alarm.size > 0 else "down"
    size = rough_text(abs(alarm.size), alarm.quantity, instrument.units)
    if alarm.kind is AlarmKind.CREEP:
        return f"{what} has crept {way} by {size} since {when}: more than its limit"
    if alarm.kind is AlarmKind.NOTICE:
        return f"{what} {way} by a digit at {when}: a quiet gauge between two digits looks the same"
    return f"{what} {way} {size} at {when}"


def watch_failed_words(why: str) -> str:
    """Return what is to be said when the watch itself has failed, and why."""
    return f"the watch has failed and tells nothing any more; recording goes on; end it and start it again ({why})"


def time_left_words(phase: Phase, glue_open_s: float | None, glue: Glue) -> str:
    """Return how long the glue is still open by the label, empty where that isn't known or over."""
    if phase not in (Phase.GLUE_OPEN, Phase.IN_CLAMPS) or glue_open_s is None or glue.open_time_min is None:
        return ""
    left_s = glue.open_time_min * 60 - glue_open_s
    if left_s <= 0:
        return "the glue is past its open time by your label: moving it now breaks the joint"
    minutes = int(left_s // 60)
    left = f"{minutes} more minute{'' if minutes == 1 else 's'}" if minutes else f"{duration_text(left_s)} more"
    return f"glue open for {left} by your label"


def alarm_document(alarm: Alarm, time_utc_us: int) -> Document:
    """Return an alarm as JSON fields; see docs/documents.md."""
    return {
        "time": iso_utc(time_utc_us),
        "kind": alarm.kind.value,
        "gauge": alarm.series,
        "size": alarm.size,
        "unit": alarm.quantity.base_unit,
    }


def clamp_times_words(phase: Phase, glue_open_s: float | None, in_clamps_s: float | None, glue: Glue) -> list[str]:
    """Return the times that count in a phase of the clamp session, each in words, against the glue's label if given.

    Args:
        phase: the phase that the marks say it is.
        glue_open_s: seconds since the glue went on, None before.
        in_clamps_s: seconds since the clamps went on, None before.
        glue: what the glue's label says, as the builder entered it.
    """
    left = time_left_words(phase, glue_open_s, glue)
    words: list[str] = []
    if phase is Phase.GLUE_OPEN and glue_open_s is not None:
        words.append(f"for {duration_text(glue_open_s)}")
    elif in_clamps_s is not None and phase is Phase.IN_CLAMPS:
        label_s = None if glue.clamp_time_h is None else glue.clamp_time_h * 3600
        of_label = "" if label_s is None else f" of {duration_text(label_s)} by your label"
        words.append(f"for {duration_text(in_clamps_s)}{of_label}")
        if label_s is not None and in_clamps_s < label_s:
            words.append("leave it alone until the clamp time is over")
    elif in_clamps_s is not None and phase is Phase.AFTER_CLAMPS:
        words.append(f"the clamps went on {duration_text(in_clamps_s)} ago")
    return [*words, *([left] if left else [])]
