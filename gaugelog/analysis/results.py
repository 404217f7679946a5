"""What the analysis says, as frozen results.

Here: the outcome of a comparison and of a clamp session, in base units (degrees, mm, degC, %). Not here: computing it,
or how it is shown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

from gaugelog.analysis.least_squares import Residual
from gaugelog.model.quantities import Quantity

if TYPE_CHECKING:
    from gaugelog.analysis.climate import ClimateShare
    from gaugelog.analysis.explained import Explained
    from gaugelog.analysis.warm_up import BenchShare


class Verdict(Enum):
    """What a comparison says of one checkpoint."""

    HELD = "held"
    MOVED = "moved"
    NOT_PROVEN = "not proven"
    NO_VERDICT = "no verdict"


@dataclass(frozen=True, slots=True)
class SideSummary:
    """One stage of one checkpoint: mean and standard deviation (n - 1) of its placements, None where there is none."""

    mean: float | None
    n: int
    sd: float | None


@dataclass(frozen=True, slots=True)
class CheckpointComparison:
    """One checkpoint, one stage against another.

    `shift` is after minus before; `u` its standard uncertainty with `dof` (infinite where nothing limits it);
    `expanded_95` covers 95 % two-sided; `p_within` is the probability that the true shift is within `limit`.
    `more_placements` is how many more placements after would settle a "not proven", None where none would or none are
    needed. `smallest_provable` is the smallest limit that these gauges and placements can prove held. `counts` is False
    for what is only told, such as the workshop's temperature: it has no verdict and bars nothing. `rests_on` says what
    the verdict rests on beside the readings, such as another gauge's accuracy; `reason` says it too.
    """

    id: str
    kind: str
    quantity: Quantity
    before: SideSummary
    after: SideSummary
    resolution: float
    readings_per_placement: int
    limit: float | None
    shift: float | None
    u: float | None
    dof: float | None
    expanded_95: float | None
    p_within: float | None
    verdict: Verdict
    reason: str
    more_placements: int | None = None
    smallest_provable: float | None = None
    counts: bool = True
    rests_on: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Comparison:
    """All checkpoints of one stage against another, in the plan's order; `movement` where they tell of the neck."""

    from_stage: str
    to_stage: str
    checkpoints: tuple[CheckpointComparison, ...]
    movement: NeckMovement | None = None

    def having(self, verdict: Verdict) -> tuple[CheckpointComparison, ...]:
        """Return the checkpoints that count and have this verdict."""
        return tuple(row for row in self.checkpoints if row.counts and row.verdict is verdict)


@dataclass(frozen=True, slots=True)
class Moved:
    """One movement of the neck: value and standard uncertainty in `unit`, its limit, and what could be proven of it.

    `smallest_provable` is the smallest limit within which an unmoved neck would be proven, with 80 % probability.
    """

    value: float
    u: float
    dof: float
    unit: str
    limit: float | None
    smallest_provable: float


@dataclass(frozen=True, slots=True)
class Untold:
    """Movements that these checkpoints can't tell, from each other where there are several.

    `tell` names the checkpoints, in words, that would tell them; empty where none of the usual ones would.
    """

    movements: tuple[str, ...]
    tell: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Consequence:
    """What a movement does to one thing: before, after, and the change with its standard uncertainty, in `unit`.

    `name` is required_bearing, action, centreline_offset or scale_length; `side` is empty where it has none. `u_before`
    is the standard uncertainty of `before`, 0 where it is what the plan says.
    """

    name: str
    side: str
    unit: str
    before: float
    after: float
    change: float
    u: float
    dof: float
    u_before: float = 0.0

    @property
    def u_after(self) -> float:
        """Standard uncertainty of `after`: of before and change together, taken as independent."""
        return math.hypot(self.u_before, self.u)


@dataclass(frozen=True, slots=True)
class NeckMovement:
    """How the neck moved as a rigid body: each of the six movements, None where it can't be told.

    `chi2` on `dof` degrees of freedom with probability `p` (None where nothing checks anything) judges the fit as a
    whole, `residuals` each checkpoint. `iterated`: the movement was too large for a linear fit, so exact readings were
    fitted.
    """

    components: Mapping[str, Moved | None]
    untold: tuple[Untold, ...]
    chi2: float
    dof: float
    p: float | None
    residuals: tuple[Residual, ...]
    iterated: bool = False
    consequences: tuple[Consequence, ...] = ()


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch in which a gauge said nothing, in UTC microseconds. `fault` is False where silence was expected."""

    start_utc_us: int
    end_utc_us: int
    reason: str
    fault: bool = True


@dataclass(frozen=True, slots=True)
class PhaseDrift:
    """One series in one phase: its mean, how far its level went from the phase's start to its end, and the u of that.

    `change` and `u` are None where the phase holds too few readings for them. `farthest` is the largest departure from
    the level at the phase's start on the way, and `farthest_utc_us` when: it tells of what moved and came back.
    """

    name: str
    start_utc_us: int
    end_utc_us: int
    n: int
    mean: float | None
    change: float | None
    u: float | None
    farthest: float | None = None
    farthest_utc_us: int | None = None


@dataclass(frozen=True, slots=True)
class SeriesDrift:
    """One gauge, or the difference of two, over the clamp session: `difference` tells which, `n` counts readings.

    `explained` holds its steps, creep and rest, None for what can't creep, such as the workshop's temperature.
    `weather` is what the logged weather could explain of its change over the session, None where that isn't known;
    `bench` how much of a neck gauge's change the body gauge showed too, of a difference only.
    """

    name: str
    quantity: Quantity
    difference: bool
    n: int
    phases: tuple[PhaseDrift, ...]
    gaps: tuple[Gap, ...]
    explained: Explained | None = None
    weather: ClimateShare | None = None
    bench: BenchShare | None = None


@dataclass(frozen=True, slots=True)
class Drift:
    """A whole clamp session: its start in UTC microseconds and its series."""

    start_utc_us: int
    series: tuple[SeriesDrift, ...]
