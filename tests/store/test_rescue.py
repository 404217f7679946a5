"""What a rescue gets out of files that were damaged in one place on purpose. All values are invented."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from filling import UTC_US, fill, told

from gaugelog.errors import (
    DamagedRecordingError,
    FileExistsAlreadyError,
    GaugelogError,
    NewerRecordingError,
    NoRecordingError,
    NothingToRescueError,
    RecordingBusyError,
)
from gaugelog.model.clock import Anchor
from gaugelog.model.placement import Mark, MarkKind
from gaugelog.store.connect import log_path
from gaugelog.store.pages import ordered_cells, pages_of
from gaugelog.store.reader import open_recording
from gaugelog.store.rescue import RESCUE, Rescue, rescue
from gaugelog.store.walog import read_log
from gaugelog.store.writer import RecordingWriter

NOW = Anchor(0, UTC_US + 86_400_000_000)
PAGE = 1024


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("filled") / "baritone.gaugelog"
    fill(path)
    return path


@pytest.fixture(scope="module")
def cut_off(tmp_path_factory) -> Path:
    """A recording with its log, as a program that is killed leaves both."""
    path = tmp_path_factory.mktemp("cut-off") / "baritone.gaugelog"
    writer = fill(path, finished=False)
    kept = path.with_name("kept")
    kept.mkdir()
    for each in (path, log_path(path)):
        shutil.copy(each, kept)
    writer.finish()
    return kept / path.name


def rescued(path: Path) -> tuple[Rescue, dict]:
    """Rescue a file; the new recording has to be sound, and the damaged one as it was."""
    before = path.read_bytes()
    done = rescue(path, path.with_name("new.gaugelog"), NOW)
    assert path.read_bytes() == before
    recording = open_recording(done.target)
    recording.check()
    now = told(recording)
    assert now["sittings"].pop()["command"] == RESCUE
    assert now["events"].pop()["kind"] == RESCUE
    assert [each.name for each in path.parent.iterdir() if each.name.startswith("new.")] == ["new.gaugelog"]
    return done, now


def rootpage(path: Path, table: str) -> int:
    with closing(sqlite3.connect(path)) as connection:
        return int(connection.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()[0])


def changed(path: Path, statement: str) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute(statement)


def test_a_whole_recording_comes_out_whole(path, filled) -> None:
    shutil.copy(filled, path)
    done, now = rescued(path)
    assert done.is_whole
    assert now == told(open_recording(filled))


def test_pages_read_by_ourselves_are_the_rows_that_sqlite_reads(filled) -> None:
    cells = list(ordered_cells(pages_of(filled.read_bytes(), read_log(b""))))
    with closing(sqlite3.connect(filled)) as connection:
        names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        rows = [row for name in names for row in connection.execute(f"SELECT rowid, * FROM {name}")]
        schema = connection.execute("SELECT rowid, * FROM sqlite_master").fetchall()
        numbered = {len(row) for row in rows}

    def plain(rowid: int, values: tuple) -> tuple:
        return (rowid, *(float(each) if isinstance(each, int) else each for each in values))

    by_sqlite = sorted(str(plain(row[0], row[1:])) for row in (*rows, *schema))
    by_us = [(cell.rowid, cell.values) for cell in cells]
    ours = sorted(
        str(plain(rowid, (rowid, *values[1:]) if values[0] is None and len(values) + 1 in numbered else values))
        for rowid, values in by_us
    )
    assert ours == by_sqlite


def test_a_log_is_read_as_far_as_sqlite_reads_it(cut_off, tmp_path) -> None:
    data, log = cut_off.read_bytes(), log_path(cut_off).read_bytes()
    frames = read_log(log).frames
    assert len(frames) > 20
    for place in range(0, len(frames), 7):
        broken = bytearray(log)
        broken[32 + place * (24 + PAGE) + 24 + 100] ^= 4
        path = tmp_path / f"{place}.gaugelog"
        path.write_bytes(data)
        log_path(path).write_bytes(broken)
        ours = read_log(bytes(broken))
        assert ours.sound == place
        with closing(sqlite3.connect(path)) as connection:
            busy, in_log, _ = connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
        committed = [at + 1 for at, frame in enumerate(ours.frames[:place]) if frame.ends]
        assert (busy, in_log) == (0, committed[-1] if committed else 0)


def test_the_head_and_the_schema_are_not_needed(path, filled) -> None:
    path.write_bytes(bytes(PAGE) + filled.read_bytes()[PAGE:])
    with pytest.raises(GaugelogError):
        open_recording(path)
    _, now = rescued(path)
    assert now == told(open_recording(filled))


def test_readings_that_are_lost_leave_a_gap_and_are_told_with_their_time(path, begin, heard) -> None:
    for part in range(3):
        with begin(utc_us=UTC_US + part * 600_000_000) as writer:
            for place in range(600):
                writer.hear(heard(f"2.{place * (37 + part) % 90 + 10}", place * 100))
    with closing(sqlite3.connect(path)) as connection:
        [(block,)] = connection.execute("SELECT data FROM block WHERE sitting = 2").fetchall()
    assert block[-16:] in path.read_bytes()
    path.write_bytes(path.read_bytes().replace(block[-16:], bytes(16)))
    with pytest.raises(DamagedRecordingError, match="block"):
        open_recording(path).series("neck")
    done, now = rescued(path)
    [loss] = done.losses
    start = UTC_US + 600_000_000
    assert (loss.what, loss.count, loss.start_utc_us, loss.end_utc_us) == ("readings", 600, start, start + 59_900_000)
    [gap] = now["gaps"]
    assert (gap["gauge"], gap["start_utc_us"], gap["end_utc_us"], gap["fault"]) == (
        *("neck", start, start + 59_900_000),
        True,
    )
    assert len(now["series"]["neck"]["value"]) == 1200


def test_readings_of_which_nothing_is_found_are_told_with_the_time_between(path, begin, heard) -> None:
    for part in range(3):
        with begin(utc_us=UTC_US + part * 600_000_000) as writer:
            for place in range(600):
                writer.hear(heard(f"2.{place * (37 + part) % 90 + 10}", place * 100))
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute("DELETE FROM block WHERE sitting = 2")
        connection.commit()
    done, now = rescued(path)
    [loss] = done.losses
    start = UTC_US + 600_000_000
    assert (loss.what, loss.count, loss.start_utc_us, loss.end_utc_us) == ("readings", 600, start, start + 59_900_000)
    assert [gap["start_utc_us"] for gap in now["gaps"]] == [start]
    assert len(now["series"]["neck"]["value"]) == 1200


def test_blocks_whose_times_cross_all_come_out(path, begin, heard) -> None:
    with begin(utc_us=UTC_US) as writer:
        for commit, times_ms in enumerate(((0, 3000), (1500, 4500), (4500, 6000)), 1):
            for time_ms in times_ms:
                writer.hear(heard("2.85", time_ms))
            writer.keep_up(commit * 10 * 10**9)
        elsewhere = path.with_name("elsewhere")
        elsewhere.mkdir()
        for each in (path, log_path(path)):
            shutil.copy(each, elsewhere)
    done, now = rescued(elsewhere / path.name)
    assert [(each - UTC_US) // 1000 for each in now["series"]["neck"]["utc_us"]] == [0, 1500, 3000, 4500, 4500, 6000]
    assert {loss.what for loss in done.losses} == {"-wal file"}


def test_a_placement_that_is_wrong_is_left_out_and_its_snapshot_is_complete_no_more(path, filled) -> None:
    shutil.copy(filled, path)
    changed(path, "UPDATE placement SET value_base = 2.86 WHERE id = 3")
    done, now = rescued(path)
    assert [(loss.what, loss.count) for loss in done.losses] == [("placement", 1), ("snapshot", None)]
    whole = told(open_recording(filled))["snapshots"]
    assert now["snapshots"][0]["complete_utc_us"] is None
    assert now["snapshots"][1]["complete_utc_us"] == whole[1]["complete_utc_us"] is not None
    was = [kept["placement"] for kept in whole[0]["placements"]]
    assert [kept["placement"] for kept in now["snapshots"][0]["placements"]] == was[:2] + was[3:]


def test_what_a_lost_gauge_read_stands_under_a_name_that_says_so(path, filled) -> None:
    shutil.copy(filled, path)
    changed(path, "UPDATE gauge SET identity = 'no. 8' WHERE id = 1")
    done, now = rescued(path)
    whole = told(open_recording(filled))
    assert now["series"]["lost-1"]["value"] == whole["series"]["neck"]["value"]
    assert now["series"]["depth"] == whole["series"]["depth"]
    assert len(now["snapshots"][0]["placements"]) == len(whole["snapshots"][0]["placements"])
    assert {loss.what for loss in done.losses} == {"gauge"}


def test_what_a_lost_sitting_recorded_is_kept(path, filled) -> None:
    shutil.copy(filled, path)
    changed(path, "UPDATE sitting SET command = 'clomp' WHERE id = 2")
    done, now = rescued(path)
    whole = told(open_recording(filled))
    assert [each["command"] for each in now["sittings"]] == ["capture before", "lost", "capture after"]
    assert now["series"] == whole["series"]
    assert now["marks"] == whole["marks"]
    assert {loss.what for loss in done.losses} == {"sitting"}


def test_a_lost_snapshot_leaves_its_placements_under_a_stage_that_says_so(path, filled) -> None:
    shutil.copy(filled, path)
    changed(path, "UPDATE snapshot SET stage = 'bevore' WHERE id = 1")
    done, now = rescued(path)
    whole = told(open_recording(filled))["snapshots"]
    assert [(each["stage"], len(each["placements"])) for each in now["snapshots"]] == [
        *(("lost-1", len(whole[0]["placements"])), ("after", len(whole[1]["placements"])))
    ]
    assert "snapshot" in {loss.what for loss in done.losses}


@pytest.mark.parametrize("table", ["mark", "event", "gap", "skip", "reject", "instrument", "clock"])
def test_a_row_that_vanished_is_told(path, filled, table) -> None:
    shutil.copy(filled, path)
    size = rootpage(path, table) * PAGE
    data = bytearray(path.read_bytes())
    data[size - PAGE : size] = bytes(PAGE)
    path.write_bytes(data)
    done, _ = rescued(path)
    assert table in {loss.what for loss in done.losses}


def test_a_damaged_log_is_refused_by_all_but_the_rescue_which_reads_on_behind_the_damage(cut_off, path) -> None:
    shutil.copy(cut_off, path)
    log = bytearray(log_path(cut_off).read_bytes())
    log[32 + 10 * (24 + PAGE) + 500] ^= 1
    log_path(path).write_bytes(log)
    for refused in (
        lambda: open_recording(path),
        lambda: RecordingWriter.open(path, anchor=NOW, command="clamp"),
    ):
        with pytest.raises(DamagedRecordingError, match="-wal file is damaged"):
            refused()
    assert log_path(path).read_bytes() == log
    whole = told(open_recording(cut_off))
    done, now = rescued(path)
    assert "-wal file" in {loss.what for loss in done.losses}
    assert now["marks"] == whole["marks"]
    assert len(now["series"]["neck"]["value"]) > 0.8 * len(whole["series"]["neck"]["value"])


def test_a_log_that_is_not_there_is_told(cut_off, path) -> None:
    shutil.copy(cut_off, path)
    with pytest.raises(DamagedRecordingError, match="not beside it"):
        open_recording(path).check()
    log_path(path).unlink(missing_ok=True)
    done, _ = rescued(path)
    assert "-wal file" in {loss.what for loss in done.losses}


def test_a_rescued_recording_goes_on(path, filled, placement) -> None:
    shutil.copy(filled, path)
    changed(path, "UPDATE placement SET value_base = 2.86 WHERE id = 3")
    changed(path, "UPDATE mark SET words = 'x' WHERE id = 1")
    done, before = rescued(path)
    with RecordingWriter.open(done.target, anchor=NOW, command="capture before") as writer:
        snapshot = writer.snapshot("before")
        writer.place(snapshot.id, placement("2.95"))
        writer.mark(Mark(NOW.utc_us, MarkKind.NOTE, "gone on"))
        writer.complete(snapshot.id)
    recording = open_recording(done.target)
    recording.check()
    assert recording.marks()[-1].words == "gone on"
    assert len(recording.snapshot("before").placements) == len(before["snapshots"][0]["placements"]) + 1


def test_nothing_is_overwritten_and_nothing_made_where_there_is_nothing(path, filled, begin) -> None:
    with pytest.raises(NoRecordingError):
        rescue(path, path.with_name("new.gaugelog"), NOW)
    path.write_bytes(b"no recording, whatever its name says " * 500)
    with pytest.raises(NothingToRescueError):
        rescue(path, path.with_name("new.gaugelog"), NOW)
    with pytest.raises(FileExistsAlreadyError):
        rescue(path, path, NOW)
    assert [each.name for each in path.parent.iterdir()] == [path.name]
    path.unlink()
    with begin(), pytest.raises(RecordingBusyError):
        rescue(path, path.with_name("new.gaugelog"), NOW)
    assert not path.with_name("new.gaugelog").exists()


def test_a_newer_recording_is_refused_but_a_version_that_was_damaged_is_not(path, filled) -> None:
    shutil.copy(filled, path)
    changed(path, "PRAGMA user_version = 6")
    done, now = rescued(path)
    assert done.is_whole
    assert now == told(open_recording(filled))
    done.target.unlink()
    changed(path, "CREATE TABLE of_later (id INTEGER PRIMARY KEY)")
    with pytest.raises(NewerRecordingError):
        rescue(path, done.target, NOW)
