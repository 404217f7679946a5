"""Two stages of a recording against each other: which gauge read what, as the recording knows it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.instruments.read import read_instrument
from gaugelog.model.clock import Anchor
from gaugelog.model.gauges import gauge_key, parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.placement import Part, Placement, Role, Settled
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk
from gaugelog.review.comparing import compare_recorded
from gaugelog.store.reader import open_recording
from gaugelog.store.writer import RecordingWriter

WORK = read_instrument(
    """
name = "invented baritone"
[gauges]
cal = "depth-line@typed:"
[[checkpoint]]
id = "end-rise"
kind = "fretboard-end-rise"
limit = 0.5
gauge = "cal"
""",
    "baritone.toml",
)
FIRST = NamedGauge("cal", parse_gauge("depth-line@typed:", "cal"), "A1")
OTHER = NamedGauge("cal", parse_gauge("caliper-polled@typed:", "cal"), "B7")


def placed(text: str, time_ns: int) -> Placement:
    part = Part(
        Role.WHOLE, "cal", float(text), text, "mm", 0.01, 0.0, 15, time_ns - 10, time_ns, (Chunk(time_ns, b"x"),)
    )
    return Placement(
        *("end-rise", Quantity.LENGTH, float(text), text, "mm", 0.01, Settled.STEADY, time_ns, "cal"),
        spread=0.0,
        parts=(part,),
    )


def take(path: Path, stage: str, gauge: NamedGauge, at: int, accuracy: float | None = 0.02) -> None:
    """Take three placements with a gauge; its datasheet gives an accuracy."""
    with RecordingWriter.open(path, anchor=Anchor(0, 0), command="capture") as writer:
        writer.put_gauge(gauge, replace(find_datasheet(gauge.gauge.datasheet), accuracy=accuracy))
        snapshot = writer.snapshot(stage).id
        for place, text in enumerate(("4.20", "4.21", "4.20")):
            writer.place(snapshot, placed(text, at + 1000 * place))
        writer.complete(snapshot)


def compared(path: Path):
    with open_recording(path) as recording:
        [row] = compare_recorded(recording, WORK).checkpoints
    return row


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "baritone.gaugelog"


def u_of_the_same_gauge(folder: Path) -> float:
    """The uncertainty where nothing but the readings counts."""
    path = folder / "same.gaugelog"
    take(path, "before", FIRST, 1000)
    take(path, "after", FIRST, 9000)
    return compared(path).u


def test_another_gauge_under_the_same_short_name_is_another_gauge(path):
    take(path, "before", FIRST, 1000, accuracy=0.02)
    take(path, "after", OTHER, 9000, accuracy=0.04)
    row = compared(path)
    # each limit of error is rectangular, a²/3 (GUM 4.3.7), of its own stage's gauge; one reading a placement
    assert row.u**2 - u_of_the_same_gauge(path.parent) ** 2 == pytest.approx((0.02**2 + 0.04**2) / 3)
    assert "cal (depth-line, A1)" in row.reason
    assert "cal (caliper-polled, B7)" in row.reason


def test_another_gauge_without_accuracy_gets_no_verdict(path):
    take(path, "before", FIRST, 1000)
    take(path, "after", OTHER, 9000, accuracy=None)
    row = compared(path)
    assert row.verdict.value == "no verdict"
    assert "read before by cal (depth-line, A1) and after by cal (caliper-polled, B7)" in row.reason


def test_another_of_the_same_kind_is_told_by_its_identity(path):
    take(path, "before", FIRST, 1000)
    take(path, "after", replace(FIRST, identity="A2"), 9000)
    assert compared(path).u > u_of_the_same_gauge(path.parent)


def test_a_renamed_port_is_the_same_gauge(path):
    take(path, "before", FIRST, 1000)
    moved = replace(FIRST, gauge=parse_gauge("depth-line@serial:PORT2", "cal"))
    take(path, "after", moved, 9000)
    row = compared(path)
    assert row.u == pytest.approx(u_of_the_same_gauge(path.parent))
    assert "A1" not in row.reason


def test_a_datasheet_corrected_in_place_is_the_same_gauge(path):
    take(path, "before", FIRST, 1000, accuracy=None)
    take(path, "after", FIRST, 9000, accuracy=0.03)
    assert compared(path).u == pytest.approx(u_of_the_same_gauge(path.parent))


def test_bytes_read_again_stay_with_the_gauge_that_sent_them(path):
    take(path, "before", FIRST, 1000)
    take(path, "after", OTHER, 9000)
    with RecordingWriter.open(path, anchor=Anchor(0, 0), command="reread") as writer:
        writer.reinterpret(1, placed("4.22", 1000), {"cal": "corrected"})
    with open_recording(path) as recording:
        first = recording.snapshot("before").of("end-rise")[0]
    assert (first.text, first.parts[0].gauge_key) == ("4.22", "cal (depth-line, A1)")


def test_a_key_says_no_more_than_is_known():
    assert gauge_key("cal", "depth-line") == "cal (depth-line)"
