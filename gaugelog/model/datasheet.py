"""What a datasheet says, as data.

Here: the frozen result of reading a datasheet's TOML. Not here: reading it, or applying it to frames (`datasheets`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum

from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Flag

LEAST_SILENCE_S = 2.0
SILENCE_PERIODS = 5.0


class Sends(Enum):
    """When a gauge sends."""

    STEADILY = "steadily"
    ON_CHANGE = "on change"
    ON_BUTTON = "on its button"
    WHEN_ASKED = "when asked"
    WHEN_TYPED = "when typed"


@dataclass(frozen=True, slots=True)
class Poll:
    """What to send to a gauge that answers when asked, and how often in seconds."""

    data: bytes
    period_s: float


@dataclass(frozen=True, slots=True)
class Radio:
    """Where a gauge on Bluetooth LE offers its readings.

    UUIDs of the service, of the characteristic that notifies and of the one that is written to; empty where the address
    has to say it.
    """

    service: str = ""
    notify: str = ""
    write: str = ""


@dataclass(frozen=True, slots=True)
class FlagRule:
    """Where `field` of a frame equals one of `texts`, the reading carries `flag`."""

    field: str
    texts: tuple[str, ...]
    flag: Flag


@dataclass(frozen=True, slots=True)
class ValueRule:
    """Which field of a frame is the value, and how it is written.

    `number_field` holds the number; `units` maps the text in `unit_field` to a unit's name; where there is no such
    field, or it is empty, `unit` counts. `negative` lists the texts of `sign_field` that mean minus. The number shown
    is text x `scale`. `steps` gives the last digit's worth by unit, exactly as the datasheet writes it.
    """

    number_field: str
    unit: str
    unit_field: str = ""
    units: Mapping[str, str] = field(default_factory=dict)
    sign_field: str = ""
    negative: tuple[str, ...] = ("-",)
    decimal_comma: bool = False
    scale: Decimal = Decimal(1)
    steps: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Datasheet:
    """What a kind of gauge sends and what it is worth.

    `resolution` and `accuracy` (the maker's limit of error) are in the base unit of `quantity`, as are the ends of
    the range. A gauge that repeats the very same digits for longer than `frozen_s` is taken as stuck.
    `text` is the TOML it was read from: a recording keeps it.
    """

    name: str
    title: str
    quantity: Quantity
    sends: Sends
    framing: str
    options: Mapping[str, object]
    value: ValueRule
    resolution: float
    flags: tuple[FlagRule, ...] = ()
    accuracy: float | None = None
    range_low: float | None = None
    range_high: float | None = None
    rate_hz: float | None = None
    awake_s: float | None = None
    frozen_s: float | None = None
    poll: Poll | None = None
    radio: Radio = Radio()
    text: str = ""

    @property
    def longest_silence_s(self) -> float | None:
        """The silence in seconds that is none yet: max(2 s, 5 periods); None where silence says nothing."""
        if self.sends not in (Sends.STEADILY, Sends.WHEN_ASKED):
            return None
        period_s = self.poll.period_s if self.poll else 1 / self.rate_hz if self.rate_hz else 0.0
        return max(LEAST_SILENCE_S, SILENCE_PERIODS * period_s)
