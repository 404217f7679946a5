"""A clamp session logged elsewhere, brought in from a table; invented values."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from itertools import pairwise
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


@pytest.mark.parametrize(
    "row",
    ["6,neck,1e300,deg", "6,neck,1e999999999,deg", "6,neck,2_8,deg", "6,neck,inf,deg", "6,neck - body,2.8,deg", "6,ne"],
)
def test_a_row_that_no_gauge_can_have_said_is_left_out(bring, tmp_path: Path, row: str) -> None:
    ran = bring(f"{ROWS}{row}\n7,neck,2.95e0,deg\n")
    assert ran.status == 0
    assert "row 12:" in ran.err
    with open_recording(tmp_path / "baritone.gaugelog") as kept:
        assert kept.series("neck", command="clamp").value.tolist()[-2:] == [3.00, 2.95]
        assert set(kept.gauges) == {"neck", "body"}


def test_a_damaged_first_row_does_not_decide_what_times_are(bring, tmp_path: Path) -> None:
    ran = bring("when,what,how much\n2026-03-14T14:25:09Z,neck,2.80\n2026-03-14T14:25:10Z,neck,2.85\n")
    assert ran.status == 0
    assert "row 1:" in ran.err
    with open_recording(tmp_path / "baritone.gaugelog") as kept:
        assert kept.series("neck", command="clamp").value.tolist() == [2.80, 2.85]


def test_readings_that_no_unit_fits_keep_nothing(bring, tmp_path: Path) -> None:
    ran = bring("0,neck,2.8,mm\n1,neck,2.9,mm\n")
    assert ran.status == 2
    assert "no reading whose unit fits" in ran.err
    assert not (tmp_path / "baritone.gaugelog").exists()


def test_one_wrong_unit_does_not_speak_for_a_gauge_and_none_at_all_is_said(bring, tmp_path: Path) -> None:
    ran = bring("0,dial,1.00,foo\n1,dial,1.05,MM\n2,dial,1.10,mm\n1,tilt,0.5\n2,tilt,0.6\n")
    assert ran.status == 0
    assert "row 1:" in ran.err
    assert "tilt names no unit, and is not in the instrument file: taken as deg" in ran.out
    assert "dial names" not in ran.out
    with open_recording(tmp_path / "baritone.gaugelog") as kept:
        assert kept.series("dial", command="clamp").value.tolist() == [1.05, 1.10]
        assert kept.gauges["dial"].quantity.value == "length"


def test_decimal_commas_old_line_ends_and_seconds_before_the_start(bring, tmp_path: Path) -> None:
    table = "\ufefftime;gauge;value;unit\r\n-1,5;mark;glue on\r\n0,25;neck;2,80;deg\r\n-0,5;neck;2,85;deg\r\n"
    assert bring(table).status == 0
    with open_recording(tmp_path / "baritone.gaugelog") as kept:
        neck = kept.series("neck", command="clamp")
        (mark,) = kept.marks()
    assert neck.value.tolist() == [2.85, 2.80]
    assert [(each - mark.utc_us) / 1e6 for each in neck.utc_us.tolist()] == [1.0, 1.75]


def test_the_hour_that_a_clock_shows_twice_is_two_hours(bring, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Central European time went from 03:00 back to 02:00 on 2026-10-25 at 01:00 UTC (IANA time zone database)."""
    if not hasattr(time, "tzset"):
        pytest.skip("a process's time zone can be set on POSIX systems only (time.tzset)")
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    try:
        clock = ("01:50", "02:20", "02:50", "02:20", "02:50", "03:20")
        ran = bring("".join(f"2026-10-25T{each}:00,{name},2.80\n" for name in ("neck", "body") for each in clock))
    finally:
        monkeypatch.undo()
        time.tzset()
    assert ran.status == 0, ran.err
    with open_recording(tmp_path / "baritone.gaugelog") as kept:
        times = kept.series("neck", command="clamp").utc_us.tolist()
        assert kept.series("body", command="clamp").utc_us.tolist() == times
    assert times[0] / 1e6 == datetime(2026, 10, 24, 23, 50, tzinfo=UTC).timestamp()
    assert {after - before for before, after in pairwise(times)} == {30 * 60 * 1_000_000}


def test_a_table_brought_in_twice_does_not_count_twice(bring, run, tmp_path: Path) -> None:
    dated = "".join(f"2026-03-14T14:25:{second:02}Z,neck,2.8{second % 2}\n" for second in range(20))
    assert bring(dated).status == 0
    again = bring(dated)
    assert again.status == 2
    assert "neck from the time of the table already" in again.err
    later = dated.replace("14:25", "14:35")
    assert bring(later).status == 0
    with open_recording(tmp_path / "baritone.gaugelog") as kept:
        assert kept.series("neck", command="clamp").utc_us.size == 40
        assert len(kept.sittings()) == 2


def test_a_gauge_that_read_something_else_before_is_refused(bring, run, tmp_path: Path) -> None:
    assert bring("2026-03-14T14:25:09Z,dial,2.80,deg\n").status == 0
    ran = bring("2026-03-15T14:25:09Z,dial,2.80,mm\n")
    assert ran.status == 2
    assert "reads angle, in the table length" in ran.err
    assert run("drift", "--json").status == 0


def test_a_slow_table_is_no_row_of_silences(bring, run, tmp_path: Path) -> None:
    rows = "".join(f"{10 * place},neck,2.8{place % 2}\n" for place in range(200))
    assert bring(rows).status == 0
    (series,) = run("drift", "--json").document["series"]
    assert series["gaps"] == []
    ran = run("clamp", "--rehearse", "baritone.gaugelog", "--json")
    assert (ran.status, ran.out) == (0, "")


def test_a_table_into_a_recording_that_is_being_written_is_refused(bring, tmp_path: Path) -> None:
    from gaugelog.model.clock import Anchor
    from gaugelog.store.writer import RecordingWriter

    with RecordingWriter.open(tmp_path / "baritone.gaugelog", anchor=Anchor(0, 1), command="clamp"):
        ran = bring(ROWS)
    assert ran.status == 2
    assert "gaugelog clamp" in ran.err
    assert "Traceback" not in ran.err


@pytest.mark.parametrize("row", ["0,neck,2.8,deg\n", "0,neck-angle,2.8,deg\n1,neck-angle,2.8,deg\n"])
def test_a_table_of_next_to_nothing_can_be_shown_compared_and_rehearsed(bring, run, row: str) -> None:
    assert bring(row).status == 0
    for arguments in (
        ("drift", "--json"),
        ("drift", "--no-chart"),
        ("clamp", "--rehearse", "baritone.gaugelog", "--json"),
    ):
        ran = run(*arguments)
        assert (ran.status, ran.err) == (0, ""), arguments
