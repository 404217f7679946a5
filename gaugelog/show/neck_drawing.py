"""Pen and paper for the two views of a neck set: lines, fills, hatching, words, and where words may stand.

Here: SVG from places on paper, and the measures both views share. Not here: what is drawn (`side_view`, `top_view`),
or any millimetre.

A picture is 960 units wide, whatever the page. On a narrow screen its words grow, so places for them are found for
the larger size.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import escape

from gaugelog.model.quantities import Quantity
from gaugelog.show.numbers import amount_text, decimals_of_step, display_unit
from gaugelog.show.palette import FONT, INK, PAPER, SERIES_COLOURS, SOFT_INK

Point = tuple[float, float]

WIDTH = 960.0
MARGIN = 16.0
COLUMN = 236.0
"""What is kept free at the right for labels."""
TEXT, NARROW_TEXT = 17.0, 27.0
LINE = 33.0
"""From one line of words to the next, enough for the larger size."""
NECK_FILL, BOARD_FILL, BAND_FILL = "#e7dccb", "#a4988a", "#c9d3dc"
_CHARACTER = 0.55
_LEADING = 1.25
_HALO_WIDE = 5
_NICE = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 80.0, 100.0)
_BEARING_STEP_MM = 0.1

STYLE = (
    f"<style>.neck-set{{display:block;width:100%;height:auto;break-inside:avoid}}"
    f".neck-set text{{font-family:{FONT.replace(chr(34), chr(39))};font-size:{TEXT:g}px}}"
    f"@media screen and (max-width:44rem){{.neck-set text{{font-size:{NARROW_TEXT:g}px}}}}</style>"
)


@dataclass(frozen=True, slots=True)
class Pen:
    """How the lines of one pose are drawn: dashes tell poses apart, colour only helps."""

    colour: str
    dashes: str = ""

    def line(self, points: Iterable[Point], wide: float, kind: str = "") -> str:
        """Return a line through points; `kind` becomes its class."""
        return line(points, wide, self.colour, dashes=self.dashes, kind=kind)


PENS = (Pen(INK), Pen(SERIES_COLOURS[1], "9 5"), Pen(SERIES_COLOURS[0], "2 4"))


def pen(number: int) -> Pen:
    """Return the pen of the first, second or a later pose."""
    return PENS[min(number, len(PENS) - 1)]


def nice_factor(most: float) -> float:
    """Return the largest round factor of exaggeration that isn't above `most`: from 1 to 100."""
    return max((factor for factor in _NICE if factor <= most), default=_NICE[0])


def path_of(points: Iterable[Point]) -> str:
    """Return points as the data of an SVG path."""
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)


def line(points: Iterable[Point], wide: float, colour: str = INK, *, dashes: str = "", kind: str = "") -> str:
    """Return a line through points."""
    more = (f' class="{kind}"' if kind else "") + (f' stroke-dasharray="{dashes}"' if dashes else "")
    return f'<path{more} d="{path_of(points)}" fill="none" stroke="{colour}" stroke-width="{wide:g}"/>'


def area(points: Iterable[Point], fill: str, *, kind: str = "", edge: str = "", wide: float = 1.2) -> str:
    """Return a filled outline, with an edge where its colour is given."""
    more = f' class="{kind}"' if kind else ""
    stroke = f' stroke="{edge}" stroke-width="{wide:g}" stroke-linejoin="round"' if edge else ""
    return f'<path{more} d="{path_of(points)}Z" fill="{fill}"{stroke}/>'


def wedge(tip: Point, one: Point, other: Point, ink: Pen) -> str:
    """Return a 95 % interval as a soft wedge that opens from its tip, edged in the pen of its pose."""
    fill = f'<path class="band" d="{path_of((tip, one, other))}Z" fill="{BAND_FILL}" fill-opacity="0.6"/>'
    return fill + ink.line((one, tip, other), 0.5, "band-edge")


def hatching(corners: Sequence[Point], slope_deg: float, gap: float = 6.0, colour: str = INK) -> str:
    """Return straight hatching of a convex outline.

    Args:
        corners: of the outline, in turn.
        slope_deg: of the lines, plus rising to the right.
        gap: between them.
        colour: of the lines.
    """
    slope = math.radians(slope_deg)
    across = (math.sin(slope), math.cos(slope))
    heights = [x * across[0] + y * across[1] for x, y in corners]
    first, last = math.ceil(min(heights) / gap), math.floor(max(heights) / gap)
    drawn = []
    for step in range(first, last + 1):
        ends = _crossings(corners, heights, step * gap)
        if len(ends) >= 2:
            drawn.append(path_of((min(ends), max(ends))))
    return f'<path class="hatch" d="{"".join(drawn)}" stroke="{colour}" stroke-width="1.1"/>' if drawn else ""


def _crossings(corners: Sequence[Point], heights: Sequence[float], level: float) -> list[Point]:
    """Return where the edges of an outline cross a level; `heights` are those of its corners."""
    found = []
    for number, (x, y) in enumerate(corners):
        following = (number + 1) % len(corners)
        low, high = heights[number], heights[following]
        if (low <= level) != (high <= level):
            share = (level - low) / (high - low)
            end_x, end_y = corners[following]
            found.append((x + share * (end_x - x), y + share * (end_y - y)))
    return found


def word(place: Point, words: str, anchor: str = "start", *, soft: bool = False, bold: bool = False) -> str:
    """Return words standing on a place, with a halo of paper so that lines behind don't disturb them."""
    return block(place, (words,), anchor, soft=soft, bold=bold)


def block(place: Point, lines: Sequence[str], anchor: str = "start", *, soft: bool = False, bold: bool = False) -> str:
    """Return lines of words under one another, the first standing on a place; their distance grows with their size."""
    weight = ' font-weight="600"' if bold else ""
    x, y = place
    spans = [str(escape(each)) for each in lines[:1]]
    spans += [f'<tspan x="{x:.1f}" dy="{_LEADING:g}em">{escape(each)}</tspan>' for each in lines[1:]]
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{SOFT_INK if soft else INK}"{weight}'
        f' font-size="{TEXT:g}" stroke="{PAPER}" stroke-opacity="0.8" stroke-width="{_HALO_WIDE}"'
        f' stroke-linejoin="round" paint-order="stroke">{"".join(spans)}</text>'
    )


def words_wide(words: str) -> float:
    """Return how wide words are at the larger size, at most."""
    return len(words) * _CHARACTER * NARROW_TEXT


def wrapped(words: str, most: float = WIDTH - 2 * MARGIN) -> list[str]:
    """Return words broken into lines that fit at the larger size."""
    lines = [""]
    for each in words.split(" "):
        longer = f"{lines[-1]} {each}".strip()
        if lines[-1] and words_wide(longer) > most:
            lines.append(each)
        else:
            lines[-1] = longer
    return lines


def apart(wanted: Sequence[float], low: float, high: float, gap: float = LINE) -> list[float]:
    """Return places in ascending order at least `gap` apart, near those wanted (ascending too), within low and high."""
    placed: list[float] = []
    for place in wanted:
        placed.append(max(place, placed[-1] + gap) if placed else place)
    if not placed:
        return placed
    shift = (sum(wanted) - sum(placed)) / len(placed)
    shift = max(min(shift, high - placed[-1]), low - placed[0])
    return [place + shift for place in placed]


def legend(labels: Sequence[str], top: float) -> str:
    """Return one line of legend a pose, at the left: how it is drawn, and its label."""
    drawn = []
    for number, label in enumerate(labels):
        y = top + number * LINE
        drawn.append(pen(number).line(((MARGIN, y - 6), (MARGIN + 46, y - 6)), 2.6))
        drawn.append(word((MARGIN + 58, y), label))
    return "".join(drawn)


def footnotes(notes: Sequence[str], top: float) -> tuple[str, float]:
    """Return notes under a picture, and where the next line would stand."""
    lines = [each for note in notes for each in wrapped(note)]
    return block((MARGIN, top), lines, soft=True), top + len(lines) * LINE


def length_words(value_mm: float, units: str) -> str:
    """Return a height with the decimals that a caliper shows: "22.4 mm", "0.882 in"."""
    shown = display_unit(Quantity.LENGTH, units)
    return shown.write(value_mm, decimals_of_step(_BEARING_STEP_MM / shown.divisor))


def wood_amount(amount_mm: float, units: str) -> str:
    """Return an amount of wood: as short as it can be written in mm ("0.25 mm"), in thousandths of an inch."""
    if units == "in" and amount_mm:
        return length_words(amount_mm, units)
    return amount_text(amount_mm, Quantity.LENGTH, units)


@dataclass(frozen=True, slots=True)
class Picture:
    """One finished view: what is drawn, how high it is, and what it shows in words."""

    body: str
    height: float
    words: str

    def svg(self) -> str:
        """Return it as one SVG element with its own style."""
        return (
            f'<svg class="neck-set" viewBox="0 0 {WIDTH:g} {self.height:.0f}" role="img"'
            f' aria-label="{escape(self.words)}">{STYLE}{self.body}</svg>'
        )


def paper(height: float) -> str:
    """Return a sheet of paper behind a picture."""
    return f'<rect width="{WIDTH:g}" height="{height:.0f}" fill="{PAPER}"/>'
