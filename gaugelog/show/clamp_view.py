"""The live view of a clamp session being recorded.

Here: phase, times against the glue's label, each gauge against the start. Not here: recording (`recorder`), explaining
the session afterwards (`charts`, `terminal_results`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from rich.console import Group, RenderableType
from rich.text import Text

from gaugelog.analysis.watch import Alarm
from gaugelog.capture.placing import PlacingState
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.instrument import Checkpoint, Glue, Instrument
from gaugelog.model.placement import Phase
from gaugelog.model.readings import LinkState, Reading
from gaugelog.show.alarm_words import MENDABLE, alarm_head, alarm_words, time_left_words, watch_failed_words
from gaugelog.show.gauge_documents import flag_words
from gaugelog.show.live_parts import BeingTyped, entry_line, placing_view
from gaugelog.show.look import ACCENT, ALARM, QUIET, STRONG, WARN, bar, folded, keys_line, plain_table, rows_of
from gaugelog.show.numbers import UNKNOWN, count_text, duration_text, value_text
from gaugelog.show.words import simulated_words

_BAR = 20
_NEARLY = 0.8
_FIGURE_ROWS = 5
_ROWS_BESIDE_FIGURES = 3
_MOST_MESSAGE_ROWS = 2
_MOST_ALARMS = 3
_HINT = "marks and keys below; a value may be typed for the wet check"
_KEYS = (
    ("a", "acknowledge"),
    ("g", "glue on"),
    ("c", "clamps on"),
    ("f", "clamps off"),
    ("n", "note"),
    ("b", "set a mark back"),
    ("r", "spot reading"),
    ("w", "wet check"),
    ("e", "end"),
)


class AlarmNow(Protocol):
    """An alarm, and whether it still calls for the builder."""

    alarm: Alarm

    @property
    def calls(self) -> bool:
        """Whether nobody has acknowledged it."""


class GaugeNow(Protocol):
    """How one gauge stands in the session; values in its base unit."""

    name: str
    datasheet: Datasheet
    readings: int
    rejects: int
    gaps: int
    latest: Reading | None
    start: float | None
    link: LinkState | None
    silent_since_ns: int | None


def clamp_view(
    *,
    gauges: Sequence[GaugeNow],
    phase: Phase,
    in_clamps_s: float | None,
    glue_open_s: float | None,
    readings: int,
    gaps: int,
    instrument: Instrument,
    entry: BeingTyped,
    message: str,
    width: int,
    height: int,
    wet: PlacingState | None = None,
    wet_checkpoint: Checkpoint | None = None,
    pairs: Sequence[tuple[str, str]] = (),
    simulated: Sequence[str] = (),
    alarms: Sequence[AlarmNow] = (),
    utc_us_of: Callable[[int], int] = int,
    watch_failed: str = "",
    title: str = "clamp session",
    keys: Sequence[tuple[str, str]] = _KEYS,
    hint: str = _HINT,
) -> RenderableType:
    """Return the view of a clamp session.

    Args:
        gauges: each gauge as it stands.
        phase: the phase that the marks say it is.
        in_clamps_s: seconds since the clamps went on, None before.
        glue_open_s: seconds since the glue went on, None before.
        readings: recorded in this sitting.
        gaps: marked in this sitting.
        instrument: whose neck it is, with what the glue's label says.
        entry: the line being typed.
        message: what was said last.
        width: columns of the terminal.
        height: rows of the terminal.
        wet: how a placement of the wet check stands, None where none is under way or it is typed.
        wet_checkpoint: the checkpoint of that placement.
        pairs: names of gauges of which the difference is shown too.
        simulated: short names of the simulated gauges.
        alarms: what was told so far, in order.
        utc_us_of: turns monotonic nanoseconds into microseconds UTC.
        watch_failed: why nothing is watched any more, empty while it is.
        title: what the view is of.
        keys: keys and what they do.
        hint: what may be typed.
    """
    units, glue = instrument.units, instrument.glue
    counts = f"{count_text(readings, 'reading')}, {count_text(gaps, 'gap')}"
    above: list[RenderableType] = [Text.assemble((f"{title}  ", QUIET), (phase.value, STRONG), f"   {counts}")]
    above += [Text(simulated_words(simulated), style=WARN)] if simulated else []
    if watch_failed:
        words = f" ! NOT WATCHED  {watch_failed_words(watch_failed)}"
        above += [Text(words.ljust(width), style=ALARM, overflow="fold")]
    above += _alarm_lines(alarms, instrument, utc_us_of, time_left_words(phase, glue_open_s, glue), width)
    times = _times(phase, in_clamps_s, glue_open_s, glue)
    above += [Text(), *times] if times else []
    above += [Text(), _gauge_table(gauges, pairs, units), Text()]
    below = [entry_line(entry, hint), folded(message, width, _MOST_MESSAGE_ROWS), Text(), keys_line(*keys)]
    wet_check: list[RenderableType] = []
    if wet is not None and wet_checkpoint is not None:
        left = height - rows_of(Group(*above, *below), width) - _ROWS_BESIDE_FIGURES
        wet_check = [placing_view(wet_checkpoint, wet, units, width, max(0, min(_FIGURE_ROWS, left))), Text()]
    return Group(*above, *wet_check, *below)


def _alarm_lines(
    alarms: Sequence[AlarmNow],
    instrument: Instrument,
    utc_us_of: Callable[[int], int],
    time_left: str,
    width: int,
) -> list[RenderableType]:
    """Return the alarms that call, newest first, as bars over the width; else the latest thing told, quietly."""
    calling = [each.alarm for each in alarms if each.calls]
    lines: list[RenderableType] = []
    for alarm in reversed(calling[-_MOST_ALARMS:]):
        words = f" ! {alarm_head(alarm.kind)}  {alarm_words(alarm, instrument, utc_us_of(alarm.since_ns))}"
        if alarm.kind in MENDABLE and time_left:
            words += f", {time_left}"
        lines.append(Text(words.ljust(width), style=ALARM, overflow="fold"))
    if len(calling) > _MOST_ALARMS:
        lines.append(Text(f"   and {len(calling) - _MOST_ALARMS} more", style=WARN))
    if calling:
        return [Text(), *lines, Text("   a: I have seen it", style=STRONG)]
    if alarms:
        last = alarms[-1].alarm
        words = alarm_words(last, instrument, utc_us_of(last.since_ns))
        return [Text(f"last told: {alarm_head(last.kind).lower()}, {words}", style=QUIET)]
    return []


def _times(phase: Phase, in_clamps_s: float | None, glue_open_s: float | None, glue: Glue) -> list[RenderableType]:
    """Return the times that count now, each against what the glue's label says, where that was given."""
    lines: list[RenderableType] = []
    if glue_open_s is not None and phase is Phase.GLUE_OPEN:
        limit_s = glue.open_time_min * 60 if glue.open_time_min is not None else None
        lines.append(_against_label("glue open", glue_open_s, limit_s, longer_is_better=False))
    if in_clamps_s is not None and phase in (Phase.IN_CLAMPS, Phase.AFTER_CLAMPS):
        limit_s = glue.clamp_time_h * 3600 if glue.clamp_time_h is not None else None
        what = "in clamps" if phase is Phase.IN_CLAMPS else "since the clamps went on"
        lines.append(_against_label(what, in_clamps_s, limit_s, longer_is_better=True))
        if limit_s is not None and in_clamps_s < limit_s and phase is Phase.IN_CLAMPS:
            lines.append(Text("leave it alone until the clamp time is over", style=QUIET))
    return lines


def _against_label(what: str, seconds: float, limit_s: float | None, *, longer_is_better: bool) -> Text:
    text = Text.assemble(f"{what} ", (duration_text(seconds), STRONG))
    if limit_s is None or limit_s <= 0:
        return text
    share = seconds / limit_s
    text.append(f"  {bar(share, _BAR)}  ", style=ACCENT)
    text.append(f"label: {duration_text(limit_s)}")
    if share >= 1:
        words = "reached" if longer_is_better else f"over by {duration_text(seconds - limit_s)}"
        return text.append(f", {words}", style="green" if longer_is_better else WARN)
    left = f", {duration_text(limit_s - seconds)} left"
    return text.append(left, style=WARN if share >= _NEARLY and not longer_is_better else "")


def _gauge_table(gauges: Sequence[GaugeNow], pairs: Sequence[tuple[str, str]], units: str) -> RenderableType:
    table = plain_table()
    table.add_column("gauge", overflow="fold", style=STRONG)
    for head in ("now", "start", "change"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("", overflow="fold")
    for gauge in gauges:
        table.add_row(gauge.name, *_numbers(gauge, units), _troubles(gauge))
    by_name = {gauge.name: gauge for gauge in gauges}
    for first, second in pairs:
        if first in by_name and second in by_name:
            words = _difference(by_name[first], by_name[second], units)
            table.add_row(f"{first} \u2212 {second}", *words, Text("the bench taken out", style=QUIET))
    return table


def _numbers(gauge: GaugeNow, units: str) -> tuple[str, str, str]:
    now = None if gauge.latest is None else gauge.latest.value
    return _three(now, gauge.start, gauge.datasheet, units)


def _difference(first: GaugeNow, second: GaugeNow, units: str) -> tuple[str, str, str]:
    if first.latest is None or second.latest is None or first.start is None or second.start is None:
        return UNKNOWN, UNKNOWN, UNKNOWN
    now = first.latest.value - second.latest.value
    return _three(now, first.start - second.start, first.datasheet, units)


def _three(now: float | None, start: float | None, sheet: Datasheet, units: str) -> tuple[str, str, str]:
    """Return now, start and the change between them as text."""
    change = None if now is None or start is None else now - start
    plain = [value_text(value, sheet.quantity, sheet.resolution, units) for value in (now, start)]
    return plain[0], plain[1], value_text(change, sheet.quantity, sheet.resolution, units, signed=True)


def _troubles(gauge: GaugeNow) -> Text:
    """Return what is wrong with a gauge, in words; its state where nothing is."""
    words = []
    if gauge.link is not None and gauge.link is not LinkState.OPEN:
        words.append(gauge.link.value)
    elif gauge.silent_since_ns is not None:
        words.append("silent")
    words += flag_words(gauge.latest.flags) if gauge.latest is not None else []
    if gauge.rejects:
        words.append(f"{count_text(gauge.rejects, 'line')} unreadable")
    if gauge.gaps:
        words.append(count_text(gauge.gaps, "gap"))
    if not words:
        return Text("connected" if gauge.link is LinkState.OPEN else "", style=QUIET)
    return Text("! " + ", ".join(words), style=WARN)
