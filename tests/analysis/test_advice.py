"""Which gauge can prove what: against the smallest provable shift worked out by hand. Gauges and limits invented."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from gaugelog.analysis.advice import TYPED, AtHand, advice
from gaugelog.analysis.plan import smallest_provable_shift
from gaugelog.analysis.uncertainty import Study
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.kinds import KIND_BY_SLUG
from gaugelog.model.quantities import Quantity

ANGLE = Checkpoint(
    "neck-angle", KIND_BY_SLUG["neck-angle"], Quantity.ANGLE, "deg", "body, then frets", limit=0.3, gauge="level"
)
BASS = Checkpoint(
    "clearance-bass", KIND_BY_SLUG["fret-to-bridge-clearance"], Quantity.LENGTH, "mm", "feelers", limit=0.1, step=0.05
)
WALL = Checkpoint("wall", KIND_BY_SLUG["pocket-wall-squareness"], Quantity.ANGLE, "deg", "wall", gauge="level")
PLAN = Instrument("baritone", (ANGLE, BASS, WALL))
LEVEL = AtHand("level", Quantity.ANGLE, 0.05)
FINE = AtHand("fine", Quantity.ANGLE, 0.01, Study(0.004, 9))
CALIPER = AtHand("caliper", Quantity.LENGTH, 0.01)


def test_each_checkpoint_is_offered_the_gauges_of_its_quantity_best_first() -> None:
    angle, bass = advice(PLAN, (LEVEL, FINE, CALIPER))
    assert [each.gauge.name for each in angle.gauges] == ["fine", "level"]
    assert [each.gauge.name for each in bass.gauges] == ["caliper", TYPED]
    assert [each.planned for each in angle.gauges] == [False, True]
    assert bass.gauges[1].planned


def test_by_hand() -> None:
    """S = r/2, three and three, one reading a placement: A = r²/6 with 4 dof, digits r²/6; t(16) from a table."""
    _, bass = advice(PLAN, (CALIPER,))
    caliper, typed = bass.gauges
    assert caliper.smallest == pytest.approx((1.746 + 1.337) * 0.01 / math.sqrt(3), rel=1e-3)
    assert caliper.proves(0.1)
    assert not typed.proves(0.05)


def test_a_study_of_one_reading_counts_twice_where_body_and_neck_are_read() -> None:
    angle, _ = advice(PLAN, (replace(LEVEL, study=Study(0.1, 20)),))
    twice = smallest_provable_shift(ANGLE, 0.05, 3, Study(0.1 * math.sqrt(2), 20))
    assert angle.gauges[0].smallest == pytest.approx(twice)


def test_what_more_placements_would_do() -> None:
    need = smallest_provable_shift(ANGLE, 0.05, 5)
    angle, _ = advice(replace(PLAN, checkpoints=(replace(ANGLE, limit=need), BASS)), (LEVEL,))
    assert not angle.gauges[0].proves(need)
    assert angle.gauges[0].enough == 5
    hopeless, _ = advice(replace(PLAN, checkpoints=(replace(ANGLE, limit=0.01), BASS)), (LEVEL,))
    assert hopeless.gauges[0].enough is None
    never, _ = advice(replace(PLAN, checkpoints=(replace(ANGLE, placements=1), BASS)), (LEVEL,))
    assert never.gauges[0].smallest is None
