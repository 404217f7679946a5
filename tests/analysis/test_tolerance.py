"""A value against its tolerance: every side, every end, worked out by hand. All values invented."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.analysis.tolerance import mean_value, out_by, placements_out_by
from gaugelog.model.instrument import Checkpoint, Tolerance, ToleranceSide
from gaugelog.model.kinds import KIND_BY_SLUG
from gaugelog.model.placement import Placement, Settled
from gaugelog.model.quantities import Quantity


def _checkpoint(side: ToleranceSide | None, low: float | None = None, high: float | None = None) -> Checkpoint:
    tolerance = None if side is None else Tolerance(side, low, high)
    kind = KIND_BY_SLUG["pocket-wall-squareness"]
    return Checkpoint("wall", kind, Quantity.ANGLE, "deg", "read the wall", nominal=90.0, tolerance=tolerance)


def _placement(value: float | None, low: float | None = None, high: float | None = None) -> Placement:
    return Placement("wall", Quantity.ANGLE, value, "", "deg", 0.05, Settled.TYPED, 0, low=low, high=high)


@pytest.mark.parametrize(
    ("side", "low", "high", "mean", "expected"),
    [
        (ToleranceSide.BOTH, 89.7, 90.3, 90.0, 0.0),
        (ToleranceSide.BOTH, 89.7, 90.3, 90.3, 0.0),
        (ToleranceSide.BOTH, 89.7, 90.3, 89.7, 0.0),
        (ToleranceSide.BOTH, 89.7, 90.3, 95.0, 4.7),
        (ToleranceSide.BOTH, 89.7, 90.3, 89.5, -0.2),
        (ToleranceSide.AT_MOST, None, 0.15, -3.0, 0.0),
        (ToleranceSide.AT_MOST, None, 0.15, 0.25, 0.1),
        (ToleranceSide.AT_LEAST, 2.5, None, 900.0, 0.0),
        (ToleranceSide.AT_LEAST, 2.5, None, 2.1, -0.4),
    ],
)
def test_it_says_how_far_out_and_on_which_side(
    side: ToleranceSide, low: float | None, high: float | None, mean: float, expected: float
) -> None:
    assert out_by(_checkpoint(side, low, high), mean) == pytest.approx(expected, abs=1e-12)


def test_rounding_alone_puts_nothing_out() -> None:
    wall = _checkpoint(ToleranceSide.BOTH, 90.0 - 0.3, 90.0 + 0.3)
    mean = mean_value([_placement(90.1 + 0.2)] * 3)
    assert mean is not None
    assert out_by(wall, mean) == 0.0
    assert out_by(wall, 90.0 + 0.3 + 1e-6) == pytest.approx(1e-6)


def test_without_a_tolerance_or_a_mean_nothing_is_said() -> None:
    assert out_by(_checkpoint(None), 95.0) is None
    assert out_by(_checkpoint(ToleranceSide.BOTH, 89.7, 90.3), None) is None


def test_a_mean_wants_a_value_of_every_placement() -> None:
    assert mean_value([_placement(90.0), _placement(90.1), _placement(90.5)]) == pytest.approx(90.2)
    assert mean_value([]) is None
    assert mean_value([_placement(90.0), _placement(None, low=91.0)]) is None


@given(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3), st.floats(0, 10))
def test_taking_off_what_is_out_brings_it_in(mean: float, low: float, width: float) -> None:
    checkpoint = _checkpoint(ToleranceSide.BOTH, low, low + width)
    out = out_by(checkpoint, mean)
    assert out is not None
    assert out_by(checkpoint, mean - out) == 0.0


@pytest.mark.parametrize(
    ("bounds", "low", "high", "expected"),
    [
        ({"high": 0.05}, None, 0.15, 0.0),
        ({"high": 0.20}, None, 0.15, None),
        ({"low": 0.30}, None, 0.15, 0.15),
        ({"low": 0.30}, 0.2, None, 0.0),
        ({"high": 0.05}, 0.2, 1.5, -0.15),
        ({"low": 0.30}, 0.2, 1.5, None),
    ],
)
def test_a_bound_tells_what_is_true_wherever_behind_it_the_value_lies(bounds, low, high, expected) -> None:
    side = ToleranceSide.BOTH if None not in (low, high) else ToleranceSide.AT_MOST
    found = placements_out_by(_checkpoint(side, low, high), [_placement(None, **bounds)])
    assert found == (None if expected is None else pytest.approx(expected))


def test_without_placements_nothing_is_said() -> None:
    assert placements_out_by(_checkpoint(ToleranceSide.BOTH, 89.7, 90.3), []) is None
