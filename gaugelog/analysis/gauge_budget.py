"""All that makes one gauge uncertain, row by row, and what a reading and a change are then worth.

Here: rows in a builder's words from whichever checks there are, their sum, and the limit of error that follows.
Not here: the checks; the arithmetic of a sum (`uncertainty.combine`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from gaugelog.analysis.gauge_figures import Figure, checked_resolution
from gaugelog.analysis.gauge_hysteresis import Hysteresis
from gaugelog.analysis.gauge_linearity import Linearity
from gaugelog.analysis.gauge_repeat import Repeatability
from gaugelog.analysis.gauge_rest import Rest
from gaugelog.analysis.gauge_reversal import Reversal
from gaugelog.analysis.gauge_study import GaugeStudy, measured
from gaugelog.analysis.student import t_quantile
from gaugelog.analysis.uncertainty import Evaluation, Term, combine, pool

NORMAL, RECTANGULAR = "normal", "rectangular"
AGAIN, AGAIN_ANOTHER_DAY = "set down again", "set down again, on another day"
DIGIT, ZERO, SCALE = "the digit", "zero", "scale over its range"
BENT, OTHER_SIDE = "bent between the references", "approached from the other side"
WANDER, WARM_UP = "wander while it sits", "warm-up"

BELOW_DIGIT = "every placement gave the same: a digit's r/√12 stands for what lies below it"

UNKNOWN_REPEAT = "how well it comes back when set down again"
UNKNOWN_DAYS = "what changes from day to day or hand to hand"
UNKNOWN_ZERO = "its zero"
UNKNOWN_SCALE = "its scale over the range"
UNKNOWN_SIDE = "what the side it is approached from does"
UNKNOWN_REST = "its wander and warm-up"
UNKNOWN_WALK = "its wander: the run was too short"
UNKNOWN_ZERO_U = "how well its zero is known: one pair says nothing of it"


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One source of uncertainty: `half_width` or standard deviation `value` over `divisor` is `u`.

    `kind` is the GUM's "A" (from repeated readings) or "B". `sensitivity` is what the result changes by a unit of the
    source. `dof` is None where nothing limits it. `cancels`: the same error is in before and after, read by the same
    gauge without a new zero between. `in_change` is how many times the source's variance enters a change: 0 where it
    cancels, 2 where both stages have it anew, 1 where only the time between counts.
    """

    source: str
    value: float
    distribution: str
    divisor: float
    u: float
    dof: float | None
    kind: str
    sensitivity: float
    cancels: bool
    in_change: float
    note: str = ""


@dataclass(frozen=True, slots=True)
class Combined:
    """A combined standard uncertainty, its effective degrees of freedom, and the 95 % half-width k u."""

    u: float
    dof: float | None
    k: float
    half_95: float


@dataclass(frozen=True, slots=True)
class GaugeBudget:
    """The budget of one gauge: rows, one reading's worth (absolute, once corrected), and that of a change.

    `zero_error` and `scale_error` are corrections that were not applied, None where no check tells them; `low` to
    `high` is the range that was checked. `unknown` says in words what isn't in it because a check was left out.
    """

    rows: tuple[BudgetRow, ...]
    single: Combined
    change: Combined
    placements: int
    zero_error: Figure | None
    scale_error: Figure | None
    low: float | None
    high: float | None
    off_line: float
    approach: float
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LimitOfError:
    """The half-width that a gauge's accuracy may be taken as, and what it is the sum of.

    `complete` is False where zero, scale or approach wasn't checked: it is then a part of the truth only.
    """

    half_width: float
    zero: float
    scale: float
    off_line: float
    approach: float
    half_95: float
    complete: bool
    missing: tuple[str, ...]


def row(
    source: str,
    value: float,
    distribution: str,
    dof: float | None,
    kind: str,
    *,
    sensitivity: float = 1.0,
    in_change: float = 2.0,
    note: str = "",
) -> BudgetRow:
    """Return a row of a budget: u = value/divisor, √3 for a rectangular half-width, 1 for a standard deviation.

    Source: GUM (JCGM 100:2008) 4.3.7 (rectangular), 4.2 (normal).

    Raises:
        ValueError: another distribution, or a value below 0.
    """
    divisors = {NORMAL: 1.0, RECTANGULAR: math.sqrt(3)}
    if distribution not in divisors or value < 0:
        raise ValueError("a row has a size from 0 that is normal or rectangular")
    divisor = divisors[distribution]
    kept = None if dof is None or math.isinf(dof) else float(dof)
    u = value / divisor
    return BudgetRow(
        source, float(value), distribution, divisor, u, kept, kind, sensitivity, in_change == 0.0, in_change, note
    )


def combined(rows: Sequence[BudgetRow], *, change: bool = False, whole_dof: bool = False) -> Combined:
    """Return the sum of a budget's rows.

    Formula: u² = Σ (c_i u_i)², each times `in_change` for a change; effective degrees of freedom by Welch-Satterthwaite
    over the rows; k = t_0.975(ν), half-width k u. A source that both stages have anew rests on one estimate of its
    scatter, so its degrees of freedom count once.
    Source: GUM (JCGM 100:2008) 5.1.2 eq. 10, G.4.1 eq. G.2b, G.6.4.

    When this is wrong: rows that share a cause.

    Args:
        rows: any number.
        change: a change between two stages, and not one value.
        whole_dof: cut the degrees of freedom down to a whole number (GUM G.4.1, example H.1), which gives a slightly
            larger k; fractions are kept otherwise.
    """
    terms = [
        Term((each.sensitivity * each.u) ** 2 * (each.in_change if change else 1.0), each.dof or math.inf)
        for each in rows
    ]
    return _covering(combine(terms), whole_dof)


def _covering(found: Evaluation, whole_dof: bool = False) -> Combined:
    u, dof = float(found.u), float(found.dof)
    if whole_dof and math.isfinite(dof):
        dof = max(math.floor(dof), 1.0)
    k = float(t_quantile(0.975, dof))
    return Combined(u, None if math.isinf(dof) else dof, k, k * u)


def gauge_budget(
    resolution: float,
    *,
    repeat: Repeatability | None = None,
    study: GaugeStudy | None = None,
    reversal: Reversal | None = None,
    linearity: Linearity | None = None,
    hysteresis: Hysteresis | None = None,
    rest: Rest | None = None,
    placements: int = 1,
    readings: int = 1,
    hours: float = 1.0,
    warmed_up: bool = False,
) -> GaugeBudget:
    """Return the uncertainty budget of one gauge from whichever checks there are.

    Formula, row by row. Set down again: s with ν, of the repeatability, pooled with level 1 of a study; where the study
    has days, what it says of placements on another day (`measured`). The digit: rectangular, r/2. Zero: u of the zero
    by reversal, else of the line at its centre. Scale: u of the scale times the largest distance in the checked range
    from where the zero was found. Bent between the references: the largest departure, rectangular, only where the
    references don't lie on a line. The other side: rectangular, |h|. Wander: the random walk over `hours` with the
    drift over them, √(w² t + (d t)²). Warm-up: rectangular, its rise, unless the gauge is let warm up first. A value:
    one placement, corrected for zero and scale. A change: means of `placements` at both stages by the same gauge
    without a new zero.
    Source: GUM (JCGM 100:2008) clause 8, F.2.2.1; NIST/SEMATECH e-Handbook 2.4.6, 2.6.3.2.

    When this is wrong: a gauge that isn't used as it was checked (another hand, another temperature, another surface
    under its feet). Zero and scale cancel in a change only while nobody sets a zero between and the change is small
    against the range. Wander after a night switched off is not that of an hour. What is in `unknown` is missing.

    Args:
        resolution: the digit r, base unit.
        repeat: placements at one place.
        study: placements, days and runs.
        reversal: zero by reversal.
        linearity: zero and scale against references.
        hysteresis: both approaches.
        rest: an undisturbed run.
        placements: in each stage of a change, from 1.
        readings: in one placement: 1, or 2 for body then neck.
        hours: from the zero to the reading, or from the reading before to that after; how long the gauge wanders.
        warmed_up: whether the gauge is let warm up before it counts.

    Raises:
        ValueError: numbers below 1, or hours or a digit below 0.
    """
    digit = checked_resolution(resolution)
    if placements < 1 or readings < 1 or not (math.isfinite(hours) and hours >= 0):
        raise ValueError("a stage holds placements of at least one reading, and time doesn't run backwards")
    unknown: list[str] = []
    rows = [*_scatter_rows(repeat, study, placements, unknown)]
    rows.append(row(DIGIT, digit / 2, RECTANGULAR, None, "B", sensitivity=math.sqrt(readings)))
    rows += _line_rows(reversal, linearity, readings, unknown)
    if hysteresis is None:
        unknown.append(UNKNOWN_SIDE)
    else:
        note = "none where it is always approached from the same side"
        rows.append(row(OTHER_SIDE, abs(hysteresis.difference.value), RECTANGULAR, None, "B", note=note))
    rows += _rest_rows(rest, hours, warmed_up, unknown)
    bent = linearity is not None and linearity.straight is False
    return GaugeBudget(
        rows=tuple(rows),
        single=combined(rows),
        change=combined(rows, change=True),
        placements=placements,
        zero_error=reversal.zero if reversal is not None else linearity.zero if linearity is not None else None,
        scale_error=None if linearity is None else linearity.scale,
        low=None if linearity is None else linearity.low,
        high=None if linearity is None else linearity.high,
        off_line=abs(linearity.largest.departure) if linearity is not None and bent else 0.0,
        approach=0.0 if hysteresis is None else abs(hysteresis.difference.value),
        unknown=tuple(unknown),
    )


def _scatter_rows(
    repeat: Repeatability | None, study: GaugeStudy | None, placements: int, unknown: list[str]
) -> list[BudgetRow]:
    """Return the row of scatter; the larger number of degrees of freedom never counts where one mean has fewer."""
    if study is not None and study.days is not None:
        one, several = measured(study, 1), measured(study, placements)
        share = 2.0 * several.u**2 / one.u**2 if one.u > 0 else 2.0
        limits = [each.dof for each in (one, several) if each.dof is not None]
        note = "" if study.runs is not None else "runs weeks apart weren't studied"
        u = max(one.u, study.resolution / math.sqrt(12))
        return [row(AGAIN_ANOTHER_DAY, u, NORMAL, min(limits, default=None), "A", in_change=share, note=note)]
    unknown.append(UNKNOWN_DAYS)
    within = study.study if study is not None else None
    if repeat is None and within is None:
        unknown.insert(0, UNKNOWN_REPEAT)
        return []
    # placements that all gave the same stand for a digit's r/√12, and never for nothing
    sds, dofs = ((repeat.sd or repeat.floor_sd,), (repeat.dof,)) if repeat is not None else ((0.0,), (0.0,))
    scatter = pool(sds, dofs, within)
    note = BELOW_DIGIT if repeat is not None and repeat.sd == 0.0 else ""
    return [row(AGAIN, scatter.sd, NORMAL, scatter.dof, "A", in_change=2.0 / placements, note=note)]


def _line_rows(
    reversal: Reversal | None, linearity: Linearity | None, readings: int, unknown: list[str]
) -> list[BudgetRow]:
    """Return the rows of zero, scale and bend."""
    rows = []
    zero = reversal.zero if reversal is not None else linearity.at_centre if linearity is not None else None
    if zero is None:
        unknown.append(UNKNOWN_ZERO)
    elif zero.u is None:
        unknown.append(UNKNOWN_ZERO_U)
    else:
        note = "the same in both readings of a placement" if readings > 1 else ""
        felt = 0.0 if readings > 1 else 1.0
        rows.append(row(ZERO, zero.u, NORMAL, zero.dof, "A", sensitivity=felt, in_change=0.0, note=note))
    if linearity is None or linearity.scale.u is None:
        unknown.append(UNKNOWN_SCALE)
    else:
        origin = 0.0 if reversal is not None else linearity.centre
        far = max(abs(linearity.low - origin), abs(linearity.high - origin))
        scale = linearity.scale
        rows.append(row(SCALE, scale.u or 0.0, NORMAL, scale.dof, "A", sensitivity=far, in_change=0.0))
    if linearity is not None and linearity.straight is False:
        rows.append(row(BENT, abs(linearity.largest.departure), RECTANGULAR, None, "B", in_change=0.0))
    return rows


def _rest_rows(rest: Rest | None, hours: float, warmed_up: bool, unknown: list[str]) -> list[BudgetRow]:
    """Return the rows of wander and warm-up."""
    if rest is None:
        unknown.append(UNKNOWN_REST)
        return []
    rows = []
    if rest.wander_per_root_hour is None or rest.rate_per_hour is None:
        unknown.append(UNKNOWN_WALK)
    else:
        size = math.hypot(rest.wander_per_root_hour * math.sqrt(hours), rest.rate_per_hour.value * hours)
        rows.append(row(WANDER, size, NORMAL, rest.rate_per_hour.dof, "A", in_change=1.0))
    if warmed_up and rest.warm_up_s is not None:
        note = "none, since the gauge is let warm up first"
        rows.append(row(WARM_UP, 0.0, RECTANGULAR, None, "B", note=note))
    elif rest.warm_up_s != 0.0:
        rows.append(row(WARM_UP, abs(rest.warm_up_rise), RECTANGULAR, None, "B"))
    else:
        rows.append(row(WARM_UP, 0.0, RECTANGULAR, None, "B", note="none: within its digit from the start"))
    return rows


def limit_of_error(budget: GaugeBudget, largest_value: float | None = None) -> LimitOfError | None:
    """Return the half-width within which an uncorrected reading is wrong, for where a gauge's accuracy is asked for.

    Formula: a = |zero error| + |scale error| · largest |value| + largest departure (where the references don't lie on a
    line) + |h| of the approach + t_0.975 u, with u of zero and scale together (the rows "zero" and "scale over its
    range", Welch-Satterthwaite). It is then taken as rectangular, a²/3 (GUM 4.3.7), by `compare`.

    When this is wrong: zero and scale of opposite sign partly cancel inside the range, and a is then too large; outside
    the checked range it is too small; an error that is known and as large as a everywhere isn't rectangular, and a²/3
    too small: correct such a gauge, or set its zero. Wander, warm-up and scatter aren't in it; another temperature
    isn't either. Without a check of the scale it covers the zero only (`complete` is False): the datasheet's accuracy,
    where it is larger, is the better one then.

    Args:
        budget: of the gauge.
        largest_value: the largest size of a value that it will read; None takes the checked range's.

    Returns:
        None where no check tells of the zero, or not how well it is known.
    """
    zero = budget.zero_error
    if zero is None or zero.u is None:
        return None
    reach = largest_value
    if reach is None:
        reach = max(abs(budget.low), abs(budget.high)) if budget.low is not None and budget.high is not None else 0.0
    scale = 0.0 if budget.scale_error is None else abs(budget.scale_error.value) * abs(reach)
    # in full, whatever of it drops out of a placement of two readings
    known = [
        Term((each.u * (1.0 if each.source == ZERO else each.sensitivity)) ** 2, each.dof or math.inf)
        for each in budget.rows
        if each.source in (ZERO, SCALE)
    ]
    half = _covering(combine(known)).half_95
    missing = tuple(each for each in (UNKNOWN_SCALE, UNKNOWN_SIDE) if each in budget.unknown)
    total = abs(zero.value) + scale + budget.off_line + budget.approach + half
    return LimitOfError(total, abs(zero.value), scale, budget.off_line, budget.approach, half, not missing, missing)
