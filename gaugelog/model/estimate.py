"""The one form of every result: a value with its standard uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with what is known about it.

    `u` is the standard uncertainty in `unit` (GUM, JCGM 100:2008, 2.3.1), `dof` its effective degrees of freedom
    (infinite where nothing limits it), `n` the number of observations behind it.
    """

    value: float
    u: float
    unit: str
    dof: float = math.inf
    n: int = 0
