"""The rule that turns a shift and its uncertainty into held, moved or not proven.

Here: the rule itself over whole arrays, so that its error rates are measured on the very code that judges.
Not here: where shift and uncertainty come from (`shift`), or how the outcome is put into words (`reasons`).
"""

from __future__ import annotations

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.conformity import probability_between
from gaugelog.analysis.student import Floats, t_quantile

CONFIDENCE = 0.95
STRICT_CONFIDENCE = 0.975
POWER = 0.90
LEAST_DOF = 4.0
TOLERANCE_IN_STEPS = 1e-9


class Outcome(IntEnum):
    """What the rule says."""

    MOVED = -1
    NOT_PROVEN = 0
    HELD = 1


def guard(u: Floats, dof: Floats, step: Floats, confidence: float = CONFIDENCE) -> NDArray[np.float64]:
    """Return the margin that a shift has to keep from the limit: g = max(t_(confidence, ν) u, r)."""
    return np.maximum(t_quantile(confidence, dof) * np.asarray(u, dtype=np.float64), step)


def judge(shift: Floats, u: Floats, dof: Floats, limit: Floats, step: Floats) -> NDArray[np.int8]:
    """Return the `Outcome` of each comparison.

    Formula: with g = max(t_0.95 u, r) and p the probability that |true shift| <= M (JCGM 106:2012),
    held is p >= 0.95 and M - |Δ| >= g; moved is |Δ| - M >= g, with t_0.975 where M < u; else not proven. Margins
    are compared with a tolerance of 1e-9 r, so that three digits of 0.05 are 0.15.

    When this is wrong: measured in docs/methods.md. Near the limit each verdict is wrong in about 5 % of
    comparisons; at the worst place between two digits, and for limits below two digits, in more.

    Source: a guarded decision rule as JCGM 106:2012, clause 8 describes them; that the guard is never below one
    digit is our own, since a quiet gauge between two digits shows scatter that is none.

    Args:
        shift: after less before, any shape and unit.
        u: standard uncertainty of the shift, same unit, above 0.
        dof: its effective degrees of freedom, infinite allowed.
        limit: the movement limit M, same unit, not negative.
        step: the larger step r of the two stages, same unit.

    Raises:
        ValueError: `u` or `dof` is not above 0.
    """
    size = np.abs(np.asarray(shift, dtype=np.float64))
    bound = np.asarray(limit, dtype=np.float64)
    slack = TOLERANCE_IN_STEPS * np.asarray(step, dtype=np.float64)
    margin = guard(u, dof, step)
    strict = np.where(bound < u, guard(u, dof, step, STRICT_CONFIDENCE), margin)
    within = probability_between(shift, u, -bound, bound, dof)
    held = (within >= CONFIDENCE - TOLERANCE_IN_STEPS) & (bound - size >= margin - slack)
    moved = size - bound >= strict - slack
    return np.where(held, Outcome.HELD, np.where(moved, Outcome.MOVED, Outcome.NOT_PROVEN)).astype(np.int8)


def smallest_provable(u: Floats, dof: Floats, step: Floats) -> NDArray[np.float64]:
    """Return the smallest limit at which an unmoved neck is called held with 80 % probability.

    Formula: max((t_(0.95, ν) + t_(0.90, ν)) u, r): an unmoved neck shows |Δ| <= t_0.90 u in 80 % of comparisons, and
    the rule asks for t_0.95 u more. About 2.93 u where ν is large.

    When this is wrong: between about one and one and a half digits, where the digit and not the scatter rules; what
    it gives was simulated in docs/methods.md.

    Args:
        u: standard uncertainty of the shift, above 0.
        dof: its effective degrees of freedom.
        step: one digit r, same unit as u.
    """
    factor = t_quantile(CONFIDENCE, dof) + t_quantile(POWER, dof)
    return np.maximum(factor * np.asarray(u, dtype=np.float64), step)
