"""The gate before the glue, in a terminal.

Here: tables and the answer. Not here: the reasons' words (`ready_words`), the answer itself (`analysis.readiness`).
"""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from gaugelog.analysis.readiness import CONFORMS, CheckpointReady, Readiness
from gaugelog.analysis.results import Moved
from gaugelog.model.instrument import Instrument
from gaugelog.model.quantities import Quantity
from gaugelog.show.layout import fitting, prose
from gaugelog.show.look import QUIET, STRONG, WARN, plain_table, two_lines
from gaugelog.show.movement_view import MOVEMENT_WORDS, untold_words
from gaugelog.show.neck_view import figure_text
from gaugelog.show.neck_words import FIGURE_WORDS, travel_sentence
from gaugelog.show.numbers import UNKNOWN, amount_text, probability_text, rough_text, value_beside_u
from gaugelog.show.ready_words import CAUTIONS, glue_up_list, reason_words, tolerance_words

_READY, _NOT_READY = "bold green", "bold red"


def ready_view(ready: Readiness, instrument: Instrument, complete: bool = True) -> RenderableType:
    """Return whether the glue may be opened: checkpoints, the neck, what will be provable, the answer, the list.

    Args:
        ready: the answer.
        instrument: the plan.
        complete: whether the snapshot is.
    """
    units = instrument.units
    state = "" if complete else ", a snapshot that is not complete yet"
    parts: list[RenderableType] = [
        prose(f"{instrument.name}: may the glue be opened? By the readings {ready.stage}{state}", style=STRONG),
        Text(),
        fitting(_checkpoints(ready, units, wide=True), _checkpoints(ready, units, wide=False)),
        Text(),
        *_neck(ready, instrument),
        Text(),
        _movements(ready, instrument),
        *(prose(untold_words(each)) for each in ready.foresight.untold),
        prose(
            "Provable: the smallest limit that an unmoved neck will be called held at after the glue, 4 times out of 5"
            " (95\N{NO-BREAK SPACE}% confidence); ! where the limit is smaller than that.",
            style=QUIET,
        ),
        Text(),
        *_answer(ready, instrument),
        Text(),
        Text("Before you open it", style=STRONG),
        *(prose(words, mark="□") for words in glue_up_list(instrument)),
        Text(),
        Text("Cautions", style=STRONG),
        *(prose(words, mark="·") for words in CAUTIONS),
    ]
    return Group(*parts)


def _checkpoints(ready: Readiness, units: str, *, wide: bool) -> RenderableType:
    """Return the checkpoints; narrow, the probability stands under what it reads."""
    table = plain_table()
    table.add_column("", no_wrap=True)
    table.add_column("checkpoint", overflow="fold")
    for head in ("reads", "within") if wide else ("reads,\nwithin",):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("limit", justify="right", no_wrap=True)
    table.add_column("provable", justify="right", no_wrap=True)
    for row in ready.checkpoints:
        point = row.checkpoint
        bars = point.tolerance is not None and (row.p_conform is None or row.p_conform < CONFORMS)
        limit = amount_text(point.limit, point.quantity, units) if point.kind.glued else UNKNOWN
        reads, within = _reads(row, units), probability_text(row.p_conform)
        table.add_row(
            "✗" if bars else "✓" if point.tolerance is not None else "·",
            two_lines(point.id, _tolerance(row, units), style=STRONG),
            *((reads, within) if wide else (f"{reads}\n{within}",)),
            limit,
            _provable(row, units),
            style=WARN if bars else "",
        )
    return table


def _tolerance(row: CheckpointReady, units: str) -> str:
    point = row.checkpoint
    if point.tolerance is None:
        return "no tolerance"
    return tolerance_words(point.tolerance, point.quantity, units)


def _reads(row: CheckpointReady, units: str) -> str:
    if row.mean is None:
        return UNKNOWN
    return value_beside_u(row.mean.value, row.mean.u, row.checkpoint.quantity, units)


def _provable(row: CheckpointReady, units: str) -> str:
    point = row.checkpoint
    if not point.kind.glued:
        return UNKNOWN
    shown = rough_text(row.smallest_provable, point.quantity, units)
    return f"{shown} !" if point.limit is not None and not row.can_prove else shown


def _neck(ready: Readiness, instrument: Instrument) -> list[RenderableType]:
    figures, units = ready.setting.figures, instrument.units
    table = plain_table()
    table.show_header = False
    table.add_column("", overflow="fold", style=STRONG)
    table.add_column("", no_wrap=True)
    table.add_column("", overflow="fold", style=QUIET)
    for name in ("neck_angle", "required_bearing.bass", "required_bearing.treble", "centreline_offset"):
        if name in figures:
            base, _, side = name.partition(".")
            words = f"{FIGURE_WORDS[base]}, {side}" if side else FIGURE_WORDS[base]
            p = f"inside with {probability_text(ready.p_bearing[side])}" if side in ready.p_bearing else ""
            table.add_row(words, figure_text(name, figures[name], units, signed=base == "centreline_offset"), p)
    travel = travel_sentence(ready.setting, instrument)
    return [table] if travel is None else [table, prose(travel[0], style=WARN if travel[1] else "")]


def _movements(ready: Readiness, instrument: Instrument) -> RenderableType:
    table = plain_table()
    table.add_column("movement of the neck", overflow="fold", style=STRONG)
    table.add_column("limit", justify="right", no_wrap=True)
    table.add_column("provable", justify="right", no_wrap=True)
    for name, moved in ready.foresight.movements.items():
        angle = name in ("neck_angle", "yaw", "roll")
        quantity = Quantity.ANGLE if angle else Quantity.LENGTH
        limit = getattr(instrument.movement_limits, name)
        table.add_row(
            MOVEMENT_WORDS[name],
            amount_text(limit, quantity, instrument.units),
            _moved(moved, limit, quantity, instrument.units),
        )
    return table


def _moved(moved: Moved | None, limit: float | None, quantity: Quantity, units: str) -> str:
    if moved is None:
        return "can't be told"
    shown = rough_text(moved.smallest_provable, quantity, units)
    return f"{shown} !" if limit is not None and moved.smallest_provable > limit else shown


def _answer(ready: Readiness, instrument: Instrument) -> list[RenderableType]:
    """Return the answer with what bars, then what is only to be known."""
    bars = [reason_words(each, ready, instrument) for each in ready.reasons if each.bars]
    known = [reason_words(each, ready, instrument) for each in ready.reasons if not each.bars]
    found: list[RenderableType] = [
        Text("ready" if ready.ready else "not ready", style=_READY if ready.ready else _NOT_READY)
    ]
    found += [prose(words, style=WARN, mark="✗") for words in bars]
    found += [prose(words, mark="!") for words in known]
    return found
