"""Before the work: what can be proven, and what would do better."""

from __future__ import annotations

import math

import pytest

from gaugelog.analysis.plan import better_checkpoint, smallest_provable_shift
from gaugelog.analysis.plan import plan as plan_of
from gaugelog.analysis.uncertainty import Study
from gaugelog.model.instrument import Bridge, Checkpoint, Instrument, Place
from gaugelog.model.kinds import KIND_BY_SLUG
from gaugelog.model.quantities import Quantity


def spot(name: str, kind: str, limit: float, **more) -> Checkpoint:
    quantity = KIND_BY_SLUG[kind].quantity
    return Checkpoint(
        name, KIND_BY_SLUG[kind], quantity, "deg" if quantity is Quantity.ANGLE else "mm", "", limit=limit, **more
    )


ANGLE, ROLL = spot("angle", "neck-angle", 0.05), spot("roll", "neck-roll", 0.05)
BASS, TREBLE = (spot(name, "fret-to-bridge-clearance", 0.3) for name in ("bass", "treble"))


def plan(*checkpoints: Checkpoint, **bridge: float) -> Instrument:
    return Instrument("baritone", checkpoints, bridge=Bridge(**bridge))


def test_smallest_provable_by_hand():
    """With s = r/2, three and three: A = r²/6 with 4 degrees of freedom, digits r²/6; t(16) from a table."""
    r = 0.01
    u, dof = r / math.sqrt(3), (1 / 3) ** 2 / ((1 / 6) ** 2 / 4)
    assert dof == pytest.approx(16)
    assert smallest_provable_shift(BASS, r, 3) == pytest.approx((1.746 + 1.337) * u, rel=1e-3)


def test_more_placements_and_a_study_prove_smaller_shifts():
    three, five = (smallest_provable_shift(ANGLE, 0.05, n) for n in (3, 5))
    assert five < three
    assert smallest_provable_shift(ANGLE, 0.05, 3, Study(0.01, 20)) < three
    assert smallest_provable_shift(ANGLE, 0.05, 3, Study(0.10, 20)) > three
    assert math.isinf(smallest_provable_shift(ANGLE, 0.05, 2))
    assert math.isfinite(smallest_provable_shift(ANGLE, 0.05, 1, Study(0.02, 10)))


def test_a_clearance_at_the_bridge_beats_a_coarse_angle_gauge():
    found = better_checkpoint(plan(ANGLE, BASS, position=300.0), ANGLE, {"angle": 0.05, "bass": 0.02})
    assert found.id == "bass"
    provable = smallest_provable_shift(BASS, 0.02, 3)
    assert found.equivalent == pytest.approx(math.degrees(math.atan(provable / 300.0)))
    assert found.equivalent < 0.05 < smallest_provable_shift(ANGLE, 0.05, 3)
    assert "300 mm" in found.words


def test_the_lever(expected):
    """A clearance that can just prove D tan a is worth a; values of the lever table."""
    table = expected["lever"]
    factor = smallest_provable_shift(BASS, 1.0, 3)
    for degrees, column in ((0.05, "at_0_05_deg"), (0.1, "at_0_1_deg")):
        for lever, worth in zip(table["d_mm"], table[column], strict=True):
            # the clearance gauge whose smallest provable shift is the table's millimetres
            steps = {"angle": 0.5, "bass": worth / factor}
            hopeless = spot("angle", "neck-angle", 0.2)
            found = better_checkpoint(plan(hopeless, BASS, position=float(lever)), hopeless, steps)
            assert found.equivalent == pytest.approx(degrees, abs=0.0002)


def test_its_own_place_counts_before_the_bridges():
    near = spot("bass", "fret-to-bridge-clearance", 0.3, place=Place((150.0, -26.0, 0.0)))
    found = better_checkpoint(plan(ANGLE, near, position=300.0), ANGLE, {"angle": 0.05, "bass": 0.02})
    assert "150 mm" in found.words


def test_roll_by_the_difference_of_two_sides():
    instrument = plan(ROLL, BASS, TREBLE, string_spread=52.0)
    fine = better_checkpoint(instrument, ROLL, {"roll": 0.05, "bass": 0.01, "treble": 0.01})
    provable = smallest_provable_shift(BASS, 0.01, 3)
    assert fine.equivalent == pytest.approx(math.degrees(math.atan(math.sqrt(2) * provable / 52.0)))
    coarse = better_checkpoint(instrument, ROLL, {"roll": 0.05, "bass": 0.1, "treble": 0.1})
    assert coarse.id is None
    assert "finer" in coarse.words


def test_words_where_a_length_or_a_checkpoint_is_missing():
    assert better_checkpoint(plan(ANGLE), ANGLE, {"angle": 0.05}).words.startswith("a fret-to-bridge clearance")
    found = better_checkpoint(plan(ANGLE, BASS), ANGLE, {"angle": 0.05, "bass": 0.02})
    assert (found.id, found.equivalent) == ("bass", None)
    gap = spot("gap", "joint-gap", 0.01)
    assert "finer than 0.05 mm" in better_checkpoint(plan(gap), gap, {"gap": 0.05}).words


def test_nothing_better_is_offered_where_the_limit_can_be_proven():
    easy = spot("angle", "neck-angle", 0.3)
    assert better_checkpoint(plan(easy, BASS, position=300.0), easy, {"angle": 0.05, "bass": 0.02}) is None
    assert better_checkpoint(plan(ANGLE), ANGLE, {}) is None


def test_a_whole_plan():
    wall = spot("wall", "pocket-wall-squareness", 0.1)
    few = spot("few", "joint-gap", 0.3, placements=2)
    rows = plan_of(
        plan(wall, ANGLE, BASS, few, position=300.0), {"wall": 0.05, "angle": 0.05, "bass": 0.02, "few": 0.01}
    )
    assert [row.checkpoint.id for row in rows] == ["wall", "angle", "bass", "few"]
    assert [row.hopeless for row in rows] == [False, True, False, True]
    assert [row.smallest_provable is None for row in rows] == [True, False, False, True]
    assert rows[1].better.id == "bass"
    assert rows[2].better is None
    assert "three placements" in rows[3].better.words
    assert plan_of(plan(ANGLE), {"angle": None})[0].smallest_provable is None


def test_wrong_arguments():
    with pytest.raises(ValueError, match="resolution"):
        smallest_provable_shift(ANGLE, 0.0, 3)
