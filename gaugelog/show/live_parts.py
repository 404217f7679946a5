"""What several live views share: a placement being taken, and the line that is being typed.

Here: pieces drawn from plain values. Not here: whole views (`snapshot_view`, `clamp_view`).
"""

from __future__ import annotations

from typing import Protocol

from rich.console import Group, RenderableType
from rich.text import Text

from gaugelog.capture.placing import PlacingState
from gaugelog.model.instrument import Checkpoint
from gaugelog.model.placement import Role
from gaugelog.model.readings import Reading
from gaugelog.show.bignumber import big_lines
from gaugelog.show.gauge_documents import flag_words
from gaugelog.show.look import ACCENT, QUIET, STRONG, WARN, bar
from gaugelog.show.numbers import value_text

_BAR = 24


class BeingTyped(Protocol):
    """The line at the bottom of a live view: what has been typed, and what had been asked (empty for a value)."""

    text: str
    question: str


def entry_line(entry: BeingTyped, hint: str) -> Text:
    """Return the line that is being typed, or what could be typed."""
    if entry.question:
        return Text.assemble((f"{entry.question}: ", ACCENT), entry.text, ("▏", ACCENT))
    if entry.text:
        return Text.assemble(
            ("> ", ACCENT), entry.text, ("▏", ACCENT), ("  Enter keeps it, Escape takes it back", QUIET)
        )
    return Text(hint, style=QUIET)


def reading_text(reading: Reading, units: str = "mm") -> str:
    """Return a reading as shown, in the gauge's own unit where that is inches."""
    shown_units = "in" if reading.unit == "in" else units
    return value_text(reading.value, reading.quantity, reading.resolution, shown_units)


def where_now(checkpoint: Checkpoint, state: PlacingState, flat_spot: str = "") -> str:
    """Return where the gauge should be now, in words."""
    if state.awaiting_lift:
        return "Lift the gauge off, then set it down again."
    spot = checkpoint.reference or flat_spot or "the flat spot on the body"
    if state.role is Role.BODY:
        return f"Now on the body: {spot}."
    if state.role is Role.WHOLE:
        return "Set the gauge down and let go."
    if checkpoint.body_gauge is not None:
        return "Both gauges down, hands off: they are read at once."
    return "Now on the neck, at this checkpoint."


def placing_view(
    checkpoint: Checkpoint, state: PlacingState, units: str, width: int, rows: int, flat_spot: str = ""
) -> RenderableType:
    """Return a placement being taken: where the gauge should be, its reading large, a bar that fills while it rests.

    Args:
        checkpoint: the one that is being read.
        state: how the placement stands.
        units: mm or in.
        width: columns there are.
        rows: rows there are for the reading.
        flat_spot: name of the flat spot on the body.
    """
    words = Text(where_now(checkpoint, state, flat_spot), style=WARN if state.awaiting_lift else STRONG)
    if state.body_value is not None and state.reading is not None:
        body = value_text(state.body_value, state.reading.quantity, state.reading.resolution, units)
        words.append(f"  body {body}", style=QUIET)
    return Group(words, _reading(state, units, width, rows), _rest(state))


def _reading(state: PlacingState, units: str, width: int, rows: int) -> RenderableType:
    if state.reading is None:
        return Text("waiting for the gauge", style=QUIET)
    text = reading_text(state.reading, units)
    number = text if text.endswith("°") else text.split("\u00a0")[0]
    lines = big_lines(number, width - 8, rows)
    style = "bold green" if state.progress > 0 else STRONG
    drawn = Text("\n".join(f"  {line}" for line in lines), style=style)
    if number != text:
        drawn.append(f" {text.split(chr(0xA0))[-1]}")
    for words in flag_words(state.reading.flags):
        drawn.append(f"  ! {words}", style=WARN)
    return drawn


def _rest(state: PlacingState) -> Text:
    """Return the bar that fills while the gauge rests."""
    if state.awaiting_lift:
        return Text(f"  {bar(0, _BAR)}  lift first", style=QUIET)
    words = "" if state.reading is None else "resting" if state.progress > 0 else "moving"
    return Text.assemble(("  " + bar(state.progress, _BAR), ACCENT), f"  {words}")
