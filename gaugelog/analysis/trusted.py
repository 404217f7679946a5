"""How a neck stands by those of its readings that don't contradict the others.

Here: leaving out what contradicts, one after the other. Not here: how the neck stands by all of them, which is what
is told (`neck_setting`); a cut alone is not to rest on a misreading (`neck_cut`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from gaugelog.analysis.neck_setting import TOUCHING, NeckSetting, Origin, neck_setting
from gaugelog.analysis.stage_means import StageMean
from gaugelog.model.instrument import Instrument

_PLANE_HEIGHT, _POSTS = "neck.plane_height", "posts"
_KNOWN_TO_NOTHING_MM = 1e3


@dataclass(frozen=True, slots=True)
class Trusted:
    """How a neck stands by readings of which none contradicts the others, as far as that can be had.

    `left_out` names the readings, and the lengths of the file, that were left out for that.
    """

    setting: NeckSetting
    left_out: tuple[str, ...]

    @property
    def doubted(self) -> frozenset[str]:
        """What was left out, and what contradicts still because nothing could be left out for it."""
        return frozenset(self.left_out) | {each.id for each in self.setting.misfits}


def trusted(
    instrument: Instrument,
    setting: NeckSetting,
    means: Mapping[str, StageMean],
    assumed: Mapping[str, float] | None = None,
) -> Trusted:
    """Return how the neck stands without the readings that contradict the others.

    The reading with the largest |w| is left out, with those that can't be told from it, and the rest adjusted again,
    until none contradicts. It stops where the rest would no longer tell how the neck stands.
    Source: data snooping, W. Baarda, A testing procedure for use in geodetic networks, 1968 (from memory).

    When this is wrong: two misreadings that agree with each other; the first sound reading then looks like the wrong
    one.

    Args:
        instrument: the plan and its geometry.
        setting: how the neck stands by all readings.
        means: those readings.
        assumed: what replaces readings, as `neck_setting` took it.
    """
    steps = {
        each.name: each.estimate.u * math.sqrt(12)
        for each in setting.inputs
        if each.origin is Origin.FILE and each.estimate.u > 0
    }
    left_out: list[str] = []
    while setting.misfits:
        group = _group(setting, means)
        steps |= {name: _KNOWN_TO_NOTHING_MM for name in group if name not in means}
        rest = {name: mean for name, mean in means.items() if name not in group}
        again = neck_setting(_with_underside(instrument, steps), rest, steps, stage=setting.stage, assumed=assumed)
        if not group or set(again.untold) - set(setting.untold) - {_POSTS}:
            break
        means, setting = rest, again
        left_out += sorted(group)
    return Trusted(setting, tuple(left_out))


def _group(setting: NeckSetting, means: Mapping[str, StageMean]) -> set[str]:
    """Return the worst misfit that can be left out, with those that can't be told from it; empty if none."""
    may_go = {*means, _PLANE_HEIGHT, TOUCHING}
    for worst in setting.misfits:
        group = {worst.id, *worst.alike}
        if group <= may_go:
            return group
    return set()


def _with_underside(instrument: Instrument, steps: Mapping[str, float]) -> Instrument:
    """Return the instrument with an underside that is known to nothing, where it isn't to be taken as touching."""
    if steps.get(TOUCHING) != _KNOWN_TO_NOTHING_MM or instrument.neck.underside_height is not None:
        return instrument
    return replace(instrument, neck=replace(instrument.neck, underside_height=0.0))
