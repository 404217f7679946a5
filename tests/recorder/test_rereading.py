"""Placements taken through a datasheet with a wrong scale, read again through the corrected one. Values invented."""

from __future__ import annotations

import pytest

from gaugelog.datasheets.read import read_datasheet
from gaugelog.model.placement import Settled
from gaugelog.recorder.rereading import read_again
from gaugelog.recorder.snapshotting import SnapshotWork
from gaugelog.store.reader import open_recording

RIGHT = """
name = "hundredths"
title = "invented gauge, hundredths of a degree without a point"
quantity = "angle"
sends = "steadily"
rate_hz = 10
resolution = 0.05

[framing]
kind = "line"
pattern = '(?P<sign>[+-])(?P<number>\\d+)'
template = "{sign:+>1}{number:0>5}"

[value]
unit = "deg"
sign_field = "sign"
scale = 0.01
"""
WRONG = RIGHT.replace("scale = 0.01", "scale = 0.1").replace("resolution = 0.05", "resolution = 0.5")


@pytest.fixture
def read_wrongly(shop):
    """A recording with one placement read ten times too large, and one typed."""
    shop.use_datasheet("hundredths", WRONG)
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before", only=("block", "clearance-bass"))
        shop.set_down(taking.hear, work, 12.0)
        taking.type_in("12.5", shop.clock.now_ns())
        taking.type_in("0.50", shop.clock.now_ns())
    return shop


def test_the_bytes_give_new_values_and_the_old_ones_stay(read_wrongly) -> None:
    shop = read_wrongly
    right = {"angle": read_datasheet(RIGHT, "hundredths.toml")}
    with shop.open("decode") as work:
        before = open_recording(shop.recording).snapshots("before")
        (again,) = read_again(before, work.instrument, right)
        assert again.differs
        assert again.new is not None
        assert again.old.placement.value == pytest.approx(12.0, abs=0.51)
        assert again.new.value == pytest.approx(again.old.placement.value / 10)
        assert again.new.resolution == 0.05
        assert again.new.settled is Settled.STEADY
        work.writer.reinterpret(again.old.id, again.new, {"angle": RIGHT})
    with open_recording(shop.recording) as recording:
        gauged, typed, feeler = (kept.placement for kept in recording.snapshot("before").placements)
        (kept,) = recording.reinterpretations()
    assert gauged.value == pytest.approx(again.new.value)
    assert (typed.value, feeler.value) == (12.5, 0.5)
    assert "12" in str(kept)


def test_the_same_datasheet_changes_nothing(read_wrongly) -> None:
    with read_wrongly.open("decode") as work:
        snapshots = open_recording(read_wrongly.recording).snapshots("before")
        (again,) = read_again(snapshots, work.instrument, work.datasheets)
        assert not again.differs
        assert again.new == again.old.placement


def test_bytes_that_give_nothing_are_told(read_wrongly) -> None:
    blind = read_datasheet(RIGHT.replace("[+-]", "[=]"), "hundredths.toml")
    with read_wrongly.open("decode") as work:
        snapshots = open_recording(read_wrongly.recording).snapshots("before")
        (again,) = read_again(snapshots, work.instrument, {"angle": blind})
        assert again.new is None
        assert not again.differs


def test_a_checkpoint_gone_from_the_plan_is_left_as_it_is(read_wrongly) -> None:
    text = read_wrongly.path.read_text(encoding="utf-8").replace('id = "block"', 'id = "other"')
    read_wrongly.path.write_text(text, encoding="utf-8")
    with read_wrongly.open("decode") as work:
        snapshots = open_recording(read_wrongly.recording).snapshots("before")
        assert read_again(snapshots, work.instrument, work.datasheets) == ()
