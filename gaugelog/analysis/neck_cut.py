"""How much wood to take off where, so that the neck sits as the plan wants it.

Here: what a cut aims at, the first aim that one reaches, and its outcome. Not here: the bounds (`wanted`), the linear
programme (`cut`), the builder's own rate (`review`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from functools import partial
from typing import Generic, TypeVar

from gaugelog.analysis.cut import Bound, Cheeks, Corners, Pocket, least_cheek, least_cut, plane_bound
from gaugelog.analysis.neck_figures import figures
from gaugelog.analysis.neck_rows import UNKNOWNS
from gaugelog.analysis.neck_setting import NeckSetting
from gaugelog.analysis.rules import CONFIDENCE, POWER
from gaugelog.analysis.stage_means import StageMean
from gaugelog.analysis.student import t_quantile
from gaugelog.analysis.trusted import trusted
from gaugelog.analysis.wanted import TRAVEL, Stand, Wanted, is_floor, wanted
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Instrument

_ROOMS = (1.0, 0.75, 0.5, 0.25, 0.0)
_Wood = TypeVar("_Wood", Corners, Cheeks)


class Aim(Enum):
    """What the cut brings about."""

    SURE = "every tolerance and the travel, with room for the next reading's uncertainty"
    NARROW = "every tolerance and the travel, with less room than the next reading's uncertainty needs"
    MOST = "the travel and every tolerance but what stays out, which no wood brings in with the others"
    TRAVEL = "the bridge's travel only: not every tolerance can be met"
    NEAREST = "nothing exactly in whole steps: it is the nearest"


@dataclass(frozen=True, slots=True)
class CutAdvice:
    """What to take off, exactly and rounded to what a hand does, and what then comes of it.

    `aim` is what the rounded cut brings about, None where neither wood nor shim does it. `needed` is False where the
    neck sits well as it is; then nothing is to be taken off. `figures` are those of `neck_figures.FIGURES` after the
    rounded cut. `unmet` names what stays out: checkpoints out of their tolerance, "bearing bass" and "bearing treble"
    out of the travel, "fretboard over the body" in the wood. `floor` is the least wood under the pocket afterwards,
    None where the file leaves it open; `sinks` is how far the fret plane comes down at the joint line. `left_out` names
    what the cut doesn't rest on, since it contradicts the other readings.
    """

    pocket: Pocket
    step: float
    needed: bool
    aim: Aim | None
    exact: Corners
    rounded: Corners
    cheeks: Cheeks
    cheeks_rounded: Cheeks
    figures: Mapping[str, Estimate]
    unmet: tuple[str, ...]
    floor: float | None
    sinks: float
    left_out: tuple[str, ...] = ()

    @property
    def taper_deg(self) -> float:
        """By how much the floor's slope along the strings falls."""
        return math.degrees(math.atan((self.rounded.tail - self.rounded.body_edge) / self.pocket.length))

    @property
    def u_taper_deg(self) -> float:
        """How uncertain the taper that is needed is: as the neck angle."""
        return self.figures["neck_angle"].u

    @property
    def u_depth(self) -> float:
        """How uncertain a depth that is needed is, mm: what the neck angle's u makes over the floor's length."""
        return math.tan(math.radians(self.u_taper_deg)) * self.pocket.length


@dataclass(frozen=True, slots=True)
class _Found(Generic[_Wood]):
    """What a cut brings about, None where none does, and the cut: exact, and in whole steps."""

    aim: Aim | None
    exact: _Wood
    rounded: _Wood


def pocket_of(instrument: Instrument) -> Pocket | None:
    """Return the pocket of an instrument, None where the file leaves its length open."""
    pocket = instrument.pocket
    if pocket.length is None:
        return None
    spare = math.inf
    if pocket.body_thickness is not None and pocket.depth is not None:
        spare = max(pocket.body_thickness - pocket.depth - (pocket.least_floor or 0.0), 0.0)
    return Pocket(pocket.start or 0.0, pocket.length, pocket.width, spare)


def cut_advice(
    instrument: Instrument,
    setting: NeckSetting,
    means: Mapping[str, StageMean],
    step: float,
    *,
    assumed: Mapping[str, float] | None = None,
) -> CutAdvice | None:
    """Return what to take off the pocket, None where its length, or the neck's angle or height, isn't known.

    Least wood such that, as far as the geometry tells, every reading that has a tolerance comes into it and the
    strings bear within the travel less the reserve. Of each tolerance so much is kept free that the same gauge's next
    reading conforms nine times out of ten, t_0.95 u + t_0.90 u' with u' what may differ from reading to reading; where
    that can't be, less, and `aim` says so. A reading that contradicts the others is left out (`trusted`): its own
    tolerance then holds for what the others say of it.

    Formula: `cut.least_cut` and `cut.least_cheek` on what `neck_rows.said_by` says of each reading.

    When this is wrong: linear in the depths, which is good to 0.02 mm; a heel that doesn't bear all over the floor; a
    cheek that isn't what holds the neck aside. Wood off one side of the floor lets the centreline aside by about
    0.04 mm for 0.1 degrees of roll, which isn't counted: read again.

    Args:
        instrument: the plan and its geometry.
        setting: how the neck stands now.
        means: the readings behind it.
        step: what a hand does, mm.
        assumed: what replaced readings in the setting, as `neck_setting` took it.
    """
    pocket = pocket_of(instrument)
    if pocket is None or not {"neck_angle", "plane_height"} <= setting.figures.keys():
        return None
    sound = trusted(instrument, setting, means, assumed)
    setting, stand = sound.setting, Stand(instrument, sound, means)
    now = wanted(stand, _passing)
    needed = not all(each.met for each in now if not each.aside)
    aside = not all(each.met for each in now if each.aside)
    aims = _aims(stand) if needed or aside else []
    floor = _first(
        aims if needed else [], partial(_floor, pocket), Corners(), lambda cut: cut.in_steps(step, pocket.spare), step
    )
    cheeks = _first(aims if aside else [], partial(_cheeks, pocket), Cheeks(), lambda cut: cut.in_steps(step), step)
    cut = floor.rounded
    after = _after(setting.unknowns, pocket, cut, cheeks.rounded)
    values = figures(_with_relief_as_read(instrument, means), after)
    changes = {name: after[name] - setting.unknowns[name] for name in UNKNOWNS}
    return CutAdvice(
        pocket=pocket,
        step=step,
        needed=needed or aside,
        aim=_worst([found.aim for asked, found in ((needed, floor), (aside, cheeks)) if asked]),
        exact=floor.exact,
        rounded=cut,
        cheeks=cheeks.exact,
        cheeks_rounded=cheeks.rounded,
        figures={name: replace(each, value=values[name]) for name, each in setting.figures.items() if name in values},
        unmet=tuple(each.id for each in wanted(stand, _none) if not _meets(each, changes)),
        floor=_floor_left(instrument, cut),
        sinks=cut.fall(pocket, 0.0),
        left_out=sound.left_out,
    )


def _worst(aims: Sequence[Aim | None]) -> Aim | None:
    """Return what all cuts together bring about; where one does nothing at all and another something, that is most."""
    found = [each for each in aims if each is not None]
    if aims and not found:
        return None
    if len(found) < len(aims):
        found.append(Aim.MOST)
    return max(found, key=list(Aim).index, default=Aim.SURE)


def _with_relief_as_read(instrument: Instrument, means: Mapping[str, StageMean]) -> Instrument:
    read = next((each.value for each in means.values() if each.checkpoint.kind.slug == "neck-relief"), None)
    return instrument if read is None else replace(instrument, neck=replace(instrument.neck, relief=read))


def _floor_left(instrument: Instrument, cut: Corners) -> float | None:
    pocket = instrument.pocket
    if pocket.body_thickness is None or pocket.depth is None:
        return None
    return pocket.body_thickness - pocket.depth - max(*cut.all(), 0.0)


def _meets(asked: Wanted, changes: Mapping[str, float]) -> bool:
    low, high = asked.change()
    moved = sum(part * changes[name] for name, part in asked.row.items())
    return low - 0.005 <= moved <= high + 0.005 if asked.row.get("height") else low - 1e-4 <= moved <= high + 1e-4


def _after(unknowns: Mapping[str, float], pocket: Pocket, cut: Corners, cheeks: Cheeks) -> dict[str, float]:
    """Return the unknowns after a cut: how the plane and the line then lie."""
    fall = cut.fall(pocket, 0.0)
    aside = cheeks.aside(pocket, 0.0)
    return {
        **unknowns,
        "slope": unknowns["slope"] - (cut.fall(pocket, 1.0) - fall),
        "tilt": unknowns["tilt"] - (cut.fall(pocket, 0.0, 1.0) - fall),
        "height": unknowns["height"] - fall,
        "underside": unknowns["underside"] - fall,
        "offset": unknowns["offset"] + aside,
        "heading": unknowns["heading"] + cheeks.aside(pocket, 1.0) - aside,
    }


def _first(
    aims: Sequence[tuple[Aim, Sequence[Wanted]]],
    least: Callable[[Sequence[Wanted], float | None], _Wood | None],
    nothing: _Wood,
    nearest: Callable[[_Wood], _Wood],
    step: float,
) -> _Found[_Wood]:
    """Return the first aim that a cut in whole steps reaches, and the exact cut for the first that any cut reaches."""
    exact: _Wood | None = None
    for aim, asked in aims:
        any_cut = least(asked, None)
        exact = exact if exact is not None else any_cut
        cut = None if any_cut is None else least(asked, step)
        if exact is not None and cut is not None and _shim(cut) <= _shim(exact) + step:
            return _Found(aim, exact, cut)
    if exact is None:
        return _Found(None, nothing, nothing)
    return _Found(Aim.NEAREST, exact, nearest(exact))


def _shim(wood: Corners | Cheeks) -> float:
    return max(0.0, -min(wood.all()))


def _floor(pocket: Pocket, asked: Sequence[Wanted], step: float | None) -> Corners | None:
    return least_cut(pocket, [_plane(pocket, each) for each in asked if not each.aside], step)


def _cheeks(pocket: Pocket, asked: Sequence[Wanted], step: float | None) -> Cheeks | None:
    bounds = [_line(pocket, each) for each in asked if each.aside]
    return least_cheek(pocket, bounds, step) if bounds else None


def _plane(pocket: Pocket, asked: Wanted) -> Bound:
    row = asked.row
    height = row.get("height", 0.0) + row.get("underside", 0.0)
    return plane_bound(pocket, row.get("slope", 0.0), row.get("tilt", 0.0), height, *asked.change())


def _line(pocket: Pocket, asked: Wanted) -> Bound:
    """Return the bound on offset and heading as one on the four depths of the cheeks."""
    parts = []
    for place in range(4):
        cheeks = Cheeks(*(float(place == each) for each in range(4)))
        at_joint = cheeks.aside(pocket, 0.0)
        turn = cheeks.aside(pocket, 1.0) - at_joint
        parts.append(asked.row.get("offset", 0.0) * at_joint + asked.row.get("heading", 0.0) * turn)
    return Bound((parts[0], parts[1], parts[2], parts[3]), *asked.change())


def _aims(stand: Stand) -> list[tuple[Aim, Sequence[Wanted]]]:
    """Return what a cut may bring about, the best first, each with its bounds."""
    all_of_it = [wanted(stand, partial(_accepted, room)) for room in _ROOMS]
    found: list[tuple[Aim, Sequence[Wanted]]] = [(Aim.SURE, all_of_it[0])]
    found += [(Aim.NARROW, asked) for asked in all_of_it[1:]]
    ids = [each.id for each in all_of_it[-1] if each.id not in TRAVEL]
    for dropped in sorted(ids, key=lambda name: not is_floor(stand.instrument.checkpoint(name))):
        found += [(Aim.MOST, [each for each in all_of_it[room] if each.id != dropped]) for room in (0, -1)]
    found.append((Aim.TRAVEL, [each for each in all_of_it[-1] if each.id in TRAVEL]))
    return found


def _accepted(room: float, mean: StageMean | Estimate) -> float:
    """Return how far inside a tolerance a value has to be so that the same gauge's next reading conforms, 9 in 10."""
    again = mean.u_again if isinstance(mean, StageMean) else 0.0
    return room * float(t_quantile(CONFIDENCE, mean.dof) * mean.u + t_quantile(POWER, mean.dof) * again)


def _passing(mean: StageMean | Estimate) -> float:
    """Return how far inside a tolerance a value has to be to conform with 95 %."""
    return float(t_quantile(CONFIDENCE, mean.dof)) * mean.u


def _none(_mean: StageMean | Estimate) -> float:
    return 0.0


def passes_for(advice: CutAdvice, per_pass: float, angle: bool) -> int | None:
    """Return how many passes a cut takes at the builder's own rate, None where a pass takes nothing off.

    Args:
        advice: the cut.
        per_pass: what a pass changed, degrees or mm.
        angle: whether that is an angle.
    """
    depths: Sequence[float] = advice.rounded.all()
    size = abs(advice.taper_deg) if angle else max(*depths, 0.0)
    return math.ceil(size / per_pass - 1e-9) if per_pass > 0 else None
