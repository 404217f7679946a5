"""The live view of a snapshot being taken.

Here: the list of checkpoints with counts and spreads, the one whose turn it is, its reading. Not here: taking
placements (`recorder`), what keys do (`cli`).
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.rule import Rule
from rich.text import Text

from gaugelog.analysis.tolerance import placements_out_by
from gaugelog.capture.placing import PlacingState
from gaugelog.model.instrument import Checkpoint
from gaugelog.model.placement import KeptPlacement
from gaugelog.show.live_parts import BeingTyped, entry_line, placing_view
from gaugelog.show.look import ACCENT, QUIET, STRONG, WARN, folded, keys_line, rows_of
from gaugelog.show.numbers import count_text, placement_text, value_text
from gaugelog.show.words import simulated_words, tolerance_text

Row = tuple[Checkpoint, int, Sequence[KeptPlacement], str | None]
"""A checkpoint, how many placements are wanted, those taken, why it was skipped (None where it wasn't)."""

_FIXED_ROWS = 13
_MOST_FIGURE_ROWS = 7
_MOST_MESSAGE_ROWS = 2
_LEAST_LISTED = 2
_ROWS_FOR_FIGURES = 22
_GAUGE_KEYS = (("Enter", "take it now"), ("space", "lifted"))
_KEYS = (
    ("d", "drop the last"),
    ("x", "drop another"),
    ("r", "redo"),
    ("s", "skip"),
    ("t", "turn to"),
    ("q", "stop"),
)


def snapshot_view(
    *,
    stage: str,
    tasks: Sequence[Row],
    current: str | None,
    placing: PlacingState | None,
    units: str,
    entry: BeingTyped,
    message: str,
    width: int,
    height: int,
    flat_spot: str = "",
    simulated: Sequence[str] = (),
) -> RenderableType:
    """Return the view of a snapshot being taken.

    Args:
        stage: before, wet, after, or the builder's own.
        tasks: the checkpoints in order.
        current: id of the one whose turn it is, None once nothing is missing.
        placing: how its placement stands; None where it is typed.
        units: mm or in.
        entry: the line being typed.
        message: what was said last.
        width: columns of the terminal.
        height: rows of the terminal.
        flat_spot: name of the flat spot on the body.
        simulated: short names of the simulated gauges.
    """
    task = next((task for task in tasks if task[0].id == current), None)
    figure_rows = _figure_rows(task, placing, height, len(tasks))
    above: list[RenderableType] = [_head(stage, tasks)]
    above += [Text(simulated_words(simulated), style=WARN)] if simulated else []
    below: list[RenderableType] = [Rule(style=QUIET, characters="─")]
    if task is not None:
        below += _now(task, placing, units, width, figure_rows, flat_spot)
    below += [Text(), _line(entry, placing), folded(message, width, _MOST_MESSAGE_ROWS)]
    below.append(keys_line(*(_GAUGE_KEYS if placing is not None else ()), *_KEYS))
    left = height - rows_of(Group(*above, Text(), *below), width)
    listed = [_task_line(each, current, units) for each in _around(tasks, current, max(_LEAST_LISTED, left))]
    return Group(*above, Text(), *listed, *below)


def _figure_rows(task: Row | None, placing: PlacingState | None, height: int, tasks: int) -> int:
    """Return the rows for the large reading: what the list leaves, four to seven, one line where it is low."""
    if task is None or placing is None:
        return 0
    least = 4 if height >= _ROWS_FOR_FIGURES else 1
    return min(_MOST_FIGURE_ROWS, max(least, height - _FIXED_ROWS - tasks))


def _head(stage: str, tasks: Sequence[Row]) -> Text:
    done = sum(len(taken) >= wanted or skipped is not None for _, wanted, taken, skipped in tasks)
    placements = sum(len(taken) for _, _, taken, _ in tasks)
    text = Text.assemble(("snapshot ", QUIET), (stage, STRONG))
    return text.append(f"   {done} of {count_text(len(tasks), 'checkpoint')}, {count_text(placements, 'placement')}")


def _around(tasks: Sequence[Row], current: str | None, most: int) -> Sequence[Row]:
    """Return as many tasks as there is room for, the current one among them."""
    place = next((place for place, task in enumerate(tasks) if task[0].id == current), len(tasks) - 1)
    first = min(max(0, place - most // 2), max(0, len(tasks) - most))
    return tasks[first : first + most]


def _task_line(task: Row, current: str | None, units: str) -> Text:
    checkpoint, wanted, taken, skipped = task
    here = checkpoint.id == current
    mark = "▸" if here else "✓" if len(taken) >= wanted else "–" if skipped is not None else " "
    text = Text(no_wrap=True, overflow="ellipsis")
    text.append(f"{mark} ", style=ACCENT if here else "green")
    text.append(f"{checkpoint.id:<25}", style=STRONG if here else "")
    text.append(f"{len(taken)} of {wanted}  ", style=QUIET if not here else "")
    if skipped is not None:
        return text.append(f"skipped: {skipped}", style=QUIET)
    out = placements_out_by(checkpoint, [kept.placement for kept in taken])
    tolerance = tolerance_text(out, checkpoint.quantity, units)
    if out:
        text.append(f"{tolerance}   ", style=WARN)
    text.append("  ".join(placement_text(kept.placement, units) for kept in taken))
    spread = _spread(taken, units)
    calm = [f"spread {spread}"] if spread else []
    calm += [tolerance] if out == 0 else []
    return text.append(f"   {', '.join(calm)}", style=QUIET) if calm else text


def _spread(taken: Sequence[KeptPlacement], units: str) -> str:
    values = [kept.placement.value for kept in taken if kept.placement.value is not None]
    if len(values) < 2:
        return ""
    first = taken[0].placement
    return value_text(max(values) - min(values), first.quantity, first.resolution, units)


def _now(
    task: Row, placing: PlacingState | None, units: str, width: int, rows: int, flat_spot: str
) -> list[RenderableType]:
    checkpoint, wanted, taken, _ = task
    head = Text.assemble((checkpoint.id, STRONG), f"  placement {min(len(taken) + 1, wanted)} of {wanted}")
    parts: list[RenderableType] = [head, Text(checkpoint.todo)]
    if placing is not None:
        parts.append(placing_view(checkpoint, placing, units, width, rows, flat_spot))
    return parts


def _line(entry: BeingTyped, placing: PlacingState | None) -> Text:
    hint = "type a value, such as 0.50..0.55" if placing is None else "or type what the gauge shows"
    return entry_line(entry, hint)
