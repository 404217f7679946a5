"""How the neck moved, as a table and in words.

Here: the rigid movement of a comparison for a terminal, and the sentences about it. Not here: its numbers (`analysis`),
the verdicts of single checkpoints (`terminal_results`).
"""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.text import Text

from gaugelog.analysis.results import Consequence, Moved, NeckMovement, Untold
from gaugelog.analysis.student import t_quantile
from gaugelog.model.quantities import Quantity
from gaugelog.show.layout import fitting, prose
from gaugelog.show.look import QUIET, STRONG, WARN, plain_table, two_lines
from gaugelog.show.numbers import UNKNOWN, amount_text, rounded, uncertain_text, value_beside_u

MOVEMENT_WORDS = {
    "neck_angle": "neck angle",
    "yaw": "yaw",
    "roll": "roll",
    "sink": "sink",
    "sideways": "sideways",
    "slide": "slide",
}
_MEANS = {
    "neck_angle": ("up", "down"),
    "yaw": ("to treble", "to bass"),
    "roll": ("treble up", "bass up"),
    "sink": ("into the body", "out of it"),
    "sideways": ("to treble", "to bass"),
    "slide": ("toward the tail", "toward the nut"),
}
_CONSEQUENCES = {
    "required_bearing": "string must bear",
    "action": "action at the 12th",
    "centreline_offset": "centreline at the bridge",
    "scale_length": "scale length",
}
_GONE = {
    "centreline_offset": ("centreline at the bridge", ("to treble", "to bass")),
    "scale_length": ("scale", ("longer", "shorter")),
}
_DOUBTFUL_P = 0.05


def movement_view(movement: NeckMovement, units: str = "mm") -> RenderableType:
    """Return the six movements with their limits, and what is to be said of them.

    Args:
        movement: the result.
        units: mm or in, for lengths.
    """
    parts: list[RenderableType] = [fitting(*(_movement_table(movement, units, wide=wide) for wide in (True, False)))]
    if movement.consequences:
        parts += [Text(), fitting(*(_consequence_table(movement, units, wide=wide) for wide in (True, False)))]
    parts.append(Text())
    parts += [prose(words, style=WARN if bad else "") for words, bad in movement_sentences(movement)]
    return Group(*parts, prose(plain_sentence(movement, units), style=STRONG))


def _movement_table(movement: NeckMovement, units: str, *, wide: bool) -> RenderableType:
    """Return the six movements; narrow, which way each went stands under how far."""
    table = plain_table()
    table.add_column("the neck as a whole", no_wrap=wide, style=STRONG)
    table.add_column("moved ± 95 %", justify="right", no_wrap=True)
    if wide:
        table.add_column("", no_wrap=True, style=QUIET)
    table.add_column("limit", justify="right", no_wrap=True)
    table.add_column("provable from" if wide else "provable\nfrom", justify="right", no_wrap=True)
    for name, moved, way, limit, provable in movement_rows(movement, units):
        far = (moved, way) if wide else (two_lines(moved, way) if way else moved,)
        table.add_row(name, *far, limit, provable)
    return table


def movement_rows(movement: NeckMovement, units: str = "mm") -> Iterator[tuple[str, str, str, str, str]]:
    """Yield each movement as text: its name, how far with its 95 %, which way, its limit, what could be proven."""
    for name, moved in movement.components.items():
        yield MOVEMENT_WORDS[name], *_cells(name, moved, units)


def consequence_rows(movement: NeckMovement, units: str = "mm") -> Iterator[tuple[str, str, str, str]]:
    """Yield each consequence as text: what, before, after, and the change with its 95 %."""
    for each in movement.consequences:
        expanded = _expanded(each)
        what = f"{_CONSEQUENCES[each.name]}, {each.side}" if each.side else _CONSEQUENCES[each.name]
        if each.unit == "cents":
            after, change = (rounded(cents, 1, signed=True) for cents in (each.after, each.change))
            yield what, "0", after, f"{change} ± {rounded(expanded, 1)} cents"
            continue
        before, after = (
            _with_u(*pair, each, units) for pair in ((each.before, each.u_before), (each.after, each.u_after))
        )
        yield what, before, after, uncertain_text(each.change, expanded, Quantity.LENGTH, units, signed=True)


def _with_u(value: float, u: float, each: Consequence, units: str) -> str:
    """Return a value with its 95 %; one that is as planned stands alone."""
    if u <= 0:
        return value_beside_u(value, None, Quantity.LENGTH, units)
    return uncertain_text(value, float(t_quantile(0.975, each.dof)) * u, Quantity.LENGTH, units)


def _consequence_table(movement: NeckMovement, units: str, *, wide: bool) -> RenderableType:
    """Return what the movement does; narrow, after stands under before."""
    table = plain_table()
    table.add_column("what that does", overflow="fold", style=STRONG)
    for head in ("before", "after") if wide else ("before\n→ after",):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("change ± 95 %", justify="right", no_wrap=True)
    for what, before, after, change in consequence_rows(movement, units):
        table.add_row(what, *((before, after) if wide else (f"{before}\n→ {after}",)), change)
    return table


def _expanded(each: Moved | Consequence) -> float:
    return float(t_quantile(0.975, each.dof)) * each.u


def plain_sentence(movement: NeckMovement, units: str = "mm") -> str:
    """Return in one sentence, as a builder would say it, whether the neck moved and what that asks for."""
    seen = [
        f"{MOVEMENT_WORDS[name]} {_MEANS[name][moved.value < 0]} by {_size(moved, units)}"
        for name, moved in movement.components.items()
        if moved is not None and abs(moved.value) > _expanded(moved)
    ]
    felt = [each for each in movement.consequences if abs(each.change) > _expanded(each)]
    seen += [_gone(each, units) for each in felt if each.name in _GONE]
    needs = [
        f"the {each.side} string's bearing {'higher' if each.change > 0 else 'lower'} by"
        f" {amount_text(abs(each.change), Quantity.LENGTH, units)}"
        for each in felt
        if each.name == "required_bearing"
    ]
    if not seen and not needs:
        return "As far as these readings tell, the neck is where it was."
    moved = f"The neck moved: {', '.join(seen)}" if seen else "The neck moved a little"
    return moved + (f"; the same action now needs {' and '.join(needs)}." if needs else ".")


def _gone(each: Consequence, units: str) -> str:
    words, (up, down) = _GONE[each.name]
    size = f"{rounded(abs(each.change), 1)} cents" if each.unit == "cents" else ""
    return (
        f"{words} {up if each.change > 0 else down} by {size or amount_text(abs(each.change), Quantity.LENGTH, units)}"
    )


def _size(moved: Moved, units: str) -> str:
    return amount_text(abs(moved.value), Quantity.ANGLE if moved.unit == "deg" else Quantity.LENGTH, units)


def _cells(name: str, moved: Moved | None, units: str) -> tuple[str, str, str, str]:
    if moved is None:
        return "can't be told", "", UNKNOWN, UNKNOWN
    quantity = Quantity.ANGLE if moved.unit == "deg" else Quantity.LENGTH
    expanded = _expanded(moved)
    seen = abs(moved.value) > expanded
    return (
        uncertain_text(moved.value, expanded, quantity, units, signed=True),
        _MEANS[name][moved.value < 0] if seen else "",
        amount_text(moved.limit, quantity, units),
        amount_text(moved.smallest_provable, quantity, units),
    )


def movement_sentences(movement: NeckMovement) -> Iterator[tuple[str, bool]]:
    """Yield what is to be said of a movement, and whether it is a warning."""
    for untold in movement.untold:
        yield untold_words(untold), False
    for each in sorted(movement.residuals, key=lambda each: -abs(each.w or 0.0)):
        if each.misfit:
            alike = f" (or {' or '.join(each.alike)}, which can't be told from it)" if each.alike else ""
            yield f"{each.id}{alike} contradicts the others: read it again, or find out what was touched.", True
    if movement.p is None:
        yield "Nothing checks these readings against each other: a misreading would pass for a movement.", False
    elif movement.p < _DOUBTFUL_P:
        yield (
            "The readings don't fit one rigid movement well"
            f" (p = {movement.p:.2g}): a reading is wrong, or neck or body bent.",
            True,
        )
    unchecked = [each.id for each in movement.residuals if each.unchecked]
    if movement.p is not None and unchecked:
        yield f"Unchecked by the others: {', '.join(unchecked)}.", False
    if movement.iterated:
        yield "The movement is large: exact readings were fitted, not straight lines.", False


def untold_words(untold: Untold) -> str:
    """Return which movements can't be told, and what would tell them, as one sentence."""
    names = [MOVEMENT_WORDS[name] for name in untold.movements]
    listed = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    what = "can't be told" if len(names) == 1 else "can't be told apart"
    remedy = f": read {' and '.join(untold.tell)} too" if untold.tell else " by the usual checkpoints"
    return f"{listed[0].upper()}{listed[1:]} {what}{remedy}."
