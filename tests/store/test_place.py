"""A recording whose file is taken from under its writer; a writer that reads itself; what is kept whole or not at all.

All values are invented.
"""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from gaugelog.errors import NoRecordingError, RecordingTakenAwayError, WriteFailedError
from gaugelog.model.clock import Anchor
from gaugelog.store.lock import lock_path
from gaugelog.store.reader import open_recording
from gaugelog.store.writer import RecordingWriter

LOOK = (
    "import sqlite3, sys; there = sqlite3.connect(sys.argv[1]);"
    "print(there.execute('SELECT count(*) FROM placement').fetchone()[0]); there.close()"
)


def log_of(path: Path) -> Path:
    return path.with_name(path.name + "-wal")


def saved(path: Path) -> Path:
    return path.with_name("baritone-saved.gaugelog")


def kept(path: Path) -> list[int]:
    recording = open_recording(path)
    recording.check()
    return [each.id for each in recording.snapshot("before").placements]


def two_placed(writer: RecordingWriter, placement) -> int:
    snapshot = writer.snapshot("before").id
    for _ in range(2):
        writer.place(snapshot, placement())
    return snapshot


def test_removed_it_is_told_with_the_next_placement_and_all_of_it_saved(path, begin, placement) -> None:
    writer = begin()
    snapshot = two_placed(writer, placement)
    path.unlink()
    with pytest.raises(RecordingTakenAwayError, match="removed") as told:
        writer.place(snapshot, placement())
    assert told.value.saved == str(saved(path))
    assert "Nothing is lost" in told.value.hint
    assert kept(saved(path)) == [1, 2, 3]
    assert [each.name for each in path.parent.iterdir()] == [saved(path).name]
    for _ in range(2):  # who goes on nevertheless is told so again; the end is quiet
        with pytest.raises(RecordingTakenAwayError):
            writer.place(snapshot, placement())
    writer.finish()


def test_removed_it_is_told_within_a_second_though_nothing_is_heard(path, begin) -> None:
    writer = begin()
    path.unlink()
    with pytest.raises(RecordingTakenAwayError):
        writer.keep_up(10**9 + 1)


def test_removed_it_is_told_at_the_end_at_the_latest(path, begin, placement) -> None:
    writer = begin()
    two_placed(writer, placement)
    path.unlink()
    with pytest.raises(RecordingTakenAwayError):
        writer.finish()
    assert kept(saved(path)) == [1, 2]


def test_what_was_put_in_its_place_keeps_its_own_and_is_given_no_log(path, begin, placement) -> None:
    with begin() as writer:
        two_placed(writer, placement)
    other = path.with_name("other.gaugelog")
    path.rename(other)
    before = other.read_bytes()
    writer = begin()
    snapshot = two_placed(writer, placement)
    other.replace(path)
    with pytest.raises(RecordingTakenAwayError, match="replaced"):
        writer.place(snapshot, placement())
    assert path.read_bytes() == before
    assert not log_of(path).exists()
    assert (kept(path), kept(saved(path))) == ([1, 2], [1, 2, 3])
    begin().finish()


def test_a_second_rescue_overwrites_no_first(path, begin, placement) -> None:
    for _ in range(2):
        writer = begin()
        two_placed(writer, placement)
        path.unlink()
        with pytest.raises(RecordingTakenAwayError):
            writer.finish()
    assert kept(saved(path)) == kept(path.with_name("baritone-saved-2.gaugelog")) == [1, 2]


def test_renamed_its_file_is_whole_where_it_is_now(path, begin, placement) -> None:
    writer = begin()
    snapshot = two_placed(writer, placement)
    elsewhere = path.with_name("elsewhere.bin")
    path.rename(elsewhere)
    with pytest.raises(RecordingTakenAwayError):
        writer.place(snapshot, placement())
    assert kept(elsewhere) == kept(saved(path)) == [1, 2, 3]


def test_where_it_cannot_be_saved_that_is_said(path, begin, placement) -> None:
    folder = path.parent / "work"
    folder.mkdir()
    writer = RecordingWriter.open(folder / path.name, anchor=Anchor(0, 0), command="clamp")
    snapshot = two_placed(writer, placement_without_gauge(placement))
    folder.rename(path.parent / "moved")
    with pytest.raises(RecordingTakenAwayError, match="can't be saved") as told:
        writer.place(snapshot, placement_without_gauge(placement)())
    assert told.value.saved is None
    assert kept(path.parent / "moved" / path.name) == [1, 2, 3]


def test_moved_with_the_folder_that_the_program_stands_in_it_is_told_too(path, placement, monkeypatch) -> None:
    folder = path.parent / "work"
    folder.mkdir()
    monkeypatch.chdir(folder)
    writer = RecordingWriter.open(Path(path.name), anchor=Anchor(0, 0), command="clamp")
    snapshot = two_placed(writer, placement_without_gauge(placement))
    folder.rename(path.parent / "moved")
    with pytest.raises(RecordingTakenAwayError):
        writer.place(snapshot, placement_without_gauge(placement)())
    assert kept(path.parent / "moved" / path.name) == [1, 2, 3]


def placement_without_gauge(placement):
    return lambda: replace(placement(), parts=(), gauge=None)


def test_a_log_that_was_removed_costs_nothing(path, begin, placement) -> None:
    writer = begin()
    snapshot = two_placed(writer, placement)
    log_of(path).unlink()
    with pytest.raises(RecordingTakenAwayError, match="-wal") as told:
        writer.place(snapshot, placement())
    assert told.value.saved == str(path)
    assert kept(path) == [1, 2, 3]
    begin().finish()


def test_written_over_it_is_told_and_nothing_is_written_into_it(path, begin, placement) -> None:
    writer = begin()
    snapshot = two_placed(writer, placement)
    text = b"shopping list\n" * 5000
    with path.open("r+b") as file:
        file.truncate(0)
        file.write(text)
    with pytest.raises(RecordingTakenAwayError, match="written over"):
        writer.place(snapshot, placement())
    assert path.read_bytes() == text
    assert not log_of(path).exists()
    assert not lock_path(path).exists()


def test_a_tool_that_takes_over_the_log_disturbs_nothing(path, begin, placement) -> None:
    with begin() as writer:
        snapshot = two_placed(writer, placement)
        take_over = "import sqlite3, sys; sqlite3.connect(sys.argv[1]).execute('PRAGMA wal_checkpoint').fetchone()"
        subprocess.run([sys.executable, "-c", take_over, str(path)], check=True)
        writer.place(snapshot, placement())
    assert kept(path) == [1, 2, 3]


def test_a_writer_that_reads_its_own_recording_keeps_it_from_other_tools(path, begin, placement) -> None:
    """The locks of a file are the process's: SQLite, "How To Corrupt An SQLite Database File", section 2.2."""
    writer = begin()
    snapshot = two_placed(writer, placement)
    open_recording(path).check()
    ran = subprocess.run([sys.executable, "-c", LOOK, str(path)], capture_output=True, text=True, check=True)
    assert ran.stdout == "2\n"
    assert log_of(path).exists()
    writer.place(snapshot, placement())
    left = path.with_name("left.gaugelog")
    for end in ("", "-wal"):  # what a program killed in this moment would leave
        subprocess.run(["cp", f"{path}{end}", f"{left}{end}"], check=True)
    assert kept(left) == [1, 2, 3]
    writer.finish()


def test_a_recording_cut_off_in_its_very_last_step_can_be_read(path, begin, placement) -> None:
    """That step changes the file's head under a journal (SQLite, "Atomic Commit In SQLite", section 4)."""
    with begin() as writer:
        two_placed(writer, placement)
    hot = sqlite3.connect(path, isolation_level=None)
    hot.executescript("PRAGMA cache_size = 1; PRAGMA cache_spill = 1; BEGIN IMMEDIATE; DELETE FROM sitting")
    hot.execute("CREATE TABLE filler AS SELECT zeroblob(9000) FROM sqlite_master")
    left = path.with_name("left.gaugelog")
    for end in ("", "-journal"):
        subprocess.run(["cp", f"{path}{end}", f"{left}{end}"], check=True)
    hot.close()
    assert left.with_name(left.name + "-journal").stat().st_size > 512
    assert left.read_bytes() != path.read_bytes()
    assert kept(left) == [1, 2]


def together(writer: RecordingWriter, snapshot: int, heard, placement, *, fails: bool = False) -> None:
    """Keep 699 readings, which are gathered meanwhile, and a placement as one."""
    with writer.whole():
        before = kept(writer.path)
        for second in range(1, 700):
            writer.hear(heard(f"{second % 89 / 20:.2f}", 1000 * second))
            writer.keep_up(second * 10**9)
        writer.place(snapshot, placement())
        assert kept(writer.path) == before
        if fails:
            raise ZeroDivisionError


def test_together_means_all_or_nothing(path, begin, heard, placement) -> None:
    with begin() as writer:
        snapshot = two_placed(writer, placement)
        writer.hear(heard("2.85", 0))
        with pytest.raises(ZeroDivisionError):
            together(writer, snapshot, heard, placement, fails=True)
        assert kept(path) == [1, 2]
        assert open_recording(path).series("neck").value.size == 1
        together(writer, snapshot, heard, placement)
        assert kept(path) == [1, 2, 3]
    assert open_recording(path).series("neck").value.size == 700
    kept(path)


def test_what_belongs_together_and_finds_no_room_leaves_nothing(path, begin, heard, placement) -> None:
    with begin() as writer:
        snapshot = two_placed(writer, placement)
        pages = writer._db.execute("PRAGMA page_count").fetchone()[0]
        writer._db.execute(f"PRAGMA max_page_count = {pages + 2}").fetchone()
        with pytest.raises(WriteFailedError):
            together(writer, snapshot, heard, placement)
        assert kept(path) == [1, 2]
        writer._db.execute("PRAGMA max_page_count = 100000").fetchone()
        with writer.whole():
            writer.place(snapshot, placement())
    assert kept(path) == [1, 2, 3]


def test_an_end_that_finds_no_room_is_not_taken_for_a_lost_log(path, begin, heard, placement) -> None:
    writer = begin()
    two_placed(writer, placement)
    pages = writer._db.execute("PRAGMA page_count").fetchone()[0]
    for place in range(60_000):
        writer.hear(heard(f"{place * 7919 % 9973 / 100:.2f}", place * 100))
    writer._db.execute(f"PRAGMA max_page_count = {pages}").fetchone()
    with pytest.raises(WriteFailedError):
        writer.finish()
    assert not log_of(path).exists()
    assert kept(path) == [1, 2]


def test_a_copy_bears_its_name_only_once_it_is_whole(path, begin, placement, monkeypatch) -> None:
    with begin() as writer:
        two_placed(writer, placement)
    target = path.with_name("copy.gaugelog")
    part = target.with_name(target.name + ".part")
    part.write_bytes(b"what a killed copy left")
    open_recording(path).copy_to(target)
    assert kept(target) == [1, 2]
    assert not part.exists()
    shutil.rmtree(path.parent / "none", ignore_errors=True)
    with pytest.raises(WriteFailedError):
        open_recording(path).copy_to(path.parent / "none" / "copy.gaugelog")


def test_a_lock_taken_away_by_hand_takes_no_other_program_its_own(path, begin) -> None:
    writer = begin()
    lock_path(path).unlink()
    lock_path(path).write_text("another's", encoding="utf-8")
    writer.finish()
    assert lock_path(path).read_text(encoding="utf-8") == "another's"


def test_a_recording_cut_off_as_it_began_is_none_yet(path, begin) -> None:
    path.write_bytes(b"")
    with pytest.raises(NoRecordingError, match="no recording"):
        open_recording(path)
    begin().finish()
    open_recording(path).check()
