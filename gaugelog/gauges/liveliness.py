"""Whether a gauge's silence is one, and what kind.

Here: silent, asleep or lost, from what was heard and when. Not here: what is done about it (`gauges.stream`), nor any
clock: time is what the link stamped on chunks and ticks.
"""

from __future__ import annotations

from gaugelog.model.datasheet import Datasheet
from gaugelog.model.readings import Heard, LinkState, Reading, RejectReason

STILL_DIGITS = 2.0
"""By how many digits the reading of a gauge that nothing moves may wander."""

STILL_SHARE = 0.9
"""After which share of its `awake_s` without being moved a gauge's silence is taken for sleep."""

ILLEGIBLE = frozenset(
    (
        *(RejectReason.NO_MATCH, RejectReason.TOO_LONG, RejectReason.CUT_OFF),
        *(RejectReason.CHECKSUM, RejectReason.ENCODING),
    )
)
"""Why bytes are no message of this gauge at all: they may come from another one, or at another speed."""


class Liveliness:
    """Follows one gauge and says when it fell silent, fell asleep, or speaks again.

    A gauge falls asleep when nothing has moved it for as long as its datasheet says that it stays awake. One that goes
    silent earlier, or was moving just before, has not fallen asleep. Bytes that are no message of its are silence too.
    """

    def __init__(self, datasheet: Datasheet) -> None:
        self._datasheet = datasheet
        self._limit_s = datasheet.longest_silence_s
        self._state = LinkState.OPEN
        self._heard_ns = self._moved_ns = self._bytes_ns = 0
        self._resting_at: float | None = None

    def opened(self, time_ns: int) -> None:
        """Say that the link has just been opened."""
        self._state = LinkState.OPEN
        self._heard_ns = self._moved_ns = self._bytes_ns = time_ns
        self._resting_at = None

    def hear(self, heard: Heard) -> LinkState | None:
        """Take what came of a chunk; return the new state where it changed."""
        time_ns = heard.chunk.time_ns
        if heard.chunk.data:
            self._bytes_ns = time_ns
        latest = heard.items[-1] if heard.items else None
        if isinstance(latest, Reading):
            self._follow(latest)
        if any(isinstance(each, Reading) or each.reason not in ILLEGIBLE for each in reversed(heard.items)):
            self._heard_ns = time_ns
            return self._became(LinkState.OPEN)
        if self._state is LinkState.OPEN and self._limit_s is not None and self.silent_s(time_ns) > self._limit_s:
            return self._became(LinkState.ASLEEP if self._was_still() else LinkState.SILENT)
        return None

    def lost(self) -> LinkState:
        """Say that the link went away; return whether that is a loss, or the gauge falling asleep."""
        asleep = self._state is LinkState.ASLEEP or self._was_still()
        self._state = LinkState.ASLEEP if asleep else LinkState.LOST
        return self._state

    def silent_s(self, time_ns: int) -> float:
        """Return for how many seconds nothing of use has come."""
        return (time_ns - self._heard_ns) / 1e9

    def no_bytes_s(self, time_ns: int) -> float:
        """Return for how many seconds nothing at all has come."""
        return (time_ns - max(self._heard_ns, self._bytes_ns)) / 1e9

    @property
    def babbles(self) -> bool:
        """Whether bytes came since anything of use did."""
        return self._bytes_ns > self._heard_ns

    def _follow(self, reading: Reading) -> None:
        moved = self._resting_at is None or abs(reading.value - self._resting_at) > STILL_DIGITS * reading.resolution
        if moved:
            self._resting_at, self._moved_ns = reading.value, reading.time_ns

    def _was_still(self) -> bool:
        """Return whether nothing had moved the gauge for as long as it stays awake when it last spoke."""
        awake_s = self._datasheet.awake_s
        if awake_s is None or self._resting_at is None:
            return False
        until_ns = self._heard_ns
        return not self.babbles and until_ns - self._moved_ns >= STILL_SHARE * awake_s * 1e9

    def _became(self, state: LinkState) -> LinkState | None:
        if state is self._state:
            return None
        self._state = state
        return state
