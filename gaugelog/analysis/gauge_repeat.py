"""How well a gauge comes back to the same number when it is lifted off and set down again.

Here: repeatability from n placements at one place. Not here: days, hands and runs (`gauge_study`), a gauge that is
left alone (`gauge_rest`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri

from gaugelog.analysis.describe import describe
from gaugelog.analysis.gauge_figures import StepsSeen, checked_resolution, finite_array, steps_seen
from gaugelog.analysis.noise import noise_before_rounding
from gaugelog.analysis.uncertainty import Study

LEAST_PLACEMENTS = 5
SOUND_PLACEMENTS = 10
LOW, HIGH = 0.025, 0.975
# a scatter below half a digit makes the readings anything but normal
QUIET_DIGITS = 0.5
# up to so many digits of scatter its interval is simulated, over this grid of scatters in digits
SIMULATED_DIGITS = 1.2
SIGMAS = np.geomspace(0.02, 12.0, 80)
DRAWS, SEED = 120_000, 20_770

ALL_EQUAL = "all readings are the same: that says the scatter lies below the digit, not that there is none"
FEW = "fewer than five placements: the scatter may be off by half and more"
FEW_DIGITS = "the scatter is less than half a digit: the digit hides most of it"
COARSER_SEEN = "the readings move in larger steps than the digit that was given"
FINER_SEEN = "the readings move in smaller steps than the digit that was given"


@dataclass(frozen=True, slots=True)
class Repeatability:
    """What n placements at one place say, in the base unit.

    `sd` is their standard deviation (n - 1) with `dof`; `low_95` to `high_95` is where the scatter before rounding to
    the digit lies with 95 %. `floor_sd` is what to use for the scatter, never below the digit's r/√12. `spread` is the
    largest less the smallest. `seen` is the digit that the readings show.
    """

    n: int
    mean: float
    sd: float
    dof: float
    low_95: float
    high_95: float
    floor_sd: float
    smallest: float
    largest: float
    resolution: float
    seen: StepsSeen
    warnings: tuple[str, ...] = ()

    @property
    def spread(self) -> float:
        """The largest reading less the smallest."""
        return self.largest - self.smallest

    @property
    def study(self) -> Study:
        """What `compare` pools with a day's scatter."""
        return Study(self.floor_sd, self.dof)


def repeatability(values: ArrayLike, resolution: float) -> Repeatability:
    """Return how well a gauge repeats.

    Formula: s² = Σ(x - x̄)²/(n - 1), ν = n - 1; the 95 % interval of the scatter before rounding as `scatter_range`.
    With all readings the same it begins at 0 and ends where n equal readings still happen in 2.5 %: they say no more.
    Source: NIST/SEMATECH e-Handbook 2.4.4.1 (level 1); GUM (JCGM 100:2008) F.2.2.1 for r/√12.

    When this is wrong: placements that weren't lifted and set down again, but read twice; placements that drift (a
    gauge still warming up); one wild placement among few. Below about half a digit of scatter the readings aren't
    normal, and the interval is only the average over where the place stands between two digits (docs/methods.md has the
    figures).

    Args:
        values: shape (n,), n from 2, one per placement, base unit.
        resolution: the digit r, from 0, base unit.

    Raises:
        ValueError: fewer than two placements, something not finite, or a digit below 0.
    """
    array = finite_array(values, "placements")
    digit = checked_resolution(resolution)
    if array.size < 2:
        raise ValueError("repeatability takes at least two placements")
    told, seen = describe(array), steps_seen(array)
    mean, dof = float(told.mean or 0.0), float(array.size - 1)
    sd = 0.0 if seen.distinct == 1 else float(told.sd or 0.0)
    low, high = scatter_range(sd, int(array.size), digit)
    return Repeatability(
        n=int(array.size),
        mean=mean,
        sd=sd,
        dof=dof,
        low_95=low,
        high_95=high,
        floor_sd=max(sd, digit / math.sqrt(12)),
        smallest=float(array.min()),
        largest=float(array.max()),
        resolution=digit,
        seen=seen,
        warnings=_warnings(array.size, sd, digit, seen),
    )


def scatter_range(sd: float, n: int, digit: float) -> tuple[float, float]:
    """Return where the scatter before rounding lies with 95 %, from the standard deviation of n rounded placements.

    Formula: well above the digit, ν s²/χ²_0.975(ν) to ν s²/χ²_0.025(ν), each less what rounding adds on the average
    (`noise_before_rounding`). Below 1.2 digits the σ at which n placements scatter as much or more in 2.5 %, to that at
    which they scatter as little or less in 2.5 %, averaged over where the place stands between two digits; that
    distribution is simulated (fixed seed), since placements that show two or three digits are anything but normal.
    Source: NIST/SEMATECH e-Handbook 7.2.3.1 (the section from memory); inversion of a test (textbook).

    When this is wrong: noise that isn't normal before rounding; a known place between two digits.

    Args:
        sd: standard deviation (n - 1), base unit.
        n: placements, from 2.
        digit: the digit, 0 for none.
    """
    if digit == 0.0 or sd > SIMULATED_DIGITS * digit:
        # chdtri takes the probability above
        ends = (sd * math.sqrt((n - 1) / float(chdtri(n - 1, p))) for p in (1 - HIGH, 1 - LOW))
        low, high = (noise_before_rounding(end**2, (digit,)) if digit > 0 else end for end in ends)
        return low, high
    shown = (sd / digit) ** 2 * (n - 1)
    spreads = _simulated(n)
    close = 1e-6 * (1 + shown)
    as_much = (spreads >= shown - close).mean(axis=1)
    as_little = (spreads <= shown + close).mean(axis=1)
    low = 0.0 if sd == 0.0 else _crossing(as_much, LOW)
    return low * digit, _crossing(as_little[::-1], LOW, backwards=True) * digit


def _crossing(chance: NDArray[np.float64], level: float, *, backwards: bool = False) -> float:
    """Return the σ, in digits, at which a chance that rises along the grid passes a level."""
    grid = np.log(SIGMAS[::-1] if backwards else SIGMAS)
    above = int(np.argmax(chance > level))
    if above == 0:
        return math.exp(float(grid[0]))
    share = (level - chance[above - 1]) / (chance[above] - chance[above - 1])
    return math.exp(float(grid[above - 1] + share * (grid[above] - grid[above - 1])))


@lru_cache(maxsize=4)
def _simulated(n: int) -> NDArray[np.float64]:
    """Return squares about the mean, in digits, of n rounded placements, shape (sigmas, draws)."""
    draws = min(max(DRAWS // n, 1000), 6000)
    random = np.random.default_rng(SEED)
    place = random.uniform(-0.5, 0.5, (draws, 1))
    noise = random.standard_normal((draws, n))
    found = np.empty((SIGMAS.size, draws))
    for row, sigma in zip(found, SIGMAS, strict=True):
        rounded = np.round(place + sigma * noise)
        row[:] = n * rounded.var(axis=1)
    return found


def _warnings(n: int, sd: float, digit: float, seen: StepsSeen) -> tuple[str, ...]:
    found = []
    if n < LEAST_PLACEMENTS:
        found.append(FEW)
    if sd == 0.0:
        found.append(ALL_EQUAL)
    elif sd < QUIET_DIGITS * digit:
        found.append(FEW_DIGITS)
    if seen.common is not None and seen.smallest is not None and digit > 0:
        if seen.common < digit * 0.9:
            found.append(FINER_SEEN)
        elif n >= SOUND_PLACEMENTS and seen.common > digit * 1.1:
            found.append(COARSER_SEEN)
    return tuple(found)
