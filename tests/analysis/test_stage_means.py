"""The mean of a checkpoint at one stage, and how sure it is as a value: against GTC."""

from __future__ import annotations

import math
from collections.abc import Sequence

import GTC
import numpy as np
import pytest
from scipy import stats

from gaugelog.analysis.comparison import GaugeFacts
from gaugelog.analysis.stage_means import StageMean, stage_means
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.kinds import KIND_BY_SLUG
from gaugelog.model.placement import KeptPlacement, Placement, Settled, Snapshot
from gaugelog.model.quantities import Quantity


def spot(name: str, kind: str, quantity: Quantity = Quantity.LENGTH, side: str = "") -> Checkpoint:
    unit = "deg" if quantity is Quantity.ANGLE else "mm"
    return Checkpoint(name, KIND_BY_SLUG[kind], quantity, unit, "", side=side)


PLAN = Instrument(
    "invented",
    (
        spot("angle", "neck-angle", Quantity.ANGLE),
        spot("floor", "pocket-floor-tilt", Quantity.ANGLE),
        spot("end", "fretboard-end-rise"),
        spot("edge", "fretboard-edge-height", side="bass"),
        spot("gap", "joint-gap"),
        spot("nut", "nut-to-saddle"),
    ),
)


def placed(
    name: str, value: float | None, step: float, gauge: str | None = None, low: float | None = None, high=None
) -> Placement:
    checkpoint = PLAN.checkpoint(name)
    settled = Settled.TYPED if gauge is None else Settled.STEADY
    return Placement(
        name, checkpoint.quantity, value, str(value), checkpoint.unit, step, settled, 1, gauge, low=low, high=high
    )


def snapshot(*placements: Placement) -> Snapshot:
    kept = (KeptPlacement(place, 1, "before", place, each) for place, each in enumerate(placements, 1))
    return Snapshot(1, "before", 1, 0, None, tuple(kept))


def taken(name: str, values: Sequence[float], step: float, gauge: str | None = None) -> list[Placement]:
    return [placed(name, value, step, gauge) for value in values]


def means(*placements: Placement, **more) -> dict[str, StageMean]:
    return stage_means(PLAN, snapshot(*placements), **more)


ANGLES = (2.80, 2.85, 2.75, 2.80, 2.90)
ENDS = (4.2, 4.3, 4.2, 4.1)


def by_gtc(values: Sequence[float], step: float, readings: int, limit: float) -> GTC.lib.UncertainReal:
    """A mean with type A uncertainty, a digit and a limit of error for each reading, all rectangular."""
    mean = GTC.ta.estimate(values)
    digits = [GTC.ureal(0.0, GTC.tb.uniform(step / 2)) for _ in range(readings)]
    limits = [GTC.ureal(0.0, GTC.tb.uniform(limit)) for _ in range(readings)] if limit else []
    return mean + sum(digits) + sum(limits)


@pytest.mark.parametrize("limit", [None, 0.1])
@pytest.mark.parametrize(("name", "values", "step", "readings"), [("angle", ANGLES, 0.05, 2), ("end", ENDS, 0.1, 1)])
def test_a_mean_is_as_sure_as_gtc_says(
    name: str, values: tuple[float, ...], step: float, readings: int, limit: float | None
) -> None:
    """GTC (Measurement Standards Laboratory of New Zealand): an angle read against the body has two of everything."""
    found = means(*taken(name, values, step, "g"), gauges={"g": GaugeFacts(limit)})[name]
    expected = by_gtc(values, step, readings, limit or 0.0)
    again = by_gtc(values, step, readings, 0.0)
    assert found.value == pytest.approx(GTC.value(expected))
    assert found.u == pytest.approx(GTC.uncertainty(expected), rel=1e-12)
    assert found.dof == pytest.approx(GTC.dof(expected), rel=1e-9)
    assert found.u_again == pytest.approx(GTC.uncertainty(again), rel=1e-12)
    assert (found.n, found.step) == (len(values), step)


def test_scatters_of_one_gauge_and_quantity_are_pooled() -> None:
    """Pooled by numpy: s² = Σ ν s² / Σ ν over both checkpoints."""
    floors = (2.80, 2.80, 2.85)
    found = means(*taken("angle", ANGLES, 0.05, "g"), *taken("floor", floors, 0.05, "g"))
    squares = sum((len(each) - 1) * np.var(each, ddof=1) for each in (ANGLES, floors))
    for name, count in (("angle", 5), ("floor", 3)):
        assert found[name].scatter.sd == pytest.approx(math.sqrt(squares / 6))
        assert found[name].scatter.dof == 6.0
        assert found[name].u ** 2 == pytest.approx(squares / 6 / count + 2 * 0.05**2 / 12)


def test_what_scatters_clearly_more_than_the_others_stands_alone() -> None:
    """F test at 0.90 (scipy.stats): 3 against 9 degrees of freedom."""
    quiet = [value for name in ("edge", "gap", "nut") for value in taken(name, (4.0, 4.1, 4.0, 4.1), 0.1, "g")]
    inner = 0.1 / math.sqrt(12)
    bound = math.sqrt(stats.f.ppf(0.90, 3, 9)) * math.sqrt(4 / 3 * 0.05**2)
    shape = np.array([-1.0, 1.0, -1.0, 1.0]) / np.std([-1, 1, -1, 1], ddof=1)
    noisy = means(*quiet, *taken("end", 4.2 + 1.01 * bound * shape, 0.1, "g"))["end"]
    alike = means(*quiet, *taken("end", 4.2 + 0.99 * bound * shape, 0.1, "g"))["end"]
    assert noisy.scatter.dof == 3.0
    assert noisy.scatter.sd == pytest.approx(1.01 * bound)
    assert alike.scatter.dof == 12.0
    assert alike.scatter.sd < 0.9 * bound
    assert noisy.u > alike.u > inner


def test_a_rule_and_a_feeler_are_not_one_gauge_because_both_were_typed() -> None:
    rule, feeler = taken("nut", (688.0, 689.0, 688.5), 0.5), taken("gap", (0.10, 0.10, 0.15), 0.05)
    found = means(*rule, *feeler, *taken("end", ENDS, 0.1, "g"))
    assert found["gap"].scatter.dof == found["nut"].scatter.dof == 2.0
    assert found["gap"].u == pytest.approx(math.sqrt(np.var((0.10, 0.10, 0.15), ddof=1) / 3 + 0.05**2 / 12))
    together = means(*feeler, *taken("edge", (4.0, 4.05, 4.05), 0.05))
    assert together["gap"].scatter.dof == 4.0


def test_a_feeler_pair_is_a_reading_with_a_step_of_its_whole_width() -> None:
    """0.50 goes and 0.55 doesn't: rectangular over the pair, half width 0.025 (GUM, JCGM 100:2008, 4.3.7)."""
    pairs = [placed("gap", 0.525, 0.01, None, 0.50, 0.55) for _ in range(3)]
    found = means(*pairs)["gap"]
    assert found.step == pytest.approx(0.05)
    assert found.u == pytest.approx(GTC.tb.uniform(0.025))
    assert found.value == pytest.approx(0.525)


def test_one_placement_borrows_the_others_scatter_and_alone_has_half_a_step() -> None:
    alone = means(placed("end", 4.2, 0.1))["end"]
    assert (alone.scatter.sd, alone.scatter.dof) == (0.05, math.inf)
    assert alone.u == pytest.approx(math.hypot(0.05, 0.1 / math.sqrt(12)))
    assert alone.dof == math.inf
    borrowed = means(placed("end", 4.2, 0.1), *taken("edge", ENDS, 0.1))["end"]
    assert borrowed.scatter.sd == pytest.approx(float(np.std(ENDS, ddof=1)))
    assert borrowed.scatter.dof == 3.0
    assert borrowed.n == 1


def test_readings_that_never_differ_are_as_sure_as_a_digit() -> None:
    found = means(*taken("end", (4.2, 4.2, 4.2), 0.1))["end"]
    assert found.u == pytest.approx(0.1 / math.sqrt(12))
    assert found.dof == math.inf


def test_bounds_and_what_was_not_read_have_no_mean() -> None:
    found = means(*taken("end", ENDS, 0.1), *taken("gap", (0.1, 0.1), 0.05), placed("gap", None, 0.05, high=0.05))
    assert set(found) == {"end"}


def test_dropped_placements_do_not_count() -> None:
    wild = KeptPlacement(9, 1, "before", 9, placed("end", 40.2, 0.1), dropped="slipped")
    read = snapshot(*taken("end", ENDS, 0.1))
    kept = Snapshot(1, "before", 1, 0, None, (*read.placements, wild))
    assert stage_means(PLAN, kept)["end"].value == pytest.approx(4.2)


def test_the_limit_of_the_worse_of_two_gauges_counts_and_an_unknown_one_counts_nothing() -> None:
    one, other = placed("end", 4.2, 0.1, "fine"), placed("end", 4.2, 0.1, "coarse")
    known = {"fine": GaugeFacts(0.02), "coarse": GaugeFacts(0.3)}
    found = means(one, other, gauges=known)["end"]
    assert found.u**2 - found.u_again**2 == pytest.approx(0.3**2 / 3)
    typed = means(one, placed("end", 4.2, 0.1), gauges=known)["end"]
    assert typed.u == typed.u_again
