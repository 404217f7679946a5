"""Numbers as text: the one place that rounds.

Here: values, uncertainties, shifts, probabilities, durations, counts and clock times for a person to read. Values come
in base units (degrees, mm, degrees Celsius, percent) and go out in the units of the instrument, with a minus sign
(U+2212) and a no-break space before the unit. Not here: JSON, which rounds nothing (`documents`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from gaugelog.model.placement import Placement
from gaugelog.model.quantities import Quantity

MINUS = "\u2212"
NO_BREAK = "\u00a0"
UNKNOWN = "–"
_LONGEST_PUT_BACK_H = 3
"""By how many hours a clock is put back at most, with room to spare: nowhere by more than two (common knowledge of the
IANA time zone database, from memory)."""

_MM_PER_INCH = 25.4
_MOST_DECIMALS = 6
_FRACTION_STEPS = 64
_LEAST_FRACTION_STEPS = 0.5
_SYMBOLS = {
    Quantity.ANGLE: "°",
    Quantity.LENGTH: NO_BREAK + "mm",
    Quantity.TEMPERATURE: NO_BREAK + "°C",
    Quantity.HUMIDITY: NO_BREAK + "%",
}
_PROVEN_PERCENT = 95.0
_THRESHOLDS_PERCENT = (5.0, _PROVEN_PERCENT)


@dataclass(frozen=True, slots=True)
class DisplayUnit:
    """How a quantity is shown: shown number = base value / `divisor`, followed by `symbol`."""

    symbol: str
    divisor: float = 1.0

    def write(self, value: float, decimals: int, *, signed: bool = False) -> str:
        """Return a value given in the base unit with so many decimals, and its symbol."""
        return rounded(value / self.divisor, decimals, signed=signed) + self.symbol


def display_unit(quantity: Quantity, units: str = "mm") -> DisplayUnit:
    """Return how `quantity` is shown where lengths are in `units`, mm or in.

    Raises:
        ValueError: `units` is neither.
    """
    if units not in ("mm", "in"):
        raise ValueError(f"lengths are shown in mm or in, not {units!r}")
    if quantity is Quantity.LENGTH and units == "in":
        return DisplayUnit(NO_BREAK + "in", _MM_PER_INCH)
    return DisplayUnit(_SYMBOLS[quantity])


def rounded(number: float, decimals: int, *, signed: bool = False) -> str:
    """Return a number with so many decimals, half to even on its decimal text; below 0 they round to tens, hundreds.

    A number that rounds to zero has no sign.
    """
    exact = _decimal(number).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN)
    text = f"{abs(exact):.{max(decimals, 0)}f}"
    if not exact:
        return text
    return (MINUS if exact < 0 else "+" if signed else "") + text


def _decimal(number: float) -> Decimal:
    """Return a float as the decimal that was meant: what a conversion left behind the twelfth digit is dropped."""
    return Decimal(f"{number:.12g}")


def decimals_of_u(u: float) -> int:
    """Return the decimals at which a standard uncertainty has two significant digits (GUM, JCGM 100:2008, 7.2.6).

    Raises:
        ValueError: `u` is not above 0 and finite.
    """
    if not (u > 0 and math.isfinite(u)):
        raise ValueError("an uncertainty above 0 is needed")
    decimals = 1 - math.floor(math.log10(u))
    carried = float(_decimal(u).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN))
    return decimals - 1 if math.floor(math.log10(carried)) > math.floor(math.log10(u)) else decimals


def decimals_of_step(step: float) -> int:
    """Return the decimals that a reading with this step deserves: 2 for 0.05 or 0.01, 0 for 1.

    Raises:
        ValueError: `step` is not above 0.
    """
    if not step > 0:
        raise ValueError("a step above 0 is needed")
    return _decimals_needed(step, max(0, -math.floor(math.log10(step) + 1e-9)))


def _decimals_needed(number: float, most: int) -> int:
    """Return how many decimals write `number` out, `most` where it has no end before."""
    most = min(most, _MOST_DECIMALS)
    for decimals in range(most):
        if abs(round(number, decimals) - number) <= 1e-6 * abs(number) + 1e-12:
            return decimals
    return most


def value_text(value: float | None, quantity: Quantity, step: float, units: str = "mm", *, signed: bool = False) -> str:
    """Return a value with the decimals of `step`, or one more where the value lies between two steps.

    Args:
        value: in the base unit, a dash where it is None.
        quantity: what it is.
        step: of one reading, in the base unit.
        units: mm or in for lengths.
        signed: write the plus too.
    """
    if value is None:
        return UNKNOWN
    shown = display_unit(quantity, units)
    fewest = decimals_of_step(step / shown.divisor)
    decimals = max(fewest, _decimals_needed(value / shown.divisor, fewest + 1))
    return shown.write(value, decimals, signed=signed)


def length_text(value_mm: float, step_mm: float, units: str = "mm") -> str:
    """Return a length; in inches with the fraction to the nearest 1/64 beside the decimal: "0.094 in (3/32)".

    Nearer to 0 than to 1/64 the decimal stands alone: ≈0 would say less than nothing.
    """
    text = value_text(value_mm, Quantity.LENGTH, step_mm, units)
    if units != "in":
        return text
    inches = value_mm / _MM_PER_INCH
    if abs(inches) * _FRACTION_STEPS < _LEAST_FRACTION_STEPS:
        return text
    return f"{text}{NO_BREAK}({fraction_text(inches)})"


def fraction_text(inches: float) -> str:
    """Return inches as a fraction to the nearest 1/64; one that isn't exact begins with ≈."""
    nearest = Fraction(round(inches * _FRACTION_STEPS), _FRACTION_STEPS)
    exact = abs(float(nearest) - inches) < 5e-5
    whole, rest = divmod(abs(nearest), 1)
    words = " ".join(str(part) for part in (whole, rest) if part) or "0"
    sign = MINUS if nearest < 0 else ""
    return ("" if exact else "≈") + sign + words


def mean_text(mean: float | None, quantity: Quantity, step: float, units: str = "mm", *, signed: bool = False) -> str:
    """Return a mean, or with `signed` a shift, with one decimal more than `step` has: it is finer than a reading."""
    if mean is None:
        return UNKNOWN
    shown = display_unit(quantity, units)
    return shown.write(mean, decimals_of_step(step / shown.divisor) + 1, signed=signed)


def uncertain_text(
    value: float | None, u: float | None, quantity: Quantity, units: str = "mm", *, signed: bool = False
) -> str:
    """Return value ± u by the house rule: u to two significant digits, the value to the same decimals.

    Args:
        value: in the base unit, a dash where it is None.
        u: standard or expanded uncertainty in the base unit; whichever it is, say so beside the number.
        quantity: what it is.
        units: mm or in for lengths.
        signed: write the plus too.
    """
    alone = value_beside_u(value, u, quantity, units, signed=signed)
    if value is None or u is None or not math.isfinite(u):
        return alone
    shown = display_unit(quantity, units)
    spread = shown.write(u, decimals_of_u(u / shown.divisor)) if u > 0 else f"0{shown.symbol}"
    number = alone if shown.symbol == "°" else alone.removesuffix(shown.symbol)
    return f"{number} ± {spread}"


def value_beside_u(
    value: float | None, u: float | None, quantity: Quantity, units: str = "mm", *, signed: bool = False
) -> str:
    """Return a value alone, with the decimals at which `u` has two significant digits (three where `u` is unknown)."""
    if value is None:
        return UNKNOWN
    shown = display_unit(quantity, units)
    known = u is not None and u > 0 and math.isfinite(u)
    decimals = decimals_of_u((u or 0.0) / shown.divisor) if known else _decimals_needed(value / shown.divisor, 3)
    return shown.write(value, decimals, signed=signed)


def amount_text(value: float | None, quantity: Quantity, units: str = "mm") -> str:
    """Return a given amount (a limit, a step, an accuracy) as short as it can be written: "0.25 mm", "0.05°"."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    shown = display_unit(quantity, units)
    number = value / shown.divisor
    most = 3 if number == 0 else max(2, 1 - math.floor(math.log10(abs(number))))
    return rounded(number, _decimals_needed(number, most)) + shown.symbol


def rough_text(value: float | None, quantity: Quantity, units: str = "mm") -> str:
    """Return an amount to two significant digits: "0.15°"; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    shown = display_unit(quantity, units)
    number = value / shown.divisor
    return rounded(number, decimals_of_u(abs(number)) if number else 0) + shown.symbol


def probability_text(p: float | None) -> str:
    """Return a probability in percent: "96.0 %", "88 %", ">99.9 %", "<0.1 %".

    Near 95 % and 5 %, where verdicts turn, with a decimal, and never rounded up to 95 %.
    """
    if p is None:
        return UNKNOWN
    if p > 0.999:
        return f">99.9{NO_BREAK}%"
    if p < 0.001:
        return f"<0.1{NO_BREAK}%"
    percent = float(_decimal(p) * 100)
    fine = percent > 99 or percent < 1 or any(abs(percent - threshold) < 1 for threshold in _THRESHOLDS_PERCENT)
    text = rounded(percent, 1 if fine else 0)
    if percent < _PROVEN_PERCENT <= float(text):
        text = rounded(_PROVEN_PERCENT - 0.1, 1)
    return f"{text}{NO_BREAK}%"


def placement_text(placement: Placement, units: str = "mm") -> str:
    """Return what a placement read: "2.85°", "0.50..0.55 mm" for a feeler pair, ">0.30 mm" for a bound."""
    quantity = placement.quantity
    if placement.low is not None and placement.high is not None:
        return _pair_text(placement.low, placement.high, quantity, units)
    if placement.low is not None:
        return ">" + _as_written((placement.low,), quantity, units)
    if placement.high is not None:
        return "<" + _as_written((placement.high,), quantity, units)
    if placement.value is None:
        return UNKNOWN
    if quantity is Quantity.LENGTH:
        return length_text(placement.value, placement.resolution, units)
    return value_text(placement.value, quantity, placement.resolution, units)


def _pair_text(low: float, high: float, quantity: Quantity, units: str) -> str:
    return _as_written((low, high), quantity, units)


def _as_written(values: Iterable[float], quantity: Quantity, units: str) -> str:
    """Return values joined by two dots, with the decimals that the finest of them needs, two at least."""
    shown = display_unit(quantity, units)
    numbers = [value / shown.divisor for value in values]
    decimals = max(2, *(_decimals_needed(number, 4) for number in numbers))
    return "..".join(rounded(number, decimals) for number in numbers) + shown.symbol


def duration_text(seconds: float | None) -> str:
    """Return a stretch of time: "47 s", "3 min 20 s", "2 h 04 min", "3 d 04 h"."""
    if seconds is None:
        return UNKNOWN
    whole = round(max(seconds, 0.0))
    if whole < 60:
        return f"{whole}{NO_BREAK}s"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes}{NO_BREAK}min {rest:02d}{NO_BREAK}s" if rest else f"{minutes}{NO_BREAK}min"
    hours, minutes = divmod(round(whole / 60), 60)
    if hours < 72:
        return f"{hours}{NO_BREAK}h {minutes:02d}{NO_BREAK}min"
    days, hours = divmod(hours, 24)
    return f"{days}{NO_BREAK}d {hours:02d}{NO_BREAK}h"


def count_text(number: int, what: str) -> str:
    """Return "no gaps", "1 gap", "3 placements", "12 345 readings" (with no-break spaces)."""
    if number == 0:
        return f"no {what}s"
    digits = f"{number:,}".replace(",", NO_BREAK)
    return f"{digits} {what}" if number == 1 else f"{digits} {what}s"


def moment(utc_us: int, zone: tzinfo | None = None) -> datetime:
    """Return UTC microseconds as a time of `zone`, the machine's own where none is given."""
    return datetime.fromtimestamp(utc_us // 1_000_000, UTC).replace(microsecond=utc_us % 1_000_000).astimezone(zone)


def zone_text(offset: timedelta | None) -> str:
    """Return how far local time is ahead of UTC: "UTC+2", "UTC−3:30", "UTC"."""
    minutes = round((offset or timedelta()).total_seconds() / 60)
    hours, rest = divmod(abs(minutes), 60)
    sign = "+" if minutes > 0 else MINUS
    return f"UTC{sign}{hours}{f':{rest:02d}' if rest else ''}" if minutes else "UTC"


def _told_apart(utc_us: int, zone: tzinfo | None) -> str:
    """Return what tells a time of day from its like, where clocks that are put back show it twice; else nothing."""
    then = moment(utc_us, zone)
    offset = then.utcoffset() or timedelta()
    for hours in (-_LONGEST_PUT_BACK_H, _LONGEST_PUT_BACK_H):
        other = moment(utc_us + hours * 3_600_000_000, zone).utcoffset() or timedelta()
        like_us = utc_us + round((offset - other).total_seconds() * 1e6)
        like = moment(like_us, zone)
        if other != offset and like.utcoffset() == other and like.replace(tzinfo=None) == then.replace(tzinfo=None):
            return f"{NO_BREAK}{zone_text(offset)}"
    return ""


def clock_text(utc_us: int, zone: tzinfo | None = None, *, seconds: bool = False) -> str:
    """Return the local time of day: "14:05", with `seconds` "14:05:09"; "02:30 UTC+2" in an hour that comes twice."""
    form = "%H:%M:%S" if seconds else "%H:%M"
    return f"{moment(utc_us, zone):{form}}{_told_apart(utc_us, zone)}"


def date_text(utc_us: int, zone: tzinfo | None = None) -> str:
    """Return the local date and time of day: "2026-03-14 14:05", as `clock_text` in an hour that comes twice."""
    return f"{moment(utc_us, zone):%Y-%m-%d %H:%M}{_told_apart(utc_us, zone)}"


def when_text(utc_us: int, since_utc_us: int, zone: tzinfo | None = None) -> str:
    """Return `clock_text`, with the date before it where it is another day than `since_utc_us`."""
    then = moment(utc_us, zone)
    date = "" if then.date() == moment(since_utc_us, zone).date() else f"{then:%m-%d} "
    return f"{date}{clock_text(utc_us, zone)}"
