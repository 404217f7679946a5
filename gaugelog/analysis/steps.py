"""Where in a session a level jumped.

Here: which places of a session are steps, and the moment among the readings.
Not here: where they may be (`jumps`), how large each is in the end, beside creep and wander (`wander`,
`explained`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.bins import Bins
from gaugelog.analysis.jumps import FIT_HALF, LOOSE, Look

EVENT_S = 30.0


@dataclass(frozen=True, slots=True)
class Step:
    """A jump of the level: when (UTC microseconds), its signed size and standard uncertainty in the base unit."""

    time_us: int
    size: float
    u: float


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Places of steps: `place` k says that the level jumped before bin k.

    `hidden` marks bins to leave out; `least` is the size looked for.
    """

    place: NDArray[np.intp]
    hidden: NDArray[np.bool_]
    least: float


def find_steps(bins: Bins, sure: float, least: float) -> Found:
    """Return where the level jumped by about `least` or more, clear of the noise.

    Formula: at each place the least-squares step on a line over a window of 6 to 120 bins either side: the shortest
    in which 0.8 of `sure` stands clear by 6 standard deviations of the noise, as the filter's own output shows it,
    then 60 bins, then the shortest for `least`. The largest are taken
    out and what is left is looked through again. Each is then fitted between its neighbours and dropped if it
    doesn't stand. What happens within 30 s is one event: steps of one are put together, and where they cancel (a hand
    at the gauge) none is left and the bins between are hidden.
    Source: matched filter for a step in white noise on a line (textbook least squares, no clause to cite).

    When this is wrong: a slip that takes longer than the window is told too small or not at all; two steps within
    30 s are told as one; a change over a long gap is not told, since nobody saw whether it jumped or crept.

    Args:
        bins: the session.
        sure: the size from which on steps are told, for which the shortest window is made.
        least: the least size that is looked for, at most `sure`; what is a little below it is found too.
    """
    hidden = np.zeros(bins.size, dtype=np.bool_)
    kept: list[int] = []
    for start, end in zip(bins.sittings[:-1], bins.sittings[1:], strict=True):
        time_s, value = bins.time_s[start:end], bins.value[start:end]
        look = Look(time_s, value)
        places, sizes = look.standing(look.candidates(sure, least), least)
        for event in _events(time_s, places):
            first, last = places[event[0]], places[event[-1]]
            net = float(sizes[event].sum())
            hidden[start + first : start + last] = True
            if abs(net) >= LOOSE * least:
                weight = np.abs(sizes[event])
                kept.append(start + round(float(np.average(np.asarray(places)[event], weights=weight))))
    return Found(np.asarray(kept, dtype=np.intp), hidden, least)


def _events(time_s: NDArray[np.float64], places: list[int]) -> list[list[int]]:
    """Return the indices of places that belong together: each within `EVENT_S` of the one before."""
    events: list[list[int]] = []
    for index, place in enumerate(places):
        before = places[index - 1] if index else None
        if before is not None and time_s[place] - time_s[before] <= EVENT_S and place - before < FIT_HALF:
            events[-1].append(index)
        else:
            events.append([index])
    return events


def moment_of(
    bins: Bins, place: int, utc_us: NDArray[np.int64], value: NDArray[np.float64], *, holds: bool = False
) -> int:
    """Return the moment of a step: halfway between the two readings that part the levels best, in UTC microseconds.

    Formula: the split of the readings up to 5 bins either side that has the least squares about the mean level
    before and the mean level after. A gauge that sends on change jumped when it sent.

    Args:
        bins: as for `find_steps`.
        place: the bin before which the level jumped.
        utc_us: shape (n,), the readings the bins were made of.
        value: shape (n,).
        holds: whether the gauge sends on change.
    """
    low = max(place - 5, 0)
    high = min(place + 5, bins.size)
    before = float(np.mean(bins.value[low : max(place - 1, low + 1)])) + bins.offset
    after = float(np.mean(bins.value[min(place + 1, high - 1) : high])) + bins.offset
    first = int(bins.first[max(place - 2, 0)])
    last = int(bins.first[place + 2]) if place + 2 < bins.size else int(utc_us.size)
    near = value[first:last]
    nearer = np.cumsum((near - (before + after) / 2) * math.copysign(1.0, before - after))
    split = int(np.argmax(nearer[:-1])) if nearer.size > 1 else 0
    if holds or first + split + 1 >= utc_us.size:
        return int(utc_us[min(first + split + 1, utc_us.size - 1)])
    left, right = int(utc_us[first + split]), int(utc_us[first + split + 1])
    return left + (right - left) // 2
