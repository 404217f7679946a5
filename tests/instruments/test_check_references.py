"""References as a builder writes them, and a sine bar's angle against an independent calculator of uncertainty."""

from __future__ import annotations

import math

import GTC
import pytest

from gaugelog.errors import GaugelogError
from gaugelog.instruments.check_references import parse_reference, sine_reference
from gaugelog.model.gauge_check import Reference
from gaugelog.model.quantities import Quantity


@pytest.mark.parametrize("text", ["5.00 ± 0.02", "5+-0.02", " 5,00 +/- 0,02 ", "5 deg ± 0.02"])
def test_a_value_and_what_it_may_be_off(text: str) -> None:
    assert parse_reference(text, Quantity.ANGLE, "deg") == Reference(5.0, 0.02)


def test_each_number_may_have_its_own_unit() -> None:
    found = parse_reference("1/4 in ± 0.01 mm", Quantity.LENGTH, "mm")
    assert found == Reference(pytest.approx(6.35), 0.01)
    assert parse_reference("-5 ± 0.1", Quantity.ANGLE, "deg").value == -5.0


@pytest.mark.parametrize("text", ["5", "5 ± 0", "5 ± -0.1", "5 ± x", "± 0.1", "1 ± 2 ± 3", ">5 ± 0.1", ""])
def test_what_is_no_reference_is_refused(text: str) -> None:
    with pytest.raises(GaugelogError):
        parse_reference(text, Quantity.ANGLE, "deg")


@pytest.mark.parametrize("height", [0.0, 10.0, 50.0, 90.0])
def test_a_sine_bar_against_gtc(height: float) -> None:
    """GTC's sensitivities, both off the bad way by the whole: what is left is of second order."""
    found = sine_reference(Reference(height, 0.002), Reference(100.0, 0.01))
    h, length = GTC.ureal(height, 0.002), GTC.ureal(100.0, 0.01)
    angle = GTC.asin(h / length) * (180 / math.pi)
    assert found.value == pytest.approx(GTC.value(angle), rel=1e-12, abs=1e-15)
    worst = abs(GTC.component(angle, h)) + abs(GTC.component(angle, length))
    assert found.may_be_off == pytest.approx(worst, rel=2e-3)


def test_blocks_higher_than_the_bar_are_refused() -> None:
    assert sine_reference(Reference(50.0, 1e-9), Reference(100.0, 1e-9)).value == pytest.approx(30.0)
    with pytest.raises(GaugelogError):
        sine_reference(Reference(99.999, 0.01), Reference(100.0, 0.01))
