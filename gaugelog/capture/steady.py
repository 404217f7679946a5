"""When has the hand let go of one gauge.

Here: the window of one gauge's readings, when it is steady, and when the gauge has been lifted since. Not here: what
a placement is made of (`capture.placing`), nor any clock: time is what the link stamped on readings and ticks.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from decimal import Decimal

from gaugelog.model.datasheet import Datasheet, Sends
from gaugelog.model.placement import Part, Role
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import SAYS_NOTHING, Chunk, Flag, Heard, Reading

WINDOW_S = 1.5
SPAN_STEPS = 2
LIFT_STEPS = 10
_LEAST_LIFT = {Quantity.ANGLE: 0.5, Quantity.LENGTH: 0.2, Quantity.TEMPERATURE: 1.0, Quantity.HUMIDITY: 3.0}


@dataclass(frozen=True, slots=True)
class Window:
    """A steady stretch of one gauge: its readings, the bytes they came from, and its ends in nanoseconds."""

    readings: tuple[Reading, ...]
    raw: tuple[Chunk, ...]
    start_ns: int
    end_ns: int
    sends: Sends = Sends.STEADILY

    @property
    def weights(self) -> tuple[int, ...]:
        """How much each reading counts: alike, or as long as it stood where the gauge sends on change."""
        if self.sends is not Sends.ON_CHANGE:
            return (1,) * len(self.readings)
        starts = [max(reading.time_ns, self.start_ns) for reading in self.readings]
        return tuple(max(end - start, 1) for start, end in zip(starts, [*starts[1:], self.end_ns], strict=True))

    def part(self, role: Role) -> Part:
        """Return the window as one part of a placement: its median, its spread, its bytes."""
        first = self.readings[0]
        value, text = _median(self.readings, self.weights)
        values = [reading.value for reading in self.readings]
        return Part(
            role=role,
            gauge=first.gauge,
            value=value,
            text=text,
            unit=first.unit,
            resolution=first.resolution,
            spread=max(values) - min(values),
            n=len(values),
            start_ns=self.start_ns,
            end_ns=self.end_ns,
            raw=self.raw,
        )


def _median(readings: tuple[Reading, ...], weights: tuple[int, ...]) -> tuple[float, str]:
    """Return the weighted median as a base value and as the text shown; between two readings their middle."""
    order = sorted(range(len(readings)), key=lambda i: readings[i].value)
    half = sum(weights) / 2
    below = 0
    for place, index in enumerate(order):
        below += weights[index]
        if below > half or place == len(order) - 1:
            return readings[index].value, readings[index].text
        if below == half:
            low, high = readings[index], readings[order[place + 1]]
            middle = (Decimal(low.text) + Decimal(high.text)) / 2
            return (low.value + high.value) / 2, low.text if low.text == high.text else str(middle)
    raise ValueError("a median needs at least one reading")


class SteadyWatch:
    """Watches one gauge until it rests, and afterwards until it has visibly been lifted.

    A gauge that sends on change is unchanged while it is silent: each tick says that time went on. A gauge that sends
    on its button gives one window a reading. Readings on hold or over range never count and break the rest.
    """

    def __init__(self, datasheet: Datasheet, window_s: float = WINDOW_S, span_steps: float = SPAN_STEPS) -> None:
        if window_s <= 0 or span_steps <= 0:
            raise ValueError("window_s and span_steps are above 0")
        self.sends = datasheet.sends
        self.window_ns = round(window_s * 1e9)
        self.span_steps = span_steps
        self.latest: Reading | None = None
        self.awaiting_lift = False
        self._stands_at: float | None = None
        self._readings: deque[Reading] = deque()
        self._raw: deque[Chunk] = deque()
        self._now_ns = 0
        self._pressed = False

    def hear(self, heard: Heard) -> None:
        """Take what came of one chunk: readings, or nothing for a tick."""
        self._now_ns = heard.chunk.time_ns
        if heard.chunk.data:
            self._raw.append(heard.chunk)
        for item in heard.items:
            if isinstance(item, Reading):
                self._take(item)
        self._forget()

    def _take(self, reading: Reading) -> None:
        self.latest = reading
        if reading.flags and reading.flags & SAYS_NOTHING:
            self._readings.clear()
            self.awaiting_lift = self.awaiting_lift and not reading.flags & Flag.OVER_RANGE
            return
        if self._readings and self._readings[-1].unit != reading.unit:
            self._readings.clear()
        self._readings.append(reading)
        self._pressed = self.sends is Sends.ON_BUTTON
        lift = max(LIFT_STEPS * reading.resolution, _LEAST_LIFT[reading.quantity])
        if self._stands_at is None:
            self._stands_at = reading.value
        if self.awaiting_lift and abs(reading.value - self._stands_at) > lift:
            self.lifted()

    def _forget(self) -> None:
        """Let go of what lies before the window, but for the reading in effect at its start; silence ends a rest."""
        start_ns = self._now_ns - self.window_ns
        while len(self._readings) > 1 and self._readings[1].time_ns <= start_ns:
            self._readings.popleft()
        silent = self._readings and self._now_ns - self._readings[-1].time_ns > self.window_ns
        if silent and self.sends is not Sends.ON_CHANGE:
            self._readings.clear()
        oldest_ns = min(start_ns, self._readings[0].time_ns) if self._readings else start_ns
        while len(self._raw) > 2 and self._raw[1].time_ns <= oldest_ns:
            self._raw.popleft()

    def lifted(self) -> None:
        """Say that the gauge was lifted since the last placement (a key does it too): the next rest counts."""
        self.awaiting_lift = False
        self._readings.clear()
        if self.sends is Sends.ON_CHANGE and self.latest is not None:
            self._readings.append(self.latest)

    @property
    def progress(self) -> float:
        """How much of the steady window has passed, 0 to 1; 0 while the reading still moves."""
        if not self._readings or self.awaiting_lift or self.sends is Sends.ON_BUTTON:
            return 0.0
        return min(1.0, (self._now_ns - self._rest_began_ns()) / self.window_ns)

    def _rest_began_ns(self) -> int:
        """Return since when the readings up to now span at most the steps allowed."""
        low = high = self._readings[-1].value
        allowed = self.span_steps * self._readings[-1].resolution * (1 + 1e-9)
        began_ns = self._readings[-1].time_ns
        for reading in reversed(self._readings):
            low, high = min(low, reading.value), max(high, reading.value)
            if high - low > allowed:
                break
            began_ns = reading.time_ns
        return began_ns

    def window(self) -> Window | None:
        """Return the steady window, None while the gauge moves, is silent or has not been lifted since the last."""
        if self.awaiting_lift or not self._readings:
            return None
        if self.sends is Sends.ON_BUTTON:
            return self.by_hand() if self._pressed else None
        spoke_just_now = self._readings[-1].time_ns == self._now_ns
        start_ns = self._now_ns - self.window_ns
        if self._rest_began_ns() > start_ns or not (spoke_just_now or self.sends is Sends.ON_CHANGE):
            return None
        return self._window(tuple(self._readings), start_ns)

    def _window(self, readings: tuple[Reading, ...], start_ns: int) -> Window:
        return Window(readings, tuple(self._raw), start_ns, self._now_ns, self.sends)

    def by_hand(self) -> Window | None:
        """Return what the gauge shows now as a window of its last reading, for a placement taken by a key."""
        if not self._readings:
            return None
        reading = self._readings[-1]
        return self._window((reading,), reading.time_ns)

    def settle(self, value: float) -> None:
        """Say that a window was taken at `value`: the gauge must be lifted before the next one."""
        self._await_lift_from(value)

    def await_lift(self) -> None:
        """Say that the gauge still stands where it was left: wherever it reads next, it must be lifted from there."""
        self._await_lift_from(None)

    def _await_lift_from(self, value: float | None) -> None:
        self._stands_at = value
        self._pressed = False
        self._readings.clear()
        self.awaiting_lift = self.sends is not Sends.ON_BUTTON
