"""What the weather could explain of a change: the air's temperature and humidity, the wood's moisture, its size.

Here: equilibrium moisture content, and the most that logged weather could have done to a length. Not here: the wood's
coefficients (`wood`), which wood a reading sees (`wood_path`), taking anything off a reading: that is never done.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import overload

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


@overload
def moisture_content(temperature_degc: float, humidity_percent: float) -> float: ...
@overload
def moisture_content(
    temperature_degc: NDArray[np.float64], humidity_percent: NDArray[np.float64]
) -> NDArray[np.float64]: ...
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
    t = np.asarray(temperature_degc, dtype=np.float64)
    percent = np.asarray(humidity_percent, dtype=np.float64)
    inside = (t >= COLDEST_DEGC) & (t <= HOTTEST_DEGC) & (percent >= DRIEST_PERCENT) & (percent <= DAMPEST_PERCENT)
    t, h = np.where(inside, t, np.nan), np.where(inside, percent, np.nan) / 100
    w = 349 + 1.29 * t + 0.0135 * t**2
    kh = (0.805 + 0.000736 * t - 0.00000273 * t**2) * h
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    found = 1800 / w * (kh / (1 - kh) + (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2))
    return float(found) if found.ndim == 0 else found


@dataclass(frozen=True, slots=True)
class ClimateShare:
    """What the weather could explain of a series' change.

    `explained` is signed, in the base unit. `share` is explained over change, None where the change lies within its
    95 % uncertainty; below 0 the weather worked against the change, above 1 it could have done more than was seen.
    `moisture_from` and `moisture_to` are the equilibrium moisture contents at start and end, percent. `upper_bound`:
    what is told is the most that it could be, since wood never reaches equilibrium within a day; False where the air
    went beyond its start and end on the way, so that the wood may have done more than both ends tell.
    """

    explained: float
    share: float | None
    moisture_from: float
    moisture_to: float
    upper_bound: bool


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
    each over min(10 min, a quarter of it). It is reported beside a change and never taken off it.

    When this is wrong: it takes the wood to be in equilibrium with the air at the start and again at the end. In a
    day, finished wood of a body's thickness goes a small part of that way; how small depends on wood, finish and end
    grain, no constant for it is known here, and so none is used: the value is the most that the weather of the session
    could do. Wood that came into the workshop moister or drier than its air moves by itself, and a series that the
    weather can't explain may be that. Warmth lengthening wood and gauge isn't in it. Beside that, as
    `wood_path`, `change_coefficient` and `moisture_content`.

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
    mm_per_percent, air = found
    explained = mm_per_percent * (air.moisture_to - air.moisture_from)
    share = explained / change if abs(change) > COVER_95 * u else None
    return ClimateShare(explained, share, air.moisture_from, air.moisture_to, not air.swung)


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
    """Equilibrium moisture content at the start and at the end, percent; whether it went beyond both in between."""

    moisture_from: float
    moisture_to: float
    swung: bool


def _told(
    instrument: Instrument, series: Series, temperature: Series | None, humidity: Series | None
) -> tuple[float, _Air] | NotTold:
    """Return how much a series grows with each percent of moisture, and the air; or why one of them isn't known."""
    path = wood_path(instrument, series)
    if isinstance(path, NotTold):
        return path
    mm_per_percent = _mm_per_percent(instrument, path)
    if mm_per_percent is None:
        return NotTold.WOOD
    if temperature is None or humidity is None:
        return NotTold.NO_WEATHER
    if temperature.quantity is not Quantity.TEMPERATURE or humidity.quantity is not Quantity.HUMIDITY:
        raise ValueError("the weather is a temperature and a humidity")
    times = series.counted().utc_us
    if times.size < 2 or times.min() == times.max():
        return NotTold.TOO_SHORT
    air = _air(temperature, humidity, int(times.min()), int(times.max()))
    return air if isinstance(air, NotTold) else (mm_per_percent, air)


def _mm_per_percent(instrument: Instrument, path: WoodPath) -> float | None:
    """Return how much a reading grows with each percent of moisture; None where a wood that counts isn't known."""
    wood = instrument.wood
    total = 0.0
    for size_mm, species, grain in (
        (path.neck_mm, wood.neck, wood.neck_grain),
        (path.body_mm, wood.body, wood.body_grain),
    ):
        if size_mm == 0.0:
            continue
        coefficient = change_coefficient(species, grain) if grain else None
        if coefficient is None:
            return None
        total += size_mm * coefficient
    return total


def _air(temperature: Series, humidity: Series, start_utc_us: int, end_utc_us: int) -> _Air | NotTold:
    count = max(WINDOW_SHARE, math.ceil((end_utc_us - start_utc_us) / (WINDOW_S * 1e6)))
    edges = np.linspace(start_utc_us, end_utc_us + 1, count + 1).astype(np.int64).tolist()
    windows = tuple(Stretch("", low, high) for low, high in pairwise(edges))
    reach_us = (end_utc_us - start_utc_us) / WINDOW_SHARE
    degc, percent = _means(temperature, windows, reach_us), _means(humidity, windows, reach_us)
    logged = np.isfinite(degc) & np.isfinite(percent)
    if not (logged[0] and logged[-1]):
        return NotTold.WEATHER_ELSEWHERE
    moisture = moisture_content(degc, percent)
    ends = moisture[[0, -1]]
    if not np.isfinite(ends).all():
        return NotTold.WEATHER_RANGE
    if not (in_range(ends[0]) and in_range(ends[1])):
        return NotTold.MOISTURE_RANGE
    within = (moisture >= ends.min() - SWING_PERCENT) & (moisture <= ends.max() + SWING_PERCENT)
    return _Air(float(ends[0]), float(ends[1]), bool((logged & ~within).any()))


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
