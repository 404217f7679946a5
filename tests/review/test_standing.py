"""How a neck stands by a recording: which snapshot counts, what is known of its gauges, and the builder's own rate.

Every reading and pass here is invented; the recordings are written by the writer of recordings.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from gaugelog.analysis.comparison import GaugeFacts
from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.errors import UnknownStageError
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.typed_placement import typed_placement
from gaugelog.model.clock import Anchor
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.placement import PASS, ZERO, Settled
from gaugelog.model.quantities import Quantity
from gaugelog.review.standing import PassRate, cut_at, gauge_facts, pass_rate, ready_at, setting_of, stood_at, what_if
from gaugelog.store.reader import open_recording
from gaugelog.store.writer import RecordingWriter

PLAN = read_instrument(new_instrument("invented baritone", gauges="none"), "invented.toml")
FIRST = {
    "pocket-wall-squareness": ("90.1", "90.0", "90.1"),
    "neck-angle": ("3.3", "3.3", "3.2"),
    "clearance-bass": ("2.9", "2.9", "2.9"),
    "clearance-treble": ("2.9", "2.9", "2.9"),
    "centreline-bridge": ("0.0", "0.1", "0.0"),
    "end-rise": ("5.0", "5.0", "5.0"),
}
SANDED = FIRST | {
    "neck-angle": ("2.8", "2.8", "2.9"),
    "clearance-bass": ("0.5..0.55", "0.5..0.55", "0.55..0.6"),
    "clearance-treble": ("0.5..0.55", "0.5..0.55", "0.5..0.55"),
    "end-rise": ("4.2", "4.2", "4.3"),
}
SQUARE = NamedGauge("square", parse_gauge("angle-line@typed:", "square"))
DEPTH = NamedGauge("depth", parse_gauge("depth-line@typed:", "depth"), "A1")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "invented.gaugelog"


def take(path: Path, readings: dict[str, tuple[str, ...]], stage: str = "before", *, again: bool = False) -> None:
    """Take a snapshot of typed values; with `again` a new one beside those that are there."""
    with RecordingWriter.open(path, anchor=Anchor(0, 0), command=f"capture {stage}") as writer:
        writer.put_instrument(PLAN)
        snapshot = writer.snapshot(stage, again=again).id
        for time_ns, (name, text) in enumerate((name, text) for name, texts in readings.items() for text in texts):
            point = PLAN.checkpoint(name)
            writer.place(snapshot, typed_placement(point, text, time_ns, Settled.TYPED, point.step or 0.1))
        if len(readings) == len(FIRST):
            writer.complete(snapshot)


# --- which readings count


def test_the_newest_snapshot_of_a_stage_counts(path: Path) -> None:
    take(path, FIRST)
    take(path, SANDED, again=True)
    with open_recording(path) as recording:
        stood = stood_at(recording, PLAN, "before")
        snapshots = recording.snapshots("before")
        assert [each.number for each in snapshots] == [1, 2]
        assert stood.snapshot == snapshots[1]
        assert stood.means["end-rise"].value == pytest.approx(statistics.mean((4.2, 4.2, 4.3)))
        assert stood.setting.figures == setting_of(PLAN, snapshots[1], {}).figures
        earlier = setting_of(PLAN, snapshots[0], {})
        assert earlier.figures["neck_angle"].value > stood.setting.figures["neck_angle"].value + 0.3
        assert stood.setting.stage == "before"


def test_readings_of_an_older_snapshot_are_not_mixed_into_one_that_is_only_begun(path: Path) -> None:
    """Wood has gone between the two: an old clearance beside a new angle would be a neck that never was."""
    take(path, FIRST)
    take(path, {"neck-angle": SANDED["neck-angle"]}, again=True)
    with open_recording(path) as recording:
        stood = stood_at(recording, PLAN, "before")
    assert set(stood.means) == {"neck-angle"}
    assert stood.snapshot.complete_utc_us is None
    angle = statistics.mean((2.8, 2.8, 2.9))
    assert stood.setting.figures["neck_angle"].value == pytest.approx(angle, abs=1e-6)


def test_another_stage_is_another_neck(path: Path) -> None:
    take(path, FIRST, "dry-fit")
    take(path, SANDED, "before")
    with open_recording(path) as recording:
        dry, before = (stood_at(recording, PLAN, stage) for stage in ("dry-fit", "before"))
    assert dry.setting.figures["neck_angle"].value > before.setting.figures["neck_angle"].value + 0.3


def test_a_stage_that_nobody_took_is_an_error_that_names_those_there_are(path: Path) -> None:
    take(path, FIRST)
    with open_recording(path) as recording:
        with pytest.raises(UnknownStageError, match="dry-fit"):
            stood_at(recording, PLAN, "dry-fit")
        with pytest.raises(UnknownStageError, match="befor") as raised:
            ready_at(recording, PLAN, "befor")
    assert "before" in raised.value.hint


def test_a_dropped_placement_counts_no_more(path: Path) -> None:
    take(path, SANDED)
    with RecordingWriter.open(path, anchor=Anchor(0, 0), command="capture before") as writer:
        writer.drop(
            next(place for place, text in enumerate(_texts(SANDED), 1) if text == ("end-rise", "4.3")), "slipped"
        )
    with open_recording(path) as recording:
        stood = stood_at(recording, PLAN, "before")
    assert stood.means["end-rise"].value == pytest.approx(4.2)
    assert stood.means["end-rise"].n == 2


def _texts(readings: dict[str, tuple[str, ...]]) -> list[tuple[str, str]]:
    return [(name, text) for name, texts in readings.items() for text in texts]


# --- what if, the cut, the gate


def test_what_is_assumed_takes_the_place_of_the_readings(path: Path) -> None:
    take(path, SANDED)
    slope = math.tan(math.radians(3.3))
    with open_recording(path) as recording:
        stood = stood_at(recording, PLAN, "before", {"slope": slope})
    angle = stood.setting.figures["neck_angle"]
    assert (angle.value, angle.u) == (pytest.approx(3.3), 0.0)
    assert stood.setting.figures["centreline_offset"].u > 0, "the rest is as read"


def test_a_what_if_needs_no_recording_and_has_no_stage() -> None:
    setting = what_if(PLAN, {"slope": math.tan(math.radians(3.3)), "tilt": 0.0})
    assert setting.stage == ""
    assert setting.figures["neck_angle"].value == pytest.approx(3.3)
    assert setting.figures["plane_height"].u == pytest.approx(0.1 / math.sqrt(12)), "6.0 in the file is read to 0.1"
    assert what_if(replace(PLAN, text=""), {}).figures["plane_height"].u != setting.figures["plane_height"].u


def test_the_cut_and_the_gate_are_of_the_same_newest_snapshot(path: Path) -> None:
    take(path, FIRST)
    with open_recording(path) as recording:
        first = cut_at(PLAN, stood_at(recording, PLAN, "before"), 0.1)
        assert not ready_at(recording, PLAN, "before").ready
    take(path, SANDED, again=True)
    with open_recording(path) as recording:
        then = cut_at(PLAN, stood_at(recording, PLAN, "before"), 0.1)
        assert ready_at(recording, PLAN, "before").ready
    assert first is not None
    assert then is not None
    assert first.needed
    assert first.step == 0.1
    assert not then.needed


# --- gauges


def test_what_is_known_of_a_gauge_is_what_its_datasheet_said_last(path: Path) -> None:
    sheet = find_datasheet("depth-line")
    for accuracy in (0.02, 0.05):
        with RecordingWriter.open(path, anchor=Anchor(0, 0), command="capture") as writer:
            writer.put_gauge(DEPTH, replace(sheet, accuracy=accuracy, text=f"accuracy {accuracy}"))
            writer.put_gauge(replace(DEPTH, identity="B7"), replace(sheet, accuracy=None))
    with open_recording(path) as recording:
        facts = gauge_facts(recording)
    assert facts == {"depth (depth-line, A1)": GaugeFacts(0.05), "depth (depth-line, B7)": GaugeFacts(None)}


# --- the builder's own rate


def sand(path: Path, *events: tuple[str, str, str], gauges: Sequence[NamedGauge] = (SQUARE, DEPTH)) -> None:
    """One sitting at the sanding board: events of (kind, gauge, words)."""
    with RecordingWriter.open(path, anchor=Anchor(0, 0), command="stream") as writer:
        for named in gauges:
            writer.put_gauge(named, find_datasheet(named.gauge.datasheet))
        for time_ns, (kind, gauge, words) in enumerate(events):
            writer.event(kind, gauge, words, time_ns * 10**9)


def passes(gauge: str, unit: str, *values: float) -> list[tuple[str, str, str]]:
    return [(PASS, gauge, f"{value} {unit}") for value in values]


def rate_of(path: Path) -> PassRate | None:
    with open_recording(path) as recording:
        return pass_rate(recording)


def test_the_rate_is_the_median_change_from_pass_to_pass(path: Path) -> None:
    values = (12.00, 12.11, 12.20, 12.80, 12.91)
    sand(path, *passes("depth", "mm", *values))
    found = rate_of(path)
    assert found is not None
    assert found.quantity is Quantity.LENGTH
    assert found.passes == 4
    assert found.per_pass == pytest.approx(statistics.median(after - before for before, after in pairwise(values)))


def test_a_change_counts_whichever_way_the_gauge_runs(path: Path) -> None:
    sand(path, *passes("square", "deg", 88.4, 88.8, 88.5))
    found = rate_of(path)
    assert found is not None
    assert (found.quantity, found.passes) == (Quantity.ANGLE, 2)
    assert found.per_pass == pytest.approx(0.35)


def test_a_zero_parts_the_passes_before_it_from_those_after(path: Path) -> None:
    """From 12.2 to 3.0 no wood went: the gauge was set to zero elsewhere."""
    sand(
        path,
        *passes("depth", "mm", 12.0, 12.1, 12.2),
        (ZERO, "depth", "3.0 mm"),
        *passes("depth", "mm", 3.0, 3.2),
    )
    found = rate_of(path)
    assert found is not None
    assert found.passes == 3
    assert found.per_pass == pytest.approx(0.1)


def test_a_zero_of_another_gauge_parts_nothing(path: Path) -> None:
    sand(
        path,
        *passes("depth", "mm", 12.0, 12.1),
        (ZERO, "square", "88.0 deg"),
        *passes("depth", "mm", 12.2),
    )
    found = rate_of(path)
    assert found is not None
    assert found.passes == 2


def test_another_sitting_begins_anew(path: Path) -> None:
    sand(path, *passes("depth", "mm", 12.0, 12.1, 12.2))
    sand(path, *passes("depth", "mm", 40.0, 40.3))
    found = rate_of(path)
    assert found is not None
    assert found.passes == 3, "from 12.2 to 40.0 is no pass"
    assert found.per_pass == pytest.approx(0.1)


def test_two_gauges_by_turns_don_t_mix(path: Path) -> None:
    depths, angles = (12.0, 12.1, 12.2, 12.3), (88.0, 88.4, 88.8)
    by_turns = [
        event
        for pair in zip(passes("depth", "mm", *depths[:3]), passes("square", "deg", *angles), strict=True)
        for event in pair
    ]
    sand(path, *by_turns, *passes("depth", "mm", depths[3]))
    found = rate_of(path)
    assert found is not None
    assert found.quantity is Quantity.LENGTH, "three changes against two"
    assert found.per_pass == pytest.approx(0.1)
    assert found.passes == 3


@pytest.mark.parametrize("values", [(), (12.0,), (12.0, 12.1)])
def test_fewer_than_two_changes_tell_no_rate(path: Path, values: tuple[float, ...]) -> None:
    sand(path, *passes("depth", "mm", *values))
    assert rate_of(path) is None


def test_passes_that_take_nothing_off_tell_no_rate(path: Path) -> None:
    sand(path, *passes("depth", "mm", 12.0, 12.0, 12.0, 12.1))
    assert rate_of(path) is None


def test_other_events_and_those_of_no_gauge_are_no_passes(path: Path) -> None:
    sand(
        path,
        ("link connected", "depth", ""),
        *passes("depth", "mm", 12.0, 12.1),
        ("link lost", "depth", "cable"),
        *passes("", "mm", 1.0, 2.0, 3.0),
        *passes("depth", "mm", 12.2),
    )
    found = rate_of(path)
    assert found is not None
    assert (found.passes, found.per_pass) == (2, pytest.approx(0.1))


def test_a_pass_marked_in_inches_is_told_in_mm(path: Path) -> None:
    sand(path, *passes("depth", "in", 0.400, 0.404, 0.408))
    found = rate_of(path)
    assert found is not None
    assert found.per_pass == pytest.approx(0.004 * 25.4)


def test_words_that_are_no_value_are_left_out(path: Path) -> None:
    sand(path, *passes("depth", "mm", 12.0), (PASS, "depth", "no reading"), *passes("depth", "mm", 12.1, 12.2))
    found = rate_of(path)
    assert found is not None
    assert (found.passes, found.per_pass) == (2, pytest.approx(0.1))
