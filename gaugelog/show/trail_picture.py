"""The clamp session as it grows: a lane a gauge, its change since the start, marks and alarms through it.

Here: the drawing as SVG, whose colours are those of the page it stands in. Not here: gathering the readings (`trail`),
the chart to look into (`drift_chart`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from itertools import pairwise

import numpy as np
from markupsafe import Markup, escape

from gaugelog.model.placement import Mark
from gaugelog.show.envelope import Envelope
from gaugelog.show.numbers import amount_text, clock_text, value_text
from gaugelog.show.trail import Trail

LEAST_WIDTH, MOST_WIDTH = 280, 1600
_LANE, _HEAD, _FOOT, _PAD = 96.0, 22.0, 24.0, 8.0
_MARK_ROW = 20.0
_LETTER = 8.5
_TICK_APART = 92.0
_LEAST_STEPS = 3.0
_TICKS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200, 86400)


@dataclass(frozen=True, slots=True)
class Lane:
    """One gauge: its readings, the level they are drawn from, how far it may go, and when alarms began (UTC us)."""

    name: str
    trail: Trail
    start: float
    limit: float | None = None
    alarms_us: Sequence[int] = ()


@dataclass(frozen=True, slots=True)
class _Time:
    """Moments in UTC microseconds to places across the picture."""

    start_us: int
    end_us: int
    width: float

    def x(self, utc_us: float) -> float:
        share = (utc_us - self.start_us) / max(self.end_us - self.start_us, 1)
        return _PAD + min(max(share, 0.0), 1.0) * (self.width - 2 * _PAD)


def trail_picture(
    lanes: Sequence[Lane],
    marks: Sequence[Mark],
    end_us: int,
    *,
    width: float,
    units: str = "mm",
    zone: tzinfo | None = None,
) -> Markup:
    """Return the picture, empty where nothing was heard yet.

    Args:
        lanes: the gauges; those without a reading are left out.
        marks: of the session; those before its first reading stand at its beginning.
        end_us: until when, UTC microseconds.
        width: in pixels, between LEAST_WIDTH and MOST_WIDTH; letters keep their size.
        units: mm or in for lengths.
        zone: of the clock times, the machine's own where none is given.
    """
    heard = [(lane, lane.trail.drawn()) for lane in lanes if len(lane.trail)]
    if not heard:
        return Markup("")
    width = min(max(width, LEAST_WIDTH), MOST_WIDTH)
    time = _Time(min(int(drawn.start_us[0]) for _, drawn in heard), end_us, width)
    rows = _mark_rows(marks, time)
    top = _MARK_ROW * (1 + max(rows, default=-1))
    foot = top + _LANE * len(heard)
    parts = [_marks(marks, rows, time, foot)]
    for number, (lane, drawn) in enumerate(heard):
        parts.append(_lane(lane, drawn, time, top + number * _LANE, units))
    parts.append(_clock(time, foot, zone))
    label = escape(_label(heard, marks, time, units, zone))
    height = foot + _FOOT
    head = f'<svg xmlns="http://www.w3.org/2000/svg" class="trail" viewBox="0 0 {width:g} {height:g}"'
    return Markup(
        f'{head} width="{width:g}" height="{height:g}" role="img" aria-label="{label}">{"".join(parts)}</svg>'
    )


def _label(
    heard: Sequence[tuple[Lane, Envelope]], marks: Sequence[Mark], time: _Time, units: str, zone: tzinfo | None
) -> str:
    changes = ", ".join(f"{lane.name} {_change(lane, drawn, units)}" for lane, drawn in heard)
    set_marks = ", ".join(f"{each.words or each.kind.value} {clock_text(each.utc_us, zone)}" for each in marks)
    since = clock_text(time.start_us, zone)
    return f"Change of each gauge since the start at {since}: {changes}. Marks: {set_marks or 'none'}."


def _change(lane: Lane, drawn: Envelope, units: str) -> str:
    """Return the latest change in words: the mean of the last span."""
    step = lane.trail.resolution
    change = round((float(drawn.mean[-1]) - lane.start) / step) * step
    return value_text(change, lane.trail.quantity, step, units, signed=True)


def _lane(lane: Lane, drawn: Envelope, time: _Time, top: float, units: str) -> str:
    low, high = drawn.low - lane.start, drawn.high - lane.start
    least = _LEAST_STEPS * lane.trail.resolution
    reach = max(least, 1.15 * (lane.limit or 0.0), 1.05 * float(high.max()), -1.05 * float(low.min()))
    middle, half = top + (_HEAD + _LANE) / 2, (_LANE - _HEAD) / 2 - 4

    def y(change: float) -> float:
        return middle - change / reach * half

    right = time.width - _PAD
    parts = [f'<path class="zero" d="M{_PAD:g} {middle:.1f}H{right:g}"/>']
    if lane.limit:
        upper, lower = y(lane.limit), y(-lane.limit)
        parts.append(f'<path class="limit" d="M{_PAD:g} {upper:.1f}H{right:g}M{_PAD:g} {lower:.1f}H{right:g}"/>')
    ends = [0, *(int(place) + 1 for place in lane.trail.gaps_after(drawn)), drawn.size]
    xs = [time.x(each) for each in drawn.middle_us.tolist()]
    lows, highs = [y(each) for each in low.tolist()], [y(each) for each in high.tolist()]
    means = [y(each) for each in (drawn.mean - lane.start).tolist()]
    for first, last in pairwise(ends):
        band = [*zip(xs[first:last], highs[first:last], strict=True)]
        band += [*zip(xs[first:last], lows[first:last], strict=True)][::-1]
        parts.append(f'<path class="span" d="{_path(band)}Z"/>')
        parts.append(f'<path class="line" d="{_path([*zip(xs[first:last], means[first:last], strict=True)])}"/>')
    for began_us in lane.alarms_us:
        x = time.x(began_us)
        parts.append(f'<path class="told" d="M{x:.1f} {top + _HEAD:.1f}V{top + _LANE:.1f}"/>')
        parts.append(f'<text class="told" x="{x:.1f}" y="{top + _HEAD:.1f}" text-anchor="middle">!</text>')
    limit = f"dashed ±{amount_text(lane.limit, lane.trail.quantity, units)}" if lane.limit else ""
    scale = limit or f"height ±{amount_text(_two_digits(reach), lane.trail.quantity, units)}"
    words = f"{escape(lane.name)} <tspan>{escape(_change(lane, drawn, units))}</tspan>"
    parts.append(f'<text class="name" x="{_PAD:g}" y="{top + 16:.1f}">{words}</text>')
    parts.append(f'<text class="scale" x="{right:g}" y="{top + 16:.1f}" text-anchor="end">{escape(scale)}</text>')
    return "".join(parts)


def _two_digits(number: float) -> float:
    return float(f"{number:.2g}")


def _path(points: Sequence[tuple[float, float]]) -> str:
    """Return points as a path; one alone as a short stroke, so that it is seen."""
    if len(points) == 1:
        x, y = points[0]
        return f"M{x - 1:.1f} {y:.1f}h2"
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _words(mark: Mark) -> str:
    return mark.words or mark.kind.value


def _mark_rows(marks: Sequence[Mark], time: _Time) -> list[int]:
    """Return in which row above the lanes each mark's words stand, so that none covers another."""
    until: list[float] = []
    rows = []
    for mark in marks:
        left, wide = _left(mark, time)
        row = next((number for number, end in enumerate(until) if end <= left), len(until))
        until[row : row + 1] = [left + wide + _LETTER]
        rows.append(row)
    return rows


def _left(mark: Mark, time: _Time) -> tuple[float, float]:
    """Return where a mark's words begin, and how wide they are at most."""
    wide = _LETTER * len(_words(mark)) + 6
    return max(_PAD, min(time.x(mark.utc_us), time.width - wide)), wide


def _marks(marks: Sequence[Mark], rows: Sequence[int], time: _Time, foot: float) -> str:
    parts = []
    for mark, row in zip(marks, rows, strict=True):
        x, base = time.x(mark.utc_us), _MARK_ROW * row + 14
        left, _ = _left(mark, time)
        parts.append(f'<path class="mark" d="M{x:.1f} {base + 3:.1f}V{foot:.1f}"/>')
        parts.append(f'<text class="mark" x="{left:.1f}" y="{base:.1f}">{escape(_words(mark))}</text>')
    return "".join(parts)


def _clock(time: _Time, foot: float, zone: tzinfo | None) -> str:
    """Return the axis of time, with as many clock times as can be read."""
    lasts_s = max((time.end_us - time.start_us) / 1e6, 1.0)
    most = max(2.0, (time.width - 2 * _PAD) / _TICK_APART)
    step_s = next((each for each in _TICKS_S if lasts_s / each <= most), _TICKS_S[-1])
    first = -(-time.start_us // (step_s * 1_000_000))
    last = time.end_us // (step_s * 1_000_000)
    parts = [f'<path class="axis" d="M{_PAD:g} {foot:.1f}H{time.width - _PAD:g}"/>']
    for utc_us in np.arange(first, last + 1) * step_s * 1_000_000:
        x = time.x(int(utc_us))
        anchor = "start" if x < 30 else "end" if x > time.width - 30 else "middle"
        words = clock_text(int(utc_us), zone, seconds=step_s < 60)
        parts.append(f'<path class="axis" d="M{x:.1f} {foot:.1f}v5"/>')
        parts.append(f'<text class="scale" x="{x:.1f}" y="{foot + 19:.1f}" text-anchor="{anchor}">{words}</text>')
    return "".join(parts)
