"""Snapshots taken through simulated gauges and typed values into a real recording. All values invented."""

from __future__ import annotations

import pytest

from gaugelog.errors import UnknownCheckpointError, ValueTextError
from gaugelog.gauges.motions import Still
from gaugelog.model.placement import Role, Settled
from gaugelog.recorder.snapshotting import SnapshotWork
from gaugelog.store.reader import open_recording

BODY_DEG, NECK_DEG = -1.4, 1.4


def turn(taking: SnapshotWork) -> str | None:
    return taking.current.checkpoint.id if taking.current else None


def counts(taking: SnapshotWork) -> dict[str, int]:
    return {task.checkpoint.id: len(task.taken) for task in taking.tasks}


def take_whole(shop, work, taking: SnapshotWork) -> None:
    while taking.current is not None:
        if turn(taking) == "clearance-bass":
            taking.type_in("0.50..0.55", shop.clock.now_ns())
        elif turn(taking) == "neck-angle":
            shop.set_down(taking.hear, work, BODY_DEG, NECK_DEG)
        else:
            shop.set_down(taking.hear, work, 90.0)


def test_it_moves_on_by_itself_and_completes(shop) -> None:
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before")
        for expected in range(1, 4):
            assert turn(taking) == "neck-angle"
            shop.set_down(taking.hear, work, BODY_DEG, NECK_DEG)
            assert counts(taking)["neck-angle"] == expected
        for _ in range(3):
            assert turn(taking) == "clearance-bass"
            taking.type_in("0.50..0.55", shop.clock.now_ns())
        for _ in range(2):
            assert turn(taking) == "block"
            shop.set_down(taking.hear, work, 90.0)
        assert turn(taking) is None
        assert taking.complete
    with open_recording(shop.recording) as recording:
        snapshot = recording.snapshot("before")
        assert snapshot.complete_utc_us is not None
        taken = [kept.placement for kept in snapshot.placements]
    angles = [placement for placement in taken if placement.checkpoint == "neck-angle"]
    assert [placement.value for placement in angles] == pytest.approx([NECK_DEG - BODY_DEG] * 3, abs=0.051)
    assert all({part.role for part in placement.parts} == {Role.NECK, Role.BODY} for placement in angles)
    assert all(part.raw for placement in angles for part in placement.parts)
    assert {p.settled for p in taken if p.checkpoint == "clearance-bass"} == {Settled.TYPED}


def test_a_gauge_left_standing_is_not_read_at_the_next_checkpoint(shop) -> None:
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before", only=("block", "neck-angle"))
        shop.set_down(taking.hear, work, 90.0, 90.0)
        assert turn(taking) == "neck-angle"
        shop.play(taking.hear, work, Still(90.0), 6.0)
        assert taking.placing_state is not None
        assert taking.placing_state.awaiting_lift
        assert taking.placing_state.body_value is None
        shop.set_down(taking.hear, work, BODY_DEG)
        assert taking.placing_state.body_value == pytest.approx(BODY_DEG, abs=0.051)
        assert counts(taking)["neck-angle"] == 0


def test_a_gauge_lying_about_at_the_start_is_not_read(shop) -> None:
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before", only=("block",))
        shop.play(taking.hear, work, Still(0.3), 6.0)
        assert counts(taking)["block"] == 0
        taking.lifted()
        shop.play(taking.hear, work, Still(90.0), 2.0)
        assert counts(taking)["block"] == 1


def test_a_typed_value_stands_for_a_gauge(shop) -> None:
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before")
        kept = taking.type_in("2.85", shop.clock.now_ns())
        assert (kept.placement.value, kept.placement.settled) == (2.85, Settled.TYPED)
        assert kept.placement.resolution == work.datasheets["angle"].resolution
        with pytest.raises(ValueTextError):
            taking.type_in("about three", shop.clock.now_ns())
        assert counts(taking)["neck-angle"] == 1


def test_the_last_placement_is_dropped_and_its_checkpoint_is_next(shop) -> None:
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before")
        for text in ("2.80", "2.85", "2.80"):
            taking.type_in(text, 0)
        assert turn(taking) == "clearance-bass"
        dropped = taking.drop_last("slipped")
        assert dropped is not None
        assert dropped.placement.text == "2.80"
        assert (turn(taking), counts(taking)["neck-angle"]) == ("neck-angle", 2)
        taking.type_in("2.90", 0)
        assert turn(taking) == "clearance-bass"
    with open_recording(shop.recording) as recording:
        kept = recording.snapshot("before").placements
    assert [(each.placement.text, each.dropped) for each in kept] == [
        ("2.80", None),
        ("2.85", None),
        ("2.80", "slipped"),
        ("2.90", None),
    ]


def test_nothing_taken_nothing_dropped(shop) -> None:
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before")
        assert taking.drop_last("why not") is None
        assert taking.redo("why not") == 0


def test_a_checkpoint_is_redone(shop) -> None:
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before")
        taking.type_in("2.80", 0)
        taking.type_in("2.85", 0)
        assert taking.redo("bumped") == 2
        assert (turn(taking), counts(taking)["neck-angle"]) == ("neck-angle", 0)
    with open_recording(shop.recording) as recording:
        assert {kept.dropped for kept in recording.snapshot("before").placements} == {"bumped"}


def test_a_skip_is_kept_with_its_reason_and_taken_back_by_going_there(shop) -> None:
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before")
        skipped = taking.skip("no flat spot yet")
        assert skipped is not None
        assert (skipped.checkpoint.id, turn(taking)) == ("neck-angle", "clearance-bass")
    with open_recording(shop.recording) as recording:
        (skip,) = recording.snapshot("before").skips
        assert (skip.checkpoint, skip.reason) == ("neck-angle", "no flat spot yet")
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before")
        assert turn(taking) == "clearance-bass"
        taking.go_to("neck-angle")
        assert turn(taking) == "neck-angle"
        with pytest.raises(UnknownCheckpointError):
            taking.go_to("neck-angel")
    with open_recording(shop.recording) as recording:
        assert recording.snapshot("before").skips == ()


def test_going_to_a_checkpoint_of_another_stage_is_refused(shop) -> None:
    with shop.open("capture after") as work, pytest.raises(ValueError, match="not read in this snapshot"):
        SnapshotWork(work, "after").go_to("block")


def test_another_sitting_goes_on_where_the_first_stopped(shop) -> None:
    with shop.open("capture before") as work:
        SnapshotWork(work, "before").type_in("2.80", 0)
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before")
        assert counts(taking)["neck-angle"] == 1
        take_whole(shop, work, taking)
    with open_recording(shop.recording) as recording:
        assert len(recording.snapshots("before")) == 1
        assert len(recording.snapshot("before").placements) == 8
        assert [sitting.command for sitting in recording.sittings()] == ["capture before"] * 2


def test_again_begins_a_new_snapshot_and_the_old_one_stays(shop) -> None:
    with shop.open("capture before") as work:
        take_whole(shop, work, SnapshotWork(work, "before"))
        again = SnapshotWork(work, "before", again=True)
        assert counts(again) == {"neck-angle": 0, "clearance-bass": 0, "block": 0}
        take_whole(shop, work, again)
    with open_recording(shop.recording) as recording:
        assert [len(snapshot.placements) for snapshot in recording.snapshots("before")] == [8, 8]


def test_more_placements_are_added_where_it_was_complete(shop) -> None:
    with shop.open("capture before") as work:
        take_whole(shop, work, SnapshotWork(work, "before"))
        more = SnapshotWork(work, "before", more=2, only=("clearance-bass",))
        assert [task.missing for task in more.tasks] == [2]
        take_whole(shop, work, more)
        assert counts(more) == {"clearance-bass": 5}
    with open_recording(shop.recording) as recording:
        assert len(recording.snapshots("before")) == 1
        assert len(recording.snapshot("before").placements) == 10


def test_only_what_is_named_is_walked_through(shop) -> None:
    with shop.open("capture before") as work:
        assert counts(SnapshotWork(work, "before", only=("block",))) == {"block": 0}
        with pytest.raises(UnknownCheckpointError) as told:
            SnapshotWork(work, "before", only=("blok",))
        assert "block" in f"{told.value} {told.value.hint}"


def test_part_of_a_stage_alone_does_not_complete_its_snapshot(shop) -> None:
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before", only=("clearance-bass",))
        take_whole(shop, work, taking)
    with open_recording(shop.recording) as recording:
        assert recording.snapshots("before")[0].complete_utc_us is None
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before")
        assert counts(taking)["clearance-bass"] == 3
        assert turn(taking) == "neck-angle"


def test_wet_wants_one_placement_of_each_marked_checkpoint(shop) -> None:
    with shop.open("capture wet") as work:
        taking = SnapshotWork(work, "wet")
        assert {task.checkpoint.id: task.wanted for task in taking.tasks} == {"neck-angle": 1, "clearance-bass": 1}
        take_whole(shop, work, taking)
        assert taking.complete
    with open_recording(shop.recording) as recording:
        assert len(recording.snapshot("wet").placements) == 2


def test_a_skip_is_taken_back_by_walking_through_the_checkpoint_again(shop) -> None:
    with shop.open("capture before") as work:
        first = SnapshotWork(work, "before")
        skipped = first.current.checkpoint.id
        first.skip("no room")
        again = SnapshotWork(work, "before", only=(skipped,))
        assert again.current is not None
        assert again.current.checkpoint.id == skipped


def test_any_placement_can_be_dropped_by_its_place(shop) -> None:
    with shop.open("capture before") as work:
        taking = SnapshotWork(work, "before", only=("clearance-bass",))
        for text in ("0.50", "0.90"):
            taking.type_in(text, work.anchor.monotonic_ns)
        assert taking.drop(3, "there is no third") is None
        dropped = taking.drop(2, "a slip of the finger")
        assert dropped is not None
        assert dropped.placement.text == "0.90"
        assert taking.current.values == [0.5]
