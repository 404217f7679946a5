"""What the weather could explain of a change: the air's temperature and humidity, the wood's moisture, its size.

Here: equilibrium moisture content, and the most that logged weather could have done to a length. Not here: the wood's
coefficients (`wood`), which wood a reading sees (`wood_path`), taking anything off a reading: that is never done.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.levels import bounds, mean_in
from gaugelog.analysis.phases import Stretch
from gaugelog.analysis.series import Series
from gaugelog.analysis.wood import change_coefficient, in_range
from gaugelog.analysis.wood_path import NotTold, WoodPath, wood_path
from gaugelog.model.instrument import Instrument
from gaugelog.model.quantities import Quantity

COLDEST_DEGC, HOTTEST_DEGC = (30 - 32) / 1.8, (270 - 32) / 1.8
DRIEST_PERCENT, DAMPEST_PERCENT = 5.0, 95.0
WINDOW_S = 600.0
WINDOW_SHARE = 4
SWING_PERCENT = 0.2
COVER_95 = 1.959963984540054


def moisture_content(
    temperature_degc: float | NDArray[np.float64], humidity_percent: float | NDArray[np.float64]
) -> float | NDArray[np.float64]:
    """Return the moisture content that wood comes to in air of this temperature and humidity, in percent.

    Formula: M = 1800/W [K h/(1 - K h) + (K1 K h + 2 K1 K2 K² h²)/(1 + K1 K h + K1 K2 K² h²)], h the relative humidity
    from 0 to 1, T in degrees Celsius, W = 349 + 1.29 T + 0.0135 T², K = 0.805 + 0.000736 T - 0.00000273 T²,
    K1 = 6.27 - 0.00938 T - 0.000303 T², K2 = 1.91 + 0.0407 T - 0.000293 T².
    Source: USDA Wood Handbook (FPL-GTR-282), equation 4-5, p. 4-3. Within 0.06 of its Table 4-2.

    When this is wrong: it stands for all woods, midway between taking up and giving off moisture; a species, or wood
    that was once dried hot, may differ by a percent and more. Wood takes days to weeks to come to it.

    Args:
        temperature_degc: of the air, -1.1 to 132.2 (30 to 270 degF, the table's range); a number or shape (n,).
        humidity_percent: relative humidity, 5 to 95 (the table's range); a number or shape (n,).

    Returns:
        A number for numbers, else shape (n,); nan outside the range, never a carried-on value.
    """
    found = _moisture_content(np.asarray(temperature_degc, dtype=float), np.asarray(humidity_percent, dtype=float))
    return float(found) if found.ndim == 0 else found


def _moisture_content(t: NDArray[np.float64], percent: NDArray[np.float64]) -> NDArray[np.float64]:
    inside = (t >= COLDEST_DEGC) & (t <= HOTTEST_DEGC) & (percent >= DRIEST_PERCENT) & (percent <= DAMPEST_PERCENT)
    t, h = np.where(inside, t, np.nan), np.where(inside, percent, np.nan) / 100
    w = 349 + 1.29 * t + 0.0135 * t**2
    kh = (0.805 + 0.000736 * t - 0.00000273 * t**2) * h
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    moisture: NDArray[np.float64] = (
        1800 / w * (kh / (1 - kh) + (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2))
    )
    return moisture


@dataclass(frozen=True, slots=True)
class ClimateShare:
    """What the weather could explain of a series' change.

    `explained` is signed, in the base unit. `share` is explained over change, None where the change lies within its
    95 % uncertainty; below 0 the weather worked against the change, above 1 it could have done more than was seen.
    `moisture_from` and `moisture_to` are the equilibrium moisture contents at start and end, percent.

    Wood never reaches equilibrium within a day. `upper_bound`: what is told is therefore the most that it could be.
    It is False where that doesn't follow: neck and body wood work against each other and one may be ahead of the other,
    or the air went beyond its start and end on the way, or may have. `lowest` to `highest` holds all that the weather
    could have done, None where the air on the way isn't known or left what the tables hold for.
    """

    explained: float
    share: float | None
    moisture_from: float
    moisture_to: float
    upper_bound: bool
    lowest: float | None = None
    highest: float | None = None


def climate_share(
    instrument: Instrument,
    series: Series,
    change: float,
    u: float,
    temperature: Series | None,
    humidity: Series | None,
) -> ClimateShare | None:
    """Return what the logged weather could explain of a series' change, None where that isn't known.

    Formula: explained = (n C_neck + b C_body) (M_to - M_from), n and b the wood in the reading's path (`wood_path`), C
    as `change_coefficient`, M the equilibrium moisture content of the air at the start and at the end of the series,
    each over min(10 min, a quarter of it). It is reported beside a change and never taken off it. `lowest` and
    `highest` let each wood have come to any moisture content that the air offered since the start, each by itself:
    Σ min and Σ max of x C (M - M_from) over M, x being n or b.

    When this is wrong: it takes the wood to be in equilibrium with the air at the start and again at the end. In a
    day, finished wood of a body's thickness goes a small part of that way; how small depends on wood, finish and end
    grain, no constant for it is known here, and so none is used. Wood that came into the workshop moister or drier than
    its air moves by itself, and a change that the weather can't explain may be that. Warmth lengthening wood and gauge
    isn't in it. Where the weather wasn't read, its nearest reading within a quarter of the series counts: what it did
    between two may have been more. Beside that, as `wood_path`, `change_coefficient` and `moisture_content`.

    Angles have none: a pocket floor and a heel that swell evenly lift the neck without turning it, save that the
    wedge between floor and top grows with its height (2.8° by 0.016° for three percent of moisture in walnut). A
    difference of moisture from one end of the pocket to the other would turn it, and nobody logs that.

    Args:
        instrument: with wood, pocket and neck.
        series: the series that changed; cut to a phase where the change is that of a phase.
        change: its change in the base unit.
        u: the standard uncertainty of that.
        temperature: of the workshop's air, or None.
        humidity: of the workshop's air, or None.

    Returns:
        None for every reason that `climate_untold` names.

    Raises:
        ValueError: `change` or `u` is not finite, `u` is below 0, or the weather is of another quantity.
    """
    if not (math.isfinite(change) and math.isfinite(u) and u >= 0):
        raise ValueError("a change and its uncertainty are finite, and the uncertainty is 0 or above")
    found = _told(instrument, series, temperature, humidity)
    if isinstance(found, NotTold):
        return None
    woods, air = found
    explained = sum(woods) * (air.moisture_to - air.moisture_from)
    share = explained / change if abs(change) > COVER_95 * u else None
    upper_bound = not air.swung and (min(woods) >= 0 or max(woods) <= 0)
    told = ClimateShare(explained, share, air.moisture_from, air.moisture_to, upper_bound)
    if air.least is None or air.most is None:
        return told
    reached = [[each * (moisture - air.moisture_from) for moisture in (air.least, air.most)] for each in woods]
    return replace(told, lowest=sum(map(min, reached)), highest=sum(map(max, reached)))


def climate_untold(
    instrument: Instrument, series: Series, temperature: Series | None, humidity: Series | None
) -> NotTold | None:
    """Return why `climate_share` has nothing to tell of a series, None where it has.

    Raises:
        ValueError: the weather is of another quantity.
    """
    found = _told(instrument, series, temperature, humidity)
    return found if isinstance(found, NotTold) else None


@dataclass(frozen=True, slots=True)
class _Air:
    """Equilibrium moisture content at the start, at the end, and at least and at most on the way, percent.

    `least` and `most` are None where the air on the way isn't known or left the tables. `swung`: it went beyond both
    ends, or may have.
    """

    moisture_from: float
    moisture_to: float
    least: float | None
    most: float | None
    swung: bool


def _told(
    instrument: Instrument, series: Series, temperature: Series | None, humidity: Series | None
) -> tuple[tuple[float, ...], _Air] | NotTold:
    """Return how much each wood adds to a series by a percent of moisture, and the air; or why that isn't known."""
    path = wood_path(instrument, series)
    if isinstance(path, NotTold):
        return path
    woods = _mm_per_percent(instrument, path)
    if woods is None:
        return NotTold.WOOD
    if temperature is None or humidity is None:
        return NotTold.NO_WEATHER
    if temperature.quantity is not Quantity.TEMPERATURE or humidity.quantity is not Quantity.HUMIDITY:
        raise ValueError("the weather is a temperature and a humidity")
    times = series.counted().utc_us
    if times.size < 2 or times.min() == times.max():
        return NotTold.TOO_SHORT
    air = _air(temperature, humidity, int(times.min()), int(times.max()))
    return air if isinstance(air, NotTold) else (woods, air)


def _mm_per_percent(instrument: Instrument, path: WoodPath) -> tuple[float, ...] | None:
    """Return how much a reading grows with each percent of moisture, by wood; None where a wood isn't known."""
    wood = instrument.wood
    found = []
    for size_mm, species, grain in (
        (path.neck_mm, wood.neck, wood.neck_grain),
        (path.body_mm, wood.body, wood.body_grain),
    ):
        if size_mm == 0.0:
            continue
        coefficient = change_coefficient(species, grain) if grain else None
        if coefficient is None:
            return None
        found.append(size_mm * coefficient)
    return tuple(found)


def _air(temperature: Series, humidity: Series, start_utc_us: int, end_utc_us: int) -> _Air | NotTold:
    count = max(WINDOW_SHARE, math.ceil((end_utc_us - start_utc_us) / (WINDOW_S * 1e6)))
    edges = np.linspace(start_utc_us, end_utc_us + 1, count + 1).astype(np.int64).tolist()
    windows = tuple(Stretch("", low, high) for low, high in pairwise(edges))
    reach_us = (end_utc_us - start_utc_us) / WINDOW_SHARE
    degc, percent = _means(temperature, windows, reach_us), _means(humidity, windows, reach_us)
    logged = np.isfinite(degc) & np.isfinite(percent)
    if not (logged[0] and logged[-1]):
        return NotTold.WEATHER_ELSEWHERE
    moisture = _moisture_content(degc, percent)
    ends = moisture[[0, -1]]
    if not np.isfinite(ends).all():
        return NotTold.WEATHER_RANGE
    if not (in_range(ends[0]) and in_range(ends[1])):
        return NotTold.MOISTURE_RANGE
    # nan compares false: what isn't known, or not in the table, may have been a swing
    swung = not ((moisture >= ends.min() - SWING_PERCENT) & (moisture <= ends.max() + SWING_PERCENT)).all()
    least, most = float(moisture.min()), float(moisture.max())
    if not (in_range(least) and in_range(most)):
        return _Air(float(ends[0]), float(ends[1]), None, None, swung)
    return _Air(float(ends[0]), float(ends[1]), least, most, swung)


def _means(series: Series, windows: tuple[Stretch, ...], reach_us: float) -> NDArray[np.float64]:
    """Return the mean in each window; where nothing stands, the nearest reading within reach, else nan."""
    counted = series.in_order().counted()
    means = [mean_in(counted, window) if _stands(counted, window) else None for window in windows]
    return np.array(
        [
            _nearest(counted, window, reach_us) if mean is None else mean
            for mean, window in zip(means, windows, strict=True)
        ]
    )


def _stands(series: Series, window: Stretch) -> bool:
    """Return whether a window has a reading, or no gap through which the value before it no longer stands."""
    low, high = bounds(series, window)
    return high > low or not any(
        gap.start_utc_us < window.end_utc_us and window.start_utc_us < gap.end_utc_us for gap in series.gaps
    )


def _nearest(series: Series, window: Stretch, reach_us: float) -> float:
    if series.utc_us.size == 0:
        return math.nan
    apart_us = np.maximum(window.start_utc_us - series.utc_us, series.utc_us - window.end_utc_us)
    nearest = int(np.argmin(apart_us))
    return float(series.value[nearest]) if apart_us[nearest] <= reach_us else math.nan
