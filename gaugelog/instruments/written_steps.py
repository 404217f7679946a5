"""How finely the lengths of an instrument file were read, as far as their digits tell.

Here: the last digit of each length as it is written. Not here: the lengths themselves (`tables`), or what their
uncertainty does (`analysis`).
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from gaugelog.errors import UnitMismatchError, ValueTextError
from gaugelog.model.quantities import Quantity, find_unit
from gaugelog.model.typed import parse_typed

_TABLES = ("neck", "pocket", "bridge")
_COARSEST_MM = {"mm": 0.5, "in": 25.4 / 64}


def written_steps(text: str) -> dict[str, float]:
    """Return the step in mm to which each length of neck, pocket and bridge was read, by its dotted key.

    A decimal is read to its last digit: 6.0 to 0.1. A whole number and a fraction don't tell: they count as read by a
    rule, to half a millimetre or 1/64 in, and nothing counts as read more coarsely than that (common practice, no
    source).

    Args:
        text: an instrument file that was read without a fault.
    """
    data = tomllib.loads(text, parse_float=Decimal)
    units = str(data.get("units", "mm"))
    found = {}
    for table in _TABLES:
        section = data.get(table, {})
        for key, value in section.items() if isinstance(section, Mapping) else ():
            step = _step_mm(value, units)
            if step is not None:
                found[f"{table}.{key}"] = step
    return found


def _step_mm(value: Any, units: str) -> float | None:
    if isinstance(value, bool) or not isinstance(value, (int, Decimal, str)):
        return None
    text = f"{value:f}" if isinstance(value, Decimal) else str(value)
    try:
        read = parse_typed(text, Quantity.LENGTH, units)
    except (ValueTextError, UnitMismatchError):
        return None
    unit = find_unit(read.unit, Quantity.LENGTH)
    coarsest = _COARSEST_MM["in" if unit.name in ("in", "ft") else "mm"]
    digits = _decimals(read.text)
    if digits == 0:
        return coarsest
    return min(unit.step_to_base(Decimal(1).scaleb(-digits)), coarsest)


def _decimals(text: str) -> int:
    """Return how many digits stand behind the decimal point or comma."""
    _, point, behind = text.replace(",", ".").partition(".")
    count = 0
    while point and count < len(behind) and behind[count].isdigit():
        count += 1
    return count
