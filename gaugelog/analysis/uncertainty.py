"""What a shift's uncertainty is made of.

Here: the scatter of placements, pooled, and the budget that turns it and the gauge's limits into u and its degrees of
freedom. Not here: the verdict (`rules`) or where the numbers came from (`shift`, `comparison`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gaugelog.analysis.student import Floats, f_quantile

STUDY_LEVEL = 0.90
NOISIER_LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Study:
    """A repeatability study: standard deviation of one setting-down (base unit) and its degrees of freedom.

    Of a gauge it is of one reading; of a placement that reads body, then neck, of the difference (`of_placement`).
    """

    sd: float
    dof: float

    def __post_init__(self) -> None:
        if self.sd < 0 or self.dof <= 0:
            raise ValueError("a study has a standard deviation from 0 and degrees of freedom above 0")


@dataclass(frozen=True, slots=True)
class SharedZero:
    """A zero set once a stage instead of in each placement: scatter of one zero placement, and `n` of them a stage."""

    sd: float
    n: int

    def __post_init__(self) -> None:
        if self.sd < 0 or self.n < 2:
            raise ValueError("a zero needs at least two placements a stage, and a standard deviation from 0")


@dataclass(frozen=True, slots=True)
class Scatter:
    """Pooled standard deviation of one placement and its degrees of freedom."""

    sd: float
    dof: float


def pool(sds: tuple[float, ...], dofs: tuple[float, ...], study: Study | None = None) -> Scatter:
    """Return the pooled scatter of one placement.

    Formula: s² = Σ ν_i s_i² / Σ ν_i. A repeatability study is pooled in only where s²/s_g² <= F_0.90(ν, ν_g): a day
    noisier than that stands alone. With no degree of freedom of its own, the study stands for the day.
    Source: pooled standard deviation, NIST/SEMATECH e-Handbook 2.4.4 and 1.3.5.3.

    When this is wrong: the two stages don't scatter alike (another hand, a loose foot of the gauge); a quiet day
    pooled with a noisy study keeps the study's scatter, which errs on the safe side.

    Args:
        sds: standard deviation of each stage, base unit.
        dofs: degrees of freedom of each; 0 leaves the stage out.
        study: the gauge's own study, if there is one.
    """
    dof = sum(dofs)
    squares = sum(each * sd * sd for sd, each in zip(sds, dofs, strict=True))
    if study is not None and (dof == 0 or squares / dof <= f_quantile(STUDY_LEVEL, dof, study.dof) * study.sd**2):
        squares += study.dof * study.sd**2
        return Scatter((squares / (dof + study.dof)) ** 0.5, dof + study.dof)
    return Scatter((squares / dof) ** 0.5 if dof else 0.0, dof)


def of_placement(studies: Mapping[Study, int]) -> Study:
    """Return the study of one placement that is made of several readings.

    Formula: s² = Σ c s_i², c the readings that one gauge gives; ν = s⁴ / Σ ((c s_i²)²/ν_i) (Welch-Satterthwaite). Two
    readings of one gauge share its s, so their degrees of freedom don't add up.
    Source: GUM (JCGM 100:2008) 5.1.2 and G.4.1.

    When this is wrong: the neck is a worse spot to set the gauge down on than the one of the study.

    Args:
        studies: of the gauges that read it, at least one, and how many readings each gives.
    """
    found = combine([Term(count * study.sd**2, study.dof) for study, count in studies.items()])
    dof = float(found.dof)
    return Study(float(found.u), dof if math.isfinite(dof) else min(study.dof for study in studies))


def noisier_than(values: Sequence[float], study: Study, step: float) -> bool:
    """Return whether placements scatter clearly more than their gauges' checks explain.

    Formula: s²/max(s_g², r²/12) > F_0.95(n - 1, ν_g).
    Source: F test for equality of two variances, NIST/SEMATECH e-Handbook 1.3.5.9.

    When this is wrong: one time in twenty by chance; two placements tell only a gross difference.

    Args:
        values: of the placements, base unit.
        study: of one placement, as `of_placement`.
        step: of one reading, r.
    """
    if len(values) < 2:
        return False
    floor = max(study.sd**2, step**2 / 12)
    return bool(np.var(values, ddof=1) > f_quantile(NOISIER_LEVEL, len(values) - 1.0, study.dof) * floor)


@dataclass(frozen=True, slots=True)
class Evaluation:
    """A combined standard uncertainty and its effective degrees of freedom (infinite allowed), as arrays."""

    u: NDArray[np.float64]
    dof: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Term:
    """One independent contribution: its variance in the result's unit squared, and its degrees of freedom."""

    variance: Floats
    dof: Floats = math.inf


def combine(terms: Sequence[Term]) -> Evaluation:
    """Return the uncertainty of a sum of independent terms.

    Formula: u² = Σ u_i²; ν = u⁴ / Σ (u_i⁴/ν_i) (Welch-Satterthwaite), infinite where no term with finite degrees of
    freedom has any variance. Fractions are kept: GUM H.1 cuts 16.75 down to 16, which is a little safer.
    Source: GUM (JCGM 100:2008) 5.1.2 eq. 10 and G.4.1 eq. G.2b.

    When this is wrong: terms that share a cause; very unequal terms with few degrees of freedom, where the formula is
    an approximation.

    Args:
        terms: any number; variances and degrees of freedom of shapes that broadcast.
    """
    square = np.asarray(sum((np.asarray(term.variance, dtype=np.float64) for term in terms), np.float64(0.0)))
    shares = (np.asarray(term.variance, dtype=np.float64) ** 2 / np.asarray(term.dof) for term in terms)
    below = np.asarray(sum(shares, np.float64(0.0)))
    with np.errstate(divide="ignore", invalid="ignore"):
        dof = np.where(below > 0, square**2 / below, np.inf)
    return Evaluation(np.sqrt(square), dof)


@dataclass(frozen=True, slots=True)
class Budget:
    """All that a shift's uncertainty is made of, in base units squared.

    `step` is r, the larger step of the two stages; `readings` is k, the readings in one placement;
    `accuracy_variance` is 0 where the same gauge read both stages; `zero` is None where every placement is referenced.
    """

    scatter: Scatter
    n_before: int
    n_after: int
    step: float
    readings: int = 1
    accuracy_variance: float = 0.0
    zero: SharedZero | None = None

    @property
    def step_variance(self) -> float:
        """The digits' share, which averaging doesn't reduce: k r²/12 a stage, r²/12 a stage more for a shared zero."""
        readings = self.readings + (1 if self.zero is not None else 0)
        return 2 * readings * self.step**2 / 12

    def evaluate(self, more: Floats = 0.0, *, scatter_share: float = 1.0, before_known: bool = False) -> Evaluation:
        """Return u of the shift and its degrees of freedom.

        Formula: u² = s² (1/n_b + 1/n_a) + k 2 r²/12 + (a_b² + a_a²) k/3 + 2 (s_z²/m + r²/12), the last only for a
        shared zero. Degrees of freedom by Welch-Satterthwaite over the terms that have any,
        ν = u⁴ / (u_A⁴/ν_A + u_z⁴/ν_z), infinite where nothing scattered.
        Source: GUM (JCGM 100:2008) 5.1.2, F.2.2.1 (a digit: r/√12), G.4.1 (effective degrees of freedom).

        When this is wrong: the digit's share is no random variable but fixed by where the neck stands between two
        digits; for a quiet gauge u is right on the average over that place only (docs/methods.md).

        Args:
            more: further placements after, assumed to scatter as the others did; any shape, infinity allowed.
            scatter_share: 0 leaves the scatter out, to see what the rest alone would allow.
            before_known: leave out the share of the placements before, to see whether they bar.
        """
        extra = np.asarray(more, dtype=np.float64)
        placements = (0.0 if before_known else 1 / self.n_before) + 1 / (self.n_after + extra)
        scattered = scatter_share * self.scatter.sd**2 * placements
        terms = [
            Term(scattered, self.scatter.dof + extra if self.scatter.dof > 0 else math.inf),
            Term(self.step_variance),
            Term(self.accuracy_variance),
        ]
        if self.zero is not None:
            terms.append(Term(2 * self.zero.sd**2 / self.zero.n, 2.0 * (self.zero.n - 1)))
        return combine(terms)
