"""`gaugelog gauges find` as a builder runs it: real ports with another process behind them, terminal and pipes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

BARE = """
name = "bare-{quantity}"
title = "bare numbers"
quantity = "{quantity}"
sends = "steadily"
resolution = 0.01
[framing]
kind = "line"
pattern = '. *(?P<number>\\d+\\.\\d+) deg'
template = "+ {{number}} deg"
[value]
unit = "{unit}"
"""
PLAN = """# the baritone
name = "baritone"

[gauges]
# nothing yet

[[checkpoint]]
id = "neck"
kind = "neck-angle"
todo = "long gauge on the fretboard"
step = 0.1
"""


@pytest.fixture
def place(workshop) -> str:
    """Where an angle gauge at rest is plugged in, in a folder with an instrument file that names none."""
    workshop.path.write_text(PLAN, encoding="utf-8")
    workshop.plug_in().rest(2.85)
    return f"serial:{workshop.port}"


def two_that_fit_alike(folder: Path) -> None:
    (folder / "datasheets").mkdir()
    for quantity, unit in (("angle", "deg"), ("length", "mm")):
        text = BARE.format(quantity=quantity, unit=unit)
        (folder / "datasheets" / f"{quantity}.toml").write_text(text, encoding="utf-8")


def test_the_guess_is_shown_with_its_evidence_and_written_with_its_name(workshop, place: str) -> None:
    ran = workshop.piped("gauges", "find", "--at", place, "--listen", "0.8", "--take", "angle-line", "--as", "long")
    assert ran.returncode == 0, ran.stderr
    assert f"listening for 0.8 s: {place}?baud=9600" in ran.stderr
    assert "deg of `+" in ran.stdout
    name = f"angle-line@{place}?baud=9600"
    assert f'long = "{name}"' in ran.stdout
    assert workshop.path.read_text(encoding="utf-8") == PLAN.replace(
        "# nothing yet\n", f'# nothing yet\nlong = "{name}"\n'
    )
    heard = workshop.piped("gauges", "read", "long", "--count", "1", "--json")
    assert json.loads(heard.stdout)["readings"][0]["value"] == 2.85
    again = workshop.piped("gauges", "find", "--at", place, "--take", "1", "--as", "long")
    assert again.returncode == 2
    assert "gauge-name-taken" in again.stderr
    assert "listening" not in again.stderr, "a name that is taken is told before anyone waits"


def test_json_is_all_that_comes_out(workshop, place: str) -> None:
    missing = f"serial:{workshop.folder}/not-there"
    ran = workshop.piped("gauges", "find", "--json", "--listen", "0.8", "--at", place, "--at", missing)
    document = json.loads(ran.stdout)
    first, second = document["places"]
    (fit, *_) = first["heard"][0]["fits"]
    assert (fit["number"], fit["datasheet"], fit["rejects"], fit["best"]) == (1, "angle-line", 0, True)
    assert fit["example"]["reading"]["text"] in bytes.fromhex(fit["example"]["bytes"]).decode()
    assert second["failure"]["error"] == "link-failed"
    assert document["written"] is None
    assert workshop.path.read_text(encoding="utf-8") == PLAN


def test_what_fits_equally_well_is_never_picked_in_silence(workshop, place: str) -> None:
    two_that_fit_alike(workshop.folder)
    screen = workshop.run("gauges", "find", "--at", place, "--listen", "0.8")
    screen.expect("listening for 0.8 s")
    screen.expect("fit equally well: only you can tell")
    screen.expect("Write which one into baritone.toml")
    screen.type("nonsense\n")
    screen.expect("there is no nonsense among what was found")
    screen.type("bare-length\n")
    screen.expect("Short name")
    screen.type("two words\n")
    screen.expect("a short name of letters")
    screen.type("depth\n")
    screen.expect("gaugelog gauges read depth")
    assert screen.end() == 0
    written = workshop.path.read_text(encoding="utf-8")
    assert f'depth = "bare-length@{place}?baud=9600"' in written


def test_take_and_as_belong_together_and_need_a_file(run) -> None:
    assert "bad-argument" in run("gauges", "find", "--take", "1").err
    assert "bad-argument" in run("gauges", "find", "--as", "long").err
    assert "no-instrument" in run("gauges", "find", "--take", "1", "--as", "long").err


def test_silence_and_bytes_that_fit_nothing_say_what_to_do(run, workshop, tmp_path: Path) -> None:
    (tmp_path / "silent").write_bytes(b"")
    (tmp_path / "odd").write_bytes(b"\x00\x13 what is this? \x00\n" * 3)
    places = [part for name in ("silent", "odd") for part in ("--at", f"replay:{tmp_path / name}?speed=max")]
    ran = run("gauges", "find", "--listen", "0.3", *places)
    assert ran.status == 0
    assert "Nothing came." in ran.out
    assert "--ask" in ran.out
    assert "`\\x00\\x13 what is this?" in ran.out
    assert "docs/datasheets.md" in ran.out.replace("\n", " ")
    nothing = run("gauges", "find", "--at", f"replay:{tmp_path / 'silent'}?speed=max", "--json")
    assert nothing.document["places"][0]["heard"][0]["fits"] == []
