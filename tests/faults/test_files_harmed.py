"""Files taken away, replaced, written over, read-only, shared, in the short form."""

from __future__ import annotations

import signal
import time
from pathlib import Path

import pytest
import scene
from faults_files import FAMILIES
from rounds import Family, Outcome, run
from scene import opened


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.name)
def test_harm_to_the_files_loses_nothing_that_was_acknowledged(family: Family, tmp_path) -> None:
    reason = family.hindered()
    if reason:
        pytest.skip(reason)
    outcome = run(family, family.short, 686, tmp_path)
    outcome.must_be_clean()
    assert outcome.acknowledged > 0
    assert outcome.hits > 0


def test_a_builder_whose_recording_is_removed_is_told_where_all_of_it_is(tmp_path: Path) -> None:
    path = scene.set_up(tmp_path)
    program = scene.start(tmp_path, "capture", "before")
    assert program.stdin is not None
    assert program.stdout is not None
    program.stdin.write("0.50\n")
    told = program.stdout.readline()
    while not scene.placed(told):
        told += program.stdout.readline()
    path.unlink()
    out, words = program.communicate("0.55\n0.60\n")
    assert program.returncode == 2
    assert "recording-taken-away" in words
    assert "Nothing is lost" in words
    assert "baritone-saved.gaugelog" in words
    assert scene.placed(out) == []
    recording = opened(Outcome(), tmp_path / "baritone-saved.gaugelog")
    assert recording is not None
    assert scene.kept(recording) == ["0.50", "0.55"]
    (tmp_path / "baritone-saved.gaugelog").rename(path)
    assert scene.placed(scene.ran(tmp_path, "capture", "before", lines="0.60\nq\n").stdout) == ["0.60"]


def test_a_recording_cut_off_as_it_began_is_begun_by_the_next_command(tmp_path: Path) -> None:
    scene.set_up(tmp_path).write_bytes(b"")
    assert scene.placed(scene.ran(tmp_path, "capture", "before", lines="0.50\nq\n").stdout) == ["0.50"]


def test_a_table_stopped_by_hand_leaves_nothing_and_says_so(tmp_path: Path) -> None:
    path = scene.set_up(tmp_path)
    rows = "".join(f"{place / 10},angle,{place % 97 / 20:.2f}\n" for place in range(400_000))
    (tmp_path / "session.csv").write_text(f"time,gauge,value\n{rows}", encoding="utf-8")
    program = scene.start(tmp_path, "clamp", "--from", "session.csv")
    while not path.exists():
        assert program.poll() is None
        time.sleep(0.01)
    time.sleep(0.3)
    program.send_signal(signal.SIGINT)
    _, words = program.communicate()
    assert program.returncode == 130
    assert "nothing of the table was kept" in words
    recording = opened(Outcome(), path)
    assert recording is not None
    assert recording.series("angle").value.size == 0
