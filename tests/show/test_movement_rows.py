"""The numbers in the rows of a movement: signs, units, and what the plan says as the plan says it. All invented."""

from __future__ import annotations

import math

from typed_neck import broken_words, printed, spaced

from gaugelog.analysis.results import Consequence, Moved, NeckMovement
from gaugelog.show.movement_view import consequence_rows, movement_view

MINUS = "\u2212"
MOVED = NeckMovement(
    components={
        "neck_angle": Moved(-0.31, 0.04, math.inf, "deg", 0.2, 0.12),
        "yaw": None,
        "roll": None,
        "sink": Moved(0.42, 0.05, 20.0, "mm", 0.25, 0.15),
        "sideways": None,
        "slide": None,
    },
    untold=(),
    chi2=0.0,
    dof=0.0,
    p=None,
    residuals=(),
    consequences=(
        Consequence("required_bearing", "bass", "mm", 22.3, 20.9, -1.4, 0.1, math.inf),
        Consequence("action", "treble", "mm", 1.8, 2.1, 0.3, 0.05, math.inf),
        Consequence("scale_length", "", "cents", 0.0, -1.24, -1.24, 0.2, math.inf),
    ),
)


def rows(units: str) -> dict[str, tuple[str, ...]]:
    return {what: tuple(map(spaced, cells)) for what, *cells in consequence_rows(MOVED, units)}


def test_what_the_plan_says_stands_as_the_plan_says_it() -> None:
    assert rows("mm")["string must bear, bass"][0] == "22.3 mm"
    assert rows("in")["string must bear, bass"][0] == f"{22.3 / 25.4:.3f} in"
    assert rows("in")["action at the 12th, treble"][0] == "0.071 in"


def test_a_change_has_its_sign_and_the_95_percent_of_a_normal_distribution() -> None:
    """1.960 is in any table of it."""
    assert rows("mm")["string must bear, bass"][2] == f"{MINUS}1.40 ± 0.20 mm"
    assert rows("mm")["action at the 12th, treble"][2] == "+0.300 ± 0.098 mm"


def test_cents_have_the_same_minus_as_every_number() -> None:
    assert rows("mm")["scale length"] == ("0", f"{MINUS}1.2", f"{MINUS}1.2 ± 0.4 cents")


def test_no_word_is_broken_at_any_width() -> None:
    words = "neck angle sink down into the body string must bear, bass action at the 12th, treble scale length provable"
    for width in range(60, 110):
        page = printed(movement_view(MOVED), width)
        assert broken_words(words, page, width) == []
        assert max(map(len, page.splitlines())) <= width
