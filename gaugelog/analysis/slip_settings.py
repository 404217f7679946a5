"""How the live detector listens: its settings, and the counts that they come to at a gauge's rate.

Here: seconds and digits, and readings made of them. Not here: listening (`slip`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

USUAL_RATE_HZ = 10.0
DRIFT_PER_S = 0.2 / 60
"""The fastest drift that is no slip, in digits a second: a warm-up by four digits with a time constant of 20 min."""
_LEAST_LEARNT, _LEAST_REST = 20, 10
_GOOD_REFERENCE, _LONGEST_REFERENCE_S, _LEAST_REFERENCE = 60, 50.0, 20
_LEAST_HOLD = 20
_LEAST_RECENT = 60
_LEAST_LEAD = 10


@dataclass(frozen=True, slots=True)
class SlipSettings:
    """How a detector listens. What ends in `_s` is seconds; allowance, clip and bounds are in digits.

    After a mark, `settle_s` pass before `learn_s` of rest are looked for, for `longest_settle_s` at most; after an
    alarm it is `rest_s` of rest within `longest_rest_s`. The reference follows with the time constant `reference_s`,
    and is held for up to `hold_s` while a sum grows. After a silence beyond `gap_s` the level is learnt anew.

    Where a gauge shows no more than two neighbouring digits within `recent_s`, a change by one digit has to stand for
    `sharp_s` before it is told, or for `doubtful_s` where the new digit had shown in the `lead_s` before it.
    A slow gauge's reference takes longer to follow, and the allowance grows by what a warm-up does meanwhile.

    There is one notice in `notice_s`; two digits crossed within that time are a slip.

    `least_bound` is the least at ten readings a second, more in proportion at more, and `slow_bound` at fewer;
    `calm_days` is the mean time between false alarms that the bound aims at for noise alone.
    """

    settle_s: float = 5.0
    learn_s: float = 5.0
    longest_settle_s: float = 60.0
    rest_s: float = 2.0
    longest_rest_s: float = 10.0
    reference_s: float = 10.0
    hold_s: float = 10.0
    gap_s: float = 30.0
    recent_s: float = 30.0
    sharp_s: float = 2.6
    doubtful_s: float = 5.0
    lead_s: float = 3.0
    notice_s: float = 60.0
    allowance: float = 0.5
    clip: float = 2.0
    least_bound: float = 8.0
    slow_bound: float = 6.0
    calm_days: float = 400.0


USUAL = SlipSettings()


class Counts:
    """The settings as counts of readings of a gauge that gives `rate_hz` of them a second."""

    __slots__ = (
        "allowance",
        "doubtful",
        "gap_ns",
        "hold",
        "lead",
        "learn",
        "least_bound",
        "log_calm",
        "recent",
        "reference",
        "rest",
        "sharp",
    )

    def __init__(self, settings: SlipSettings, rate_hz: float) -> None:
        """Count; a slow gauge needs some readings all the same, so everything takes longer with it."""
        enough_s = max(min(_GOOD_REFERENCE / rate_hz, _LONGEST_REFERENCE_S), _LEAST_REFERENCE / rate_hz)
        reference_s = max(settings.reference_s, enough_s)
        self.allowance = settings.allowance + DRIFT_PER_S * (reference_s - settings.reference_s)
        self.reference = max(round(rate_hz * reference_s), 2)
        self.learn = max(round(rate_hz * settings.learn_s), _LEAST_LEARNT)
        self.rest = max(round(rate_hz * settings.rest_s), _LEAST_REST)
        self.hold = max(round(rate_hz * settings.hold_s), _LEAST_HOLD)
        self.recent = max(round(rate_hz * settings.recent_s), _LEAST_RECENT)
        self.sharp = max(round(rate_hz * settings.sharp_s), _LEAST_REST)
        self.doubtful = max(round(rate_hz * settings.doubtful_s), 2 * _LEAST_REST)
        self.lead = max(round(rate_hz * settings.lead_s), _LEAST_LEAD)
        self.least_bound = max(settings.least_bound * rate_hz / USUAL_RATE_HZ, settings.slow_bound)
        self.gap_ns = round(max(settings.gap_s, 10 / rate_hz) * 1e9)
        self.log_calm = math.log(max(settings.calm_days * 86400 * rate_hz, math.e))
