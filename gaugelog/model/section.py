"""Reading a declarative table without stopping at its first fault.

Here: a cursor over a parsed TOML table that hands out checked values and collects every fault with its dotted key.
Not here: what the keys mean (`datasheets`, `instruments`, each framing for its own options), nor opening a file.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from gaugelog.errors import Fault, UnitMismatchError, ValueTextError
from gaugelog.model.quantities import Quantity, find_unit
from gaugelog.model.typed import parse_typed


def _show(value: object) -> str:
    """Return a found value as words: short, quoted as TOML would."""
    if isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, Mapping):
        text = "a table"
    elif isinstance(value, (list, tuple)):
        text = f"[{', '.join(_show(item) for item in value)}]"
    else:
        text = _plain(value)
    return text if len(text) <= 60 else text[:57] + "…"


def _plain(value: object) -> str:
    """Return `str(value)`, also of a whole number with more digits than Python agrees to write out."""
    try:
        return str(value)
    except ValueError:
        return "a number of thousands of digits"


def _finite(value: object) -> float | None:
    """Return a TOML number as a finite float, None for anything else."""
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _number_text(value: object) -> str:
    """Return a number or text as text that can be parsed as typed: no exponent."""
    if isinstance(value, str):
        return value
    number = _finite(value)
    return "" if number is None else f"{Decimal(repr(number)):f}"


def _named(quantity: Quantity) -> str:
    """Return a quantity with its article."""
    return f"{'an' if quantity is Quantity.ANGLE else 'a'} {quantity.value}"


def _measure_wanted(quantity: Quantity, unit: str, low: float, high: float, above: float) -> str:
    """Return in words what a measured value must be."""
    wanted = f"{_named(quantity)} in {unit}"
    if quantity is Quantity.LENGTH:
        wanted += ' (a number, or text such as "3/32 in")'
    limits = {"at least": low, "more than": above, "at most": high}
    said = [f"{words} {limit:g} {quantity.base_unit}" for words, limit in limits.items() if math.isfinite(limit)]
    return ", ".join([wanted, *said])


class Section:
    """One table of a declarative file.

    Every getter returns a usable value even where it notes a fault, so that reading goes on; whoever opened the file
    looks at `faults` once at the end. `done()` notes the keys that nobody asked for.
    """

    def __init__(self, data: Mapping[str, Any], prefix: str = "", faults: list[Fault] | None = None) -> None:
        self.data = data
        self.prefix = prefix
        self.faults: list[Fault] = [] if faults is None else faults
        self._asked: set[str] = set()

    def key(self, name: str) -> str:
        """Return the dotted key of `name` in this table."""
        return f"{self.prefix}.{name}" if self.prefix else name

    def fault(self, name: str, got: object, wanted: str) -> None:
        """Note a fault at `name`; `got` is shown as found, None as nothing."""
        self.faults.append(
            Fault(self.key(name) if name else self.prefix, "nothing" if got is None else _show(got), wanted)
        )

    def has(self, name: str) -> bool:
        """Return whether the key is there; asking counts as knowing it."""
        self._asked.add(name)
        return name in self.data

    def _get(self, name: str, wanted: str, required: bool) -> Any:
        if self.has(name):
            return self.data[name]
        if required:
            self.fault(name, None, wanted)
        return None

    def text(self, name: str, default: str = "", *, required: bool = False, wanted: str = "text in quotes") -> str:
        """Return a string."""
        value = self._get(name, wanted, required)
        if value is None:
            return default
        if not isinstance(value, str) or (required and not value.strip()):
            self.fault(name, value, wanted)
            return default
        return value

    def choice(self, name: str, choices: Sequence[str], default: str = "", *, required: bool = False) -> str:
        """Return one of `choices`."""
        wanted = "one of " + ", ".join(choices)
        value = self._get(name, wanted, required)
        if value is None:
            return default
        if value not in choices:
            self.fault(name, value, wanted)
            return default
        return str(value)

    def flag(self, name: str, default: bool = False) -> bool:
        """Return true or false."""
        value = self._get(name, "true or false", False)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.fault(name, value, "true or false")
            return default
        return value

    def whole(self, name: str, low: int = 0, high: int = 1_000_000, *, required: bool = False) -> int | None:
        """Return a whole number from `low` to `high`, None where the key is absent or at fault."""
        wanted = f"a whole number from {low} to {high}"
        value = self._get(name, wanted, required)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.fault(name, value, wanted)
            return None
        return value

    def number(
        self,
        name: str,
        low: float = -math.inf,
        high: float = math.inf,
        *,
        required: bool = False,
        above: float = -math.inf,
    ) -> float | None:
        """Return a number from `low` to `high` and greater than `above`, None where absent or at fault."""
        limits = [f"from {low:g}"] if low > -math.inf else []
        limits += [f"above {above:g}"] if above > -math.inf else []
        limits += [f"up to {high:g}"] if high < math.inf else []
        wanted = " ".join(["a number", *limits])
        value = self._get(name, wanted, required)
        if value is None:
            return None
        number = _finite(value)
        if number is None or not low <= number <= high or not number > above:
            self.fault(name, value, wanted)
            return None
        return number

    def measure(
        self,
        name: str,
        quantity: Quantity,
        unit: str,
        low: float = -math.inf,
        high: float = math.inf,
        *,
        above: float = -math.inf,
        required: bool = False,
        difference: bool = False,
    ) -> float | None:
        """Return a measured value in the base unit of `quantity`, None where absent or at fault.

        A bare number is in `unit`; text may carry its own unit or be a fraction ("3/32 in"). The value must lie from
        `low` to `high` and be greater than `above`, all in the base unit. `difference` says that it is a step, a
        tolerance or a limit: an offset of the unit is left out.
        """
        wanted = _measure_wanted(quantity, unit, low, high, above)
        raw = self._get(name, wanted, required)
        if raw is None:
            return None
        try:
            read = parse_typed(_number_text(raw), quantity, unit)
        except ValueTextError:
            self.fault(name, raw, wanted)
            return None
        except UnitMismatchError as mismatch:
            self.fault(name, raw, f"{_named(quantity)} in {' or '.join(mismatch.wanted)}")
            return None
        value = read.value if read.low is None else None
        if value is not None and difference:
            value -= float(find_unit(read.unit, quantity).offset)
        if value is None or not low <= value <= high or not value > above:
            self.fault(name, raw, wanted)
            return None
        return value

    def texts(self, name: str, default: Sequence[str] = ()) -> tuple[str, ...]:
        """Return a list of strings; a single string counts as a list of one."""
        value = self._get(name, "a list of texts", False)
        if value is None:
            return tuple(default)
        values = [value] if isinstance(value, str) else value
        if not isinstance(values, list) or not all(isinstance(item, str) for item in values):
            self.fault(name, value, "a list of texts")
            return tuple(default)
        return tuple(values)

    def numbers(self, name: str, count: int) -> tuple[float, ...] | None:
        """Return a list of exactly `count` numbers, None where absent or at fault."""
        wanted = f"a list of {count} numbers"
        value = self._get(name, wanted, False)
        if value is None:
            return None
        numbers = [_finite(item) for item in value] if isinstance(value, list) else []
        finite = tuple(number for number in numbers if number is not None)
        if len(numbers) != count or len(finite) != count:
            self.fault(name, value, wanted)
            return None
        return finite

    def pattern(self, name: str, *, required: bool = False) -> re.Pattern[str] | None:
        """Return a compiled regular expression, None where absent or at fault."""
        text = self.text(name, required=required, wanted="a regular expression")
        if not text:
            return None
        try:
            return re.compile(text)
        except (re.error, OverflowError, RecursionError) as reason:
            self.fault(name, text, f"a regular expression ({reason})")
            return None

    def table(self, name: str, *, required: bool = False) -> Section:
        """Return the table under `name`; an empty one where it is absent or no table."""
        value = self._get(name, "a table", required)
        if value is not None and not isinstance(value, Mapping):
            self.fault(name, value, "a table")
            value = None
        return Section(value or {}, self.key(name), self.faults)

    def tables(self, name: str) -> tuple[Section, ...]:
        """Return the list of tables under `name`, each with its place counted from 1 in its dotted key."""
        value = self._get(name, "a list of tables", False)
        if value is None:
            return ()
        if not isinstance(value, list) or not all(isinstance(item, Mapping) for item in value):
            self.fault(name, value, f"a list of tables, written [[{self.key(name)}]]")
            return ()
        return tuple(Section(item, f"{self.key(name)}[{i}]", self.faults) for i, item in enumerate(value, 1))

    def names(self) -> tuple[str, ...]:
        """Return the keys of the table in order; asking counts as knowing them."""
        self._asked.update(self.data)
        return tuple(self.data)

    def done(self) -> None:
        """Note every key that nobody asked for, with the nearest known one."""
        for name in self.data:
            if name not in self._asked:
                near = difflib.get_close_matches(name, self._asked, 1, 0.6)
                wanted = (
                    f"a key that is known here (perhaps {near[0]})"
                    if near
                    else ("one of the keys " + ", ".join(sorted(self._asked)) if self._asked else "nothing here")
                )
                self.fault(name or '""', self.data[name], wanted)
