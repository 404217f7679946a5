"""What is known of one gauge while sanding: value, zero, target, band, passes.

Here: the state that a stream view and a JSON line are made of; time comes from readings and ticks, there is no clock.
Not here: drawing it (`sanding_view`), keeping it (`recorder.sanding`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import SAYS_NOTHING, LinkChange, LinkState, Reading
from gaugelog.show.gauge_documents import reading_document

_SILENT_S = 2.0


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass: its number, the value it ended at, and what it changed; None for the first one (base unit)."""

    number: int
    value: float
    change: float | None


@dataclass(slots=True)
class SandingState:
    """One gauge while sanding; all values in the base unit of `quantity`.

    `target` and `within` make the band, `within` on either side; both may be None. A reading on hold or over range is
    shown but neither enters the band nor ends a pass. `silence_is_normal` is for a gauge that sends on change or on
    its button. `simulated` is said wherever the gauge's values are. Once a zero is taken, the target counts from it.
    """

    quantity: Quantity
    resolution: float
    target: float | None = None
    within: float | None = None
    gauge: str = ""
    silence_is_normal: bool = False
    simulated: bool = False
    latest: Reading | None = None
    zero: float = 0.0
    zeroed: bool = False
    passes: list[Pass] = field(default_factory=list)
    readings: int = 0
    link: LinkChange | None = None
    now_ns: int = 0
    _start_ns: int | None = None
    _inside: bool = False
    _just_entered: bool = False

    def __post_init__(self) -> None:
        if not self.resolution > 0:
            raise ValueError("a resolution above 0 is needed")
        if self.within is not None and (self.target is None or self.within <= 0):
            raise ValueError("a band has a target and a width above 0")

    def hear(self, reading: Reading) -> None:
        """Take a reading."""
        self.latest = reading
        self.readings += 1
        self.resolution = reading.resolution
        self._start_ns = reading.time_ns if self._start_ns is None else self._start_ns
        self.tick(reading.time_ns)
        if self.counts:
            self._watch_band()

    def tick(self, time_ns: int) -> None:
        """Say that time went on (monotonic nanoseconds)."""
        self.now_ns = max(self.now_ns, time_ns)

    def link_changed(self, change: LinkChange) -> None:
        """Say how the gauge's link stands now."""
        self.link = change
        self.tick(change.time_ns)

    @property
    def counts(self) -> bool:
        """Whether there is a reading, neither on hold nor over range."""
        return self.latest is not None and not self.latest.flags & SAYS_NOTHING

    @property
    def value(self) -> float | None:
        """The latest value from the zero, None before the first reading."""
        return None if self.latest is None else self.latest.value - self.zero

    @property
    def off(self) -> float | None:
        """How far the value is above (plus) or below (minus) the target; None without one."""
        return None if self.value is None or self.target is None else self.value - self.target

    @property
    def inside(self) -> bool:
        """Whether the value is in the band; once in, it is out only a digit beyond it, so a bell doesn't chatter."""
        return self._inside

    @property
    def silent_s(self) -> float:
        """Seconds without a reading, 0 below two and where silence is normal."""
        if self.latest is None or self.silence_is_normal:
            return 0.0
        seconds = (self.now_ns - self.latest.time_ns) / 1e9
        return seconds if seconds >= _SILENT_S else 0.0

    @property
    def link_lost(self) -> bool:
        """Whether the gauge's link is down."""
        return self.link is not None and self.link.state not in (LinkState.OPEN, LinkState.SILENT)

    @property
    def units(self) -> str:
        """Unit that lengths are shown in: the gauge's own, in for inches, else mm."""
        return "in" if self.latest is not None and self.latest.unit == "in" else "mm"

    @property
    def seconds(self) -> float:
        """Seconds from the first reading to the latest."""
        if self.latest is None or self._start_ns is None:
            return 0.0
        return (self.latest.time_ns - self._start_ns) / 1e9

    def entered_band(self) -> bool:
        """Return whether the band was entered since this was last asked."""
        entered, self._just_entered = self._just_entered, False
        return entered

    def _watch_band(self) -> None:
        if self.off is None or self.within is None:
            return
        slack = 1e-9 * self.resolution
        edge = self.within + (self.resolution if self._inside else 0.0) + slack
        inside = abs(self.off) <= edge
        self._just_entered = self._just_entered or (inside and not self._inside)
        self._inside = inside

    def mark_pass(self) -> Reading | None:
        """End a pass here; return the reading it ended at, None where none counts."""
        if not self.counts or self.latest is None or self.value is None:
            return None
        change = self.value - self.passes[-1].value if self.passes else None
        self.passes.append(Pass(len(self.passes) + 1, self.value, change))
        return self.latest

    def take_zero(self) -> Reading | None:
        """Take this spot as zero: values count from here, and the passes begin anew; None where no reading counts."""
        if not self.counts or self.latest is None:
            return None
        self.zero, self.zeroed = self.latest.value, True
        self.passes.clear()
        self._inside = self._just_entered = False
        self._watch_band()
        return self.latest


def reading_line(reading: Reading, state: SandingState) -> dict[str, Any]:
    """Return one reading as a JSON object for one line: see docs/documents.md.

    Args:
        reading: the one that `state` heard last.
        state: after it heard the reading.
    """
    return {
        **reading_document(reading, reading.time_ns - round(state.seconds * 1e9)),
        "simulated": state.simulated,
        "zero": state.zero if state.zeroed else None,
        "from_zero": reading.value - state.zero,
        "target": state.target,
        "within": state.within,
        "off": None if state.target is None else reading.value - state.zero - state.target,
        "in_band": None if state.within is None else state.inside,
        "passes": len(state.passes),
    }
