"""What a frame means, both ways.

Here: frames into readings and values into bytes, as a datasheet says. Not here: reading the datasheet (`read`).
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from gaugelog.frames import Framing
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.quantities import Unit, find_unit
from gaugelog.model.readings import Chunk, Flag, Frame, Heard, Reading, Reject, RejectReason
from gaugelog.model.section import Section
from gaugelog.plugins import FRAMINGS, load

_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)", re.ASCII).fullmatch
_LARGEST = sys.float_info.max
Fields = Mapping[str, str | int | float | bytes]


def framing_of(datasheet: Datasheet) -> Framing:
    """Return the framing of a datasheet that has been read without faults."""
    framing: Framing = load(FRAMINGS, datasheet.framing)(Section(datasheet.options))
    return framing


@dataclass(frozen=True, slots=True)
class _Shown:
    """A unit as this gauge shows it: base = (number x `times` + `plus`) / `over`, all whole and so exact.

    `plain` where the number is the base value as it stands.
    """

    unit: Unit
    plain: bool
    times: int
    plus: int
    over: int
    step: float | None

    def value(self, text: str) -> float:
        """Return the base value nearest to a decimal text, infinity where no float is large enough."""
        if self.plain:
            return float(text)
        whole, _, decimals = text.partition(".")
        power: int = 10 ** len(decimals)
        try:
            return (int(whole + decimals) * self.times + self.plus * power) / (self.over * power)
        except (OverflowError, ValueError):
            return math.inf

    def resolution(self, text: str, coarsest: float) -> float:
        """Return the digit's worth in the base unit."""
        if self.step is not None:
            return self.step
        decimals = len(text.partition(".")[2])
        return max(coarsest, self.unit.step_to_base(Decimal(1).scaleb(-decimals)))


class Decoding:
    """One connection of one gauge: a fresh decoder, and the datasheet's meaning of its frames.

    A gauge that shows another unit than its datasheet's own has, unless the datasheet gives a step for that unit, a
    digit of one in the last decimal shown, but never finer than its own: switching the display makes no gauge better.
    """

    def __init__(self, datasheet: Datasheet, gauge: str) -> None:
        self._datasheet, self._gauge = datasheet, gauge
        self._rule = datasheet.value
        self._decoder = framing_of(datasheet).decoder()
        self._units = {name: self._shown(name) for name in {self._rule.unit, *self._rule.units.values()}}
        self._low = -_LARGEST if datasheet.range_low is None else datasheet.range_low
        self._high = _LARGEST if datasheet.range_high is None else datasheet.range_high
        self._frozen_ns = None if datasheet.frozen_s is None else datasheet.frozen_s * 1e9
        self._same: tuple[str, str] = ("", "")
        self._same_since_ns = 0

    def _shown(self, name: str) -> _Shown:
        unit = find_unit(name, self._datasheet.quantity)
        step = self._rule.steps.get(name)
        if name == self._rule.unit:
            in_base: float | None = self._datasheet.resolution
        else:
            in_base = unit.step_to_base(step) if step is not None else None
        factor, offset = unit.factor, unit.offset
        return _Shown(
            unit=unit,
            plain=factor == 1 and offset == 0,
            times=factor.numerator * offset.denominator,
            plus=offset.numerator * factor.denominator,
            over=factor.denominator * offset.denominator,
            step=in_base,
        )

    def feed(self, chunk: Chunk) -> Heard:
        """Return all that came of a chunk; of an empty one nothing but its time."""
        if not chunk.data:
            return Heard(self._gauge, chunk)
        return Heard(self._gauge, chunk, tuple(self._meaning(item) for item in self._decoder.feed(chunk)))

    def finish(self, time_ns: int) -> Heard:
        """Return what was left over when the connection ended."""
        items = tuple(self._meaning(item) for item in self._decoder.finish(time_ns))
        return Heard(self._gauge, Chunk(time_ns, b""), items)

    def _meaning(self, item: Frame | Reject) -> Reading | Reject:
        if isinstance(item, Reject):
            return item
        rule, fields = self._rule, item.fields
        flags = Flag.NONE
        for flag in self._datasheet.flags:
            if _text_of(fields, flag.field) in flag.texts:
                flags |= flag.flag
        text = self._number(fields)
        if text is None:
            if flags & Flag.OVER_RANGE:
                return Reject(item.time_ns, item.raw, RejectReason.RANGE, "the gauge says it is over range")
            return Reject(item.time_ns, item.raw, RejectReason.NUMBER, _text_of(fields, rule.number_field))
        written = _text_of(fields, rule.unit_field) if rule.unit_field else ""
        name = rule.units.get(written) if written else rule.unit
        if name is None:
            return Reject(item.time_ns, item.raw, RejectReason.UNIT, written)
        shown = self._units[name]
        value = shown.value(text)
        if not self._low <= value <= self._high:
            return Reject(item.time_ns, item.raw, RejectReason.RANGE, f"{text} {name}")
        resolution = shown.resolution(text, self._datasheet.resolution)
        if self._frozen_ns is not None and self._is_frozen(item.time_ns, text, name):
            flags |= Flag.FROZEN
        return Reading(item.time_ns, self._gauge, self._datasheet.quantity, value, text, name, resolution, flags)

    def _is_frozen(self, time_ns: int, text: str, unit: str) -> bool:
        """Return whether the very same digits have been repeated for longer than a live gauge would."""
        if (text, unit) != self._same:
            self._same, self._same_since_ns = (text, unit), time_ns
        return self._frozen_ns is not None and time_ns - self._same_since_ns > self._frozen_ns

    def _number(self, fields: Fields) -> str | None:
        """Return the number shown as decimal text with a point, None where there is none."""
        rule = self._rule
        text = _text_of(fields, rule.number_field).strip()
        if rule.decimal_comma:
            text = text.replace(",", ".")
        if _NUMBER(text) is None:
            return None
        if rule.sign_field and _text_of(fields, rule.sign_field) in rule.negative:
            text = "-" + text.lstrip("+-")
        text = text.removeprefix("+")
        return text if rule.scale == 1 else format(Decimal(text) * rule.scale, "f")


def _text_of(fields: Fields, name: str) -> str:
    """Return a field as text, empty where a frame lacks it."""
    value = fields.get(name, "")
    return value if isinstance(value, str) else str(value)


class Encoding:
    """Values into the bytes that this gauge would send."""

    def __init__(self, datasheet: Datasheet) -> None:
        self._datasheet = datasheet
        self._rule = datasheet.value
        self._framing = framing_of(datasheet)

    def encode(self, value: float, *, flags: Flag = Flag.NONE, unit: str | None = None) -> bytes:
        """Return the bytes for a value, rounded to the gauge's digit (a tie to the even one).

        Args:
            value: in the base unit.
            flags: what the gauge says about itself; one that the datasheet can't say is left out.
            unit: what it is shown in; the datasheet's own unless said.

        Raises:
            ValueError: the value is no number that can be shown, or this gauge can't say that unit.
        """
        rule = self._rule
        shown = find_unit(unit or rule.unit, self._datasheet.quantity)
        number = self._on_the_digit(value, shown)
        raw = number / rule.scale
        text = format(abs(raw) if rule.sign_field else raw, "f")
        fields: dict[str, str | int | float | bytes] = {
            rule.number_field: text.replace(".", ",") if rule.decimal_comma else text
        }
        if rule.sign_field and number < 0:
            fields[rule.sign_field] = rule.negative[0]
        if rule.unit_field:
            fields[rule.unit_field] = self._unit_text(shown.name)
        elif shown.name != rule.unit:
            raise ValueError(f"{self._datasheet.name} shows {rule.unit} only, not {shown.name}")
        for flag in self._datasheet.flags:
            if flags & flag.flag:
                fields[flag.field] = flag.texts[0]
        return self._framing.encode(fields)

    def _unit_text(self, name: str) -> str:
        """Return how the gauge writes a unit; its own may go unsaid."""
        for text, unit in self._rule.units.items():
            if unit == name:
                return text
        if name == self._rule.unit:
            return ""
        raise ValueError(f"{self._datasheet.name} has no text for {name}")

    def _on_the_digit(self, value: float, shown: Unit) -> Decimal:
        if not math.isfinite(value):
            raise ValueError(f"a gauge can't show {value}")
        step = self._rule.steps.get(shown.name) or _power_of_ten(self._datasheet.resolution, shown)
        ticks = (Decimal(repr(shown.from_base(value))) / step).quantize(Decimal(1), ROUND_HALF_EVEN)
        number = ticks * step
        return abs(number) if number == 0 else number


def _power_of_ten(resolution: float, shown: Unit) -> Decimal:
    """Return the power of ten at or below a resolution (base unit) put into another unit."""
    in_unit = resolution / shown.step_to_base(Decimal(1))
    return Decimal(1).scaleb(math.floor(math.log10(in_unit) + 1e-9))


def redecode(datasheet: Datasheet, chunks: Iterable[Chunk], gauge: str) -> tuple[Heard, ...]:
    """Return what a datasheet makes of bytes that were kept, from a fresh decoder."""
    decoding = Decoding(datasheet, gauge)
    return tuple(decoding.feed(chunk) for chunk in chunks)
