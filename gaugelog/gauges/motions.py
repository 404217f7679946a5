"""How a simulated gauge is moved about.

Here: true values over time, for gauges that are not there. Not here: what the gauge makes of them
(`gauges.simulated_gauge`).

A motion is anything that gives, for seconds, the true value in the base unit, or None while the gauge is silent. One
that also counts its settings-down (`SetDownMotion`) says when a finger presses the gauge's button.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from typing import Protocol, runtime_checkable

Motion = Callable[[float], float | None]

LIFTED_S = 1.5
RESTING_S = 3.0
PRESSED_AFTER_S = 1.0
_STROKE_S = 1.5
_PASS_S = 4.0
_LEFT_AFTER_PASS = 0.75
_SWINGS_HZ = 1.3


@runtime_checkable
class SetDownMotion(Protocol):
    """A motion that knows how often the gauge was set down and its button pressed."""

    def __call__(self, time_s: float) -> float | None:
        """Return the true value at `time_s`."""
        ...

    def settings_down(self, time_s: float) -> int:
        """Return how many settings-down were finished until `time_s`."""
        ...


class Erring:
    """A motion as a gauge with errors of its own reads it: `zero` too high everywhere, and `scale` times the value."""

    def __init__(self, motion: Motion, zero: float = 0.0, scale: float = 1.0) -> None:
        self._motion, self._zero, self._scale = motion, zero, scale

    def __call__(self, time_s: float) -> float | None:
        """Return what the gauge makes of the true value at `time_s`."""
        value = self._motion(time_s)
        return None if value is None else self._zero + self._scale * value


class ErringByButton(Erring):
    """The same of a motion that counts its settings-down."""

    def __init__(self, motion: SetDownMotion, zero: float = 0.0, scale: float = 1.0) -> None:
        super().__init__(motion, zero, scale)
        self._set_down = motion

    def settings_down(self, time_s: float) -> int:
        """Return how many settings-down were finished until `time_s`."""
        return self._set_down.settings_down(time_s)


def _swing(amplitude: float, time_s: float, turn: int) -> float:
    """Return how far a moved gauge is off; never at rest for longer than a few hundredths of a second."""
    return amplitude * (1.2 + math.sin(2 * math.pi * _SWINGS_HZ * time_s + turn))


class Still:
    """Rests at `value` with normal noise of standard deviation `noise`; its button is pressed every 4.5 s."""

    def __init__(self, value: float, noise: float = 0.0, seed: int | str = 0) -> None:
        self._value, self._noise = value, noise
        self._random = random.Random(f"{seed}")

    def __call__(self, time_s: float) -> float:
        """Return the value at `time_s`; each call draws new noise."""
        return self._value + self._random.gauss(0.0, self._noise)

    def settings_down(self, time_s: float) -> int:
        """Return how many times the button was pressed."""
        return _finished(time_s)


class Hand:
    """A hand lifts the gauge and sets it down again and again: 1.5 s swinging, then 3 s at rest.

    Args:
        value: what it reads where it is set down.
        noise: standard deviation of each reading.
        scatter: standard deviation between settings-down.
        swing: how far it swings while lifted.
        body: given, settings-down alternate between the body, at this value, and the neck, at this plus `value`.
        seed: settles all chance.
    """

    def __init__(
        self,
        value: float,
        noise: float = 0.0,
        scatter: float = 0.0,
        swing: float = 1.0,
        body: float | None = None,
        seed: int | str = 0,
    ) -> None:
        self._value, self._noise, self._scatter, self._swing = value, noise, scatter, swing
        self._body, self._seed = body, seed
        self._random = random.Random(f"{seed}")

    def __call__(self, time_s: float) -> float:
        """Return the value at `time_s`; each call draws new noise."""
        turn, within_s = divmod(time_s, LIFTED_S + RESTING_S)
        value = self.resting_at(int(turn)) + self._random.gauss(0.0, self._noise)
        return value + (_swing(self._swing, within_s, int(turn)) if within_s < LIFTED_S else 0.0)

    def resting_at(self, turn: int) -> float:
        """Return the true value of one setting-down, counted from 0."""
        where = self._value
        if self._body is not None:
            where = self._body + (self._value if turn % 2 else 0.0)
        return where + random.Random(f"{self._seed}/{turn}").gauss(0.0, self._scatter)

    def settings_down(self, time_s: float) -> int:
        """Return how many settings-down were finished until `time_s`: each a second after the gauge came to rest."""
        return _finished(time_s)


class Round:
    """A hand that leaves the gauge alone for a while, then sets it down at one value after another, as `Hand` does.

    Args:
        values: true values in order; the gauge stays at the last one.
        wait_s: how long it rests at the first one before it is lifted for the first time.
        noise: standard deviation of each reading.
        scatter: standard deviation between settings-down.
        swing: how far it swings while lifted.
        seed: settles all chance.
    """

    def __init__(
        self,
        values: Sequence[float],
        wait_s: float = 0.0,
        noise: float = 0.0,
        scatter: float = 0.0,
        swing: float = 1.0,
        seed: int | str = 0,
    ) -> None:
        self._values, self._wait_s = tuple(values), wait_s
        self._hand = Hand(0.0, noise, scatter, swing, seed=seed)

    def __call__(self, time_s: float) -> float:
        """Return the value at `time_s`; each call draws new noise."""
        begun_s = time_s - self._wait_s
        if begun_s < 0:
            return self._values[0] + self._hand(LIFTED_S)
        turn = int(begun_s // (LIFTED_S + RESTING_S))
        return self._values[min(turn, len(self._values) - 1)] + self._hand(begun_s)

    def settings_down(self, time_s: float) -> int:
        """Return how many settings-down were finished until `time_s`."""
        return self._hand.settings_down(max(0.0, time_s - self._wait_s))


class Sand:
    """A surface sanded toward `to`: passes of 4 s, each leaving three quarters of what was left before it."""

    def __init__(self, start: float, to: float, noise: float = 0.0, swing: float = 1.0, seed: int | str = 0) -> None:
        self._start, self._to, self._noise, self._swing = start, to, noise, swing
        self._random = random.Random(f"{seed}")

    def __call__(self, time_s: float) -> float:
        """Return the value at `time_s`: the first pass begins at 4 s, with strokes of 1.5 s, then rest."""
        passes, within_s = divmod(time_s, _PASS_S)
        left = (self._start - self._to) * math.pow(_LEFT_AFTER_PASS, passes)
        value = self._to + left + self._random.gauss(0.0, self._noise)
        stroked = passes >= 1 and within_s < _STROKE_S
        return value + (_swing(self._swing, within_s, int(passes)) if stroked else 0.0)

    def settings_down(self, time_s: float) -> int:
        """Return how many passes were finished and read."""
        return int((time_s + _PASS_S - _STROKE_S - PRESSED_AFTER_S) // _PASS_S)


def _finished(time_s: float) -> int:
    """Return how many turns of lifting and resting have come as far as the press of the button."""
    turn_s = LIFTED_S + RESTING_S
    return int((time_s + turn_s - LIFTED_S - PRESSED_AFTER_S) // turn_s)
