"""What has to change of how a neck sits, and how far it may: the bounds that a cut has to meet.

Here: from the plan's tolerances, the bridge's travel and the readings to bounds on the neck's unknowns. Not here: the
wood that meets them (`cut`, `neck_cut`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gaugelog.analysis.neck_rows import UNKNOWNS, said_by
from gaugelog.analysis.neck_setting import NeckSetting
from gaugelog.analysis.neckset import SIDES, neck_set_of
from gaugelog.analysis.stage_means import StageMean
from gaugelog.analysis.trusted import Trusted
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Checkpoint, Instrument

TRAVEL = ("bearing bass", "bearing treble", "fretboard over the body")
"""Bounds that are no checkpoint's: the bridge's travel, and the body top under the fretboard."""

Guard = Callable[[StageMean | Estimate], float]
"""How far inside its tolerance a value has to be."""

_FLOOR_TILT = "pocket-floor-tilt"
_MOST_GUARD = 0.9
_ROUNDING_MM = 1e-6
_STEEP_DEG = 45.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """Bounds on one combination of the unknowns: where it is now, lowest and highest guess, and where it may be."""

    id: str
    row: Mapping[str, float]
    now: tuple[float, float]
    low: float
    high: float

    def change(self) -> tuple[float, float]:
        """Return how far it must change at least and at most."""
        low, high = self.low - self.now[0], self.high - self.now[1]
        if low > high:
            middle = sum(self.now) / 2
            low, high = self.low - middle, self.high - middle
        return low, high

    @property
    def met(self) -> bool:
        """Whether nothing has to change."""
        low, high = self.change()
        return low <= _ROUNDING_MM and high >= -_ROUNDING_MM

    @property
    def aside(self) -> bool:
        """Whether it is about the neck from above, not from the side."""
        return bool(self.row.get("offset") or self.row.get("heading"))


@dataclass(frozen=True, slots=True)
class Stand:
    """How the neck stands by readings that can be trusted, and all readings."""

    instrument: Instrument
    sound: Trusted
    means: Mapping[str, StageMean]


def wanted(stand: Stand, keep: Guard) -> list[Wanted]:
    """Return every bound: the tolerances of the plan, as far as the geometry tells, and the bridge's travel."""
    instrument, means, setting = stand.instrument, stand.means, stand.sound.setting
    found = []
    for checkpoint in instrument.checkpoints:
        row = _row_of(instrument, checkpoint)
        mean = means.get(checkpoint.id)
        if checkpoint.tolerance is None or row is None:
            continue
        guesses = []
        if all(part == 0 or name not in setting.untold for name, part in row.items()) and not is_floor(checkpoint):
            guesses.append(sum(part * setting.unknowns[name] for name, part in row.items()))
        if mean is not None and checkpoint.id not in stand.sound.doubted:
            guesses.append(_value(instrument, means, checkpoint, mean.value))
        if not guesses:
            continue
        low, high = _kept_free(checkpoint.tolerance.low, checkpoint.tolerance.high, 0.0 if mean is None else keep(mean))
        lowest = -math.inf if low is None else _value(instrument, means, checkpoint, low)
        highest = math.inf if high is None else _value(instrument, means, checkpoint, high)
        found.append(Wanted(checkpoint.id, row, (min(guesses), max(guesses)), lowest, highest))
    return found + _bearings(instrument, setting, keep)


def _row_of(instrument: Instrument, checkpoint: Checkpoint) -> Mapping[str, float] | None:
    """Return which unknowns a checkpoint's reading is made of, None where it says nothing of the neck."""
    if is_floor(checkpoint):
        return {"slope": 1.0}
    said = next((each for each in said_by(instrument, {checkpoint.id: 0.0}) if each.id == checkpoint.id), None)
    return None if said is None else dict(zip(UNKNOWNS, said.row, strict=True))


def is_floor(checkpoint: Checkpoint) -> bool:
    """Return whether it reads the pocket floor's own tilt: a cut changes it as it changes the neck's slope."""
    return checkpoint.kind.slug == _FLOOR_TILT


def _value(instrument: Instrument, means: Mapping[str, StageMean], checkpoint: Checkpoint, reading: float) -> float:
    """Return what a checkpoint says were its reading this one; infinite for an angle too steep to be a neck's."""
    if is_floor(checkpoint) and abs(reading) < _STEEP_DEG:
        return math.tan(math.radians(reading))
    readings = {name: each.value for name, each in means.items()} | {checkpoint.id: reading}
    return next(
        (each.value for each in said_by(instrument, readings) if each.id == checkpoint.id),
        math.copysign(math.inf, reading),
    )


def _kept_free(low: float | None, high: float | None, guard: float) -> tuple[float | None, float | None]:
    """Return a tolerance less the guard at both ends, of which never more than 90 % of a half is taken."""
    if low is not None and high is not None:
        guard = min(guard, _MOST_GUARD * (high - low) / 2)
    return (None if low is None else low + guard), (None if high is None else high - guard)


def _bearings(instrument: Instrument, setting: NeckSetting, keep: Guard) -> list[Wanted]:
    """Return the bounds that the bridge's travel sets, and the body top under the fretboard where the file knows it."""
    bridge = instrument.bridge
    found: list[Wanted] = []
    underside = instrument.neck.underside_height
    if underside is not None:
        found.append(Wanted("fretboard over the body", {"underside": 1.0}, (underside, underside), 0.0, math.inf))
    neck, angle = neck_set_of(instrument), setting.figure("neck_angle")
    if bridge.bearing_low is None or bridge.bearing_high is None or neck is None or angle is None:
        return found
    reserve = bridge.travel_reserve or 0.0
    for side in SIDES:
        needed = setting.figure(f"required_bearing.{side}")
        if needed is None:
            continue
        low, high = _kept_free(bridge.bearing_low + reserve, bridge.bearing_high - reserve, keep(needed))
        across = (bridge.string_spread or 0.0) / 2 * (-1.0 if side == "bass" else 1.0)
        row = {"slope": neck.bearing_place(angle.value, side), "tilt": across, "height": 1.0}
        found.append(Wanted(f"bearing {side}", row, (needed.value, needed.value), low or 0.0, high or 0.0))
    return found
