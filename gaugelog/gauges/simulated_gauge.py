"""A gauge that is not there, as far as its bytes: what it sends, and when.

Here: one datasheet and one motion turned into the bytes that such a gauge would send. Not here: clocks and ports
(`gauges.simulated`, `gauges.bench`).
"""

from __future__ import annotations

import math

from gaugelog.datasheets.meaning import Encoding
from gaugelog.gauges.motions import Motion, SetDownMotion
from gaugelog.model.datasheet import Datasheet, Sends
from gaugelog.model.readings import Flag

_BY_FINGER = (Sends.ON_BUTTON, Sends.WHEN_TYPED)


class SimulatedGauge:
    """Encodes a motion as its datasheet says, by its own rule of when to send.

    Args:
        datasheet: what is sent and when.
        motion: seconds to the true value in the base unit, None while it is silent. For a gauge that sends on its
            button, or is typed, a motion without `settings_down` is pressed each time it comes back from silence.
        flags: what the gauge says about itself with each value.
    """

    def __init__(self, datasheet: Datasheet, motion: Motion, flags: Flag = Flag.NONE) -> None:
        self._datasheet, self._motion, self._flags = datasheet, motion, flags
        self._encoding = Encoding(datasheet)
        self._last = b""
        self._was_silent = True
        self._pressed: int | None = None

    def sends(self, time_s: float) -> bytes:
        """Return what the gauge sends by itself at `time_s`, empty when nothing; times must not run backward."""
        if self._datasheet.sends is Sends.WHEN_ASKED:
            return b""
        line = self.answers(time_s)
        pressed = self._presses(time_s, silent=not line)
        if self._datasheet.sends in _BY_FINGER:
            return line if pressed else b""
        unchanged = line == self._last
        self._last = line
        return b"" if unchanged and self._datasheet.sends is Sends.ON_CHANGE else line

    def answers(self, time_s: float) -> bytes:
        """Return what the gauge answers when asked at `time_s`, empty while it is silent."""
        value = self._motion(time_s)
        return b"" if value is None else self._encoding.encode(self._within_range(value), flags=self._flags)

    def _presses(self, time_s: float, silent: bool) -> bool:
        """Return whether the button was pressed since the last look."""
        if isinstance(self._motion, SetDownMotion):
            before, self._pressed = self._pressed, self._motion.settings_down(time_s)
            return before is not None and self._pressed > before
        before_silent, self._was_silent = self._was_silent, silent
        return before_silent and not silent

    def _within_range(self, value: float) -> float:
        low = -math.inf if self._datasheet.range_low is None else self._datasheet.range_low
        high = math.inf if self._datasheet.range_high is None else self._datasheet.range_high
        return min(max(value, low), high)
