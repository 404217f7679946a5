"""What was put into a recording comes out of it again, exactly. All values are invented."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

import pytest

from gaugelog.errors import NewerRecordingError, NotARecordingError, UnknownStageError
from gaugelog.store.reader import open_recording


def test_placements_come_back_as_they_were_with_their_bytes(path, begin, placement) -> None:
    with begin() as writer:
        before = writer.snapshot("before")
        kept = [writer.place(before.id, placement(text)) for text in ("2.85", "-0.05")]
        writer.drop(kept[1].id, "bumped")
        writer.complete(before.id)
    snapshot = open_recording(path).snapshot("before")
    assert [each.placement for each in snapshot.placements] == [placement("2.85"), placement("-0.05")]
    assert [each.dropped for each in snapshot.placements] == [None, "bumped"]
    assert snapshot.of("neck-angle") == (placement("2.85"),)
    assert snapshot.complete_utc_us is not None


def test_shown_decimals_read_back_exactly_in_order_also_where_blocks_were_merged(path, begin, heard) -> None:
    texts = [f"{place * 5 // 100}.{place * 5 % 100:02d}" for place in range(7000)]
    with begin() as writer:
        for place, text in enumerate(texts):
            writer.hear(heard(text, place * 100))
            writer.keep_up(place * 100_000_000)
    series = open_recording(path).series("neck")
    assert series.value.tolist() == [float(text) for text in texts]
    assert (series.utc_us[1:] - series.utc_us[:-1] == 100_000).all()
    frame = open_recording(path).readings()
    assert frame["angle_deg"].tolist() == series.value.tolist()
    assert str(frame["gauge"].dtype) == "category"


def test_the_last_complete_snapshot_counts_and_an_unknown_stage_names_the_known(path, begin, placement) -> None:
    with begin() as writer:
        first = writer.snapshot("before")
        writer.place(first.id, placement())
        writer.complete(first.id)
        writer.snapshot("before", again=True)
    recording = open_recording(path)
    assert recording.snapshot("before").id == first.id
    assert len(recording.snapshots("before")) == 2
    with pytest.raises(UnknownStageError) as unknown:
        recording.snapshot("befor")
    assert "before" in unknown.value.hint


def test_an_unfinished_snapshot_goes_on_in_the_next_sitting(path, begin, placement) -> None:
    with begin() as writer:
        number = writer.snapshot("before").id
        writer.place(number, placement())
    with begin(5_000_000_000, 1_700_000_100_000_000) as writer:
        again = writer.snapshot("before")
        assert (again.id, len(again.placements)) == (number, 1)
    assert len(open_recording(path).sittings()) == 2


def test_bytes_read_again_count_and_the_first_reading_is_not_lost(path, begin, placement) -> None:
    first, again = placement("2.85"), placement("2.80")
    again = replace(again, parts=(replace(again.parts[0], raw=first.parts[0].raw),))
    with begin() as writer:
        kept = writer.place(writer.snapshot("before").id, first)
        writer.reinterpret(kept.id, again, {"neck": "corrected"})
    assert open_recording(path).snapshot("before").of("neck-angle") == (again,)
    with sqlite3.connect(path) as connection:
        stored = connection.execute("SELECT text, value_base FROM placement").fetchall()
        newer = connection.execute("SELECT text, datasheets FROM reinterpretation").fetchall()
    connection.close()
    assert stored == [("2.85", 2.85)]
    assert newer[0][0] == "2.80"
    assert "corrected" in newer[0][1]


def test_another_schema_and_another_file_are_refused_and_left_as_they_are(path, begin) -> None:
    begin().finish()
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    newer = path.read_bytes()
    for refused in (begin, lambda: open_recording(path)):
        with pytest.raises(NewerRecordingError, match="99"):
            refused()
    assert path.read_bytes() == newer
    path.write_bytes(b"no database, whatever its name says " * 100)
    for refused in (begin, lambda: open_recording(path)):
        with pytest.raises(NotARecordingError):
            refused()
    assert path.read_bytes().startswith(b"no database")


def test_a_copy_made_while_writing_is_whole(path, begin, heard, placement) -> None:
    with begin() as writer:
        writer.hear(heard("2.85", 100))
        writer.place(writer.snapshot("before").id, placement())
        open_recording(path).copy_to(path.with_name("copy.gaugelog"))
    copy = open_recording(path.with_name("copy.gaugelog"))
    copy.check()
    assert copy.snapshot("before").of("neck-angle") == (placement(),)
    assert copy.series("neck").value.tolist() == [2.85]


def test_finished_it_is_one_plain_file(path, begin) -> None:
    begin().finish()
    assert not path.with_name(path.name + "-wal").exists()
    assert path.read_bytes()[18:20] == b"\x01\x01", "SQLite's file format: 1 is a rollback journal, 2 would be WAL"
