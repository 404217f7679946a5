"""The live detector of one series: has it slipped, crept past its limit, or only crossed a digit?

Here: what is done with each reading. Not here: the sums (`cusum`), judging the few readings since a change
(`slip_evidence`), gauges, pairs and marks of a session (`watch`), steps found afterwards. Plain Python: readings come
one by one.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from enum import Enum

from gaugelog.analysis.cusum import Cusum, FollowingLevel, RunningNoise
from gaugelog.analysis.slip_evidence import Change, Crossings, Digits, Rest, at_rest, long_run_variance, look_at
from gaugelog.analysis.slip_settings import DRIFT_PER_S, USUAL, USUAL_RATE_HZ, Counts, SlipSettings


class AlarmKind(Enum):
    """What the watch tells. A notice is told without a bell: a quiet gauge crossed from one digit to the next."""

    SLIP = "slip"
    CREEP = "creep"
    LOST = "lost"
    NOTICE = "notice"


Told = tuple[AlarmKind, float, int]
_HOLD_SHARE = 0.3
_NOISE_IN_DIGITS = 1.5
_FURTHER = 2.0
_NEXT_DIGIT = 0.9
_PAST = 0.25
_MORE_THAN_ONE = 1.5


@dataclass(frozen=True, slots=True)
class _Away:
    """Why the level is learnt anew without a mark: where it was last known to stand, and since when it may have gone.

    `allowed` is how far it may have gone without being told, `told` whether a slip brought it about.
    """

    level: float
    since_ns: int
    allowed: float
    told: bool


class SlipDetector:
    """Watches one series for a change within seconds.

    Formula: a two-sided CUSUM with the allowance k, told at h, of the departures from a reference, clipped to ±2
    digits. The reference is an EWMA, held while a sum stands above 0.3 h, for at most `hold_s`. k is half a digit, h =
    max(8 digits, L s²/2k) with s² the long-run variance of one reading, never below (r/2)², and L the logarithm of the
    readings in `calm_days`. Above s = 2/3 digit everything that counts digits counts 1.5 s instead.

    A change by one digit of a gauge that shows only two digits is told as a slip where it came at once and stands;
    where readings went to and fro, or the new digit had shown just before, the gauge has only crossed it: a notice, one
    in `notice_s` at most. Two digits crossed within that time are a slip.

    When this is wrong: a slip by less than about half a digit is never told as one; a slide slower than a digit in
    some 10 s is taken for wander and left to the limit; a gauge without any noise that crosses a digit looks like a
    slip by a digit, once after each mark.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 and 6.3.2.4; the rules about digits are our own.
    """

    def __init__(
        self,
        step: float,
        *,
        rate_hz: float | None = None,
        limit: float | None = None,
        settings: SlipSettings = USUAL,
    ) -> None:
        """Begin to learn with the first reading.

        Args:
            step: the digit of the series in its base unit, above 0; of a difference the coarser of the two.
            rate_hz: readings a second; None is taken as ten.
            limit: how far the level may creep from where it stood after the latest mark; None for no limit.
            settings: how to listen.

        Raises:
            ValueError: `step`, `rate_hz` or `limit` is not above 0.
        """
        rate_hz = USUAL_RATE_HZ if rate_hz is None else rate_hz
        if step <= 0 or rate_hz <= 0 or (limit is not None and limit <= 0):
            raise ValueError("step, rate_hz and limit are above 0")
        self.step = step
        self.limit = limit
        self.settings = settings
        self._counts = Counts(settings, rate_hz)
        self._recent: deque[float] = deque(maxlen=self._counts.recent)
        self._level = FollowingLevel(math.nan, 1 / self._counts.reference, 1)
        self._sums = Cusum(0.0)
        self._noise = RunningNoise(0.0, 0.0, 1)
        self._held = 0
        self._clip = self._bound = self._hold = 0.0
        self._base, self._base_ns = math.nan, 0
        self._shown = self._near_low = self._near_high = math.nan
        self._known_quiet = False
        self._crossings = Crossings(round(settings.notice_s * 1e9))
        self._last_ns: int | None = None
        self._window: deque[float] | None = None
        self._away: _Away | None = None
        self._settled_ns = self._latest_ns = 0

    @property
    def reference(self) -> float | None:
        """The level against which readings are held, None until one was learnt."""
        return None if math.isnan(self._level.value) else self._level.value

    @property
    def noise(self) -> float | None:
        """Standard deviation of one reading at rest, rounding included; None until it was learnt."""
        return None if math.isnan(self._level.value) else math.sqrt(self._noise.variance)

    @property
    def settled(self) -> bool:
        """Whether it watches: not in the settling period after a mark, nor for seconds after an alarm."""
        return self._window is None and self._last_ns is not None

    def mark(self, time_ns: int) -> None:
        """Say that things may move: settle, then learn level and noise anew; the limit counts from there."""
        self._known_quiet = False
        self._crossings.forget()
        self._away = None
        settings, counts = self.settings, self._counts
        self._window = deque(maxlen=counts.learn)
        self._settled_ns = time_ns + round(settings.settle_s * 1e9)
        self._latest_ns = time_ns + round(settings.longest_settle_s * 1e9)

    def _look_for_rest(self, time_ns: int, away: _Away) -> None:
        """Learn the level anew, without a mark."""
        self._away = away
        self._window = deque(maxlen=self._counts.rest)
        self._settled_ns = time_ns
        self._latest_ns = time_ns + round(self.settings.longest_rest_s * 1e9)

    def hear(self, time_ns: int, value: float) -> Told | None:
        """Take a reading.

        Args:
            time_ns: its time, not before the one before.
            value: finite, base unit.

        Returns:
            None, or what is told: its kind, how far from the reference (base unit, signed), and since when (ns).
        """
        last_ns = self._last_ns
        if last_ns is None:
            self.mark(time_ns)
        elif time_ns - last_ns > self._counts.gap_ns:
            self._after_gap(time_ns, last_ns)
        self._last_ns = time_ns
        if self._window is not None:
            return self._learn(time_ns, value, self._window)
        self._recent.append(value)
        level = self._level
        off = value - level.value
        if off > self._clip:
            off = self._clip
        elif off < -self._clip:
            off = -self._clip
        self._noise.hear(off)
        worst = self._sums.hear(time_ns, off)
        if worst <= self._hold:
            self._held = 0
            level.follow(off)
            if self._noise.renew():
                self._set_bounds()
        elif self._held < self._counts.hold:
            self._held += 1
        else:
            level.follow(off)
        if worst >= self._bound:
            return self._judge(time_ns)
        if not self._near_low <= level.value <= self._near_high:
            return self._gone_far(time_ns)
        return None

    def _set_bounds(self) -> None:
        """Fit allowance, clipping and bound to the noise."""
        noise, settings = self._noise, self.settings
        scale = max(self.step, _NOISE_IN_DIGITS * math.sqrt(noise.variance))
        variance = max(long_run_variance(noise.variance, noise.covariance, noise.heard), (self.step / 2) ** 2)
        self._sums.allowance = self._counts.allowance * scale
        self._clip = settings.clip * scale
        least = self._counts.least_bound * scale
        self._bound = max(least, self._counts.log_calm * variance / (2 * self._sums.allowance))
        self._hold = _HOLD_SHARE * self._bound

    def _learn(self, time_ns: int, value: float, window: deque[float]) -> Told | None:
        """Look for rest; what still moves at the latest is taken as it stands, so that the watch goes on."""
        if time_ns < self._settled_ns:
            return None
        window.append(value)
        if len(window) < (window.maxlen or 0):
            return None
        rest = at_rest(window, self.step, anyhow=time_ns >= self._latest_ns)
        if rest is None:
            return None
        self._window = None
        told = self._come_to_rest(time_ns, rest)
        self._watch_from(time_ns, rest.level, list(window))
        return told

    def _come_to_rest(self, time_ns: int, rest: Rest) -> Told | None:
        """Take over what was learnt; tell how far the level went meanwhile where that is far."""
        away, self._away = self._away, None
        if away is None:
            self._noise = RunningNoise(rest.variance, rest.covariance, self._counts.learn)
            self._base, self._base_ns = rest.level, time_ns
            return None
        gone = rest.level - away.level
        far = abs(gone) >= away.allowed
        if far or away.told:
            self._base += gone
        return (AlarmKind.SLIP, gone, away.since_ns) if far else None

    def _watch_from(self, time_ns: int, level: float, readings: list[float]) -> None:
        """Watch against a level that these readings told."""
        self._level = FollowingLevel(level, 1 / self._counts.reference, len(readings))
        self._shown = level
        self._sums = Cusum(0.0, time_ns)
        self._held = 0
        self._noise.begin_block()
        self._recent.clear()
        self._recent.extend(readings)
        self._set_bounds()
        self._set_near()

    def _set_near(self) -> None:
        """Set how far the level may follow before there is something to look at: the next digit, or the limit."""
        digit, furthest = _NEXT_DIGIT * self.step, self._furthest
        self._near_low = max(self._shown - digit, self._base - furthest)
        self._near_high = min(self._shown + digit, self._base + furthest)

    @property
    def _furthest(self) -> float:
        """How far the level may creep; a limit below one digit can't be told, and a quarter of one is for noise."""
        return math.inf if self.limit is None else max(self.limit, self.step) + _PAST * self.step

    def _gone_far(self, time_ns: int) -> Told | None:
        """The level has followed past its limit, or to the next digit: tell the first, note it where digits hide it."""
        level = self._level.value
        crept, gone = level - self._base, level - self._shown
        told: Told | None = None
        if abs(crept) > self._furthest:
            told = (AlarmKind.CREEP, crept, self._base_ns)
            self._base, self._base_ns = level, time_ns
        elif self._digits().hide_a_change and self._crossings.may_note(time_ns):
            told = (AlarmKind.NOTICE, gone, time_ns)
        self._shown = level
        self._set_near()
        return told

    def _digits(self) -> Digits:
        """Return how the readings of the last half minute fall on digits."""
        return Digits(list(self._recent), self._level.value, self.step, math.sqrt(self._noise.variance))

    def _judge(self, time_ns: int) -> Told | None:
        """A sum has passed the bound: it is a slip, a digit crossed, or too early to say."""
        since_ns = self._sums.since_ns
        change, size = look_at(self._digits(), self._sums.grown_for, self._counts, known_quiet=self._known_quiet)
        if change is Change.TOO_EARLY:
            return None
        here = self._level.value + size
        if change is Change.CROSSED:
            self._known_quiet = True
            gone, gone_since_ns = self._crossings.gone(time_ns, self._level.value, here, since_ns)
            if abs(gone) < _MORE_THAN_ONE * self.step:
                latest = min(self._sums.grown_for, self._counts.rest)
                self._watch_from(time_ns, here, list(self._recent)[-latest:])
                return (AlarmKind.NOTICE, size, since_ns) if self._crossings.may_note(time_ns) else None
            size, since_ns = gone, gone_since_ns
        self._known_quiet = self._known_quiet or change is Change.ONE_DIGIT
        self._base += size
        self._look_for_rest(time_ns, _Away(here, time_ns, _FURTHER * self.step, told=True))
        return (AlarmKind.SLIP, size, since_ns)

    def _after_gap(self, time_ns: int, last_ns: int) -> None:
        """Learn the level anew after a long silence; what went further meanwhile than a drift may is told then."""
        if self._window is not None:
            self._window.clear()
            return
        allowed = self.step * (_FURTHER + DRIFT_PER_S * (time_ns - last_ns) / 1e9)
        self._look_for_rest(time_ns, _Away(self._level.value, last_ns, allowed, told=False))
