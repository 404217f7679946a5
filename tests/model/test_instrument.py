"""The piece of work, its checkpoints and the two clocks."""

from dataclasses import replace

import pytest

from gaugelog.errors import UnknownCheckpointError, UnknownGaugeError
from gaugelog.model.clock import Anchor
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import Checkpoint, Instrument, NamedGauge
from gaugelog.model.kinds import KIND_BY_SLUG, KINDS
from gaugelog.model.quantities import Quantity

ANGLE = Checkpoint("neck-angle", KIND_BY_SLUG["neck-angle"], Quantity.ANGLE, "deg", "read it")
WALL = replace(ANGLE, id="wall", kind=KIND_BY_SLUG["pocket-wall-squareness"], stages=("before",))
QUICK = replace(ANGLE, id="quick", kind=KIND_BY_SLUG["free"], stages=("before", "wet", "after"))
WORK = Instrument(
    "baritone", (ANGLE, WALL, QUICK), {"angle": NamedGauge("angle", parse_gauge("angle-line@typed:", "angle"))}
)


def test_an_unknown_id_brings_the_nearest():
    with pytest.raises(UnknownCheckpointError) as caught:
        WORK.checkpoint("neckangle")
    assert caught.value.nearest == ("neck-angle",)
    with pytest.raises(UnknownGaugeError) as gauge:
        WORK.gauge("angel")
    assert gauge.value.nearest == ("angle",)
    assert WORK.checkpoint("wall") is WALL


def test_a_stage_of_the_builder_reads_what_before_does_but_the_parts_alone():
    assert [point.id for point in WORK.at_stage("after")] == ["neck-angle", "quick"]
    assert [point.id for point in WORK.at_stage("before")] == ["neck-angle", "wall", "quick"]
    assert [point.id for point in WORK.at_stage("wet")] == ["quick"]
    assert replace(WORK, checkpoints=(ANGLE, WALL)).at_stage("wet") == ()
    assert [point.id for point in WORK.at_stage("a-year-later")] == ["neck-angle", "quick"]


def test_one_placement_while_the_glue_is_open():
    assert (QUICK.wanted_at("before"), QUICK.wanted_at("wet")) == (3, 1)


def test_two_readings_make_a_placement_where_the_body_is_the_reference():
    assert (ANGLE.readings_per_placement, QUICK.readings_per_placement) == (2, 1)
    assert replace(QUICK, reference="flat spot").readings_per_placement == 2


def test_slugs_are_unique_and_parts_alone_are_never_glued():
    assert len(KIND_BY_SLUG) == len(KINDS)
    alone = {kind.slug for kind in KINDS if kind.parts_alone}
    assert alone == {"pocket-wall-squareness", "pocket-floor-tilt", "heel-angle", "block-squareness"}


def test_the_anchor_tells_times_after_and_before_it():
    anchor = Anchor(monotonic_ns=5_000_000_000, utc_us=1_700_000_000_000_000)
    assert anchor.utc_us_of(6_500_000_000) == 1_700_000_001_500_000
    assert anchor.utc_us_of(4_000_000_000) == 1_699_999_999_000_000
