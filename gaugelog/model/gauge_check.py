"""What is read to check a gauge, and in which order.

Here: the parts of a check, its references, the checkpoints that it walks through. Not here: what comes of the readings
(`analysis`), the instrument file that the walk is made of (`instruments.check_file`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from gaugelog.model.quantities import Quantity

CHECK_STAGE = "check"
REST_SITTING, RESTED = "rest", "left alone"
"""The sitting in which a gauge is left alone, and the event that says that it was for long enough."""
AGAIN = "set-down-again"
PLAN, RESULT = "plan", "check"
"""What a row of the table gauge_check is: what was to be read, or what came of it."""
RISING, FALLING = "rising", "falling"


@dataclass(frozen=True, slots=True)
class Reference:
    """A block, wedge or sine set-up: its value, and the most that it may be off either way, both in the base unit."""

    value: float
    may_be_off: float


@dataclass(frozen=True, slots=True)
class CheckPlan:
    """What a check reads; a part that is left out is 0 or empty.

    `again` is how often the gauge is set down on one spot, `turns` how often it is read and turned end for end.
    `references` are each read `cycles` times, going up; `both_ways` going down again too. `rest_s` is how long it is
    left alone. `every_days` is after how many days the builder wants the next check, 0 where that isn't said.
    """

    quantity: Quantity
    again: int = 10
    turns: int = 3
    references: tuple[Reference, ...] = ()
    cycles: int = 2
    both_ways: bool = True
    rest_s: float = 300.0
    every_days: int = 0

    def document(self) -> dict[str, Any]:
        """Return it as JSON can hold it."""
        return asdict(self) | {"quantity": self.quantity.value}

    @property
    def empty(self) -> bool:
        """Whether nothing is to be read at all."""
        return not (self.again or self.turns or self.references or self.rest_s)


def plan_from(document: Mapping[str, Any]) -> CheckPlan:
    """Return the plan that a document describes.

    Raises:
        KeyError, TypeError, ValueError: it isn't one.
    """
    references = tuple(Reference(float(each["value"]), float(each["may_be_off"])) for each in document["references"])
    return CheckPlan(**{**document, "quantity": Quantity(document["quantity"]), "references": references})


@dataclass(frozen=True, slots=True)
class Setting:
    """One line of the walk: a checkpoint's id, how many placements it wants, and what to do in words."""

    id: str
    placements: int
    todo: str


def level_id(turn: int, *, turned: bool) -> str:
    """Return the id of one reading of a reversal, counted from 1."""
    return f"level-{turn}{'-turned' if turned else ''}"


def reference_id(number: int, way: str) -> str:
    """Return the id of one reference, counted from 1 in ascending order, approached rising or falling."""
    return f"reference-{number}-{way}"
