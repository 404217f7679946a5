"""Reading the options of an address.

Here: numbers and choices out of `?key=value`, with faults in words. Not here: which options a link has.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import TypeVar

from gaugelog.errors import AddressError
from gaugelog.model.gauges import Address

_T = TypeVar("_T")


class Options:
    """The options of one address; each getter raises `AddressError` for a value it can't take."""

    def __init__(self, address: Address, known: Collection[str]) -> None:
        """Take an address whose options must all be among `known`.

        Raises:
            AddressError: an option that isn't known.
        """
        self._address = address
        for name in address.options:
            if name not in known:
                wanted = f"its options are {', '.join(known)}" if known else "it has no options"
                raise AddressError(address.text, f"{name} is not known to {address.scheme}:, {wanted}")

    def has(self, name: str) -> bool:
        """Return whether the option is written."""
        return name in self._address.options

    def text(self, name: str, default: str = "") -> str:
        """Return the option as written."""
        return self._address.options.get(name, default)

    def choice(self, name: str, choices: Mapping[str, _T], default: str) -> _T:
        """Return what `choices` has under the option's text."""
        written = self.text(name, default)
        if written.lower() not in choices:
            raise AddressError(self._address.text, f"{name} is one of {', '.join(choices)}")
        return choices[written.lower()]

    def number(self, name: str, default: float, low: float = -math.inf, high: float = math.inf) -> float:
        """Return a number from `low` to `high`."""
        if not self.has(name):
            return default
        try:
            value = float(self.text(name))
        except ValueError:
            value = math.nan
        if not low <= value <= high or math.isinf(value):
            limits = [f"at least {low:g}"] if low > -math.inf else []
            limits += [f"at most {high:g}"] if high < math.inf else []
            raise AddressError(self._address.text, ", ".join([f"{name} is a number", *limits]))
        return value

    def whole(self, name: str, default: int, low: int, high: int) -> int:
        """Return a whole number from `low` to `high`."""
        value = self.number(name, default, low, high)
        if value != int(value):
            raise AddressError(self._address.text, f"{name} is a whole number")
        return int(value)
