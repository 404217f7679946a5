"""Whether a checkpoint's value is in its tolerance, and by how much and on which side it is out.

Here: a value against the ends that the builder gave it. Not here: what moved (`shift`), nor how sure anything is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from gaugelog.analysis.describe import describe
from gaugelog.model.instrument import Checkpoint
from gaugelog.model.placement import Placement

_ROUNDING = 1e-9


def mean_value(placements: Sequence[Placement]) -> float | None:
    """Return the mean of placements in their base unit.

    Formula: sum of the values over their number.

    When this is wrong: the placements are of several checkpoints or stages.

    Returns:
        None where there is no placement, or one of them is only a bound: the mean then lies anywhere beyond it.
    """
    values = [placement.value for placement in placements if placement.value is not None]
    return describe(values).mean if len(values) == len(placements) else None


def out_by(checkpoint: Checkpoint, mean: float | None) -> float | None:
    """Return by how much a value lies outside its checkpoint's tolerance, with the side as its sign.

    Formula: mean - high above the upper end, mean - low below the lower one, 0 from low to high, both ends included.
    An end that is left open (at most, at least) bars nothing. A value that differs from an end by rounding alone,
    1e-9 of it, is on it.

    When this is wrong: it says nothing of uncertainty. Near an end the true value may lie on its other side; how
    probable it is that it conforms is another matter (JCGM 106:2012, clause 7, as `conformity` has it for limits).

    Args:
        checkpoint: with or without a tolerance, in its base unit.
        mean: the mean of its placements of one stage, in its base unit.

    Returns:
        Plus above, minus below, 0 in tolerance; None without a tolerance or without a mean.
    """
    tolerance = checkpoint.tolerance
    if tolerance is None or mean is None:
        return None
    for end, beyond in ((tolerance.high, 1.0), (tolerance.low, -1.0)):
        if end is not None and (mean - end) * beyond > _ROUNDING * max(1.0, abs(end)):
            return mean - end
    return 0.0


def placements_out_by(checkpoint: Checkpoint, placements: Sequence[Placement]) -> float | None:
    """Return by how much the placements of one stage lie outside a checkpoint's tolerance.

    Formula: `out_by` of their mean; where one is only a bound, what is true wherever behind it the value lies: in
    tolerance if all of that is, out by the nearest of it if none of that is.

    When this is wrong: as `out_by`; of a bound it tells the least that it is out by.

    Args:
        checkpoint: with or without a tolerance.
        placements: of one stage, in the base unit.

    Returns:
        As `out_by`; None also where a bound leaves it open.
    """
    mean = mean_value(placements)
    tolerance = checkpoint.tolerance
    if mean is not None or tolerance is None or not placements:
        return out_by(checkpoint, mean)
    least = min(_end(each.value, each.low, -math.inf) for each in placements)
    most = max(_end(each.value, each.high, math.inf) for each in placements)
    low = -math.inf if tolerance.low is None else tolerance.low
    high = math.inf if tolerance.high is None else tolerance.high
    if low <= least and most <= high:
        return 0.0
    if least > high:
        return least - high
    return most - low if most < low else None


def _end(value: float | None, bound: float | None, open_end: float) -> float:
    return value if value is not None else bound if bound is not None else open_end
