"""A session's stream, marks, events, gaps and rejects, as tables and arrays. All values are invented."""

from __future__ import annotations

import numpy as np
import pytest

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.errors import NothingToDoError, UnknownGaugeError
from gaugelog.model.clock import Anchor
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import Instrument, NamedGauge
from gaugelog.model.placement import Mark, MarkKind, Placement, Settled
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Flag, Heard, Reading, Reject, RejectReason
from gaugelog.store.reader import open_recording
from gaugelog.store.stream import REJECTS_KEPT
from gaugelog.store.writer import RecordingWriter

UTC_US = 1_700_000_000_000_000
SECOND_NS = 10**9


def length(text: str, unit: str, value: float, time_ns: int, flags: Flag = Flag.NONE) -> Heard:
    reading = Reading(time_ns, "depth", Quantity.LENGTH, value, text, unit, 0.01, flags)
    return Heard("depth", Chunk(time_ns, text.encode()), (reading,))


def put_depth(writer: RecordingWriter) -> None:
    writer.put_gauge(NamedGauge("depth", parse_gauge("depth-line@typed:", "depth")), find_datasheet("depth-line"))


def test_each_quantity_has_its_column_and_rows_stand_in_order_of_time(path, begin, heard):
    with begin() as writer:
        put_depth(writer)
        for second in range(3):
            writer.hear(heard("2.85", 1000 * second + 200))
            writer.hear(length("0.11", "in", 2.794, second * SECOND_NS, Flag.LOW_BATTERY))
            writer.keep_up(second * SECOND_NS)
    frame = open_recording(path).readings()
    assert list(frame.columns) == ["time_utc", "gauge", "angle_deg", "length_mm", "flags"]
    assert frame["time_utc"].is_monotonic_increasing
    assert frame["gauge"].tolist() == ["depth", "neck"] * 3
    assert frame["length_mm"].dropna().tolist() == [2.794] * 3
    assert frame["angle_deg"].dropna().tolist() == [2.85] * 3
    assert frame["flags"].tolist() == [1, 0] * 3
    assert list(open_recording(path).readings("neck").columns) == ["time_utc", "gauge", "angle_deg", "flags"]


def test_a_unit_changed_at_the_gauge_is_the_same_length(path, begin):
    with begin() as writer:
        put_depth(writer)
        writer.hear(length("25.40", "mm", 25.4, 0))
        writer.hear(length("1.000", "in", 25.4, SECOND_NS))
    assert open_recording(path).series("depth").value.tolist() == [25.4, 25.4]


def test_a_window_takes_its_start_and_leaves_its_end(path, begin, heard):
    with begin() as writer:
        for second in range(10):
            writer.hear(heard(f"{second}.00", 1000 * second))
            writer.keep_up(second * SECOND_NS)
    recording = open_recording(path)
    assert recording.series("neck", UTC_US + 3_000_000, UTC_US + 6_000_000).value.tolist() == [3.0, 4.0, 5.0]
    by_text = recording.readings(start="2023-11-14 22:13:23", end="2023-11-14T22:13:26Z")
    assert by_text["angle_deg"].tolist() == [3.0, 4.0, 5.0]
    assert recording.readings(start=UTC_US + 60_000_000).empty


def test_a_series_can_be_of_one_command(path, begin, heard):
    begin().finish()
    for number, command in enumerate(("capture before", "clamp")):
        with RecordingWriter.open(path, anchor=Anchor(0, UTC_US + number * 10**9), command=command) as writer:
            writer.put_gauge(NamedGauge("neck", parse_gauge("angle-line@typed:", "neck")), find_datasheet("angle-line"))
            writer.hear(heard(f"{number}.05", 100))
    recording = open_recording(path)
    assert recording.series("neck").value.tolist() == [0.05, 1.05]
    assert recording.series("neck", command="clamp").value.tolist() == [1.05]
    assert [sitting.command for sitting in recording.sittings()] == ["clamp", "capture before", "clamp"]


def test_a_wall_clock_set_back_between_sittings_still_gives_times_in_order(path, begin, heard):
    for utc_us in (UTC_US, UTC_US - 5_000_000):
        with begin(utc_us=utc_us) as writer:
            for place in range(10):
                writer.hear(heard("2.85", place * 1000))
    recording = open_recording(path)
    assert (np.diff(recording.series("neck").utc_us) >= 0).all()
    assert recording.readings()["time_utc"].is_monotonic_increasing
    assert len(recording.readings()) == 20


def test_an_overview_has_the_true_ends_and_a_gap_stays_a_gap(path, begin, heard):
    with begin() as writer:
        for place in range(1000):
            spike = "9.95" if place == 613 else f"2.{place % 10}0"
            late = 60_000 if place >= 500 else 0
            writer.hear(heard(spike, place * 100 + late))
            writer.keep_up((place * 100 + late) * 1_000_000)
        writer.gap("neck", 49_900_000_000, 110_000_000_000, "unplugged")
    overview = open_recording(path).overview("neck", 40)
    assert len(overview.utc_us) <= 42
    assert np.nanmax(overview.high) == 9.95
    assert np.nanmin(overview.low) == 2.0
    assert np.isnan(overview.low).sum() == 1
    assert np.array_equal(np.isnan(overview.low), np.isnan(overview.high))
    silent = overview.utc_us[np.isnan(overview.low)] - UTC_US
    assert 49_900_000 < silent[0] < 110_000_000
    assert (np.diff(overview.utc_us) > 0).all()
    [gap] = open_recording(path).gaps()
    assert (gap.gauge, gap.start_utc_us, gap.reason, gap.fault) == ("neck", UTC_US + 49_900_000, "unplugged", True)


def test_an_unknown_gauge_names_the_near_ones_and_one_never_put_in_is_refused(path, begin, heard):
    with begin() as writer, pytest.raises(ValueError, match="depth"):
        writer.hear(length("1.00", "mm", 1.0, 0))
    with pytest.raises(UnknownGaugeError) as unknown:
        open_recording(path).series("nekc")
    assert unknown.value.nearest == ("neck",)


def test_rejects_are_all_counted_and_the_first_of_them_kept(path, begin):
    with begin() as writer:
        for place in range(REJECTS_KEPT + 500):
            reason = RejectReason.NUMBER if place % 3 else RejectReason.NO_MATCH
            reject = Reject(place * 10**7, b"\xff%d" % place, reason, "found nothing")
            writer.hear(Heard("neck", Chunk(place * 10**7, reject.raw), (reject,)))
            writer.keep_up(place * 10**7)
    counts = open_recording(path).rejects()
    assert {each.reason: each.count for each in counts} == {"no number": 1000, "does not match the pattern": 500}
    assert sum(len(each.kept) for each in counts) == REJECTS_KEPT
    assert counts[0].kept[0].raw == b"\xff0"


def test_marks_stand_in_order_of_their_moment_also_when_set_back(path, begin):
    marks = (Mark(UTC_US + 50, MarkKind.CLAMPS_ON), Mark(UTC_US - 10, MarkKind.GLUE_ON, "label says 8 min"))
    with begin() as writer:
        for mark in marks:
            writer.mark(mark)
        writer.event("link lost", "neck", "cable", 2000)
        writer.event("note", "", "pause", 1000)
        assert writer.marks() == marks[::-1]
    recording = open_recording(path)
    assert recording.marks() == marks[::-1]
    assert [(event.kind, event.gauge, event.words, event.utc_us - UTC_US) for event in recording.events()] == [
        ("note", "", "pause", 1),
        ("link lost", "neck", "cable", 2),
    ]


def test_the_newest_instrument_file_counts_and_the_same_text_is_kept_once(path, begin):
    for text in ('name = "one"', 'name = "one"', 'name = "two"'):
        with begin() as writer:
            writer.put_instrument(Instrument("x", (), text=text))
    assert open_recording(path).instrument_text == 'name = "two"'


def test_a_gauge_with_another_datasheet_text_is_a_new_version_of_the_same_name(path, begin, heard):
    from dataclasses import replace

    with begin() as writer:
        writer.hear(heard("2.85", 100))
        corrected = replace(find_datasheet("angle-line"), text="# corrected")
        writer.put_gauge(NamedGauge("neck", parse_gauge("angle-line@typed:", "neck"), "no. 7"), corrected)
        writer.hear(heard("2.90", 200))
    recording = open_recording(path)
    assert recording.gauges["neck"].datasheet_text == "# corrected"
    assert recording.gauges["neck"].identity == "no. 7"
    assert recording.series("neck").value.tolist() == [2.85, 2.90]


def test_a_clock_that_departs_is_noted_and_one_that_agrees_is_not(path, begin, heard):
    with begin() as writer:
        assert not writer.note_clock(Anchor(SECOND_NS, UTC_US + 1_050_000))
        assert writer.note_clock(Anchor(SECOND_NS, UTC_US + 3_600_000_000))
        assert not writer.note_clock(Anchor(2 * SECOND_NS, UTC_US + 3_601_000_000))
        writer.hear(heard("2.85", 3000))
    assert open_recording(path).series("neck").utc_us.tolist() == [UTC_US + 3_000_000]


def test_a_complete_snapshot_is_added_to_or_begun_again_only_when_asked(path, begin, placement):
    with begin() as writer:
        first = writer.snapshot("after")
        writer.place(first.id, placement())
        writer.complete(first.id)
        with pytest.raises(NothingToDoError, match="the snapshot after is complete"):
            writer.snapshot("after")
        assert writer.snapshot("after", reopen=True).id == first.id
        second = writer.snapshot("after", again=True)
        assert (second.number, second.placements) == (2, ())
        assert writer.snapshot("after").id == second.id, "an unfinished one goes on"
        assert writer.snapshot("after", again=True).number == 3, "unless a new one is asked for"


def test_a_skip_can_be_taken_back(path, begin):
    with begin() as writer:
        snapshot = writer.snapshot("before")
        for reason in ("in the way", "clamp in the way"):
            writer.skip(snapshot.id, "neck-roll", reason)
        writer.skip(snapshot.id, "control", "no room")
        writer.unskip(snapshot.id, "control")
    [skip] = open_recording(path).snapshot("before").skips
    assert (skip.checkpoint, skip.reason) == ("neck-roll", "clamp in the way")


def test_the_table_of_placements_carries_units_and_bounds(path, begin, placement):
    pair = Placement(
        "joint-gap", Quantity.LENGTH, 0.275, "0.25..0.30", "mm", 0.05, Settled.TYPED, 5 * SECOND_NS, low=0.25, high=0.3
    )
    bound = Placement("joint-gap", Quantity.LENGTH, None, "<0.05", "mm", 0.05, Settled.TYPED, 6 * SECOND_NS, high=0.05)
    with begin() as writer:
        snapshot = writer.snapshot("before")
        kept = [writer.place(snapshot.id, each) for each in (placement(), pair, bound)]
        writer.drop(kept[1].id, "wrong feeler")
    frame = open_recording(path).placements()
    assert frame["checkpoint"].tolist() == ["neck-angle", "joint-gap", "joint-gap"]
    assert frame["angle_deg"].dropna().tolist() == [2.85]
    assert frame["length_high_mm"].dropna().tolist() == [0.3, 0.05]
    assert frame["length_mm"].isna().tolist() == [True, False, True]
    assert frame["dropped"].tolist()[1] == "wrong feeler"
    assert not frame["complete"].any()
    assert "angle_low_deg" not in frame.columns


def test_every_reading_again_is_told_with_what_was_before(path, begin, placement):
    with begin() as writer:
        kept = writer.place(writer.snapshot("before").id, placement("2.85"))
        for text in ("28.50", "2.80"):
            writer.reinterpret(kept.id, placement(text), {"neck": f"# gives {text}"})
        with pytest.raises(ValueError, match="other parts"):
            writer.reinterpret(kept.id, Placement(*("x", Quantity.ANGLE, 1.0, "1", "deg", 0.1, Settled.TYPED, 0)), {})
    recording = open_recording(path)
    told = [(each.number, each.before.text, each.after.text) for each in recording.reinterpretations()]
    assert told == [(1, "2.85", "28.50"), (2, "28.50", "2.80")]
    assert recording.reinterpretations()[1].datasheet_texts == {"neck": "# gives 2.80"}
    assert recording.placements()["reinterpreted"].tolist() == [True]
    recording.check()
