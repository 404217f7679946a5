"""Made-up clamp sessions whose truth is known: level, steps, creep, wander, noise, digits, gaps, wild readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

US = 1_000_000
START = 1_770_000_000 * US
DIGIT = 0.05


@dataclass(frozen=True)
class Made:
    """A session as a gauge told it, and what truly happened: steps in s and degrees, creep or None."""

    utc_us: np.ndarray
    value: np.ndarray
    step_s: np.ndarray
    step: np.ndarray
    creep: tuple[float, float, float] | None  # size, tau_s, start_s


def rounded(value: np.ndarray, digit: float = DIGIT) -> np.ndarray:
    return np.round(value / digit) * digit if digit else value


def at(seconds) -> np.ndarray:
    return (START + np.round(np.asarray(seconds, dtype=float) * US)).astype(np.int64)


def spaced(chance: np.random.Generator, count: int, duration_s: float, spacing_s: float) -> np.ndarray:
    """Return moments at random, none closer than `spacing_s` to another or to an end."""
    room = duration_s - (count + 1) * spacing_s
    return np.sort(chance.uniform(0, room, count)) + spacing_s * np.arange(1, count + 1)


def made(
    seed: int,
    *,
    duration_s: float = 7200.0,
    rate_hz: float = 10.0,
    digit: float = DIGIT,
    noise: float = 0.02,
    correlation: float = 0.0,
    steps: int | None = None,
    sizes: tuple[float, float] = (0.05, 0.3),
    spacing_s: float = 60.0,
    creep: bool | None = None,
    creep_tau_s: tuple[float, float] = (600.0, 3600.0),
    creep_sizes: tuple[float, float] = (0.05, 0.2),
    late_creep: bool = False,
    walk: float = 0.0,
    line_per_h: float = 0.0,
    swing: float = 0.0,
    gaps: int = 0,
    wild: int = 0,
    ramp_s: float = 0.0,
) -> Made:
    """Return a session. `walk` is the random walk after an hour, `correlation` of noise from reading to reading."""
    chance = np.random.default_rng(seed)
    n = int(duration_s * rate_hz)
    t = np.arange(n) / rate_hz
    count = int(chance.integers(0, 4)) if steps is None else steps
    when = spaced(chance, count, duration_s, spacing_s)
    size = chance.uniform(*sizes, count) * chance.choice([-1.0, 1.0], count)
    true = np.full(n, 2.8 + chance.uniform(-0.5, 0.5) * max(digit, 0.01)) + line_per_h * t / 3600
    for moment, height in zip(when, size, strict=True):
        true += height * (np.clip((t - moment) / ramp_s + 0.5, 0, 1) if ramp_s else t >= moment)
    told = None
    if chance.random() < 0.5 if creep is None else creep:
        start = chance.uniform(0.05, 0.3) * duration_s if late_creep else 0.0
        told = (chance.uniform(*creep_sizes) * chance.choice([-1.0, 1.0]), chance.uniform(*creep_tau_s), start)
        true -= told[0] * np.expm1(-np.maximum(t - start, 0) / told[1])
    if walk:
        true += np.cumsum(chance.normal(0, walk * np.sqrt(1 / rate_hz / 3600), n))
    if swing:
        true += swing * np.sin(2 * np.pi * (t / 5400 + chance.random()))
    value = rounded(true + correlated(chance, n, noise, correlation), digit)
    value[chance.integers(0, n, wild)] += chance.uniform(0.5, 5, wild) * chance.choice([-1.0, 1.0], wild)
    keep = np.ones(n, dtype=bool)
    for _ in range(gaps):
        begin = chance.uniform(0, duration_s)
        keep &= (t < begin) | (t >= begin + chance.uniform(5, 120))
    return Made(at(t)[keep], value[keep], when, size, told)


def correlated(chance: np.random.Generator, n: int, noise: float, correlation: float) -> np.ndarray:
    """Return first-order autoregressive noise of a standard deviation."""
    white = chance.normal(0, noise, n)
    if not correlation:
        return white
    from scipy.signal import lfilter

    return lfilter([np.sqrt(1 - correlation**2)], [1, -correlation], white)


def matched(found_s: list[float], true_s: np.ndarray, tolerance_s: float = 10.0) -> dict[int, int]:
    """Return which true step (value) each found one (key) is, each used once."""
    free, pairs = set(range(len(true_s))), {}
    for index, moment in enumerate(found_s):
        nearest = min(free, key=lambda k: abs(true_s[k] - moment), default=None)
        if nearest is not None and abs(true_s[nearest] - moment) <= tolerance_s:
            free.discard(nearest)
            pairs[index] = nearest
    return pairs


def seconds(utc_us: int) -> float:
    return (utc_us - START) / US
