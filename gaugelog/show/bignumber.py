"""Numbers drawn large from block characters, to be read across a bench.

Here: the house's own figures, straight strokes with chamfered corners like a chiselled edge, drawn at any size with
quarter-block characters. Not here: which number is shown (`sanding`).
"""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise

Point = tuple[float, float]
Stroke = tuple[Point, ...]

_HEIGHT = 10.0
_THICKNESS = 1.7
_GAP = 1.9
_LEAST_ROWS = 4
_QUARTERS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"

_ROUND: Stroke = (
    (1.6, 0), (4.4, 0), (6, 1.6), (6, 8.4), (4.4, 10), (1.6, 10), (0, 8.4), (0, 1.6), (1.6, 0),
)  # fmt: skip
_SIX: tuple[Stroke, ...] = (
    (
        (5.6, 1.2),
        (4.4, 0),
        (1.6, 0),
        (0, 1.6),
        (0, 8.4),
        (1.6, 10),
        (4.4, 10),
        (6, 8.4),
        (6, 5.9),
        (4.6, 4.5),
        (0, 4.5),
    ),
)


def _turned(strokes: tuple[Stroke, ...]) -> tuple[Stroke, ...]:
    """Return a figure turned by half a turn: a 9 is a 6 stood on its head."""
    return tuple(tuple((6 - x, 10 - y) for x, y in stroke) for stroke in strokes)


_FIGURES: dict[str, tuple[float, tuple[Stroke, ...]]] = {
    "0": (6, (_ROUND,)),
    "1": (4, (((0.2, 2.2), (2.4, 0), (2.4, 10)), ((0.2, 10), (4, 10)))),
    "2": (6, (((0, 1.6), (1.6, 0), (4.4, 0), (6, 1.6), (6, 3.9), (0, 9.9), (6, 9.9)),)),
    "3": (
        6,
        (
            ((0, 1.6), (1.6, 0), (4.4, 0), (6, 1.6), (6, 3.5), (4.6, 4.9), (2.2, 4.9)),
            ((4.6, 4.9), (6, 6.3), (6, 8.4), (4.4, 10), (1.6, 10), (0, 8.4)),
        ),
    ),
    "4": (6, (((4.6, 10), (4.6, 0), (3.6, 0), (0, 6.6), (6.2, 6.6)),)),
    "5": (6, (((5.8, 0), (0.2, 0), (0.2, 4.4), (4.5, 4.4), (6, 5.9), (6, 8.4), (4.4, 10), (1.6, 10), (0, 8.4)),)),
    "6": (6, _SIX),
    "7": (6, (((0, 0), (6, 0), (6, 1), (2.4, 10)),)),
    "8": (6, (_ROUND, ((0.4, 4.9), (5.6, 4.9)))),
    "9": (6, _turned(_SIX)),
    "-": (4.4, (((0, 5), (4.4, 5)),)),
    "+": (4.4, (((0, 5), (4.4, 5)), ((2.2, 2.8), (2.2, 7.2)))),
    ".": (1, (((0.1, 9.7), (0.9, 9.7)),)),
    "°": (2.6, (((0.6, 0), (2, 0), (2.6, 0.6), (2.6, 2), (2, 2.6), (0.6, 2.6), (0, 2), (0, 0.6), (0.6, 0)),)),
    " ": (2, ()),
}  # fmt: skip
_SAME = {"\u2212": "-", "\u00a0": " ", ",": "."}


def big_lines(text: str, width: int, height: int) -> list[str]:
    """Return `text` as lines of block characters, as large as `width` columns and `height` rows allow.

    Args:
        text: digits, signs, a point, a degree sign; other characters are left out.
        width: columns.
        height: rows; below four, or where the text would be too wide at four, the plain text is returned.
    """
    figures = [_SAME.get(character, character) for character in text]
    figures = [character for character in figures if character in _FIGURES]
    if not figures:
        return [text]
    for rows in range(height, _LEAST_ROWS - 1, -1):
        lines = _drawn(figures, rows)
        if max(map(len, lines)) <= width:
            return lines
    return [text]


def _drawn(figures: list[str], rows: int) -> list[str]:
    """Return the figures side by side, `rows` high."""
    scale = 2 * rows / (_HEIGHT + _THICKNESS)
    space = " " * max(1, round((_GAP - _THICKNESS) * scale))
    drawn = [_figure(figure, rows, scale) for figure in figures]
    return [space.join(lines).rstrip() for lines in zip(*drawn, strict=True)]


@lru_cache(maxsize=256)
def _figure(figure: str, rows: int, scale: float) -> tuple[str, ...]:
    """Return one figure as lines of equal length; a column is one unit of `scale` wide, a row two high."""
    wide, strokes = _FIGURES[figure]
    columns = max(1, math.ceil((wide + _THICKNESS) * scale))
    lines = []
    for row in range(rows):
        cells = []
        for column in range(columns):
            quarters = 0
            for bit, (right, down) in enumerate(((0, 0), (1, 0), (0, 1), (1, 1))):
                x = (column + 0.25 + right / 2) / scale - _THICKNESS / 2
                y = (2 * row + 0.5 + down) / scale - _THICKNESS / 2
                quarters |= _inked((x, y), strokes) << bit
            cells.append(_QUARTERS[quarters])
        lines.append("".join(cells))
    return tuple(lines)


def _inked(point: Point, strokes: tuple[Stroke, ...]) -> bool:
    """Return whether a point lies within half a thickness of a stroke."""
    return any(_distance(point, start, end) <= _THICKNESS / 2 for stroke in strokes for start, end in pairwise(stroke))


def _distance(point: Point, start: Point, end: Point) -> float:
    """Return the distance from a point to the stretch between two others."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    along = ((point[0] - start[0]) * dx + (point[1] - start[1]) * dy) / (dx * dx + dy * dy)
    along = min(max(along, 0.0), 1.0)
    return math.hypot(point[0] - start[0] - along * dx, point[1] - start[1] - along * dy)
