"""A checkpoint's ruler: its shift with the 95 % interval over a scale whose ticks are the gauge's own digits.

Here: the drawing as SVG for the report. Not here: the same in a terminal (`look.strip`), numbers.
"""

from __future__ import annotations

from markupsafe import Markup, escape

from gaugelog.analysis.results import CheckpointComparison, Verdict
from gaugelog.show.numbers import amount_text
from gaugelog.show.palette import INK, SOFT_INK, VERDICT_COLOURS, faded

_WIDTH, _HEIGHT = 420.0, 58.0
_SPAN_IN_LIMITS = 1.6
_EDGE_Y = 38.0
_BAR_Y = 17.0
_MOST_TICKS = 72
_END = 26.0
_TICK_STEPS = (1, 2, 5, 10, 20, 50, 100)


def strip_picture(row: CheckpointComparison, units: str = "mm") -> Markup:
    """Return the ruler of one checkpoint, empty where it has no shift or no limit.

    Args:
        row: the checkpoint's outcome.
        units: mm or in, for the limits' labels.
    """
    if row.shift is None or not row.limit:
        return Markup("")
    colour = VERDICT_COLOURS[row.verdict]
    parts = [
        _band(colour),
        _edge(row),
        _labels(row, units),
        _interval(row.shift / row.limit, (row.expanded_95 or 0.0) / row.limit, row.verdict, colour),
    ]
    head = f'<svg class="strip" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" aria-hidden="true" focusable="false">'
    return Markup(f"{head}{''.join(parts)}</svg>")


def _x(in_limits: float) -> float:
    return _WIDTH / 2 + in_limits / _SPAN_IN_LIMITS * _WIDTH / 2


def _band(colour: str) -> str:
    low, high = _x(-1), _x(1)
    return (
        f'<rect x="{low:.1f}" y="0" width="{high - low:.1f}" height="{_EDGE_Y:g}" fill="{faded(colour, 0.09)}"/>'
        f'<path d="M{low:.1f} 0V{_EDGE_Y:g}M{high:.1f} 0V{_EDGE_Y:g}" stroke="{colour}" stroke-width="1.5"/>'
    )


def _edge(row: CheckpointComparison) -> str:
    """Return the ruler's edge with a tick a digit, longer ones at every fifth; fewer where they would run together."""
    limit = row.limit or 1.0
    reach = _SPAN_IN_LIMITS * limit / row.resolution
    every = next((step for step in _TICK_STEPS if 2 * reach / step <= _MOST_TICKS), _TICK_STEPS[-1])
    most = int(reach // every)
    path = []
    for tick in range(-most, most + 1):
        length = 10 if tick == 0 else 7 if tick % 5 == 0 else 4
        x = _x(tick * every * row.resolution / limit)
        path.append(f"M{x:.1f} {_EDGE_Y:g}v-{length}")
    ticks = f'<path d="{"".join(path)}" stroke="{SOFT_INK}" stroke-width="0.8" fill="none"/>'
    return f'<path d="M0 {_EDGE_Y:g}H{_WIDTH:g}" stroke="{INK}" stroke-width="1.2"/>{ticks}'


def _labels(row: CheckpointComparison, units: str) -> str:
    limit = amount_text(row.limit, row.quantity, units)
    texts = ((-1.0, f"\u2212{limit}"), (0.0, "0"), (1.0, f"+{limit}"))
    return "".join(
        f'<text x="{_x(place):.1f}" y="{_HEIGHT - 5:g}" text-anchor="middle" font-size="12" fill="{SOFT_INK}">'
        f"{escape(words)}</text>"
        for place, words in texts
    )


def _interval(shift: float, half_width: float, verdict: Verdict, colour: str) -> str:
    """Return the interval as a bar, cut with an arrow at the ends of the ruler, and the shift as its symbol.

    A shift past the end stands near it, before the arrow.
    """
    low, high = _x(shift - half_width), _x(shift + half_width)
    left, right = low if low >= _END else 8.0, high if high <= _WIDTH - _END else _WIDTH - 8
    caps = f"M{min(left, _WIDTH - _END):.1f} {_BAR_Y:g}H{max(right, _END):.1f}"
    for end in (low, high):
        if _END <= end <= _WIDTH - _END:
            caps += f"M{end:.1f} {_BAR_Y - 6:g}v12"
    if low < _END:
        caps += f"M14 {_BAR_Y - 6:g}l-8 6l8 6"
    if high > _WIDTH - _END:
        caps += f"M{_WIDTH - 14:.1f} {_BAR_Y - 6:g}l8 6l-8 6"
    drawn = f'<path d="{caps}" stroke="{colour}" stroke-width="2.4" fill="none"/>'
    return drawn + symbol(verdict, min(max(_x(shift), _END), _WIDTH - _END), _BAR_Y, colour)


def symbol(verdict: Verdict, x: float, y: float, colour: str, size: float = 6.0) -> str:
    """Return a verdict's symbol as SVG: a dot, a cross, an open diamond, an open square; they differ without colour."""
    half = size
    if verdict is Verdict.HELD:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{half:g}" fill="{colour}"/>'
    if verdict is Verdict.MOVED:
        cross = f"M{x - half:.1f} {y - half:.1f}l{2 * half:g} {2 * half:g}m0 -{2 * half:g}l-{2 * half:g} {2 * half:g}"
        halo = f'<path d="{cross}" stroke="#ffffff" stroke-width="6.5"/>'
        return f'{halo}<path d="{cross}" stroke="{colour}" stroke-width="3.6"/>'
    turn = f' transform="rotate(45 {x:.1f} {y:.1f})"' if verdict is Verdict.NOT_PROVEN else ""
    side = 1.6 * half
    return (
        f'<rect x="{x - side / 2:.1f}" y="{y - side / 2:.1f}" width="{side:.1f}" height="{side:.1f}"{turn}'
        f' fill="#ffffff" stroke="{colour}" stroke-width="2.4"/>'
    )
