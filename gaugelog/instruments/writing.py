"""How a new instrument file is set: lines, comments, values.

Here: TOML text with its comments in one column. Not here: which keys and numbers (`new_geometry`, `new_checkpoints`).
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass

COMMENT_COLUMN = 40
WIDTH = 112
MM_PER_INCH = 25.4

Entry = tuple[str, str, str]


def quoted(text: str) -> str:
    """Return a text as a TOML string."""
    escapes = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}
    shown = (
        escapes.get(character, character if character.isprintable() else f"\\U{ord(character):08x}")
        for character in text
    )
    return f'"{"".join(shown)}"'


def listed(words: Iterable[str]) -> str:
    """Return words as a TOML list."""
    return f"[{', '.join(quoted(word) for word in words)}]"


@dataclass(frozen=True, slots=True)
class Lengths:
    """Writes lengths in the unit of the file."""

    units: str

    def __call__(self, length_mm: float, inches: str = "", places: int | None = None) -> str:
        """Return a length as a TOML value: in mm, or in inches to three places unless `inches` is written out.

        With `places`, millimetres have as many, so that the last digit says how finely it is meant.
        """
        if places is not None and (self.units == "mm" or length_mm == 0):
            return f"{length_mm:.{places}f}"
        if self.units == "mm" or length_mm == 0:
            return f"{length_mm:g}"
        return inches or f"{length_mm / MM_PER_INCH:.3f}"

    def place(self, x_mm: float, y_mm: float, z_mm: float) -> str:
        """Return a point as a TOML list."""
        return f"[{', '.join(self(coordinate) for coordinate in (x_mm, y_mm, z_mm))}]"


def remark(text: str) -> list[str]:
    """Return comment lines over the width of the page."""
    return [f"# {line}" for line in textwrap.wrap(text, WIDTH - 2)]


def entry(key: str, value: str, comment: str) -> list[str]:
    """Return `key = value  # comment`; a long comment goes on below itself, a long value has it above."""
    head = f"{key} = {value}"
    if not comment:
        return [head]
    lines = textwrap.wrap(comment, WIDTH - COMMENT_COLUMN - 2)
    if len(head) >= COMMENT_COLUMN:
        return [*remark(comment), head]
    first, *others = lines
    return [f"{head:<{COMMENT_COLUMN}}# {first}", *(f"{'':<{COMMENT_COLUMN}}# {line}" for line in others)]


def table(heading: str, intro: str, entries: Iterable[Entry]) -> list[str]:
    """Return a table with its heading, what it is about, and its keys."""
    return [heading, *remark(intro), *(line for item in entries for line in entry(*item)), ""]
