"""Where a recording lies: folders, companions, locks, other people's files. All values are invented."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from gaugelog.errors import (
    DamagedRecordingError,
    FileExistsAlreadyError,
    NoRecordingError,
    NotARecordingError,
    RecordingBusyError,
    WriteFailedError,
)
from gaugelog.model.clock import Anchor
from gaugelog.model.placement import Mark, MarkKind
from gaugelog.store import connect
from gaugelog.store.lock import lock_path
from gaugelog.store.reader import open_recording
from gaugelog.store.writer import RecordingWriter


def companions(path: Path) -> list[str]:
    return sorted(each.name.removeprefix(path.name) for each in path.parent.iterdir() if each != path)


def test_a_finished_recording_is_one_file_and_leaves_no_lock(path, begin):
    with begin():
        assert companions(path) == ["-shm", "-wal", ".lock"]
    assert companions(path) == []


def test_a_finished_recording_opens_where_nothing_can_be_written_beside_it(path, begin, heard):
    with begin() as writer:
        writer.hear(heard("2.85", 0))
    connection = sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True)
    assert connection.execute("SELECT sum(n) FROM block").fetchone() == (1,)
    connection.close()
    assert open_recording(path).series("neck").value.tolist() == [2.85]
    assert companions(path) == []


def cant_open_beside(monkeypatch):
    """Behave as SQLite does where it may not make the -shm file: only an immutable file opens."""
    plain = connect.connect_to

    class NoCompanions(sqlite3.Connection):
        def execute(self, *_):
            self.close()
            error = sqlite3.OperationalError("unable to open database file")
            error.sqlite_errorcode = sqlite3.SQLITE_CANTOPEN
            raise error

    def refuse(path, options):
        return plain(path, options) if "immutable" in options else sqlite3.connect(":memory:", factory=NoCompanions)

    monkeypatch.setattr(connect, "connect_to", refuse)


def test_a_cut_off_recording_whose_folder_bars_writing_opens_only_without_its_log(path, begin, heard, monkeypatch):
    writer = begin()
    writer.hear(heard("2.85", 0))
    writer.keep_up(10**9)
    elsewhere = path.with_name("elsewhere") / path.name
    elsewhere.parent.mkdir()
    writer._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    shutil.copy(path, elsewhere)
    writer.finish()
    cant_open_beside(monkeypatch)
    assert open_recording(elsewhere).series("neck").value.tolist() == [2.85]
    elsewhere.with_name(elsewhere.name + "-wal").write_bytes(b"not yet in the main file")
    with pytest.raises(NotARecordingError, match="not finished"):
        open_recording(elsewhere)


def test_another_process_reads_while_it_is_written(path, begin, heard, placement):
    read = (
        "import sys; from gaugelog.store.reader import open_recording; r = open_recording(sys.argv[1]);"
        "print(len(r.series('neck').value), len(r.snapshot('before').placements)); r.check()"
    )
    top = Path(__file__).resolve().parents[2]
    with begin() as writer:
        snapshot = writer.snapshot("before")
        for place in range(1, 4):
            writer.hear(heard("2.85", place * 100))
            writer.place(snapshot.id, placement())
            command = [sys.executable, "-W", "error", "-c", read, str(path)]
            told = subprocess.run(command, capture_output=True, text=True, check=True, cwd=top)
            assert told.stdout.split() == [str(place), str(place)]


def test_a_reader_that_is_reading_does_not_bar_the_end(path, begin, heard, monkeypatch):
    monkeypatch.setattr(connect, "_WAIT_S", 0.05)
    writer = begin()
    writer.hear(heard("2.85", 0))
    writer.keep_up(10**9)
    with connect.open_to_read(path) as reader:
        reader.execute("SELECT count(*) FROM block").fetchone()
        writer.finish()
        assert not lock_path(path).exists()
    assert open_recording(path).series("neck").value.tolist() == [2.85]
    begin().finish()
    assert companions(path) == []


def test_what_merging_left_over_is_given_back(path, begin, heard):
    with begin() as writer:
        for second in range(650):
            writer.hear(heard("2.85", 1000 * second))
            writer.keep_up(second * 10**9)
    connection = sqlite3.connect(path)
    blocks = connection.execute("SELECT count(*) FROM block").fetchone()[0]
    unused = connection.execute("PRAGMA freelist_count").fetchone()[0]
    connection.close()
    assert (blocks, unused) == (2, 0)


def test_two_writers_in_one_process_are_refused_as_well(path, begin):
    with begin(), pytest.raises(RecordingBusyError, match="gaugelog clamp"):
        begin()
    begin().finish()


def test_a_finished_writer_takes_nothing_more_and_a_second_finish_does_nothing(path, begin, placement):
    writer = begin()
    snapshot = writer.snapshot("before")
    writer.finish()
    writer.finish()
    with pytest.raises(ValueError, match="finished"):
        writer.place(snapshot.id, placement())


@pytest.mark.parametrize("content", [b"", b"SQLite format 3\x00"])
def test_an_empty_file_becomes_a_recording_and_a_stump_is_refused(path, begin, content):
    path.write_bytes(content)
    if not content:
        begin().finish()
        open_recording(path).check()
        return
    for refused in (begin, lambda: open_recording(path)):
        with pytest.raises(NotARecordingError):
            refused()
    assert path.read_bytes() == content


def test_a_recording_cut_off_as_it_was_begun_is_begun_again(path, begin):
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode = WAL").fetchone()
    connection.close()
    begin().finish()
    assert open_recording(path).gauges.keys() == {"neck"}


def test_the_database_of_another_program_is_left_as_it_is(path, begin):
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE tune (name TEXT)")
    connection.commit()
    connection.close()
    before = path.read_bytes()
    for refused in (begin, lambda: open_recording(path)):
        with pytest.raises(NotARecordingError, match="something else"):
            refused()
    assert path.read_bytes() == before
    assert companions(path) == []


def test_a_folder_that_is_not_there_is_said_to_be_so(tmp_path):
    missing = tmp_path / "not" / "there.gaugelog"
    with pytest.raises(WriteFailedError, match="folder"):
        RecordingWriter.open(missing, anchor=Anchor(0, 0), command="clamp")
    with pytest.raises(NoRecordingError):
        open_recording(missing)
    with pytest.raises(NotARecordingError):
        open_recording(tmp_path)


def fill(writer, snapshot_id, heard, placement):
    """Keep placements until the file may not grow; each is found again once it is acknowledged."""
    for place in range(10_000):
        writer.hear(heard("2.85", place * 100))
        kept = writer.place(snapshot_id, placement())
        assert kept.id == place + 1


def test_a_full_file_loses_nothing_and_goes_on_when_there_is_room(path, begin, heard, placement):
    with begin() as writer:
        snapshot = writer.snapshot("before")
        pages = writer._db.execute("PRAGMA page_count").fetchone()[0]
        writer._db.execute(f"PRAGMA max_page_count = {pages + 2}").fetchone()
        with pytest.raises(WriteFailedError, match="full"):
            fill(writer, snapshot.id, heard, placement)
        kept = len(open_recording(path).snapshot("before").placements)
        assert kept == len(open_recording(path).series("neck").value) > 0
        with pytest.raises(WriteFailedError):
            writer.place(snapshot.id, placement())
        writer._db.execute("PRAGMA max_page_count = 100000").fetchone()
        writer.place(snapshot.id, placement())
    recording = open_recording(path)
    recording.check()
    assert [each.id for each in recording.snapshot("before").placements] == list(range(1, kept + 2))
    assert len(recording.series("neck").value) == kept + 1


def test_a_failed_placement_leaves_no_trace_and_keeps_the_buffered(path, begin, heard, placement):
    with begin() as writer:
        writer.hear(heard("2.85", 100))
        with pytest.raises(ValueError):
            writer.place(404, placement())
        assert open_recording(path).snapshots() == ()
    assert open_recording(path).series("neck").value.tolist() == [2.85]


def test_a_copy_never_overwrites_and_leaves_nothing_where_it_fails(path, begin, tmp_path):
    begin().finish()
    recording = open_recording(path)
    with pytest.raises(FileExistsAlreadyError):
        recording.copy_to(path)
    with pytest.raises(WriteFailedError):
        recording.copy_to(tmp_path / "not" / "there.gaugelog")
    assert companions(path) == []


def test_readings_that_vanish_are_missed(path, begin, heard):
    with begin() as writer:
        for place in range(3):
            writer.hear(heard("2.85", place))
    connection = sqlite3.connect(path)
    connection.execute("DELETE FROM block")
    connection.commit()
    connection.close()
    for ask in (lambda: open_recording(path).readings(), lambda: open_recording(path).check()):
        with pytest.raises(DamagedRecordingError, match="0 of 3 readings"):
            ask()


def test_a_row_of_the_wrong_form_is_damage_and_no_crash(path, begin, heard):
    with begin() as writer:
        writer.hear(heard("2.85", 0))
    connection = sqlite3.connect(path)
    connection.execute("UPDATE tally SET gauge = 'one'")
    connection.commit()
    connection.close()
    with pytest.raises(DamagedRecordingError):
        open_recording(path).readings()


def test_a_value_changed_behind_its_back_is_found_and_not_sealed_in(path, begin, placement):
    with begin() as writer:
        kept = writer.place(writer.snapshot("before").id, placement())
    connection = sqlite3.connect(path)
    connection.execute("UPDATE placement SET value_base = 2.80")
    connection.commit()
    connection.close()
    with pytest.raises(DamagedRecordingError, match="placement 1"):
        open_recording(path).snapshot("before")
    with begin() as writer, pytest.raises(DamagedRecordingError):
        writer.drop(kept.id, "doubtful")


@pytest.mark.parametrize("table", ["mark", "placement", "snapshot", "gap"])
def test_a_row_that_vanishes_is_missed(path, begin, placement, table):
    with begin() as writer:
        writer.place(writer.snapshot("before").id, placement())
        writer.mark(Mark(0, MarkKind.GLUE_ON))
        writer.gap("neck", 0, 10**9, "unplugged")
    connection = sqlite3.connect(path)
    connection.execute(f"DELETE FROM {table}")
    connection.commit()
    connection.close()
    recording = open_recording(path)
    ask = {"mark": recording.marks, "gap": recording.gaps}.get(table, recording.snapshots)
    for question in (ask, recording.check):
        with pytest.raises(DamagedRecordingError, match=f"0 of 1 rows of {table}"):
            question()
