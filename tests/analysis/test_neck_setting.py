"""How a neck stands before the glue: uncertainty against GTC and Monte Carlo, adjustment against numpy, its tests."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import GTC
import numpy as np
import pytest
from drawn_neck import (
    FLOATS,
    PLAN,
    READ_U,
    READINGS,
    SIDES,
    STEPS,
    TRUE_UNKNOWNS,
    UNCERTAIN,
    Drawn,
    covariance_of,
    inputs_of,
    lengths_of,
    mean,
    readings_of,
    setting_of,
    with_lengths,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from gaugelog.analysis.least_squares import widening
from gaugelog.analysis.neck_figures import FIGURES
from gaugelog.analysis.neck_rows import UNKNOWNS
from gaugelog.analysis.neck_setting import NO_ROLL_DEG, neck_setting
from gaugelog.analysis.stage_means import StageMean
from gaugelog.analysis.uncertainty import Scatter
from gaugelog.model.instrument import Action, Instrument, Neck
from gaugelog.model.quantities import Quantity


def eliminated(matrix: list[list[Any]], right: list[Any]) -> list[Any]:
    """Solve equations by elimination, in any kind of number; the matrix is positive definite."""
    size = len(right)
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    for pivot in range(size):
        for below in range(pivot + 1, size):
            factor = rows[below][pivot] / rows[pivot][pivot]
            rows[below] = [low - factor * high for low, high in zip(rows[below], rows[pivot], strict=True)]
    found: list[Any] = [0.0] * size
    for place in reversed(range(size)):
        known = sum((rows[place][later] * found[later] for later in range(place + 1, size)), 0.0)
        found[place] = (rows[place][size] - known) / rows[place][place]
    return found


def test_every_figure_has_the_uncertainty_that_gtc_propagates() -> None:
    """GTC (Measurement Standards Laboratory of New Zealand): inputs, normal equations and geometry in its numbers."""
    values, u = inputs_of(PLAN, READINGS)
    weights = np.linalg.inv(covariance_of(values, u, TRUE_UNKNOWNS))
    at = {name: GTC.ureal(values[name], u[name], 7.0 if name in READ_U else math.inf, label=name) for name in values}
    drawn = Drawn(at, UNCERTAIN)
    told = drawn.told()
    weighted = [
        [sum(float(weights[i, j]) * told[j][1][k] for j in range(len(told))) for i in range(len(told))]
        for k in range(len(UNKNOWNS))
    ]
    normal = [
        [sum(weighted[k][i] * told[i][1][m] for i in range(len(told))) for m in range(len(UNKNOWNS))]
        for k in range(len(UNKNOWNS))
    ]
    right = [sum(weighted[k][i] * told[i][2] for i in range(len(told))) for k in range(len(UNKNOWNS))]
    expected = drawn.figures(eliminated(normal, right))
    found, from_few = setting_of(PLAN, READINGS).figures, setting_of(PLAN, READINGS, dof=7.0).figures
    assert set(found) == set(expected) == set(FIGURES)
    for name, estimate in found.items():
        u_gtc = GTC.uncertainty(expected[name])
        assert estimate.value == pytest.approx(GTC.value(expected[name]), abs=1e-6), name
        assert estimate.u == pytest.approx(u_gtc, rel=1e-4), name
        assert min(from_few[name].dof, 1e6) == pytest.approx(min(GTC.dof(expected[name]), 1e6), rel=1e-3), name
        assert 0.9999 * u_gtc < from_few[name].u < 1.15 * u_gtc, "wider for weights that 8 placements told"
        assert estimate.unit == FIGURES[name]


def test_a_mean_weighed_by_estimated_scatters_is_as_unsure_as_meier_says() -> None:
    """P. Meier, Variance of a weighted mean, Biometrics 9 (1953), from memory: (1 + 4 Σ w (1 - w)/(ν W)) / W."""
    variances, dofs = np.array([0.04, 0.09, 0.01]), np.array([4.0, 8.0, 20.0])
    weights = 1 / variances
    total = float(weights.sum())
    shares = weights / total
    meier = (1 + 4 * float((shares * (1 - shares) / dofs).sum())) / total
    parts = [(np.diag(variances * (np.arange(3) == place)), float(dof)) for place, dof in enumerate(dofs)]
    extra = widening(np.ones((3, 1)), np.diag(variances), np.array([[1 / total]]), parts)
    assert 1 / total + float(extra[0, 0]) == pytest.approx(meier)


def redone(draws: Mapping[str, np.ndarray], covariance: np.ndarray, drawn: Drawn) -> dict[str, np.ndarray]:
    """The figures of many necks: each adjusted by numpy's least squares on its own."""
    count = len(next(iter(draws.values())))
    white = np.linalg.inv(np.linalg.cholesky(covariance))
    told = drawn.told()
    rows = np.array([[np.broadcast_to(part, count) for part in row] for _, row, _ in told]).transpose(2, 0, 1)
    said = np.array([np.broadcast_to(value, count) for _, _, value in told]).T
    scale = np.array([1 / 300, 1 / 50, 1, 1, 1, 1 / 300, 1])
    unknowns = (np.linalg.pinv(white @ (rows * scale)) @ (white @ said[:, :, None]))[:, :, 0] * scale
    return drawn.figures(list(unknowns.T))


def test_every_figure_has_the_uncertainty_that_monte_carlo_shows() -> None:
    """All inputs drawn, adjusted again and carried on, 20,000 times: the spread is the u told, within 3 %."""
    rng = np.random.default_rng(686)
    values, u = inputs_of(PLAN, READINGS)
    draws = {name: rng.normal(values[name], u[name], 20_000) for name in values}
    drawn = redone(draws, covariance_of(values, u, TRUE_UNKNOWNS), Drawn(draws, FLOATS))
    found = setting_of(PLAN, READINGS).figures
    for name, estimate in found.items():
        assert estimate.u == pytest.approx(float(np.std(drawn[name])), rel=0.03), name
        assert estimate.value == pytest.approx(float(np.mean(drawn[name])), abs=max(0.05 * estimate.u, 1e-3)), name


def test_a_neck_angle_known_to_a_degree_is_still_a_linear_matter() -> None:
    """Drawn 20,000 times, in mirrored pairs: every u within 3 %, every value within a fortieth of its u.

    But for the millimetres a degree, which change with the angle: x δ/(2 x T + a) = 0.16 u off, and u 3 % small.
    """
    rng = np.random.default_rng(91)
    values, u = inputs_of(PLAN, {"angle": 2.8, "roll-read": 0.5})
    u["angle"] = 1.0
    slips = {name: rng.normal(0.0, u[name], 10_000) for name in values}
    draws = {name: values[name] + np.concatenate([slip, -slip]) for name, slip in slips.items()}
    slope, tilt = (np.tan(np.radians(draws[name])) for name in ("angle", "roll-read"))
    drawn = Drawn(draws, FLOATS).figures([slope, tilt, draws["neck.plane_height"], 0.0, 0.0, 0.0, 0.0])
    means = {"angle": mean(PLAN, "angle", 2.8, 1.0), "roll-read": mean(PLAN, "roll-read", 0.5, READ_U["roll-read"])}
    found = dict(neck_setting(PLAN, means, STEPS).figures)
    assert {"neck_angle", "required_bearing.bass", "angle_window.low", "break_angle"} < set(found)
    bent, drawn_bent = found.pop("mm_per_degree"), drawn["mm_per_degree"]
    assert bent.u == pytest.approx(0.97 * float(np.std(drawn_bent)), rel=0.02)
    assert float(np.mean(drawn_bent)) - bent.value == pytest.approx(0.16 * bent.u, rel=0.1)
    for name, estimate in found.items():
        assert estimate.u == pytest.approx(float(np.std(drawn[name])), rel=0.03), name
        assert estimate.value == pytest.approx(float(np.mean(drawn[name])), abs=0.025 * estimate.u), name


def test_margins_where_bass_and_treble_change_places_are_no_linear_matter() -> None:
    """Both strings want the same height and nobody read the roll: the lower of two is lower than either, by nature.

    The mean of the lesser of two equal normal values lies σ_d/sqrt(2π) below theirs, σ_d that of their difference
    (C. E. Clark, The greatest of a finite set of random variables, Operations Research 9, 1961; from memory). A
    straight line through the middle knows nothing of it: here 0.18 mm off, and u told a third of what it is.
    """
    alike = replace(
        PLAN, neck=replace(PLAN.neck, compensation_treble=4.0, compensation_bass=4.0), action=Action(2.0, 2.0)
    )
    steps = {**STEPS, "neck.compensation_bass": 0.1}
    found = setting_of(alike, {"angle": 2.8}, steps=steps)
    rng = np.random.default_rng(52)
    values, u = inputs_of(alike, {"angle": 2.8})
    u |= {"neck.compensation_bass": 0.1 / math.sqrt(12), "angle": READ_U["angle"]}
    draws = {name: rng.normal(values[name], u[name], 50_000) for name in values}
    unknowns = [np.tan(np.radians(draws["angle"])), np.tan(np.radians(rng.normal(0, NO_ROLL_DEG, 50_000)))]
    drawn = Drawn(draws, FLOATS, action=(2.0, 2.0)).figures([*unknowns, draws["neck.plane_height"], 0, 0, 0, 0])
    for side in SIDES:
        name = f"required_bearing.{side}"
        assert found.figures[name].u == pytest.approx(float(np.std(drawn[name])), rel=0.02)
    margin, drawn_margin = found.figures["travel.margin_low"], drawn["travel.margin_low"]
    apart = float(np.std(drawn["required_bearing.bass"] - drawn["required_bearing.treble"]))
    assert margin.value - float(np.mean(drawn_margin)) == pytest.approx(apart / math.sqrt(2 * math.pi), rel=0.03)
    assert margin.value - float(np.mean(drawn_margin)) == pytest.approx(0.18, abs=0.01)
    assert float(np.std(drawn_margin)) > 1.5 * margin.u


def test_contradicting_readings_are_adjusted_as_numpy_does() -> None:
    """numpy.linalg.lstsq on rows whitened by their own covariance; chi-square against scipy."""
    off = dict(zip(READ_U, (1, -2, 0.5, 1.5, -1, 2, 0.3, -0.7, 1.1, 0.4, -1.2, 0.8, -0.2), strict=True))
    readings = {name: READINGS[name] + off[name] * READ_U[name] for name in READINGS}
    found = setting_of(PLAN, readings)
    values, u = inputs_of(PLAN, readings)
    covariance = covariance_of(values, u, TRUE_UNKNOWNS)
    told = Drawn(values, FLOATS).told()
    rows, said = np.array([row for _, row, _ in told], dtype=float), np.array([value for *_, value in told])
    white = np.linalg.inv(np.linalg.cholesky(covariance))
    expected, squares, *_ = np.linalg.lstsq(white @ rows, white @ said, rcond=None)
    for name, value in zip(UNKNOWNS, expected, strict=True):
        assert found.unknowns[name] == pytest.approx(value, rel=1e-3, abs=2e-5), name
    assert found.p == pytest.approx(stats.chi2.sf(squares[0], len(told) - len(UNKNOWNS)), rel=0.01)
    left_over = dict(zip((name for name, *_ in told), said - rows @ expected, strict=True))
    assert {each.id: each.value for each in found.residuals} == pytest.approx(left_over, abs=2e-4)
    spread = np.linalg.inv(rows.T @ np.linalg.inv(covariance) @ rows)
    assert found.figures["plane_height"].u == pytest.approx(math.sqrt(spread[2, 2]), rel=0.01)


def test_a_height_of_the_bridge_that_both_clearances_share_does_not_average_out() -> None:
    """Two means of one error in common: u² = own²/2 + shared², by hand; in the margin over that height it cancels."""
    flat = replace(PLAN, neck=replace(PLAN.neck, plane_height=None, fretboard_radius=None))
    steps = {"bridge.bearing_low": 0.5, "bridge.saddle_slot_depth": 0.3, "bridge.spacer": 0.2}
    readings = {name: READINGS[name] for name in ("clearance-bass", "clearance-treble")}
    found = setting_of(flat, readings, steps=steps)
    shared = math.sqrt((0.5**2 + 0.3**2 + 0.2**2) / 12)
    bass, treble = (found.figures[f"plane_at_saddle.{side}"] for side in SIDES)
    assert bass.u == pytest.approx(math.hypot(READ_U["clearance-bass"], shared), rel=1e-3)
    assert treble.u == pytest.approx(math.hypot(READ_U["clearance-treble"], shared), rel=1e-3)
    assert found.figures["roll"].u == pytest.approx(math.degrees(math.hypot(0.023, 0.024) / 52), rel=1e-3)
    assert set(found.untold) >= {"slope", "height"}
    assert found.budget["plane_at_saddle.bass"]["bridge.bearing_low"] == pytest.approx(0.5 / math.sqrt(12), rel=1e-3)
    told = setting_of(flat, {**readings, "angle": 2.8}, steps=steps)
    assert abs(told.budget["travel.margin_low"].get("bridge.bearing_low", 0.0)) < 1e-4
    assert told.budget["travel.margin_low"]["bridge.spacer"] == pytest.approx(0.2 / math.sqrt(12), rel=1e-2)


necks = st.fixed_dictionaries(
    {
        "slope": st.floats(-0.03, 0.15),
        "tilt": st.floats(-0.02, 0.02),
        "height": st.floats(1.0, 15.0),
        "underside": st.just(0.0),
        "offset": st.floats(-2.0, 2.0),
        "heading": st.floats(-0.01, 0.01),
        "posts": st.floats(-5.0, 15.0),
    }
)
lengths = st.fixed_dictionaries(
    {
        "bridge.position": st.floats(200.0, 350.0),
        "bridge.string_spread": st.floats(45.0, 75.0),
        "bridge.bearing_low": st.floats(2.0, 20.0),
        "neck.fretboard_radius": st.floats(150.0, 600.0),
        "neck.overhang": st.floats(30.0, 120.0),
        "neck.scale_length": st.floats(600.0, 760.0),
    }
)


@settings(max_examples=20)
@given(truth=necks, given_lengths=lengths)
def test_the_readings_of_a_known_neck_give_that_neck(truth: dict[str, float], given_lengths: dict[str, float]) -> None:
    plan = with_lengths(PLAN, {**given_lengths, "neck.plane_height": truth["height"]})
    found = setting_of(plan, readings_of(truth, lengths_of(plan)))
    for name, value in truth.items():
        assert found.unknowns[name] == pytest.approx(value, abs=1e-8), name
    assert found.untold == ()
    assert found.misfits == ()
    assert found.p == pytest.approx(1.0)
    assert found.figures["plane_height"].value == pytest.approx(truth["height"])
    assert found.figures["centreline_offset"].value == pytest.approx(
        truth["offset"] + truth["heading"] * plan.bridge.position
    )


PLANE_READ = ("angle", "roll-read", "clearance-bass", "clearance-treble", "edge-bass", "edge-treble", "end")
PLANE = Instrument(
    "only what the fret plane asks for, invented",
    tuple(each for each in PLAN.checkpoints if each.id in PLANE_READ),
    neck=Neck(plane_height=6.0, overhang=86.0, fretboard_radius=305.0),
    bridge=replace(PLAN.bridge, bearing_high=None, tail_anchor_x=None, tail_anchor_z=None),
)
PLANE_KEYS = [key for key, value in lengths_of(PLANE).items() if value is not None]


def plane_rows() -> tuple[list[str], np.ndarray, np.ndarray]:
    """Names, rows of T Q h g and covariance of what tells the fret plane."""
    values, u = inputs_of(PLAN, READINGS)
    told = Drawn(values, FLOATS).told()
    places = [place for place, (_, row, _) in enumerate(told) if any(row[:4])]
    covariance = covariance_of(values, u, TRUE_UNKNOWNS)[np.ix_(places, places)]
    return [told[place][0] for place in places], np.array([told[place][1][:4] for place in places]), covariance


def any_day(rng: np.random.Generator, sd: Mapping[str, float] = READ_U) -> tuple[Instrument, dict[str, float]]:
    """The same neck measured anew: every length of the file, every reading, the touching edge, each with its error."""
    slips = {key: rng.normal(0.0, STEPS[key] / math.sqrt(12)) for key in PLANE_KEYS}
    plan = with_lengths(PLANE, {key: lengths_of(PLAN)[key] + slip for key, slip in slips.items()})
    readings = {name: READINGS[name] + rng.normal(0.0, sd[name]) for name in PLANE_READ}
    gap = rng.normal(0.0, 0.05)
    return plan, {name: value + gap * (name in ("edge-bass", "edge-treble", "end")) for name, value in readings.items()}


def test_a_misreading_is_found_as_often_as_baarda_says() -> None:
    """W. Baarda, A testing procedure for use in geodetic networks, 1968 (from memory): at 0.001 a misreading of the
    non-centrality 4.13 is found in 80 %; simulated, 300 times, within three standard errors.
    """
    names, rows, covariance = plane_rows()
    weights = np.linalg.inv(covariance)
    of_residuals = covariance - rows @ np.linalg.inv(rows.T @ weights @ rows) @ rows.T
    place = names.index("edge-bass")
    size_mm = 4.13 / math.sqrt((weights @ of_residuals @ weights)[place, place])
    rng = np.random.default_rng(413)
    found = 0
    for _ in range(300):
        plan, readings = any_day(rng)
        readings["edge-bass"] += size_mm
        found += any(each.id == "edge-bass" for each in setting_of(plan, readings).misfits)
    assert found / 300 == pytest.approx(0.80, abs=3 * math.sqrt(0.8 * 0.2 / 300))


def test_one_misread_edge_is_named_and_nothing_else_first() -> None:
    found = setting_of(PLAN, {**READINGS, "edge-bass": READINGS["edge-bass"] + 1.0})
    assert found.misfits[0].id == "edge-bass"
    assert found.misfits[0].value > 0.5
    assert found.p is not None
    assert found.p < 1e-6
    assert setting_of(PLAN, READINGS).misfits == ()


def test_the_probability_of_the_fit_is_uniform_where_nothing_is_wrong() -> None:
    """Kolmogorov-Smirnov, and 5 % called bad in 5 % of days: the scatter estimated from three placements each, pooled.

    The true neck angle lies within t_0.975 u (scipy) in 95 % of them; without widened readings in 92 %. Were the pooled
    scatters counted as many, 8 % would be called bad (simulated).
    """
    rng = np.random.default_rng(3)
    angle_deg, length_mm = 0.05, 0.05
    sd = {name: angle_deg if name in ("angle", "roll-read") else length_mm for name in PLANE_READ}
    chances, within = [], []
    for _ in range(400):
        plan, readings = any_day(rng, {name: value / math.sqrt(3) for name, value in sd.items()})
        means = {}
        scatters = {
            Quantity.ANGLE: Scatter(angle_deg * math.sqrt(rng.chisquare(4) / 4), 4.0),
            Quantity.LENGTH: Scatter(length_mm * math.sqrt(rng.chisquare(10) / 10), 10.0),
        }
        for name, value in readings.items():
            checkpoint = plan.checkpoint(name)
            scatter = scatters[checkpoint.quantity]
            u = scatter.sd / math.sqrt(3)
            means[name] = StageMean(checkpoint, value, u, u, scatter.dof, 3, 1e-4, scatter)
        found = neck_setting(plan, means, STEPS)
        chances.append(found.p)
        angle = found.figures["neck_angle"]
        within.append(abs(angle.value - 2.8) < stats.t.ppf(0.975, angle.dof) * angle.u)
    assert stats.kstest(chances, "uniform").pvalue > 0.01
    assert float(np.mean(within)) == pytest.approx(0.95, abs=3 * math.sqrt(0.05 * 0.95 / 400))
    assert float(np.mean(np.array(chances) < 0.05)) == pytest.approx(0.05, abs=3 * math.sqrt(0.05 * 0.95 / 400))
