"""A study of a gauge over placements, days and runs: what scatters, and what that makes of one measurement.

Here: three nested levels and the uncertainty of a mean of placements. Not here: placements of one sitting alone
(`gauge_repeat`), the whole budget (`gauge_budget`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import harmonic_mean

import numpy as np
from numpy.typing import ArrayLike

from gaugelog.analysis.describe import describe
from gaugelog.analysis.gauge_figures import checked_resolution, finite_array
from gaugelog.analysis.student import t_quantile
from gaugelog.analysis.uncertainty import Study

DAYS_BELOW_ZERO = "the days differ no more than the placements explain: their own part is told as 0"
RUNS_BELOW_ZERO = "the runs differ no more than the days explain: their own part is told as 0"
UNBALANCED = "unequal numbers: means count alike whatever they rest on, and numbers enter by their harmonic mean"
ONE_DAY = "one day or hand only: what changes from day to day isn't known"
ONE_RUN = "one run only: what changes over weeks isn't known"


@dataclass(frozen=True, slots=True)
class Sitting:
    """One artefact on one day (or by one hand) in one run: mean and standard deviation (n - 1) of n placements.

    `sd` is None for a single placement.
    """

    artefact: str
    run: str
    day: str
    mean: float
    sd: float | None
    n: int

    def __post_init__(self) -> None:
        if self.n < 1 or (self.n > 1) != (self.sd is not None):
            raise ValueError("a sitting holds placements, and a standard deviation from two on")


@dataclass(frozen=True, slots=True)
class Level:
    """One level's standard deviation, as the handbook's s1, s2, s3, with its degrees of freedom."""

    sd: float
    dof: float


@dataclass(frozen=True, slots=True)
class Measured:
    """The uncertainty of a mean of placements, and the shares a_i² of the levels' variances in its square.

    `missing` names the levels that weren't studied and so aren't in it. `half_95` is t_0.975 u.
    """

    u: float
    dof: float | None
    half_95: float
    placements: int
    days: int
    runs: int
    shares: tuple[float, float, float]
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """What a study says, base unit.

    `repeat` is s1, the scatter of one placement about its day's mean; `days` is s2, that of day means within a run;
    `runs` is s3, that of run means; None where a level wasn't studied. `placements_a_day`, `days_a_run` and
    `runs_an_artefact` are J, K, L (harmonic means where they aren't all equal). `var_days` and `var_runs` are each
    level's own variance as computed, which may be negative; `sd_days` and `sd_runs` its root, 0 where that is so.
    """

    artefacts: int
    n: int
    placements_a_day: float
    days_a_run: float
    runs_an_artefact: float
    balanced: bool
    repeat: Level | None
    days: Level | None
    runs: Level | None
    var_days: float | None
    var_runs: float | None
    sd_days: float | None
    sd_runs: float | None
    resolution: float = 0.0
    warnings: tuple[str, ...] = ()

    @property
    def study(self) -> Study | None:
        """The scatter of one placement within a day, as `compare` pools it; never below a digit's r/√12."""
        if self.repeat is None:
            return None
        return Study(max(self.repeat.sd, self.resolution / math.sqrt(12)), self.repeat.dof)


def sittings_of(artefact: ArrayLike, run: ArrayLike, day: ArrayLike, value: ArrayLike) -> tuple[Sitting, ...]:
    """Return the sittings of single placements.

    Args:
        artefact: shape (n,), what was measured, any labels.
        run: shape (n,), which run.
        day: shape (n,), which day or hand within the run.
        value: shape (n,), base unit.

    Raises:
        ValueError: unequal lengths, or something not finite.
    """
    values = finite_array(value, "placements")
    labels = [np.asarray(each).astype(np.str_) for each in (artefact, run, day)]
    if any(each.shape != values.shape for each in labels):
        raise ValueError("each placement has an artefact, a run and a day")
    groups: dict[tuple[str, str, str], list[float]] = {}
    for key, one in zip(zip(*labels, strict=True), values, strict=True):
        groups.setdefault((str(key[0]), str(key[1]), str(key[2])), []).append(float(one))
    told = ((key, describe(group)) for key, group in groups.items())
    return tuple(Sitting(*key, each.mean, each.sd, each.n) for key, each in told if each.mean is not None)


def gauge_study(sittings: Sequence[Sitting], resolution: float = 0.0) -> GaugeStudy:
    """Return what a study of placements, days and runs says.

    Formula: level 1: s1² pooled over all sittings by degrees of freedom. Level 2: the standard deviation of the day
    means of one run and artefact, K - 1 degrees of freedom, pooled over runs and artefacts: s2. Level 3: that of the
    run means of one artefact, L - 1, pooled over artefacts: s3. Own variances: days s2² - s1²/J, runs s3² - s2²/K; a
    negative one is told and its root is 0.
    Source: NIST/SEMATECH e-Handbook 2.4.4.1 to 2.4.4.3, 2.4.4 (pooling); 2.6.1 for the example.

    When this is wrong: unequal numbers: day means then count alike however many placements they rest on (unweighted
    means), and J, K, L are harmonic means, which is close where the numbers are alike, and no more. Days that are also
    another hand mix both. An artefact that itself changes over the weeks; two runs, where s3 rests on one degree of
    freedom an artefact and says next to nothing.

    Args:
        sittings: one of each artefact, run and day.
        resolution: the digit r, base unit; below r/√12 a study never tells of one placement (`study`).

    Raises:
        ValueError: no sitting, two of the same artefact, run and day, or a digit below 0.
    """
    digit = checked_resolution(resolution)
    if not sittings:
        raise ValueError("a study holds sittings")
    runs: dict[tuple[str, str], list[Sitting]] = {}
    for each in sittings:
        runs.setdefault((each.artefact, each.run), []).append(each)
    if any(len({each.day for each in group}) < len(group) for group in runs.values()):
        raise ValueError("an artefact has one sitting a day and run")
    artefacts: dict[str, list[float]] = {}
    for (artefact, _), group in runs.items():
        artefacts.setdefault(artefact, []).append(math.fsum(each.mean for each in group) / len(group))
    repeat = _level([each.sd for each in sittings], [each.n - 1 for each in sittings])
    days = _spread([[each.mean for each in group] for group in runs.values()])
    over = _spread(list(artefacts.values()))
    counts = (
        [each.n for each in sittings],
        [len(group) for group in runs.values()],
        [len(means) for means in artefacts.values()],
    )
    j, k, l_runs = (float(harmonic_mean(each)) for each in counts)
    balanced = all(len(set(each)) == 1 for each in counts)
    var_days = days.sd**2 - repeat.sd**2 / j if days is not None and repeat is not None else None
    var_runs = over.sd**2 - days.sd**2 / k if over is not None and days is not None else None
    warnings = [] if balanced else [UNBALANCED]
    warnings += [ONE_DAY] if days is None else []
    warnings += [ONE_RUN] if over is None else []
    warnings += [DAYS_BELOW_ZERO] if var_days is not None and var_days < 0 else []
    warnings += [RUNS_BELOW_ZERO] if var_runs is not None and var_runs < 0 else []
    return GaugeStudy(
        artefacts=len(artefacts),
        n=sum(each.n for each in sittings),
        placements_a_day=j,
        days_a_run=k,
        runs_an_artefact=l_runs,
        balanced=balanced,
        repeat=repeat,
        days=days,
        runs=over,
        var_days=var_days,
        var_runs=var_runs,
        sd_days=None if var_days is None else math.sqrt(max(var_days, 0.0)),
        sd_runs=None if var_runs is None else math.sqrt(max(var_runs, 0.0)),
        resolution=digit,
        warnings=tuple(warnings),
    )


def measured(study: GaugeStudy, placements: int, days: int = 1, runs: int = 1) -> Measured:
    """Return the uncertainty of the mean of N placements on each of M days in each of P runs.

    Formula: u² = a1² s1² + a2² s2² + a3² s3², with a1² = (J - N)/(P M N J), a2² = (K - M)/(P M K), a3² = 1/P. A level
    whose own variance came out negative is left out, which makes u larger: days then a1² = 1/(P M N), a2² = -1/(P K) at
    most 0. Levels not studied are named in `missing`. Degrees of freedom by Welch-Satterthwaite over the levels.
    Source: NIST/SEMATECH e-Handbook 2.5.6 (sensitivity coefficients; number from memory; general form rebuilt from the
    variance components and checked against the coefficients of 2.6.3.2: 0, 5/6, 1); GUM (JCGM 100:2008) G.4.1.

    When this is wrong: a share may be negative (more placements than the study's); Welch-Satterthwaite is then rougher
    still. It holds for artefacts like those studied.

    Args:
        study: the study.
        placements: N, from 1.
        days: M, from 1.
        runs: P, from 1.

    Raises:
        ValueError: a number below 1, or a study without any level.
    """
    if min(placements, days, runs) < 1:
        raise ValueError("a measurement takes at least one placement on one day in one run")
    j, k = study.placements_a_day, study.days_a_run
    a1, a2, a3 = 1.0 / (runs * days * placements), 0.0, 0.0
    missing = []
    if study.repeat is None:
        a1, missing = 0.0, ["placements"]
    if study.days is None:
        missing.append("days")
    elif study.repeat is None:
        a2 = 1.0 / (runs * days)
    elif study.var_days is not None and study.var_days > 0:
        a2 = 1.0 / (runs * days)
        a1 -= a2 / j
    if study.runs is None:
        missing.append("runs")
    elif study.days is None:
        a3 = 1.0 / runs
    elif study.var_runs is not None and study.var_runs > 0:
        a3 = 1.0 / runs
        a2 -= a3 / k
    levels = [(a, level) for a, level in ((a1, study.repeat), (a2, study.days), (a3, study.runs)) if level is not None]
    if not levels:
        raise ValueError("a study of single placements says nothing")
    variance = max(math.fsum(a * level.sd**2 for a, level in levels), 0.0)
    below = math.fsum((a * level.sd**2) ** 2 / level.dof for a, level in levels)
    dof = variance**2 / below if below > 0 else math.inf
    u = math.sqrt(variance)
    half = float(t_quantile(0.975, max(dof, 1e-3))) * u
    kept = None if math.isinf(dof) else dof
    return Measured(u, kept, half, placements, days, runs, (a1, a2, a3), tuple(missing))


def _level(sds: Sequence[float | None], dofs: Sequence[int]) -> Level | None:
    dof = sum(dofs)
    if dof == 0:
        return None
    squares = math.fsum(each * sd**2 for sd, each in zip(sds, dofs, strict=True) if sd is not None)
    return Level(math.sqrt(squares / dof), float(dof))


def _spread(groups: Sequence[Sequence[float]]) -> Level | None:
    told = [describe(group) for group in groups]
    return _level([each.sd for each in told], [each.n - 1 for each in told])
