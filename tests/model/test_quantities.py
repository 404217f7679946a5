"""Units against their published definitions."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.errors import UnitMismatchError
from gaugelog.model.quantities import Quantity, base_unit, find_unit

# Inch: 25.4 mm exactly (international yard and pound agreement, 1959; NIST SP 811, appendix B.8).
# Minute of arc: (1/60) degree (SI Brochure, table 8; NIST SP 811, table 6).
PUBLISHED = [
    ("in", Quantity.LENGTH, 1, 25.4),
    ("in", Quantity.LENGTH, 27, 685.8),
    ("cm", Quantity.LENGTH, Fraction("68.6"), 686.0),
    ("m", Quantity.LENGTH, Fraction("0.686"), 686.0),
    ("arcmin", Quantity.ANGLE, 60, 1.0),
    ("arcmin", Quantity.ANGLE, 3, 0.05),
    ("deg", Quantity.ANGLE, Fraction("2.85"), 2.85),
    # Second of arc: (1/60)'; radian: 180/pi degrees (SI Brochure, table 8); the last bit is that of math.degrees.
    ("arcsec", Quantity.ANGLE, 9, 0.0025),
    ("arc second", Quantity.ANGLE, 3600, 1.0),
    ("rad", Quantity.ANGLE, 1, math.degrees(1)),
    ("radian", Quantity.ANGLE, Fraction(1, 2), math.degrees(0.5)),
    # Foot: 0.3048 m exactly (international yard and pound agreement, 1959; NIST SP 811, appendix B.8).
    ("ft", Quantity.LENGTH, 2, 609.6),
    ("foot", Quantity.LENGTH, Fraction(1, 12), 25.4),
    # t/°C = (t/°F - 32)/1.8 (NIST SP 811, appendix B.9), at the ice point, the steam point and where the scales meet.
    ("degF", Quantity.TEMPERATURE, 32, 0.0),
    ("degF", Quantity.TEMPERATURE, 212, 100.0),
    ("degF", Quantity.TEMPERATURE, -40, -40.0),
    # Triple point of water and melting point of gallium, ITS-90 (in °C: values from memory).
    ("degF", Quantity.TEMPERATURE, Fraction("32.018"), 0.01),
    ("degF", Quantity.TEMPERATURE, Fraction("85.57628"), 29.7646),
]


@pytest.mark.parametrize(("unit", "quantity", "written", "base"), PUBLISHED)
def test_conversion_gives_the_published_value_to_the_last_bit(unit, quantity, written, base):
    assert find_unit(unit, quantity).to_base(Fraction(written)) == base


def test_a_step_of_a_fahrenheit_thermometer_has_no_offset():
    assert find_unit("°F", Quantity.TEMPERATURE).step_to_base(Fraction(9)) == 5.0


@given(st.sampled_from(["mm", "in", "cm", "m", "ft"]), st.fractions(-1000, 1000, max_denominator=10**6))
def test_from_base_undoes_to_base(name, number):
    unit = find_unit(name, Quantity.LENGTH)
    assert unit.from_base(unit.to_base(number)) == pytest.approx(float(number), rel=1e-14, abs=1e-14)


@pytest.mark.parametrize("written", ['"', "″", "Inch", " inches ", "IN"])
def test_inch_goes_by_several_names(written):
    assert find_unit(written, Quantity.LENGTH).name == "in"


@pytest.mark.parametrize("quantity", list(Quantity))
def test_the_base_unit_changes_nothing(quantity):
    assert base_unit(quantity).to_base(Fraction("0.35")) == 0.35
    assert base_unit(quantity).name == quantity.base_unit


def test_a_unit_of_another_quantity_is_refused_with_those_that_fit():
    with pytest.raises(UnitMismatchError) as caught:
        find_unit("mm", Quantity.ANGLE)
    assert caught.value.wanted == ("deg", "arcmin", "arcsec", "rad")
