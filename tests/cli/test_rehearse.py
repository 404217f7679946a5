"""A finished session through the live watch again; the demo's invented one, which slips twice."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pytest

from gaugelog.cli import demo_story as story


def alarms(printed: str) -> list[dict[str, object]]:
    return [json.loads(line) for line in printed.splitlines()]


def test_every_slip_of_the_session_is_told_within_seconds_and_nothing_else(run, recording: Path) -> None:
    ran = run("clamp", "--rehearse", recording.name, "--json")
    assert ran.status == 0, ran.err
    told = [each for each in alarms(ran.out) if each["kind"] != "notice"]
    start = datetime.fromisoformat(run("drift", "--json").document["start"])
    seconds = [(datetime.fromisoformat(str(each["time"])) - start).total_seconds() for each in told]
    assert [each["kind"] for each in told] == ["slip", "slip"]
    assert [each["gauge"] for each in told] == ["neck - body"] * 2
    for at, truth, each, size in zip(
        seconds, (story.SLIP_S, story.RESET_S), told, (story.SLIP_DEG, story.LEFT_DEG - story.SLIP_DEG), strict=True
    ):
        assert 0 < at - truth < 6
        assert each["size"] == pytest.approx(size, abs=0.06)
        assert each["unit"] == "deg"


def test_the_pace_changes_nothing_and_nothing_is_kept(run, recording: Path) -> None:
    before = recording.read_bytes()
    at_once = run("clamp", "--rehearse", recording.name, "--json").out
    assert run("clamp", "--rehearse", recording.name, "--json", "--speed", "1e8").out == at_once
    assert recording.read_bytes() == before


def test_without_a_terminal_alarms_are_lines_of_words(recording: Path) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "gaugelog", "clamp", "--rehearse", str(recording), "--speed", "1e8"],
        **dict.fromkeys(("stdout", "stderr"), subprocess.PIPE),
        stdin=subprocess.DEVNULL,
        text=True,
        timeout=60,
    )
    assert ran.returncode == 0, ran.stderr
    assert "SLIP: neck angle up 0." in ran.stdout.replace("\u00a0", " ")
    assert "2 alarms" in ran.stdout


@pytest.mark.parametrize("speed", ["100", "20000"])
def test_alarms_are_seen_heard_and_acknowledged_and_the_keys_answer(workshop, played: Path, speed: str) -> None:
    recording = next(played.glob("*.gaugelog"))
    screen = workshop.run("clamp", "--rehearse", str(recording), "--speed", speed)
    screen.expect("SLIP")
    screen.expect("I have seen it")
    screen.type("a")
    screen.expect("Seen: it is kept|Nothing called|rehearsal has ended")
    screen.type("\x03")
    assert screen.end() == 0
    assert 1 <= screen.raw.count("\a") < 8
    assert "Traceback" not in screen.text


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--rehearse", "nowhere.gaugelog"), "nowhere.gaugelog"),
        (("--json",), "--rehearse"),
        (("--speed", "5"), "--rehearse"),
        (("--rehearse", "x.gaugelog", "--on-alarm", "true"), "--on-alarm"),
        (("--rehearse", "x.gaugelog", "--from", "x.csv"), "--from"),
        (("--from", "x.csv", "--mark", "glue on"), "--mark"),
        (("--from", "x.csv", "--gauge", "neck"), "--gauge"),
    ],
)
def test_what_cannot_be_rehearsed_is_said(run, recording: Path, arguments: tuple[str, ...], told: str) -> None:
    ran = run("clamp", *arguments)
    assert ran.status == 2
    assert told in ran.err


def test_a_recording_without_a_session_is_said(run, table) -> None:
    run("new", "baritone", "--gauges", "none")
    run("capture", "before", "--from", table("before.csv", {"neck-angle": ["2.8"]}))
    ran = run("clamp", "--rehearse", "baritone.gaugelog")
    assert ran.status == 2
    assert "no clamp session" in ran.err
