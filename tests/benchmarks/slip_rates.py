"""How soon the live watch tells a slip, and how often it cries wolf: run lengths by simulation.

Run `python tests/benchmarks/slip_rates.py --into docs/watch.md` for the tables of docs/watch.md (half an hour on two
cores). Every reading goes through the very detector that watches (`slip.SlipDetector`), one by one. All numbers are
made; noise, sizes and wander are in digits of the gauge. `--share 0.1` runs a tenth of it.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from time import process_time

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "analysis"))

from figures import print_or_write
from live_series import STEP_DEG, correlated, rounded, tell, walk, warm_up

from gaugelog.analysis.slip import AlarmKind, SlipDetector
from gaugelog.analysis.slip_settings import USUAL
from gaugelog.analysis.watch import Watch, WatchedGauge
from gaugelog.model.quantities import Quantity

BEGIN, END = "<!-- slip rates -->", "<!-- end of slip rates -->"
SESSION_H = 2.0
NOISES = (0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.7, 1.0)
QUIET = (0.0, 0.005, 0.01, 0.02, 0.03, 0.05, 0.08)
SIZES = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0, 6.0)
PHIS = (0.0, 0.3, 0.5, 0.7, 0.9)
RATES = (50.0, 10.0, 2.0, 0.2)


@dataclass(frozen=True)
class Slips:
    """Sessions with one slip each: noise and size in digits, correlation of neighbours, readings a second.

    `slide_s` is how long the slip takes.
    """

    noise: float
    size: float
    sessions: int
    seed: int
    phi: float = 0.0
    rate_hz: float = 10.0
    slide_s: float = 0.0


@dataclass(frozen=True)
class Calm:
    """Days without a slip: noise in digits, how the level goes, correlation of neighbours, readings a second."""

    noise: float
    drift: str
    days: float
    seed: int
    phi: float = 0.0
    rate_hz: float = 10.0


def noise_of(n: int, case: Slips | Calm, rng: np.random.Generator) -> np.ndarray:
    """Return noise in digits about a place anywhere between two digits."""
    white = rng.standard_normal(n) if case.phi == 0 else correlated(n, case.phi, rng)
    return rng.uniform(-0.5, 0.5) + case.noise * white


def drift_of(n: int, case: Calm, rng: np.random.Generator) -> np.ndarray:
    """Return how the level goes: up to 1 digit (0.05°) in an hour, a warm-up by 4 digits (0.2°), or a creep by 4."""
    hours = np.arange(n) / case.rate_hz / 3600
    turn = rng.choice([-1.0, 1.0])
    parts = {
        "still": lambda: np.zeros(n),
        "line": lambda: turn * hours,
        "swing": lambda: np.sin(2 * np.pi * (hours + rng.uniform())),
        "walk": lambda: walk(n, rng, case.rate_hz),
        "warm-up": lambda: turn * warm_up(n, rng.uniform(1200, 3600), rate_hz=case.rate_hz),
        "creep": lambda: turn * warm_up(n, rng.uniform(600, 3600), rate_hz=case.rate_hz),
    }
    return np.sum([parts[name]() for name in case.drift.split(" + ")], axis=0)


def delays_of(case: Slips) -> np.ndarray:
    """Return the seconds from slip to alarm in each session, infinite where none came in a minute or 100 readings."""
    rng, rate = np.random.default_rng(case.seed), case.rate_hz
    before_s, after_s = max(60.0, 60 / rate), max(60.0, 100 / rate)
    n, at = round((before_s + after_s) * rate), round(before_s * rate)
    found = []
    for _ in range(case.sessions):
        digits = noise_of(n, case, rng)
        slide = np.minimum((np.arange(n - at) + 1) / (case.slide_s * rate + 1), 1.0)
        digits[at:] += case.size * rng.choice([-1, 1]) * slide
        told = tell(SlipDetector(STEP_DEG, rate_hz=rate), rounded(digits), rate)
        slips = [time_s - before_s for time_s, kind, _, _ in told if kind is AlarmKind.SLIP and time_s >= before_s]
        found.append(slips[0] + 1 / rate if slips else math.inf)
    return np.array(found)


def told_in(case: Calm) -> tuple[Counter[str], int, int]:
    """Return what was told in how many sessions, how many of them had a false alarm.

    One reading in a thousand is wild, by up to 40 digits; each session has three gaps of 3 s to 10 min.
    """
    rng, n = np.random.default_rng(case.seed), round(SESSION_H * 3600 * case.rate_hz)
    told: Counter[str] = Counter()
    sessions, with_alarm = round(case.days * 24 / SESSION_H), 0
    for _ in range(sessions):
        digits = noise_of(n, case, rng) + drift_of(n, case, rng)
        wild = rng.random(n) < 0.001
        digits[wild] += rng.uniform(-40, 40, int(wild.sum()))
        heard = np.ones(n, dtype=bool)
        for _ in range(3):
            start, length = rng.integers(n), round(rng.uniform(3, 600) * case.rate_hz)
            heard[start : start + length] = False
        detector, values = SlipDetector(STEP_DEG, rate_hz=case.rate_hz), rounded(digits)
        times = np.flatnonzero(heard) * round(1e9 / case.rate_hz)
        found = [detector.hear(*each) for each in zip(times.tolist(), values[heard].tolist(), strict=True)]
        kinds = Counter(each[0].value for each in found if each is not None)
        told += kinds
        with_alarm += kinds["slip"] > 0
    return told, sessions, with_alarm


def quantiles(delays: np.ndarray) -> str:
    """Return median and 95th percentile in words, and the share never told where there is one."""
    median, late = np.quantile(delays, [0.5, 0.95], method="higher")
    untold = float(np.isinf(delays).mean())
    shown = " / ".join("–" if math.isinf(each) else f"{each:.1f}" for each in (median, late))
    return shown if untold == 0 else f"{shown} ({100 * untold:.1f})"


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a Markdown table."""
    lines = ["| " + " | ".join(head) + " |", "|---" * len(head) + "|"]
    return "\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)])


def delay_table(pool: ProcessPoolExecutor, sessions: int) -> str:
    """Seconds from slip to alarm by noise and size."""
    cases = [[Slips(noise, size, sessions, 100 + i) for size in SIZES] for i, noise in enumerate(NOISES)]
    found = iter(pool.map(delays_of, [case for row in cases for case in row]))
    rows = [[f"{row[0].noise:g}", *(quantiles(next(found)) for _ in row)] for row in cases]
    return table(["noise \\ slip", *(f"{size:g}" for size in SIZES)], rows)


def slide_table(pool: ProcessPoolExecutor, sessions: int) -> str:
    """Slips that take their time: seconds from their beginning."""
    slides = (0.0, 1.0, 3.0, 10.0, 20.0, 40.0)
    cases = [
        [Slips(0.3, size, sessions, 400 + i, slide_s=slide_s) for slide_s in slides]
        for i, size in enumerate((1.0, 2.0, 4.0))
    ]
    found = iter(pool.map(delays_of, [case for row in cases for case in row]))
    rows = [[f"{row[0].size:g}", *(quantiles(next(found)) for _ in row)] for row in cases]
    return table(["digits \\ within", *(f"{slide_s:g} s" for slide_s in slides)], rows)


def bound_table(pool: ProcessPoolExecutor, sessions: int) -> str:
    """Mean delay of one digit beside Lorden's bound, in readings at ten a second."""
    cases = [Slips(noise, 1.0, sessions, 300 + i) for i, noise in enumerate((0.3, 0.4, 0.5, 0.7, 1.0))]
    calm = USUAL.calm_days * 86400 * 10
    rows = []
    for case, delays in zip(cases, pool.map(delays_of, cases), strict=True):
        variance = case.noise**2 + 1 / 12
        least = 2 * variance * math.log(calm)
        mean = float(10 * delays[np.isfinite(delays)].mean())
        rows.append([f"{case.noise:g}", f"{math.sqrt(variance):.2f}", f"{least:.1f}", f"{mean:.1f}"])
    return table(["noise", "with rounding", "least for any rule", "measured mean"], rows)


def false_table(pool: ProcessPoolExecutor, days: float) -> str:
    """False alarms from a tenth of a digit of noise up."""
    drifts = ("still", "walk", "warm-up + walk", "swing + creep")
    noises = (0.1, 0.2, 0.35, 0.5, 0.7)
    cases = [[Calm(noise, drift, days, 500 + i) for drift in drifts] for i, noise in enumerate(noises)]
    found = iter(pool.map(told_in, [case for row in cases for case in row]))
    rows = [[f"{row[0].noise:g}", *(str(next(found)[0]["slip"]) for _ in row)] for row in cases]
    return table(["noise \\ level", *drifts], rows)


def quiet_table(pool: ProcessPoolExecutor, days: float) -> str:
    """What a gauge quieter than a tenth of a digit is told of."""
    drifts = ("line", "swing", "warm-up", "walk")
    cases = [[Calm(noise, drift, days, 700 + i) for drift in drifts] for i, noise in enumerate(QUIET)]
    found = iter(pool.map(told_in, [case for row in cases for case in row]))
    rows = []
    for row in cases:
        told = [next(found) for _ in row]
        rows.append(
            [
                f"{row[0].noise:g}",
                *(f"{100 * alarmed / n:.0f} % / {counted['notice'] / n:.1f}" for counted, n, alarmed in told),
            ]
        )
    return table(["noise \\ level", *drifts], rows)


def correlated_table(pool: ProcessPoolExecutor, sessions: int, days: float) -> str:
    """What noise that remembers costs."""
    rows = []
    for phi in PHIS:
        slips = [Slips(noise, size, sessions, 900, phi) for noise, size in ((0.2, 1.0), (0.4, 1.0), (0.4, 2.0))]
        calm = [Calm(noise, "walk", days, 950, phi) for noise in (0.2, 0.4)]
        told = [found[0]["slip"] for found in pool.map(told_in, calm)]
        rows.append([f"{phi:g}", *map(quantiles, pool.map(delays_of, slips)), *(str(each) for each in told)])
    head = ["φ", "1 digit at 0.2", "1 digit at 0.4", "2 digits at 0.4", "false at 0.2", "false at 0.4"]
    return table(head, rows)


def rate_table(pool: ProcessPoolExecutor, sessions: int, days: float) -> str:
    """Slower and faster gauges."""
    rows = []
    for rate in RATES:
        slips = [Slips(noise, size, sessions, 1100, 0.0, rate) for noise, size in ((0.3, 1.0), (0.5, 1.0), (0.3, 2.0))]
        calm = Calm(0.3, "warm-up + walk", days * min(1.0, 20 / rate), 1150, 0.0, rate)
        (told, counted, _), delays = told_in(calm), pool.map(delays_of, slips)
        rows.append([f"{rate:g}", *map(quantiles, delays), f"{told['slip']} in {counted * SESSION_H / 24:.0f} d"])
    return table(["readings/s", "1 digit at 0.3", "1 digit at 0.5", "2 digits at 0.3", "false at 0.3"], rows)


def cost() -> str:
    """What a reading costs: eight gauges in four pairs at 50 readings a second."""
    names = [f"gauge {i}" for i in range(8)]
    gauge = WatchedGauge(STEP_DEG, Quantity.ANGLE, period_s=0.02, longest_silence_s=2.0)
    watch = Watch(dict.fromkeys(names, gauge), list(zip(names[::2], names[1::2], strict=True)), {})
    values = rounded(0.4 * np.random.default_rng(1).standard_normal((8, 10_000))).tolist()
    began = process_time()
    for i in range(10_000):
        for name, its in zip(names, values, strict=True):
            watch.hear(name, i * 20_000_000, its[i])
    each_us = (process_time() - began) / 80_000 * 1e6
    return f"A reading costs {each_us:.1f} µs here: {each_us * 400 / 1e4:.2f} % of a core for all eight."


def report(share: float) -> str:
    """Return all tables."""
    sessions, days = max(round(2000 * share), 40), 21 * share
    with ProcessPoolExecutor(2) as pool:
        parts = [
            "### Seconds until a slip is told",
            "Median / 95th percentile, and in brackets the percentage not told within a minute.",
            delay_table(pool, sessions // 4),
            "The sizes that the watch is made for, with more sessions:",
            aim_table(pool, sessions),
            "### Slides",
            "A slip that takes its time, at a noise of 0.3; seconds from its beginning:",
            slide_table(pool, sessions // 4),
            "### Beside Lorden's bound",
            bound_table(pool, sessions),
            "### False alarms",
            f"In {days:.0f} days of two-hour sessions, each entry:",
            false_table(pool, days),
            "### Gauges quieter than a tenth of a digit",
            f"Two-hour sessions with a false alarm / notices a session, over {days:.0f} days each:",
            quiet_table(pool, days),
            "### Noise that remembers",
            f"First-order autoregressive noise, correlation φ between neighbours; false alarms in {days:.0f} days:",
            correlated_table(pool, sessions // 4, days),
            "### Other rates",
            rate_table(pool, sessions // 4, days),
            "### Cost",
            cost(),
        ]
    return "\n\n".join(parts)


def aim_table(pool: ProcessPoolExecutor, sessions: int) -> str:
    """One digit and two, from a tenth to a half of a digit of noise."""
    noises = (0.1, 0.12, 0.15, 0.2, 0.3, 0.4, 0.5)
    one = [Slips(noise, 1.0, sessions, 200 + i) for i, noise in enumerate(noises)]
    two = [replace(case, size=2.0) for case in one]
    found = zip(noises, pool.map(delays_of, one), pool.map(delays_of, two), strict=True)
    rows = [[f"{noise:g}", quantiles(first), quantiles(second)] for noise, first, second in found]
    return table(["noise", "1 digit", "2 digits"], rows)


def main() -> None:
    """Write all tables to the page given, between its markers, or to the screen."""
    parser = argparse.ArgumentParser(description="Simulate slips and calm days, and tell what the live watch told.")
    parser.add_argument("--share", type=float, default=1.0, help="share of the full simulation to run")
    parser.add_argument("--into", type=Path, help="page to write the tables into, between its two markers")
    given = parser.parse_args()
    text = report(given.share)
    print_or_write(text, given.into, BEGIN, END)


if __name__ == "__main__":
    main()
