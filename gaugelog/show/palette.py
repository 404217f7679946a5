"""The colours of charts and report: chosen to be told apart in grey and by the colour-blind, printed on white.

Here: names of colours and what they stand for. Not here: the terminal's styles (`look`).
"""

from __future__ import annotations

from gaugelog.analysis.results import Verdict

INK = "#2a2520"
SOFT_INK = "#6f675d"
RULE = "#d9d1c4"
PAPER = "#ffffff"
WASH = "#f6f2ea"
FONT = 'system-ui, -apple-system, "Segoe UI", "Noto Sans", sans-serif'

VERDICT_COLOURS = {
    Verdict.HELD: "#1d6b5a",
    Verdict.MOVED: "#a3330f",
    Verdict.NOT_PROVEN: "#8a6200",
    Verdict.NO_VERDICT: "#6b6480",
}
"""Colour of a verdict; never alone: a mark, a word or a symbol stands beside it."""

VERDICT_SYMBOLS = {
    Verdict.HELD: "circle",
    Verdict.MOVED: "x",
    Verdict.NOT_PROVEN: "diamond-open",
    Verdict.NO_VERDICT: "square-open",
}

SERIES_COLOURS = ("#16405b", "#b3540f", "#5b7d2a", "#7c4a86", "#2a8a8a", "#8c6d1f")
DIFFERENCE_COLOUR = INK
FIT_COLOUR = "#a3124f"
PHASE_FILLS = {
    "dry fit": "rgba(0,0,0,0)",
    "glue open": "rgba(214,168,62,0.27)",
    "in clamps": "rgba(92,114,133,0.10)",
    "after clamps": "rgba(0,0,0,0)",
}
GAP_FILL = "rgba(111,103,93,0.22)"


def faded(colour: str, opacity: float) -> str:
    """Return `#rrggbb` as an rgba colour of that opacity."""
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity:g})"
