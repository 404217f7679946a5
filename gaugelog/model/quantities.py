"""Quantities and units.

Here: the four quantities that gauges speak of, the units people write, and exact conversion to the base unit
(degrees, millimetres, degrees Celsius, percent). Not here: how a number is shown (that is `show.numbers`).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from fractions import Fraction

from gaugelog.errors import UnitMismatchError


class Quantity(Enum):
    """What a gauge measures."""

    ANGLE = "angle"
    LENGTH = "length"
    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"

    @property
    def base_unit(self) -> str:
        """Name of the unit in which values of this quantity are held: deg, mm, degC or %."""
        return _BASE[self]

    @property
    def column(self) -> str:
        """Suffix of a table's column in the base unit: deg, mm, degc or percent."""
        return _COLUMN[self]


_BASE = {Quantity.ANGLE: "deg", Quantity.LENGTH: "mm", Quantity.TEMPERATURE: "degC", Quantity.HUMIDITY: "%"}
_COLUMN = {
    Quantity.ANGLE: "deg",
    Quantity.LENGTH: "mm",
    Quantity.TEMPERATURE: "degc",
    Quantity.HUMIDITY: "percent",
}


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: base = written x factor + offset, exactly."""

    name: str
    quantity: Quantity
    factor: Fraction
    offset: Fraction = Fraction(0)
    aliases: tuple[str, ...] = ()

    def to_base(self, number: Decimal | Fraction) -> float:
        """Return the float nearest to `number` of this unit in the base unit; 2.85 deg gives 2.85."""
        return float(Fraction(number) * self.factor + self.offset)

    def step_to_base(self, number: Decimal | Fraction) -> float:
        """Return a difference (a resolution, a tolerance) of this unit in the base unit."""
        return float(Fraction(number) * self.factor)

    def from_base(self, value: float) -> float:
        """Return a value given in the base unit in this unit."""
        return float((Fraction(value) - self.offset) / self.factor)


_PI = Fraction("3.14159265358979323846264338328")
"""Pi to 30 digits: the one factor that is not exact."""

_UNITS = (
    Unit("deg", Quantity.ANGLE, Fraction(1), aliases=("°", "degree", "degrees", "d")),
    Unit("arcmin", Quantity.ANGLE, Fraction(1, 60), aliases=("'", "′", "arc minute", "arc minutes")),
    Unit("arcsec", Quantity.ANGLE, Fraction(1, 3600), aliases=("arc second", "arc seconds")),
    Unit("rad", Quantity.ANGLE, 180 / _PI, aliases=("radian", "radians")),
    Unit("mm", Quantity.LENGTH, Fraction(1), aliases=("millimetre", "millimetres", "millimeter", "millimeters")),
    Unit("cm", Quantity.LENGTH, Fraction(10)),
    Unit("m", Quantity.LENGTH, Fraction(1000), aliases=("metre", "meter")),
    Unit("in", Quantity.LENGTH, Fraction(254, 10), aliases=('"', "″", "inch", "inches")),
    Unit("ft", Quantity.LENGTH, Fraction(3048, 10), aliases=("foot", "feet")),
    Unit("degC", Quantity.TEMPERATURE, Fraction(1), aliases=("°C", "C", "celsius")),
    Unit("degF", Quantity.TEMPERATURE, Fraction(5, 9), Fraction(-160, 9), aliases=("°F", "F", "fahrenheit")),
    Unit("%", Quantity.HUMIDITY, Fraction(1), aliases=("%RH", "percent", "rh")),
)
_BY_NAME = {alias.lower(): unit for unit in _UNITS for alias in (unit.name, *unit.aliases)}


def find_unit(written: str, quantity: Quantity) -> Unit:
    """Return the unit that `written` names among those of `quantity`.

    Raises:
        UnitMismatchError: no such unit, or one of another quantity.
    """
    unit = _BY_NAME.get(written.strip().lower())
    if unit is None or unit.quantity is not quantity:
        wanted = [known.name for known in _UNITS if known.quantity is quantity]
        raise UnitMismatchError(written, quantity.value, wanted)
    return unit


def base_unit(quantity: Quantity) -> Unit:
    """Return the unit in which values of `quantity` are held."""
    return _BY_NAME[quantity.base_unit.lower()]
