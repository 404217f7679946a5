"""A clamp session logged elsewhere, brought in from a table; invented values."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from gaugelog.store.reader import open_recording

ROWS = """time,gauge,value,unit
# invented
0.0,neck,2.80,deg
0.5,body,0.10,deg
1.0,neck,2.85,deg
1.5,mark,glue on
2.0,neck,2.80
2.5,mark,"rain, and the stove is lit"
3.0,mark,clamps on
3.0,neck,2.90,deg
4.0,neck,3.00,deg
"""


@pytest.fixture
def bring(run, tmp_path: Path):
    """A function that brings a table in, in a folder with an instrument file for two gauges."""
    assert run("new", "baritone", "--gauges", "two").status == 0

    def call(text: str | bytes, name: str = "session.csv"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return run("clamp", "--from", name)

    return call


def test_readings_marks_and_notes_are_kept_as_they_stand(bring, run, tmp_path: Path) -> None:
    ran = bring(ROWS)
    assert ran.status == 0, ran.err
    with open_recording(tmp_path / "baritone.gaugelog") as kept:
        neck = kept.series("neck", command="clamp")
        assert neck.value.tolist() == [2.80, 2.85, 2.80, 2.90, 3.00]
        assert ((neck.utc_us - neck.utc_us[0]) / 1e6).tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
        assert kept.series("body", command="clamp").value.tolist() == [0.10]
        marks = kept.marks()
        assert [(mark.kind.value, mark.words) for mark in marks] == [
            ("glue on", ""),
            ("note", "rain, and the stove is lit"),
            ("clamps on", ""),
        ]
        assert [(mark.utc_us - neck.utc_us[0]) / 1e6 for mark in marks] == [1.5, 2.5, 3.0]
        assert kept.gauges["neck"].resolution == 0.05
        assert kept.gauges["neck"].address == "table:session.csv"
    phases = [phase["name"] for phase in run("drift", "--json").document["series"][0]["phases"]]
    assert phases == ["dry fit", "glue open", "in clamps"]


def test_dates_are_moments_of_their_own(bring, tmp_path: Path) -> None:
    ran = bring("2026-03-14T14:25:09+00:00;neck;2,80;deg\n2026-03-14T14:25:10.5Z;neck;2,85;deg\n")
    assert ran.status == 0, ran.err
    with open_recording(tmp_path / "baritone.gaugelog") as kept:
        times = kept.series("neck", command="clamp").utc_us
    moment = datetime(2026, 3, 14, 14, 25, 9, tzinfo=UTC)
    assert times.tolist() == [round(moment.timestamp() * 1e6), round(moment.timestamp() * 1e6) + 1_500_000]


def test_damaged_rows_are_named_and_the_rest_is_kept(bring, tmp_path: Path) -> None:
    bad = [
        "5.0,neck,half,deg",
        "later,neck,2.8,deg",
        "5.5,neck",
        "6.0,neck,2.8,mm",
        "6.5,neck,nan,deg",
        "2026-03-14,neck,2.8",
        "7,neck,2,8,deg",
    ]
    ran = bring(ROWS + "\n".join(bad) + "\n8.0,neck,2.75,deg\n")
    assert ran.status == 0
    for number in range(12, 12 + len(bad)):
        assert f"row {number}:" in ran.err
    assert f"{len(bad)} rows were left out" in ran.err
    with open_recording(tmp_path / "baritone.gaugelog") as kept:
        assert kept.series("neck", command="clamp").value.tolist() == [2.80, 2.85, 2.80, 2.90, 3.00, 2.75]


def test_a_gauge_that_the_file_does_not_name_reads_to_the_step_of_its_numbers(bring, tmp_path: Path) -> None:
    rows = "".join(f"{t},dial,{value},mm\n" for t, value in enumerate(["1.00", "1.05", "1.15", "1.10", "0.95"]))
    assert bring(rows).status == 0
    with open_recording(tmp_path / "baritone.gaugelog") as kept:
        assert kept.gauges["dial"].resolution == pytest.approx(0.05)
        assert kept.gauges["dial"].quantity.value == "length"


@pytest.mark.parametrize(
    ("text", "told"), [("", "no reading"), ("time,gauge,value\n", "no reading"), (b"\xff\xfe\x00", "can't be read")]
)
def test_a_table_without_a_reading_keeps_nothing(bring, tmp_path: Path, text: str | bytes, told: str) -> None:
    ran = bring(text)
    assert ran.status == 2
    assert told in ran.err
    assert not (tmp_path / "baritone.gaugelog").exists()


def test_a_table_that_is_not_there_is_said(run) -> None:
    run("new", "baritone")
    ran = run("clamp", "--from", "nowhere.csv")
    assert ran.status == 2
    assert "nowhere.csv" in ran.err
