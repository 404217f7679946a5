"""The movement of the neck: recovered from synthetic shifts, with the right coverage, honest about what isn't told."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gaugelog.analysis.least_squares import adjust
from gaugelog.analysis.movement import DIRECTIONS, Observed, fit_movement
from gaugelog.analysis.sensing import LengthSensor, Sensor, SlopeSensor, TurnSensor, rotation
from gaugelog.analysis.student import t_quantile

ANGLE_DEG = 2.85
T = math.tan(math.radians(ANGLE_DEG))
ALONG = (math.cos(math.radians(ANGLE_DEG)), 0.0, math.sin(math.radians(ANGLE_DEG)))
NORMAL = (-ALONG[2], 0.0, ALONG[0])
X_B, W, Z_B = 266.0, 26.0, 22.0
UP, ACROSS = (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)


def full_design() -> dict[str, tuple[Sensor, bool]]:
    """Every kind of checkpoint that feels the neck, on an invented 686 mm baritone."""
    nut, saddle = np.array([-480.0, 0.0, -18.0]), np.array([X_B, 0.0, Z_B])
    back = tuple((nut - saddle) / np.linalg.norm(nut - saddle))
    design: dict[str, tuple[Sensor, bool]] = {
        "neck-angle": (SlopeSensor(ALONG, (1.0, 0.0, 0.0)), True),
        "neck-roll": (SlopeSensor(ACROSS, ACROSS), True),
        "end-rise": (LengthSensor((62.0, 0.0, 4.0), UP, UP, False), False),
        "centreline-bridge": (LengthSensor((X_B, 0.0, Z_B), ACROSS, ACROSS), False),
        "centreline-cavity": (LengthSensor((110.0, 0.0, 12.0), ACROSS, ACROSS), False),
        "nut-to-saddle": (LengthSensor(tuple(nut), back, back, False), False),
    }
    for side, sign in (("bass", -1), ("treble", 1)):
        design[f"clearance-{side}"] = (LengthSensor((X_B, sign * W, Z_B), NORMAL, UP), False)
        for place in (8.0, 55.0):
            design[f"edge-{place:g}-{side}"] = (LengthSensor((place, sign * 28.0, 6.0), UP, UP, False), False)
    return design


def observe(
    design: dict[str, tuple[Sensor, bool]],
    movement: np.ndarray,
    errors: dict[str, float],
    sd: float = 0.03,
    dof: float = math.inf,
) -> list[Observed]:
    observed = []
    for name, (sensor, is_angle) in design.items():
        exact = sensor.change(movement) * (180 / math.pi if is_angle else 1.0)
        observed.append(Observed(name, sensor, exact + errors.get(name, 0.0), is_angle, sd**2, dof, 0.0, "all"))
    return observed


def a_movement(rng: np.random.Generator) -> np.ndarray:
    return np.concatenate([rng.normal(0, 0.2, 3), np.radians(rng.normal(0, 0.15, 3))])


@pytest.mark.parametrize(
    ("sensor", "row"),
    [
        (LengthSensor((X_B, W, Z_B), NORMAL, UP), [-T, 0, 1, W, -(X_B + Z_B * T), W * T]),
        (LengthSensor((X_B, -W, Z_B), NORMAL, UP), [-T, 0, 1, -W, -(X_B + Z_B * T), -W * T]),
        (LengthSensor((40.0, 28.0, 6.0), UP, UP, False), [0, 0, 1, 28, -40, 0]),
        (LengthSensor((X_B, 0.0, Z_B), ACROSS, ACROSS), [0, 1, 0, -Z_B, 0, X_B]),
        (SlopeSensor(ALONG, (1.0, 0.0, 0.0)), [0, 0, 0, 0, -1, 0]),
        (SlopeSensor(ACROSS, ACROSS), [0, 0, 0, 1, 0, 0]),
        (TurnSensor((0.0, 0.0, 2.0)), [0, 0, 0, 0, 0, 1]),
    ],
)
def test_rows_are_those_of_the_table_and_the_derivative_of_the_exact_reading(sensor: Sensor, row: list[float]) -> None:
    """The rows are written out here by hand from the geometry; the derivative is taken by central differences."""
    assert sensor.row() == pytest.approx(row, abs=1e-9)
    step = 1e-6
    numeric = [(sensor.change(step * unit) - sensor.change(-step * unit)) / (2 * step) for unit in np.eye(6)]
    assert sensor.row() == pytest.approx(numeric, abs=1e-5)


def test_rotation_is_that_of_an_independent_library() -> None:
    rng = np.random.default_rng(1)
    for turn in rng.normal(0, 1, (50, 3)):
        assert rotation(turn) == pytest.approx(Rotation.from_rotvec(turn).as_matrix(), abs=1e-12)
    assert (rotation(np.zeros(3)) == np.eye(3)).all()


def test_a_movement_of_points_is_the_one_that_rigid_alignment_finds() -> None:
    """Points of the neck moved and aligned by scipy's Rotation; here the same points read along three axes."""
    rng = np.random.default_rng(2)
    points = rng.normal(0, 80, (8, 3))
    movement = np.concatenate([rng.normal(0, 0.3, 3), np.radians(rng.normal(0, 0.2, 3))])
    moved = points @ rotation(movement[3:]).T + movement[:3]
    aligned, _ = Rotation.align_vectors(moved - moved.mean(0), points - points.mean(0))
    design = {
        f"{place}{axis}": (LengthSensor(tuple(point), tuple(along), tuple(along), False), False)
        for place, point in enumerate(points)
        for axis, along in enumerate(np.eye(3))
    }
    fit = fit_movement(observe(design, movement, {}, sd=1e-4))
    assert fit.movement[3:] == pytest.approx(aligned.as_rotvec(), abs=1e-9)
    assert fit.movement == pytest.approx(movement, abs=1e-9)


def test_the_adjustment_is_that_of_numpy_and_of_a_correlated_case_worked_by_inversion() -> None:
    rng = np.random.default_rng(3)
    rows, values = rng.normal(0, 1, (9, 4)), rng.normal(0, 1, 9)
    root = rng.normal(0, 0.3, (9, 9)) + np.eye(9)
    covariance = root @ root.T
    found = adjust([str(i) for i in range(9)], rows, values, covariance, np.ones(4))
    lower = np.linalg.cholesky(covariance)
    plain, chi2, _, _ = np.linalg.lstsq(np.linalg.solve(lower, rows), np.linalg.solve(lower, values), rcond=None)
    assert found.unknowns == pytest.approx(plain)
    assert found.chi2 == pytest.approx(float(chi2[0]))
    assert found.covariance == pytest.approx(np.linalg.inv(rows.T @ np.linalg.inv(covariance) @ rows))
    assert sum(each.redundancy for each in found.residuals) == pytest.approx(found.dof)


def test_a_large_movement_is_fitted_to_the_exact_readings() -> None:
    movement = np.array([1.5, -1.0, 0.8, *np.radians([1.0, -4.0, 2.0])])
    fit = fit_movement(observe(full_design(), movement, {}, sd=0.01))
    assert fit.rounds > 1
    assert fit.movement == pytest.approx(movement, abs=1e-6)
    assert fit_movement(observe(full_design(), movement / 40, {})).rounds == 1


@pytest.mark.parametrize("placements", [3, 5])
def test_what_it_says_of_its_uncertainty_is_true_over_a_thousand_designs(placements: int) -> None:
    rng = np.random.default_rng(placements)
    inside = {68: 0, 95: 0}
    judged, rejected, told = 0, 0, 0
    for _ in range(1000):
        design = {name: each for name, each in full_design().items() if rng.random() < 0.9}
        movement, sd = a_movement(rng), rng.uniform(0.01, 0.06)
        dof = 2.0 * (placements - 1) * len(design)
        scale = sd * math.sqrt(2 / placements)
        guessed = scale * math.sqrt(rng.chisquare(dof) / dof)
        errors = {name: rng.normal(0, scale) for name in design}
        fit = fit_movement(observe(design, movement, errors, guessed, dof))
        for name, (direction, _) in DIRECTIONS.items():
            estimate = fit.component(name)
            if estimate is not None and estimate.u < 1.0:
                off = abs(estimate.value - float(np.dot(direction, movement))) / estimate.u
                inside[68] += off <= float(t_quantile(0.841345, estimate.dof))
                inside[95] += off <= float(t_quantile(0.975, estimate.dof))
                told += 1
        if fit.p is not None:
            judged += 1
            rejected += fit.p < 0.05
    assert told > 5000
    assert inside[68] / told == pytest.approx(0.683, abs=0.02)
    assert inside[95] / told == pytest.approx(0.95, abs=0.012)
    assert rejected / judged == pytest.approx(0.05, abs=0.02)


def test_a_misreading_is_named_as_often_as_the_theory_says() -> None:
    """Noncentral w-test: |w| > 3.29 with power Φ(δ - 3.29), δ = misreading x sqrt(redundancy) / its own sd."""
    rng = np.random.default_rng(5)
    design, sd, name = full_design(), 0.03, "edge-55-bass"
    redundancy = next(
        r.redundancy for r in fit_movement(observe(design, np.zeros(6), {}, sd)).residuals if r.id == name
    )
    wrong = 4.13 * sd / math.sqrt(redundancy)
    found = 0
    for _ in range(1500):
        errors = {each: rng.normal(0, sd) for each in design}
        errors[name] += wrong
        fit = fit_movement(observe(design, a_movement(rng), errors, sd))
        found += any(each.id == name for each in fit.misfits)
    assert found / 1500 == pytest.approx(0.80, abs=0.04), "Baarda: 80 % at a noncentrality of 4.13"


def test_what_nothing_checks_is_called_so() -> None:
    design = full_design()
    without = {name: each for name, each in design.items() if not name.startswith("centreline-cavity")}
    residuals = {each.id: each for each in fit_movement(observe(without, np.zeros(6), {})).residuals}
    assert residuals["centreline-bridge"].unchecked
    assert residuals["nut-to-saddle"].unchecked
    assert not residuals["edge-55-bass"].unchecked


def test_a_movement_that_nothing_feels_is_not_told() -> None:
    design = {
        name: each for name, each in full_design().items() if "centreline" not in name and name != "nut-to-saddle"
    }
    fit = fit_movement(observe(design, np.zeros(6), {}))
    assert fit.component("sideways") is None
    for name, least in (("yaw", 1.0), ("slide", 1.0)):
        weak = fit.component(name)
        assert weak is None or weak.u > least, "felt only through the slope of the fret plane"
    one_line = {**design, "centreline-bridge": full_design()["centreline-bridge"]}
    fit = fit_movement(observe(one_line, np.zeros(6), {}))
    sideways = fit.component("sideways")
    assert sideways is None or sideways.u > 1.0
    at_bridge = fit.of(np.array([0, 1, 0, -Z_B, 0, X_B], dtype=float), "mm")
    assert at_bridge is not None
    assert at_bridge.u < 0.05, "where the centreline ends up at the bridge can be told all the same"


def test_a_shared_zero_hides_in_the_turn_and_is_counted() -> None:
    angles = {name: (SlopeSensor(ALONG, (1.0, 0.0, 0.0)), True) for name in ("at-fret-3", "at-fret-9", "at-fret-15")}
    plain = observe(angles, np.zeros(6), {}, sd=0.02)
    shared = [replace(each, zero="body", zero_variance=0.03**2) for each in plain]
    alone = fit_movement(plain).component("neck_angle")
    with_zero = fit_movement(shared).component("neck_angle")
    assert alone is not None
    assert with_zero is not None
    assert alone.u == pytest.approx(0.02 / math.sqrt(3))
    assert with_zero.u == pytest.approx(math.hypot(0.02 / math.sqrt(3), 0.03))


def test_nothing_observed_and_no_variance_are_wrong_arguments() -> None:
    with pytest.raises(ValueError, match="nothing"):
        fit_movement([])
    with pytest.raises(ValueError, match="positive definite"):
        fit_movement(observe(full_design(), np.zeros(6), {}, sd=0.0))
