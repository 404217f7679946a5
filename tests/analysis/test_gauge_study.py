"""Three levels of a study against the NIST/SEMATECH e-Handbook's own gauge study, and against simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from gauge_oracles import WANTED, assert_plain

from gaugelog.analysis.gauge_budget import NORMAL, combined, row
from gaugelog.analysis.gauge_study import (
    DAYS_BELOW_ZERO,
    ONE_DAY,
    ONE_RUN,
    UNBALANCED,
    Sitting,
    gauge_study,
    measured,
    sittings_of,
)


def sittings(nist, probe: str, wafer: str | None = None) -> list[Sitting]:
    """The handbook's study of one probe: each row is a day's sitting of six repetitions.

    Two rows may share a date (two operators), so days are numbered as they come.
    """
    rows = [r for r in nist("gauge_mpc61") if r["probe"] == probe and wafer in (None, r["wafer"])]
    return [
        Sitting(r["wafer"], r["run"], str(i), float(r["average"]), float(r["stddev"]), 6) for i, r in enumerate(rows)
    ]


def test_one_wafer_of_the_handbook(nist):
    """NIST/SEMATECH e-Handbook 2.4.4.1 to 2.4.4.3."""
    told, case = gauge_study(sittings(nist, "2362", "140")), WANTED["wafer_140"]
    assert told.repeat.dof == case["s1_dof"]
    assert told.repeat.sd == pytest.approx(case["s1"], abs=5e-8)
    assert told.repeat.sd**2 * told.repeat.dof == pytest.approx(case["sum_of_squares"], abs=2e-5)
    assert told.days.sd == pytest.approx(case["s2"], abs=5e-8)
    assert told.days.dof == 10
    assert told.var_days == pytest.approx(case["var_days"], abs=5e-9)
    assert told.sd_days == 0.0
    assert DAYS_BELOW_ZERO in told.warnings
    assert told.runs.sd == pytest.approx(case["s3"], abs=5e-7)
    assert told.runs.dof == case["s3_dof"]
    assert (told.placements_a_day, told.days_a_run, told.runs_an_artefact) == (6.0, 6.0, 2.0)
    assert told.balanced
    assert_plain(told)
    for run, wanted in zip("12", case["s2_runs"], strict=True):
        one = [each for each in sittings(nist, "2362", "140") if each.run == run]
        assert gauge_study(one).days.sd == pytest.approx(wanted, abs=5e-8)


def test_all_wafers_of_the_handbook(nist):
    """NIST/SEMATECH e-Handbook 2.6.3: pooled over five wafers."""
    told, case = gauge_study(sittings(nist, "2362")), WANTED["probe_2362"]
    assert told.artefacts == 5
    assert told.n == 360
    assert told.repeat.sd == pytest.approx(case["s1"], abs=5e-8)
    assert round(told.days.sd, 4) == case["s2_printed"]
    # 0.01965 by the data (numpy agrees), which the handbook prints as 0.0197
    assert told.runs.sd == pytest.approx(case["s3_printed"], abs=6e-5)
    assert (told.repeat.dof, told.days.dof, told.runs.dof) == (case["s1_dof"], case["s2_dof"], case["s3_dof"])


def test_budget_of_the_handbook(nist):
    """NIST/SEMATECH e-Handbook 2.6.3.2: a² = 0, 5/6, 1 and the wiring's 0.1; u 0.0388, nu 42, U95 0.078."""
    case = WANTED["budget_2_6_3"]
    one = measured(gauge_study(sittings(nist, "2362")), placements=6)
    assert one.shares == pytest.approx((0.0, 5 / 6, 1.0), abs=1e-15)
    assert one.missing == ()
    wiring = row(
        "wiring", case["wiring_s"], NORMAL, case["wiring_dof"], "A", sensitivity=math.sqrt(case["wiring_a_squared"])
    )
    told = combined([row("study", one.u, NORMAL, one.dof, "A"), wiring])
    assert round(told.u, 4) == case["u"]
    # the handbook starts from its printed s2 and s3
    assert told.u == pytest.approx(case["u_full"], abs=6e-5)
    assert told.dof == pytest.approx(case["nu"], abs=0.3)
    assert round(told.half_95, 3) == case["half_95_printed"]
    rounded = [
        row("s2", 0.0362, NORMAL, 50, "A", sensitivity=math.sqrt(5 / 6)),
        row("s3", 0.0197, NORMAL, 5, "A"),
        wiring,
    ]
    exact = combined(rounded)
    assert exact.u == pytest.approx(case["u_full"], abs=5e-8)
    assert exact.dof == pytest.approx(case["nu"], abs=5e-3)
    assert exact.half_95 == pytest.approx(case["half_95"], abs=5e-6)


def test_coefficients_are_those_of_the_variance_components(nist):
    """Identity: Σ a_i² s_i² is σ_run²/P + σ_day²/(PM) + σ²/(PMN) wherever none is negative."""
    told = gauge_study(sittings(nist, "2362"))
    for n, m, p in ((1, 1, 1), (3, 1, 1), (6, 2, 1), (10, 3, 2)):
        wanted = told.var_runs / p + told.var_days / (p * m) + told.repeat.sd**2 / (p * m * n)
        assert measured(told, n, m, p).u == pytest.approx(math.sqrt(wanted), rel=1e-12)


def test_negative_components_never_make_a_measurement_better():
    """Where the days' own variance is negative a mean of N placements has at least s1²/N."""
    rows = [("a", run, day, v) for run in "12" for day in "12" for v in (1.0, 1.2, 0.8)]
    told = gauge_study(sittings_of(*zip(*rows, strict=True)))
    assert told.var_days < 0
    assert measured(told, 3).u == pytest.approx(told.repeat.sd / math.sqrt(3))
    assert measured(told, 3).dof == pytest.approx(8)


def simulated(random, j, k, runs, artefacts=1, sds=(0.05, 0.08, 0.03)):
    labels, values = [], []
    for artefact in range(artefacts):
        for run in range(runs):
            at_run = 10.0 * artefact + random.normal(0, sds[2])
            for day in range(k):
                at_day = at_run + random.normal(0, sds[1])
                for _ in range(j if isinstance(j, int) else int(random.integers(*j))):
                    labels.append((str(artefact), str(run), str(day)))
                    values.append(at_day + random.normal(0, sds[0]))
    return sittings_of(*zip(*labels, strict=True), values)


@pytest.mark.parametrize("j", [4, (2, 7)])
def test_components_come_out_as_they_were_put_in(j):
    """Monte Carlo, 300 studies: the means of the own variances are unbiased; unequal numbers are told as such."""
    random = np.random.default_rng(11)
    found = [gauge_study(simulated(random, j, 5, 3, 4)) for _ in range(300)]
    wanted = (0.05**2, 0.08**2, 0.03**2)
    for each, true in zip(
        (
            [f.repeat.sd**2 for f in found],
            [f.var_days for f in found],
            [f.var_runs for f in found],
        ),
        wanted,
        strict=True,
    ):
        assert abs(np.mean(each) - true) < 3 * np.std(each) / math.sqrt(300)
    assert all((UNBALANCED in f.warnings) is (j != 4) for f in found)


def test_a_measurement_is_as_uncertain_as_said():
    """Monte Carlo, 2000 studies of ten runs: the 95 % interval of three placements on one day covers the truth."""
    random, hits = np.random.default_rng(12), 0
    for _ in range(2000):
        told = measured(gauge_study(simulated(random, 2, 3, 6, 2)), placements=3)
        found = random.normal(0, 0.03) + random.normal(0, 0.08) + random.normal(0, 0.05 / math.sqrt(3))
        hits += abs(found) <= told.half_95
    assert 0.93 <= hits / 2000 <= 0.975


def test_what_was_not_studied_is_named():
    one_day = gauge_study(sittings_of(["a"] * 4, ["1"] * 4, ["1"] * 4, [1.0, 1.1, 1.2, 1.1]))
    assert set(one_day.warnings) == {ONE_DAY, ONE_RUN}
    told = measured(one_day, 2)
    assert told.missing == ("days", "runs")
    assert told.u == pytest.approx(one_day.repeat.sd / math.sqrt(2))
    assert_plain(told)
    single = gauge_study(sittings_of(["a"] * 3, ["1"] * 3, ["1", "2", "3"], [1.0, 1.1, 1.3]))
    assert single.study is None
    assert measured(single, 1).u == pytest.approx(single.days.sd)
    assert measured(single, 1).missing == ("placements", "runs")
    assert_plain(single)


def test_what_is_no_study_is_refused():
    with pytest.raises(ValueError):
        gauge_study([])
    with pytest.raises(ValueError):
        gauge_study([Sitting("a", "1", "1", 1.0, None, 1)] * 2)
    with pytest.raises(ValueError):
        Sitting("a", "1", "1", 1.0, None, 2)
    with pytest.raises(ValueError):
        measured(gauge_study([Sitting("a", "1", "1", 1.0, None, 1)]), 1)
    with pytest.raises(ValueError):
        measured(gauge_study([Sitting("a", "1", "1", 1.0, 0.1, 3)]), 0)
    with pytest.raises(ValueError):
        sittings_of(["a"], ["1"], ["1"], [1.0, 2.0])
