"""Checking a gauge from the command line, the gauge book, and what it changes. All values invented."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from gaugelog.instruments.new import new_instrument

QUIET = "angle-line@sim:?visits=1.3,1.3,1.3&noise=0.01&scatter=0.2&zero=0.12"
TYPED = "angle-line@typed:"


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "book"
    monkeypatch.setenv("GAUGELOG_BOOK", str(folder))
    return folder


def gaugelog(*arguments: str, cwd: Path, said: str = "") -> subprocess.CompletedProcess[str]:
    """Run a live command in a process of its own, its lines piped in."""
    return subprocess.run(
        [sys.executable, "-m", "gaugelog", *arguments],
        cwd=cwd,
        input=said,
        capture_output=True,
        text=True,
        timeout=120,
        env=os.environ | {"COLUMNS": "100"},
        check=False,
    )


def found(ran: subprocess.CompletedProcess[str]) -> dict[str, Any]:
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout)


def test_a_simulated_gauge_is_checked_and_kept_in_the_book(book: Path, tmp_path: Path) -> None:
    ran = gaugelog("gauges", "check", QUIET, "--rest", "0.05", "--again", "3", "--turns", "0", cwd=tmp_path)
    assert ran.returncode == 0, ran.stderr
    assert "leave it alone for 3" in ran.stdout
    assert "set-down-again 3 of 3" in ran.stdout
    assert "SIMULATED" in ran.stdout
    assert "Set down 3 times it scatters by" in ran.stdout
    assert "Not known, since it wasn't checked" in ran.stdout
    assert len(list(book.glob("*.gaugelog"))) == 1
    shown = gaugelog("gauges", "show", QUIET, "--json", cwd=tmp_path)
    document = found(shown)
    assert document["simulated"]
    assert document["repeat"]["n"] == 3
    assert document["rest"]["n"] >= 20
    listed = gaugelog("gauges", "show", cwd=tmp_path)
    assert "▸" in listed.stdout


def typed_check(cwd: Path, *more: str, values: str = "2.80\n2.95\n2.70\n3.00\n") -> subprocess.CompletedProcess[str]:
    return gaugelog("gauges", "check", TYPED, "--again", "4", "--turns", "0", *more, cwd=cwd, said=values)


def test_a_gauge_without_a_plug_is_checked_by_typing(book: Path, tmp_path: Path) -> None:
    document = found(typed_check(tmp_path, "--json"))
    # by hand: mean 2.8625, squares 0.0039062 + 0.0076562 + 0.0264062 + 0.0189062
    assert document["repeat"]["sd"] == pytest.approx((0.056875 / 3) ** 0.5)
    assert document["rest"] is None


def test_one_stops_and_goes_on(book: Path, tmp_path: Path) -> None:
    first = typed_check(tmp_path, values="2.80\n2.95\nq\n")
    assert first.returncode == 0, first.stderr
    assert "2 settings still to read; the same command goes on" in first.stdout
    assert "not finished" in gaugelog("gauges", "show", cwd=tmp_path).stdout
    second = typed_check(tmp_path, values="2.70\n3.00\n")
    assert "Going on with the check begun" in second.stderr
    assert "Set down 4 times" in second.stdout
    third = typed_check(tmp_path, values="2.80\n2.85\nq\n")
    assert "Going on" not in third.stderr
    finished = typed_check(tmp_path, "--finish", values="")
    assert "Set down 2 times" in finished.stdout
    shown = gaugelog("gauges", "show", TYPED, "--check", "1", cwd=tmp_path)
    assert "Set down 4 times" in shown.stdout
    assert gaugelog("gauges", "show", TYPED, "--check", "3", cwd=tmp_path).returncode == 2


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--at", "5"), "5.00 ± 0.02"),
        (("--at", "5 ± 0"), "no block or wedge is exact"),
        (("--sine", "100 ± 0.01", "--at", "120 ± 0.01"), "less than the sine bar"),
        (("--again", "1"), "2 or more"),
        (("--again", "0", "--turns", "0", "--rest", "0"), "at least one part"),
        (("--from", "nothing.csv"), "nothing.csv"),
    ],
)
def test_what_makes_no_sense_is_refused_and_nothing_is_begun(
    book: Path, tmp_path: Path, more: tuple[str, ...], words: str
) -> None:
    ran = gaugelog("gauges", "check", TYPED, *more, cwd=tmp_path)
    assert ran.returncode == 2
    assert words in " ".join(ran.stderr.split())
    assert "Traceback" not in ran.stderr
    assert not list(book.glob("*"))


def test_a_sine_bar_makes_angles_of_blocks(book: Path, tmp_path: Path) -> None:
    values = "0.05\n0.05\n5.05\n5.00\n10.05\n10.05\n10.05\n10.00\n5.05\n5.05\n0.00\n0.05\n"
    blocks = ("--sine", "100 ± 0.01", "--at", "0 ± 0.001", "--at", "8.716 ± 0.002", "--at", "17.365 ± 0.002")
    arguments = ("gauges", "check", TYPED, "--again", "0", "--turns", "0", *blocks, "--json")
    document = found(gaugelog(*arguments, cwd=tmp_path, said=values))
    references = [each["reference"] for each in document["linearity"]["departures"]]
    # sines of 5 and 10 degrees from a table of four places: 0.0872, 0.1736
    assert references == pytest.approx([0.0, 5.0, 10.0], abs=2e-3)
    assert document["hysteresis"]["points"] == 3


def test_nothing_in_the_book_is_said(book: Path, tmp_path: Path) -> None:
    assert "empty" in gaugelog("gauges", "show", cwd=tmp_path).stdout
    ran = gaugelog("gauges", "show", TYPED, cwd=tmp_path)
    assert ran.returncode == 2
    assert "has no check" in ran.stderr


def test_advice_and_plan_go_by_the_check(book: Path, tmp_path: Path) -> None:
    text = new_instrument("baritone", gauges="one").replace("angle-line@serial:PORT?baud=9600", TYPED)
    (tmp_path / "baritone.toml").write_text(text, encoding="utf-8")
    before = found(gaugelog("gauges", "advise", "--json", cwd=tmp_path))
    assert before["checkpoints"][0]["gauges"][0]["proves"]
    assert not before["checkpoints"][0]["gauges"][0]["checked"]
    assert typed_check(tmp_path).returncode == 0
    after = found(gaugelog("gauges", "advise", "--json", cwd=tmp_path))
    angle = after["checkpoints"][0]["gauges"][0]
    assert angle["checked"]
    assert not angle["proves"], "it scatters by 0.14 degrees"
    plan = found(gaugelog("checkpoints", "--json", cwd=tmp_path))
    (row,) = [each for each in plan["checkpoints"] if each["id"] == after["checkpoints"][0]["id"]]
    assert row["smallest_provable"] == pytest.approx(angle["smallest_provable"])
    table = gaugelog("gauges", "advise", cwd=tmp_path)
    assert "✗" in table.stdout


def test_a_check_turns_held_into_not_proven(book: Path, tmp_path: Path) -> None:
    """A gauge without a plug: what is typed at its checkpoints is its own, so its check counts for it."""
    text = new_instrument("baritone", gauges="one").replace("angle-line@serial:PORT?baud=9600", TYPED)
    (tmp_path / "baritone.toml").write_text(text, encoding="utf-8")

    def verdict() -> dict[str, Any]:
        ran = gaugelog("compare", "--json", cwd=tmp_path)
        document = json.loads(ran.stdout)
        (row,) = [each for each in document["checkpoints"] if each["id"] == "neck-angle"]
        return row | {"checks": document["checks"]}

    for stage in ("before", "after"):
        ran = gaugelog("capture", stage, cwd=tmp_path, said="t neck-angle\n2.80\n2.80\n2.80\nq\n")
        assert ran.returncode == 0, ran.stderr
    without = verdict()
    assert (without["verdict"], without["checks"]) == ("held", [])
    assert typed_check(tmp_path).returncode == 0
    assert gaugelog("capture", "after", cwd=tmp_path, said="q\n").returncode == 0
    with_check = verdict()
    assert with_check["verdict"] == "not proven"
    (check,) = with_check["checks"]
    assert check["gauge"] == "angle"
    # the check's scatter twice, body and neck, pooled with placements that didn't scatter at all: (3 s² · 2) / (3 + 4)
    assert with_check["u"] > without["u"]
    assert "check of" in gaugelog("compare", cwd=tmp_path).stdout
    assert "check of" in gaugelog("neck", cwd=tmp_path).stdout + gaugelog("ready", cwd=tmp_path).stdout


def test_advice_speaks_the_file_s_unit(book: Path, tmp_path: Path) -> None:
    text = new_instrument("baritone", gauges="one", units="in").replace("angle-line@serial:PORT?baud=9600", TYPED)
    (tmp_path / "baritone.toml").write_text(text, encoding="utf-8")
    said = gaugelog("gauges", "advise", cwd=tmp_path).stdout.replace("\u00a0", " ")
    assert "to 0.002 in, as planned" in said
    assert "0.0508" not in said
    assert " mm" not in said
