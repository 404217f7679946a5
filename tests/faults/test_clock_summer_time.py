"""The nights in which the clocks change, in Europe/Berlin: nothing twice, nothing lost, and every time that is shown
says which it is. All values invented.

When they change: 2026-03-29 and 2026-10-25, both at 01:00 UTC (IANA time zone database, rules of the EU since 1996).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from link_bench import Bench

from gaugelog.instruments.find import read_instrument_file
from gaugelog.model.clock import Anchor
from gaugelog.model.placement import Mark, MarkKind
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Heard, Reading
from gaugelog.recorder.work import datasheet_folders, open_work
from gaugelog.show.clock_words import time_sentences
from gaugelog.show.numbers import clock_text, date_text, when_text
from gaugelog.store.records import ClockSet

BERLIN = ZoneInfo("Europe/Berlin")
S = 1_000_000_000
HOURS = 3
STEP_AT_S = 5430
"""The neck slips half a minute after the clocks have changed."""


def utc_us(*when: int) -> int:
    return round(datetime(*when, tzinfo=UTC).timestamp()) * 1_000_000


OCTOBER, MARCH = utc_us(2026, 10, 25, 1, 0), utc_us(2026, 3, 29, 1, 0)
MINUTE = 60_000_000


@pytest.mark.parametrize(
    ("when_us", "zone", "shown"),
    [
        (OCTOBER - 61 * MINUTE, BERLIN, "01:59"),
        (OCTOBER - 60 * MINUTE, BERLIN, "02:00 UTC+2"),
        (OCTOBER - 1 * MINUTE, BERLIN, "02:59 UTC+2"),
        (OCTOBER, BERLIN, "02:00 UTC+1"),
        (OCTOBER + 59 * MINUTE, BERLIN, "02:59 UTC+1"),
        (OCTOBER + 60 * MINUTE, BERLIN, "03:00"),
        (MARCH - 1 * MINUTE, BERLIN, "01:59"),
        (MARCH, BERLIN, "03:00"),
        (MARCH + 60 * MINUTE, BERLIN, "04:00"),
        (utc_us(2026, 4, 4, 15, 10), ZoneInfo("Australia/Lord_Howe"), "01:40 UTC+10:30"),  # put back by half an hour
        (utc_us(2026, 4, 4, 14, 40), ZoneInfo("Australia/Lord_Howe"), "01:40 UTC+11"),
        (OCTOBER, UTC, "01:00"),
    ],
)
def test_a_time_of_day_says_which_it_is_where_it_comes_twice_and_nowhere_else(
    when_us: int, zone: tzinfo, shown: str
) -> None:
    assert clock_text(when_us, zone).replace("\u00a0", " ") == shown
    assert date_text(when_us, zone).replace("\u00a0", " ").endswith(f" {shown}")
    assert when_text(when_us, when_us, zone).replace("\u00a0", " ") == shown


def test_no_two_minutes_of_a_year_are_shown_alike() -> None:
    start_us = utc_us(2026, 1, 1, 0, 0)
    shown = [date_text(start_us + quarter * 15 * MINUTE, BERLIN) for quarter in range(4 * 24 * 366)]
    assert len(set(shown)) == len(shown)


def test_what_is_said_of_a_night_and_of_clocks_that_were_set() -> None:
    autumn = time_sentences((), OCTOBER - 90 * MINUTE, OCTOBER + 90 * MINUTE, BERLIN)
    assert autumn == [
        "The clocks changed on 2026-10-25 at 03:00 (UTC+2) to 02:00 (UTC+1); a time that was shown twice says which it"
        " is. A chart's axis goes on by the clock as it was at its left edge."
    ]
    (spring,) = time_sentences((), MARCH - 1, MARCH + 1, BERLIN)
    assert spring.startswith("The clocks changed on 2026-03-29 at 02:00 (UTC+1) to 03:00 (UTC+2).")
    assert time_sentences((), OCTOBER + 1, OCTOBER + 90 * MINUTE, BERLIN) == []
    assert len(time_sentences((), MARCH - MINUTE, OCTOBER + MINUTE, BERLIN)) == 2
    little, much = ClockSet(1, OCTOBER, 0.3, 0.3), ClockSet(1, OCTOBER, -3600.0, -3600.0)
    assert time_sentences((little,), OCTOBER, OCTOBER, UTC) == []
    told = " ".join(time_sentences((little, much), OCTOBER, OCTOBER, UTC)).replace("\u00a0", " ")
    assert "was set back by 1 h 00 min at 2026-10-25 01:00:00; from then on it was 1 h 00 min behind" in told


def record(bench: Bench, start_us: int) -> None:
    """Record three hours at ten readings a second, a mark every half hour, and a slip in the middle."""
    bench.plugged("neck").close()
    bench.plan()
    work = open_work(
        read_instrument_file(bench.folder / "baritone.toml"),
        bench.path,
        "clamp",
        datasheet_folders(bench.folder),
        Anchor(7 * S, start_us),
    )
    chance = np.random.default_rng(3)
    with work:
        for minute in range(HOURS * 60):
            readings = []
            for tick in range(600 * minute, 600 * (minute + 1)):
                value = round(12.0 + (0.4 if tick >= 10 * STEP_AT_S else 0.0) + chance.normal(0, 0.02), 2)
                time_ns = 7 * S + tick * S // 10
                readings.append(Reading(time_ns, "neck", Quantity.LENGTH, value, f"{value:.2f}", "mm", 0.01))
            if minute % 30 == 0:
                when_us = work.anchor.utc_us_of(readings[0].time_ns)
                work.writer.mark(Mark(when_us, MarkKind.NOTE, f"half hour {minute // 30}"))
            work.writer.hear(Heard("neck", Chunk(readings[-1].time_ns, b""), tuple(readings)))
            work.writer.keep_up(readings[-1].time_ns)


@pytest.fixture(scope="module", params=["2026-10-25", "2026-03-29"])
def night(request, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Bench]]:
    with Bench(tmp_path_factory.mktemp("night"), zone="Europe/Berlin") as bench:
        record(bench, (OCTOBER if request.param == "2026-10-25" else MARCH) - 90 * MINUTE)
        yield request.param, bench


def test_the_file_holds_every_reading_once_and_evenly(night: tuple[str, Bench]) -> None:
    from gaugelog.store.reader import open_recording

    recording = open_recording(night[1].path)
    recording.check()
    assert np.all(np.diff(recording.series("neck").utc_us) == 100_000)
    assert len(recording.series("neck").utc_us) == HOURS * 36_000
    assert recording.gaps() == ()


def test_drift_says_when_without_doubt(night: tuple[str, Bench]) -> None:
    date, bench = night
    told = " ".join(bench.said("drift").split()).replace("\u00a0", " ")
    page = (bench.folder / "baritone-drift.html").read_text(encoding="utf-8")
    if date == "2026-10-25":
        assert "at 02:00 UTC+1" in told, "the step"
        assert "The clocks changed on 2026-10-25 at 03:00 (UTC+2) to 02:00 (UTC+1)" in told
        assert "axis goes on by the clock" in page
    else:
        assert "at 03:00" in told
        assert "The clocks changed on 2026-03-29 at 02:00 (UTC+1) to 03:00 (UTC+2)" in told
    document = json.loads(bench.said("drift", "--json"))
    (step,) = document["series"][0]["steps"]
    assert step["time"].startswith(f"{date}T01:00:")


def test_marks_and_report_tell_every_time_apart(night: tuple[str, Bench]) -> None:
    date, bench = night
    target = bench.folder / "report.html"
    target.unlink(missing_ok=True)
    bench.said("report", "-o", target.name)
    page = target.read_text(encoding="utf-8").replace("\u00a0", " ")
    wanted = {
        "2026-10-25": ["01:30", "02:00 UTC+2", "02:30 UTC+2", "02:00 UTC+1", "02:30 UTC+1", "03:00"],
        "2026-03-29": ["00:30", "01:00", "01:30", "03:00", "03:30", "04:00"],
    }[date]
    places = [page.find(f"{date} {text}: note, half hour") for text in wanted]
    assert min(places) > 0, dict(zip(wanted, places, strict=True))
    assert "The clocks changed on" in page


def test_the_export_is_in_utc(night: tuple[str, Bench]) -> None:
    bench = night[1]
    rows = bench.said("export", "readings").splitlines()
    times = [row.split(",")[0] for row in rows[1:]]
    assert len(set(times)) == len(times) == HOURS * 36_000
    assert times == sorted(times)
    assert all("+00:00" in text for text in times[:5])


def test_a_sitting_keeps_how_far_local_time_was_ahead(tmp_path: Path) -> None:
    with Bench(tmp_path, zone="Europe/Berlin") as bench:
        bench.plugged("neck")
        bench.plan()
        bench.start("clamp")
        recording = bench.end()
        (sitting,) = recording.sittings()
        then = datetime.fromtimestamp(sitting.start_utc_us / 1e6, BERLIN)
        assert sitting.utc_offset_s == then.utcoffset().total_seconds()
