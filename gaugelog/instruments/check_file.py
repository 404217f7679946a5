"""The walk of a gauge check as an instrument file, so that it is read, kept and gone on with like any snapshot.

Here: the lines of the walk in words, and the file's text. Not here: reading the file (`read`), taking placements.
"""

from __future__ import annotations

from gaugelog.instruments.writing import quoted
from gaugelog.model.gauge_check import (
    AGAIN,
    CHECK_STAGE,
    FALLING,
    RISING,
    CheckPlan,
    Reference,
    Setting,
    level_id,
    reference_id,
)
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.quantities import Quantity

_UNITS = {Quantity.ANGLE: "deg", Quantity.LENGTH: "mm", Quantity.TEMPERATURE: "degC", Quantity.HUMIDITY: "%RH"}


def settings_of(plan: CheckPlan) -> tuple[Setting, ...]:
    """Return the lines of the walk in order."""
    lines = []
    if plan.again:
        todo = "Set it on one firm spot as you would on the neck, let it rest, lift it clear, and again. Don't zero it."
        lines.append(Setting(AGAIN, plan.again, todo))
    for turn in range(1, plan.turns + 1):
        where = "one marked spot of a firm, nearly level surface"
        lines.append(Setting(level_id(turn, turned=False), 1, f"Set it on {where}. Don't zero it from here on."))
        lines.append(Setting(level_id(turn, turned=True), 1, "Turn it end for end and set it on the very same marks."))
    ascending = sorted(plan.references, key=lambda each: each.value)
    for way in (RISING, FALLING) if plan.both_ways else (RISING,):
        numbered = list(enumerate(ascending, start=1))
        for number, reference in numbered if way == RISING else numbered[::-1]:
            todo = f"Read the reference {_amount(reference, plan.quantity)}, coming from the {_side(way)}."
            lines.append(Setting(reference_id(number, way), plan.cycles, todo))
    return tuple(lines)


def _side(way: str) -> str:
    return "smaller side" if way == RISING else "larger side"


def _amount(reference: Reference, quantity: Quantity) -> str:
    return f"{reference.value:.12g} {_UNITS[quantity]}"


def check_file_text(named: NamedGauge, plan: CheckPlan) -> str:
    """Return the text of the instrument file that walks through a check.

    Args:
        named: the gauge that is checked.
        plan: what is read.
    """
    lines = [
        "# Made by gaugelog for the check of a gauge; not for a neck.",
        f"name = {quoted(f'check of {named.name}')}",
        "",
        f"[gauges.{named.name}]",
        f"gauge = {quoted(str(named.gauge))}",
        *([f"identity = {quoted(named.identity)}"] if named.identity else []),
    ]
    for setting in settings_of(plan):
        lines += [
            "",
            "[[checkpoint]]",
            f"id = {quoted(setting.id)}",
            'kind = "free"',
            f'quantity = "{plan.quantity.value}"',
            f'unit = "{_UNITS[plan.quantity]}"',
            f"gauge = {quoted(named.name)}",
            f"todo = {quoted(setting.todo)}",
            f"placements = {setting.placements}",
            f'stages = ["{CHECK_STAGE}"]',
        ]
    return "\n".join(lines) + "\n"
