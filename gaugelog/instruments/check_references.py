"""References of a gauge check as a builder writes them: `5.00 ± 0.02`.

Here: from a text to a reference, and what a sine bar on a block makes of one. Not here: what is fitted to them.
"""

from __future__ import annotations

import math
import re

from gaugelog.errors import BadArgumentError
from gaugelog.model.gauge_check import Reference
from gaugelog.model.quantities import Quantity
from gaugelog.model.typed import parse_typed

_APART = re.compile(r"\s*(?:±|\+/?-)\s*")
_WANTED = "a value and the most that it may be off either way, such as 5.00 ± 0.02 (+- is taken for ±)"


def parse_reference(text: str, quantity: Quantity, unit: str) -> Reference:
    """Return the reference that a text describes, in the base unit.

    Args:
        text: value ± what it may be off; either may name its own unit.
        quantity: what it is.
        unit: of numbers that name none.

    Raises:
        BadArgumentError: it isn't written so, or can be off by nothing or less.
    """
    parts = _APART.split(text.strip())
    if len(parts) != 2:
        raise BadArgumentError(text, _WANTED)
    value, off = (parse_typed(part, quantity, unit).value for part in parts)
    if value is None or off is None:
        raise BadArgumentError(text, _WANTED)
    if off <= 0:
        raise BadArgumentError(text, "something above 0 behind the ±: no block or wedge is exact")
    return Reference(value, off)


def sine_reference(height: Reference, length: Reference) -> Reference:
    """Return the angle in degrees of a sine bar of that length, raised by blocks of that height, both mm.

    Formula: sin a = h / L (sine bar, common practice, no source); the most that it may be off is with both off the
    bad way.

    Raises:
        BadArgumentError: the blocks are higher than the bar is long.
    """
    if not abs(height.value) + height.may_be_off < length.value - length.may_be_off:
        raise BadArgumentError(f"{height.value:g} mm", f"less than the sine bar's {length.value:g} mm")
    angle = _degrees(height.value / length.value)
    ends = [
        _degrees((height.value + one * height.may_be_off) / (length.value + other * length.may_be_off))
        for one in (-1, 1)
        for other in (-1, 1)
    ]
    return Reference(angle, max(abs(end - angle) for end in ends))


def _degrees(sine: float) -> float:
    return math.degrees(math.asin(sine))
