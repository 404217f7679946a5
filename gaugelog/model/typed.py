"""Reading a value that a person typed.

Here: decimals, fractions, feeler pairs and bounds, with or without a unit, turned into base units.
Not here: asking for it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from gaugelog.errors import UnitMismatchError, ValueTextError
from gaugelog.model.quantities import Quantity, Unit, find_unit

_WANTED = "a number such as 0.30, a fraction such as 3/32 or 1 1/8, a feeler pair 0.25..0.30, or a bound >0.30 or <0.05"
_LONGEST = 80
_NUMBER = re.compile(
    r"""^\s*(?P<sign>[+\-\u2212]?)\s*
        (?:(?P<whole>\d+)(?:\s+|-))?(?P<above>\d+)\s*/\s*(?P<below>\d+)\s*(?P<unit>\D.*)?$
      |^\s*(?P<decimal>[+\-\u2212]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(?P<unit2>[^\d.,\s].*)?$""",
    re.VERBOSE,
)


@dataclass(frozen=True, slots=True)
class TypedValue:
    """A typed value in the base unit: `value` is None for a bound; a feeler pair has `low`, `high` and their middle.

    `step` is one part of a fraction's denominator as written, which is all that a rule divided so can tell: 1/64 in for
    `3/64`, 1/8 in for `1 1/8`. It is None for a decimal, which doesn't say how finely it was read, and for a pair.
    """

    text: str
    unit: str
    value: float | None
    low: float | None = None
    high: float | None = None
    step: float | None = None


@dataclass(frozen=True, slots=True)
class _Number:
    """A number as written, the unit beside it if there was one, and the denominator if it was a fraction."""

    number: Fraction
    unit: Unit | None
    denominator: int | None = None


def _number(text: str, whole_text: str, quantity: Quantity) -> _Number:
    match = _NUMBER.match(text)
    if match is None:
        raise ValueTextError(whole_text, _WANTED)
    written = match["unit"] or match["unit2"]
    found = find_unit(written, quantity) if written else None
    if match["above"] is None:
        try:
            number = Fraction(Decimal(match["decimal"].replace(",", ".").replace("\u2212", "-")))
        except InvalidOperation:  # pragma: no cover - the pattern admits only decimals
            raise ValueTextError(whole_text, _WANTED) from None
        return _Number(number, found)
    denominator = int(match["below"])
    if denominator == 0:
        raise ValueTextError(whole_text, "a fraction with something below the line")
    number = Fraction(int(match["above"]), denominator) + int(match["whole"] or 0)
    return _Number(-number if match["sign"] in ("-", "\u2212") else number, found, denominator)


def parse_typed(text: str, quantity: Quantity, default_unit: str, given_unit: str | None = None) -> TypedValue:
    """Return what `text` says, in the base unit of `quantity`.

    Args:
        text: `0.30`, `0,30`, `3/32`, `1 1/8 in`, `0.25..0.30 mm`, `>0.30`, `<0.05`.
        quantity: what is measured.
        default_unit: the unit of a decimal without one. A bare fraction of a length is in inches whatever this
            says: nobody reads millimetres in sixty-fourths.
        given_unit: a unit stated beside the text, as a table's column does; it must not contradict the text's own.

    Raises:
        ValueTextError: no value can be read from the text, or a pair stands the wrong way round.
        UnitMismatchError: the unit doesn't fit the quantity, or two units contradict.
    """
    if len(text) > _LONGEST:
        raise ValueTextError(text[:_LONGEST] + "…", _WANTED)
    stated = find_unit(given_unit, quantity) if given_unit else None
    body = text.strip()
    bound = body[:1] if body[:1] in "<>" and body else ""
    pieces = body[len(bound) :].split("..") if body else []
    if len(pieces) not in (1, 2) or (bound and len(pieces) == 2):
        raise ValueTextError(text, _WANTED)
    read = [_number(piece, text, quantity) for piece in pieces]
    units = {each.unit.name for each in read if each.unit is not None} | ({stated.name} if stated else set())
    if len(units) > 1:
        raise UnitMismatchError(" and ".join(sorted(units)), quantity.value, ["one unit"])
    bare_fraction = quantity is Quantity.LENGTH and any(each.denominator for each in read)
    unit = find_unit(units.pop() if units else ("in" if bare_fraction else default_unit), quantity)
    values = [unit.to_base(each.number) for each in read]
    if len(values) == 2:
        low, high = values
        if low >= high:
            raise ValueTextError(text, "a feeler pair with the one that goes first, then the larger one that doesn't")
        return TypedValue(body, unit.name, (low + high) / 2, low, high)
    denominator = read[0].denominator
    step = unit.step_to_base(Fraction(1, denominator)) if denominator else None
    if bound == ">":
        return TypedValue(body, unit.name, None, low=values[0], step=step)
    if bound == "<":
        return TypedValue(body, unit.name, None, high=values[0], step=step)
    return TypedValue(body, unit.name, values[0], step=step)
