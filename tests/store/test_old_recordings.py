"""Recordings of each schema version open for ever: those in `old/vN` tell what they told when they were made.

They are made once by `python tests/store/old/make.py`, with invented values; a new schema version needs its folder.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from filling import SECONDS, UTC_US, angle_text, depth_text, told

from gaugelog.model.clock import Anchor
from gaugelog.model.placement import Mark, MarkKind
from gaugelog.store.connect import log_path
from gaugelog.store.reader import open_recording
from gaugelog.store.schema import newest_version, schema_texts
from gaugelog.store.writer import RecordingWriter

OLD = Path(__file__).parent / "old"
FOLDERS = sorted(OLD.glob("v*"))
LATER_US = UTC_US + 86_400_000_000


@pytest.fixture(params=[f"{folder.name}/{name}" for folder in FOLDERS for name in ("finished", "unfinished")])
def old(request, tmp_path) -> tuple[Path, dict]:
    """A copy of an old recording, with its log where it has one, and what it told."""
    version, name = request.param.split("/")
    for each in (OLD / version).glob(f"{name}.gaugelog*"):
        shutil.copy(each, tmp_path)
    return tmp_path / f"{name}.gaugelog", json.loads((OLD / version / "expected.json").read_text())[name]


def test_every_schema_version_has_its_recordings() -> None:
    assert {folder.name for folder in FOLDERS} == {f"v{number}" for number in schema_texts()}, "run old/make.py"
    for folder in FOLDERS:
        assert {path.name for path in folder.iterdir()} == {
            *("expected.json", "finished.gaugelog", "unfinished.gaugelog", "unfinished.gaugelog-wal")
        }


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_they_are_of_their_version_and_every_table_has_a_row(folder, tmp_path) -> None:
    path = Path(shutil.copy(folder / "finished.gaugelog", tmp_path))
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (int(folder.name[1:]),)
        tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        counts = {table: connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables}
    assert all(counts.values()), counts
    assert len(counts) >= 19


def test_it_tells_what_it_told_and_every_checksum_fits(old) -> None:
    path, expected = old
    recording = open_recording(path)
    recording.check()
    assert of_old(told(recording), expected) == expected


def of_old(now: Any, expected: Any) -> Any:
    """Return what is told now without fields that came later: whatever was told once must be told still."""
    if isinstance(expected, dict) and isinstance(now, dict):
        return {name: of_old(now[name], each) for name, each in expected.items() if name in now}
    if isinstance(expected, list) and isinstance(now, list) and len(now) == len(expected):
        return [of_old(one, each) for one, each in zip(now, expected, strict=True)]
    return now


def test_its_readings_are_those_that_were_put_in(old) -> None:
    recording = open_recording(old[0])
    neck, depth = recording.series("neck", command="clamp"), recording.series("depth", command="clamp")
    assert neck.value.tolist() == [float(angle_text(place)) for place in range(SECONDS * 10)]
    assert set(depth.value.tolist()) == {float(depth_text(place)) for place in range(5)}
    assert neck.utc_us.tolist() == [UTC_US + 3_600_000_000 + place * 100_000 for place in range(SECONDS * 10)]


def test_the_next_command_that_writes_brings_it_up_to_date_and_changes_nothing(old, placement) -> None:
    path, expected = old
    with RecordingWriter.open(path, anchor=Anchor(0, LATER_US), command="capture after") as writer:
        writer.mark(Mark(LATER_US, MarkKind.NOTE, "years later"))
        snapshot = writer.snapshot("after", reopen=True)
        writer.place(snapshot.id, placement("2.95"))
    assert not log_path(path).exists()
    recording = open_recording(path)
    recording.check()
    now = told(recording)
    assert now["sittings"].pop()["start_utc_us"] == LATER_US
    assert now["marks"].pop()["words"] == "years later"
    assert now["snapshots"][-1]["placements"].pop()["placement"]["text"] == "2.95"
    assert of_old(now, expected) == expected
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (newest_version(),)
