"""The instrument seen from above, to scale, with every judged checkpoint that has a place on it.

Here: the drawing as SVG for the head of the report, from the instrument's own numbers. Not here: any geometry of a
neck set (string bearings, angles).
"""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup, escape

from gaugelog.analysis.results import CheckpointComparison, Comparison
from gaugelog.model.instrument import Instrument
from gaugelog.show.palette import INK, RULE, SOFT_INK, VERDICT_COLOURS, WASH
from gaugelog.show.strip_picture import symbol

_WIDTH = 960.0
_MARGIN = 14.0
_HALF_HEIGHT = 62.0
_DOTS = (3, 5, 7, 9, 12, 15, 17, 19, 21, 24)


@dataclass(frozen=True, slots=True)
class _View:
    """Millimetres along x to the picture: origin at the joint line, the nut at the left."""

    nut_mm: float
    tail_mm: float
    width_scale: float

    def x(self, mm: float) -> float:
        return _MARGIN + (mm - self.nut_mm) * self.scale

    def y(self, mm: float) -> float:
        return _HALF_HEIGHT + mm * self.width_scale

    @property
    def scale(self) -> float:
        return (_WIDTH - 2 * _MARGIN) / (self.tail_mm - self.nut_mm)


def neck_picture(instrument: Instrument, comparison: Comparison | None, ringed: str = "") -> Markup:
    """Return the instrument from above with the checkpoints' symbols; empty where the file leaves its geometry open.

    Fret n lies at S (1 - 2^(-n/12)) from the nut, S being the scale length (equal temperament). Widths are drawn twice
    as large as lengths.

    Args:
        instrument: its scale length and joint fret are needed.
        comparison: its verdicts are drawn where the checkpoints are, None for the bare instrument.
        ringed: id of a checkpoint to be ringed: where the gauge goes.
    """
    neck, bridge = instrument.neck, instrument.bridge
    if neck.scale_length is None or neck.joint_fret is None:
        return Markup("")
    nut_mm = -_fret(neck.scale_length, neck.joint_fret)
    bridge_mm = bridge.position if bridge.position is not None else nut_mm + neck.scale_length
    tail_mm = max(bridge.tail_anchor_x or 0.0, bridge_mm + 30) + 16
    scale = (_WIDTH - 2 * _MARGIN) / (tail_mm - nut_mm)
    view = _View(nut_mm, tail_mm, min(2 * scale, 0.8 * _HALF_HEIGHT / 30))
    parts = [_body(view), _board(view, instrument, nut_mm), _bridge(view, instrument, bridge_mm)]
    rows = comparison.checkpoints if comparison is not None else ()
    parts += [_checkpoint(view, instrument, number, row) for number, row in enumerate(rows, start=1) if row.counts]
    parts.append(_ring(view, instrument, ringed))
    height = 2 * _HALF_HEIGHT + 22
    words = f"{instrument.name} from above, nut at the left, bridge at the right; checkpoints where they were read"
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="neck" viewBox="0 0 {_WIDTH:g} {height:g}" role="img"'
        f' aria-label="{escape(words)}">'
    )
    return Markup(f"{head}{''.join(parts)}</svg>")


def _fret(scale_length: float, number: int) -> float:
    return scale_length * (1 - 2 ** (-number / 12))


def _body(view: _View) -> str:
    """Return the body as a wash from the joint line on."""
    x = view.x(0)
    bottom = 2 * _HALF_HEIGHT
    return (
        f'<rect x="{x:.1f}" y="0" width="{_WIDTH - x:.1f}" height="{bottom:g}" fill="{WASH}"/>'
        f'<path d="M{x:.1f} 0V{bottom:g}" stroke="{INK}" stroke-width="1.4" stroke-dasharray="5 3"/>'
        f"{_word(x, 'joint line')}"
    )


def _word(x: float, words: str, anchor: str = "middle") -> str:
    y = 2 * _HALF_HEIGHT + 16
    return f'<text x="{x:.1f}" y="{y:g}" text-anchor="{anchor}" font-size="13" fill="{SOFT_INK}">{escape(words)}</text>'


def _board(view: _View, instrument: Instrument, nut_mm: float) -> str:
    """Return the fretboard with its frets."""
    neck = instrument.neck
    scale_length = neck.scale_length or 0.0
    frets = neck.frets or neck.joint_fret or 0
    end_mm = neck.overhang if neck.overhang is not None else nut_mm + _fret(scale_length, frets) + 8
    half_joint = (neck.edge_width_at_joint or 52.0) / 2
    half_nut = (neck.string_spread_at_nut or 36.0) / 2 + 3.5

    def half(mm: float) -> float:
        return half_nut + (half_joint - half_nut) * (mm - nut_mm) / -nut_mm

    corners = ((nut_mm, -half(nut_mm)), (end_mm, -half(end_mm)), (end_mm, half(end_mm)), (nut_mm, half(nut_mm)))
    outline = " ".join(f"{view.x(x):.1f},{view.y(y):.1f}" for x, y in corners)
    drawn = [f'<polygon points="{outline}" fill="#ffffff" stroke="{INK}" stroke-width="1.4"/>']
    middles = []
    for number in range(frets + 1):
        at = nut_mm + _fret(scale_length, number)
        wide = 3 if number == 0 else 2 if number == neck.joint_fret else 0.9
        drawn.append(_across(view, at, half(at), wide))
        if number in _DOTS:
            middles.append((at + nut_mm + _fret(scale_length, number - 1)) / 2)
    dots = "".join(f'<circle cx="{view.x(x):.1f}" cy="{view.y(0):.1f}" r="3" fill="{RULE}"/>' for x in middles)
    return "".join(drawn) + dots + _word(view.x(nut_mm), "nut", "start")


def _across(view: _View, at_mm: float, half_mm: float, wide: float) -> str:
    x = view.x(at_mm)
    return f'<path d="M{x:.1f} {view.y(-half_mm):.1f}V{view.y(half_mm):.1f}" stroke="{INK}" stroke-width="{wide:g}"/>'


def _bridge(view: _View, instrument: Instrument, bridge_mm: float) -> str:
    half = (instrument.bridge.string_spread or 52.0) / 2 + 6
    x, top, bottom = view.x(bridge_mm), view.y(-half), view.y(half)
    posts = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{INK}"/>' for y in (top - 5, bottom + 5))
    return f'<path d="M{x:.1f} {top:.1f}V{bottom:.1f}" stroke="{INK}" stroke-width="3"/>{posts}{_word(x, "bridge")}'


def _place(view: _View, instrument: Instrument, name: str) -> tuple[float, float] | None:
    """Return where a checkpoint is read, in the picture; None where its place isn't known.

    Of a left-handed instrument the treble side is drawn on the other side: only the drawing is mirrored.
    """
    point = next((each for each in instrument.checkpoints if each.id == name), None)
    if point is None or point.place.point_mm is None:
        return None
    x_mm, y_mm, _ = point.place.point_mm
    return view.x(x_mm), view.y(-y_mm if instrument.handedness == "left" else y_mm)


def _ring(view: _View, instrument: Instrument, name: str) -> str:
    place = _place(view, instrument, name)
    if place is None:
        return ""
    x, y = place
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="16" fill="none" stroke="{INK}" stroke-width="4"/>'
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{INK}"/>'
    )


def _checkpoint(view: _View, instrument: Instrument, number: int, row: CheckpointComparison) -> str:
    """Return the symbol of a checkpoint where it was read, with its number; nothing where its place isn't known."""
    place = _place(view, instrument, row.id)
    if place is None:
        return ""
    x, y = place
    drawn = symbol(row.verdict, x, y, VERDICT_COLOURS[row.verdict], 7.5)
    return (
        f'{drawn}<text x="{x + 14:.1f}" y="{y + 5:.1f}" font-size="14" font-weight="700" fill="{INK}">{number}</text>'
    )
