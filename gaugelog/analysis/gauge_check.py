"""A whole check of a gauge: its readings to everything that they say, as one document that a gauge book keeps.

Here: which readings go into which part, what compare and neck take from it. Not here: the parts themselves
(`gauge_repeat`, `gauge_reversal`, `gauge_linearity`, `gauge_hysteresis`, `gauge_rest`, `gauge_study`, `gauge_budget`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.comparison import GaugeFacts
from gaugelog.analysis.gauge_budget import GaugeBudget, gauge_budget, limit_of_error
from gaugelog.analysis.gauge_hysteresis import Hysteresis, hysteresis
from gaugelog.analysis.gauge_linearity import Linearity, linearity
from gaugelog.analysis.gauge_repeat import Repeatability, repeatability
from gaugelog.analysis.gauge_rest import LEAST_READINGS, Rest, rest
from gaugelog.analysis.gauge_reversal import Reversal, reversal
from gaugelog.analysis.gauge_study import GaugeStudy, gauge_study, sittings_of
from gaugelog.analysis.uncertainty import Study
from gaugelog.model.gauge_check import AGAIN, FALLING, RISING, CheckPlan, level_id, reference_id
from gaugelog.model.quantities import Quantity

_LEAST_AGAIN = 2


@dataclass(frozen=True, slots=True, eq=False)
class Rested:
    """What a gauge said while it was left alone: times (UTC microseconds) and values, both of shape (n,), sorted.

    `holds`: it sends on change, so that each value stands until the next.
    """

    utc_us: NDArray[np.int64]
    value: NDArray[np.float64]
    holds: bool = False


@dataclass(frozen=True, slots=True)
class CheckReadings:
    """What was read in a check: values by the id of the setting, in the base unit, in order; and the rest, if any."""

    values: Mapping[str, Sequence[float]]
    rested: Rested | None = None

    @property
    def empty(self) -> bool:
        """Whether nothing was read."""
        return not any(self.values.values()) and self.rested is None


@dataclass(frozen=True, slots=True)
class StudyRow:
    """One placement of a study by several people or on several days; labels as the builder wrote them."""

    value: float
    person: str = ""
    day: str = ""
    run: str = ""
    artefact: str = ""


def check_document(
    plan: CheckPlan, readings: CheckReadings, resolution: float, accuracy: float | None = None
) -> dict[str, Any] | None:
    """Return all that a check says, as JSON can hold it (docs/documents.md); None where nothing was read.

    Args:
        plan: what was to be read.
        readings: what was.
        resolution: the gauge's digit, base unit.
        accuracy: the maker's limit of error, base unit, None where not stated.
    """
    if readings.empty:
        return None
    again = readings.values.get(AGAIN, ())
    repeat = repeatability(again, resolution) if len(again) >= _LEAST_AGAIN else None
    turned = _reversal(plan, readings, resolution, repeat)
    line = _linearity(plan, readings, resolution, repeat)
    sides = _hysteresis(plan, readings, resolution)
    rested = readings.rested
    alone = None
    if rested is not None and rested.utc_us.size >= LEAST_READINGS and rested.utc_us[-1] > rested.utc_us[0]:
        alone = rest(rested.utc_us, rested.value, resolution, holds=rested.holds)
    # wander is told over an hour, or over as long as it was watched: a run of minutes says nothing of hours
    hours = 1.0 if alone is None else min(1.0, (alone.span_s - alone.settled_s) / 3600)
    budget = gauge_budget(
        resolution, repeat=repeat, reversal=turned, linearity=line, hysteresis=sides, rest=alone, hours=hours
    )
    parts = {"repeat": repeat, "reversal": turned, "linearity": line, "hysteresis": sides, "rest": alone}
    scatter = None if repeat is None else repeat.study
    return _document(plan.quantity, plan.every_days, resolution, accuracy, parts, budget, scatter)


def study_document(
    rows: Sequence[StudyRow], quantity: Quantity, resolution: float, every_days: int, accuracy: float | None = None
) -> dict[str, Any]:
    """Return all that a study over people, days and runs says, as JSON can hold it.

    A person's day is a sitting of its own: what changes from hand to hand is in the days' level.

    Raises:
        ValueError: too little to tell even how it repeats.
    """
    sittings = sittings_of(
        [each.artefact for each in rows],
        [each.run for each in rows],
        [" ".join(filter(None, (each.person, each.day))) for each in rows],
        [each.value for each in rows],
    )
    found = gauge_study(sittings, resolution)
    if found.study is None:
        raise ValueError("no person and day has two placements of one thing, so nothing tells how the gauge repeats")
    budget = gauge_budget(resolution, study=found)
    return _document(quantity, every_days, resolution, accuracy, {"study": found}, budget, found.study)


def _document(
    quantity: Quantity,
    every_days: int,
    resolution: float,
    accuracy: float | None,
    parts: Mapping[str, Repeatability | Reversal | Linearity | Hysteresis | Rest | GaugeStudy | None],
    budget: GaugeBudget,
    scatter: Study | None,
) -> dict[str, Any]:
    names = ("repeat", "reversal", "linearity", "hysteresis", "rest", "study")
    limit = limit_of_error(budget)
    return {
        "quantity": quantity.value,
        "unit": quantity.base_unit,
        "resolution": resolution,
        "stated_accuracy": accuracy,
        "every_days": every_days,
        **{name: None if (part := parts.get(name)) is None else asdict(part) for name in names},
        "budget": asdict(budget),
        "limit_of_error": None if limit is None else asdict(limit),
        "pooled": None if scatter is None else {"sd": scatter.sd, "dof": scatter.dof},
    }


def facts_of(found: Mapping[str, Any], stated: float | None = None) -> GaugeFacts:
    """Return what compare, neck and ready take from a check: how one reading repeats, and the limit of error.

    The limit of error is the check's where zero, scale and approach were all checked; else the larger of the check's
    part and what the maker stated.

    Args:
        found: a check's document.
        stated: the maker's limit of error as the datasheet says it now, base unit.
    """
    pooled, limit = found.get("pooled"), found.get("limit_of_error")
    study = Study(float(pooled["sd"]), float(pooled["dof"])) if pooled else None
    accuracy = stated
    if limit and limit["complete"]:
        accuracy = float(limit["half_width"])
    elif limit and stated is not None:
        accuracy = max(stated, float(limit["half_width"]))
    return GaugeFacts(accuracy, study)


def _reversal(
    plan: CheckPlan, readings: CheckReadings, resolution: float, repeat: Repeatability | None
) -> Reversal | None:
    pairs = []
    for turn in range(1, plan.turns + 1):
        before, after = (readings.values.get(level_id(turn, turned=each), ()) for each in (False, True))
        if before and after:
            pairs.append((before[0], after[0]))
    if not pairs:
        return None
    first, turned = np.array(pairs).T
    return reversal(first, turned, resolution, study=None if repeat is None else repeat.study)


def _by_reference(plan: CheckPlan, readings: CheckReadings, way: str) -> list[Sequence[float]]:
    """Return the readings of each reference in ascending order."""
    return [readings.values.get(reference_id(number, way), ()) for number in range(1, len(plan.references) + 1)]


def _linearity(
    plan: CheckPlan, readings: CheckReadings, resolution: float, repeat: Repeatability | None
) -> Linearity | None:
    references = sorted(plan.references, key=lambda each: each.value)
    rows = [
        (reference.value, reference.may_be_off / math.sqrt(3), value, way)
        for way in (RISING, FALLING)
        for reference, values in zip(references, _by_reference(plan, readings, way), strict=True)
        for value in values
    ]
    if len({value for value, *_ in rows}) < 2:
        return None
    values, us, read, ways = zip(*rows, strict=True)
    study = None if repeat is None else repeat.study
    return linearity(values, us, read, resolution, approached=ways, study=study)


def _hysteresis(plan: CheckPlan, readings: CheckReadings, resolution: float) -> Hysteresis | None:
    both = [
        (float(np.mean(below)), float(np.mean(above)))
        for below, above in zip(
            _by_reference(plan, readings, RISING), _by_reference(plan, readings, FALLING), strict=True
        )
        if below and above
    ]
    if not both:
        return None
    below, above = np.array(both).T
    return hysteresis(below, above, resolution)
