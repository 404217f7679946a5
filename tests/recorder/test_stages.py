"""Names of stages: the usual ones, the builder's own, and slips of the finger."""

from __future__ import annotations

from pathlib import Path

import pytest

from gaugelog.errors import StageNameError
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.recorder.stages import check_stage

INSTRUMENT = read_instrument(new_instrument("baritone", gauges="none"), "the plan")
NOWHERE = Path("nowhere.gaugelog")


@pytest.mark.parametrize("stage", ["before", "wet", "after", "sanded", "day-2"])
def test_the_usual_stages_and_ones_own_are_taken(stage: str) -> None:
    check_stage(stage, INSTRUMENT, NOWHERE)


@pytest.mark.parametrize("stage", ["After", "befor", "be fore", "afterr", "spot", "", "-"])
def test_slips_and_what_belongs_elsewhere_are_refused(stage: str) -> None:
    with pytest.raises(StageNameError):
        check_stage(stage, INSTRUMENT, NOWHERE)


def test_numbered_stages_are_no_slips_of_each_other(shop) -> None:
    with shop.open("capture day-1") as work:
        work.writer.snapshot("day-1")
    check_stage("day-2", INSTRUMENT, work.writer.path)
    with pytest.raises(StageNameError):
        check_stage("daj-1", INSTRUMENT, work.writer.path)


def test_a_stage_that_the_recording_knows_is_taken_however_alike(shop) -> None:
    with shop.open("capture afters") as work:
        work.writer.snapshot("afters")
    check_stage("afters", INSTRUMENT, work.writer.path)
