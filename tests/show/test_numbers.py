"""Numbers as text, against hand-made cases and the rounding of JCGM 100:2008 (GUM)."""

from __future__ import annotations

import math
from datetime import UTC, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.instruments.typed_placement import typed_placement
from gaugelog.model.instrument import Instrument
from gaugelog.model.placement import Settled
from gaugelog.model.quantities import Quantity
from gaugelog.show import numbers as n

MINUS, GAP = "\u2212", "\u00a0"
A, L = Quantity.ANGLE, Quantity.LENGTH


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        # The four examples of JCGM 100:2008 are from memory; the rest is worked out by hand.
        # JCGM 100:2008, 7.2.6: y = 10,057 62 with u = 0,027 is to be given as 10,058.
        (10.05762, 0.027, "10.058 ± 0.027 mm"),
        # JCGM 100:2008, 7.2.2: m = 100,021 47 with u = 0,35 mg; 7.2.4: ± 0,000 79.
        (100.02147, 0.00035, "100.02147 ± 0.00035 mm"),
        (100.02147, 0.00079, "100.02147 ± 0.00079 mm"),
        # JCGM 100:2008, 7.2.6: 28,05 is rounded down to 28.
        (1234.4, 28.05, "1234 ± 28 mm"),
        # Hand-made: carrying into the next power of ten keeps two digits; hundreds; a zero; a negative value.
        (1.2345, 0.0996, "1.23 ± 0.10 mm"),
        (12345.0, 678.0, "12340 ± 680 mm"),
        (0.004, 0.021, "0.004 ± 0.021 mm"),
        (-0.0004, 0.021, "0.000 ± 0.021 mm"),
        (-0.1, 0.05, f"{MINUS}0.100 ± 0.050 mm"),
    ],
)
def test_a_value_has_the_decimals_at_which_u_has_two_digits(value: float, u: float, expected: str) -> None:
    assert n.uncertain_text(value, u, L) == expected.replace(" mm", GAP + "mm")


def test_degrees_stand_behind_both_numbers_and_a_shift_has_its_sign() -> None:
    assert n.uncertain_text(0.0333, 0.077, A, signed=True) == "+0.033° ± 0.077°"
    assert n.uncertain_text(2.85, 0.0, A) == "2.85° ± 0°"
    assert n.uncertain_text(2.85, 0.0, L).replace(GAP, " ") == "2.85 ± 0 mm"
    assert n.uncertain_text(2.85, None, A) == "2.85°"
    assert n.uncertain_text(-0.0333, 0.077, A, signed=True) == f"{MINUS}0.033° ± 0.077°"


def test_what_is_unknown_is_a_dash_and_an_infinite_u_is_left_out() -> None:
    assert n.uncertain_text(None, None, A) == n.UNKNOWN
    assert n.uncertain_text(0.05, math.inf, A) == "0.05°"
    assert n.probability_text(None) == n.duration_text(None) == n.amount_text(math.inf, A) == n.UNKNOWN


@given(st.floats(1e-6, 1e6))
def test_u_is_told_within_half_a_digit_of_two_digits(u: float) -> None:
    shown = float(n.uncertain_text(0.0, u, L).split("± ")[1].removesuffix(GAP + "mm"))
    assert shown == pytest.approx(u, rel=0.05001)
    digits = f"{shown:.12g}".replace(".", "").strip("0")
    assert len(digits.split("e")[0]) <= 2


@pytest.mark.parametrize(
    ("value", "step", "expected"),
    [
        (2.85, 0.05, "2.85°"),
        (2.825, 0.05, "2.825°"),
        (90.0, 0.05, "90.00°"),
        (3.0, 1.0, "3°"),
        (-0.2, 0.1, f"{MINUS}0.2°"),
    ],
)
def test_a_reading_has_the_decimals_of_its_step_or_one_more_between_two(
    value: float, step: float, expected: str
) -> None:
    assert n.value_text(value, A, step) == expected


def test_a_mean_is_finer_than_a_reading() -> None:
    assert n.mean_text(2.8333, A, 0.05) == "2.833°"
    assert n.mean_text(0.5416, L, 0.05, signed=True) == f"+0.542{GAP}mm"


@pytest.mark.parametrize(
    ("inches", "expected"),
    [(3 / 32, "3/32"), (1.125, "1 1/8"), (0.0, "0"), (-0.25, f"{MINUS}1/4"), (0.4, "≈13/32"), (2.0, "2")],
)
def test_inches_have_a_fraction_to_the_nearest_sixty_fourth(inches: float, expected: str) -> None:
    assert n.fraction_text(inches) == expected


def test_a_length_in_inches_is_told_in_both_ways() -> None:
    # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959).
    assert n.length_text(3 / 32 * 25.4, 0.0254, "in") == f"0.0938{GAP}in{GAP}(3/32)"
    assert n.length_text(2.38, 0.01, "mm") == f"2.38{GAP}mm"
    with pytest.raises(ValueError, match="mm or in"):
        n.value_text(1.0, L, 0.1, "cm")


@pytest.mark.parametrize(
    ("p", "expected"),
    [
        (0.9996, ">99.9"), (0.0004, "<0.1"), (0.96, "96"), (0.9962, "99.6"), (0.004, "0.4"),
        (0.9496, "94.9"), (0.946, "94.6"), (0.95, "95.0"), (0.5, "50"), (0.052, "5.2"), (0.048, "4.8"),
    ],
)  # fmt: skip
def test_a_probability_is_never_rounded_over_the_threshold(p: float, expected: str) -> None:
    assert n.probability_text(p) == f"{expected}{GAP}%"


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [
        (0, "0 s"), (47.4, "47 s"), (59.6, "1 min"), (200, "3 min 20 s"), (3599.7, "1 h 00 min"),
        (7440, "2 h 04 min"), (81180, "22 h 33 min"), (4 * 86400 + 3 * 3600, "4 d 03 h"), (-3, "0 s"),
    ],
)  # fmt: skip
def test_durations(seconds: float, expected: str) -> None:
    assert n.duration_text(seconds).replace(GAP, " ") == expected


def test_counts_and_clock_times() -> None:
    assert n.count_text(0, "gap") == "no gaps"
    assert n.count_text(1, "gap") == "1 gap"
    assert n.count_text(3460000, "reading") == f"3{GAP}460{GAP}000 readings"
    east = timezone(timedelta(hours=2))
    assert n.clock_text(1_773_498_309_000_000, UTC, seconds=True) == "14:25:09"
    assert n.date_text(1_773_498_309_000_000, east) == "2026-03-14 16:25"
    assert n.when_text(1_773_498_309_000_000, 1_773_498_309_000_000 - 86_400_000_000, east) == "03-14 16:25"


@pytest.mark.parametrize(
    ("typed", "units", "expected"),
    [
        ("0.50..0.55", "mm", "0.50..0.55 mm"),
        (">0.30", "mm", ">0.30 mm"),
        ("<0.05", "mm", "<0.05 mm"),
        ("0.5", "mm", "0.50 mm"),
        ("3/32", "mm", "2.38 mm"),
        ("3/32", "in", "0.094 in (3/32)"),
        ("0.020..0.022 in", "in", "0.020..0.022 in"),
        ("-0.15", "mm", f"{MINUS}0.15 mm"),
    ],
)
def test_a_placement_is_told_as_what_it_is(instrument: Instrument, typed: str, units: str, expected: str) -> None:
    point = instrument.checkpoint("clearance-bass")
    placement = typed_placement(point, typed, 0, Settled.TYPED, 0.05)
    assert n.placement_text(placement, units).replace(GAP, " ") == expected


def test_a_step_or_an_uncertainty_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        n.decimals_of_step(0.0)
    with pytest.raises(ValueError, match="above 0"):
        n.decimals_of_u(0.0)
