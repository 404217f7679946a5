"""What a recording holds beside placements, as frozen records.

Here: sittings, gauges, events, gaps, rejects, series, reinterpretations. Not here: reading them (`reader`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelog.model.datasheet import Sends
from gaugelog.model.gauges import book_key, gauge_key
from gaugelog.model.placement import Placement
from gaugelog.model.quantities import Quantity

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Sitting:
    """One run of a program that wrote; a sitting that was cut off ends with the latest thing it stored."""

    id: int
    command: str
    start_utc_us: int
    end_utc_us: int
    finished: bool
    program: str
    host: str
    utc_offset_s: int
    monotonic_ns: int


@dataclass(frozen=True, slots=True)
class RecordedGauge:
    """A gauge as the recording last knew it; `resolution` and `accuracy` are in the base unit of `quantity`."""

    name: str
    datasheet: str
    datasheet_text: str
    address: str
    identity: str
    quantity: Quantity
    resolution: float
    accuracy: float | None
    sends: Sends
    rate_hz: float | None
    awake_s: float | None

    @property
    def whose(self) -> str:
        """What tells this gauge in a gauge book: its datasheet with its identity, else with its address."""
        return book_key(self.datasheet, self.address, self.identity)

    @property
    def key(self) -> str:
        """What tells it from every other gauge, as `model.gauges.gauge_key`."""
        return gauge_key(self.name, self.datasheet, self.identity)


@dataclass(frozen=True, slots=True)
class RecordedCheck:
    """A check of a gauge: what was planned (kind `plan`) or what came of it (kind `check`), `result` being JSON."""

    gauge: RecordedGauge
    kind: str
    utc_us: int
    result: str


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened, at `utc_us`; `gauge` is empty where it concerns none."""

    utc_us: int
    kind: str
    gauge: str
    words: str
    sitting: int


@dataclass(frozen=True, slots=True)
class ClockSet:
    """The computer's clock was set within a sitting: noticed at `utc_us` as the sitting counts its time.

    `by_s` is by how many seconds it was set forward (negative: back), `ahead_s` how far it was ahead of the sitting's
    own time from then on.
    """

    sitting: int
    utc_us: int
    by_s: float
    ahead_s: float


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of time in which a gauge said nothing; `fault` is false where it merely slept."""

    gauge: str
    start_utc_us: int
    end_utc_us: int
    reason: str
    fault: bool


@dataclass(frozen=True, slots=True)
class KeptReject:
    """Bytes that were no reading, as they came."""

    utc_us: int
    raw: bytes
    detail: str


@dataclass(frozen=True, slots=True)
class RejectCount:
    """How often bytes of a gauge were no reading in a sitting, for one reason; `kept` are the first of them."""

    sitting: int
    gauge: str
    reason: str
    count: int
    kept: tuple[KeptReject, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """What one gauge said: times in microseconds UTC, values in the base unit of `quantity`, flags; equal lengths."""

    gauge: str
    quantity: Quantity
    utc_us: NDArray[np.int64]
    value: NDArray[np.float64]
    flags: NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class Overview:
    """Smallest and largest value in each stretch of a series, for a plot; NaN in both where there is a gap."""

    gauge: str
    quantity: Quantity
    utc_us: NDArray[np.int64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Reinterpretation:
    """A placement whose bytes were read again: as it read before, as it reads then, and through what."""

    placement_id: int
    number: int
    utc_us: int
    before: Placement
    after: Placement
    datasheet_texts: Mapping[str, str]
