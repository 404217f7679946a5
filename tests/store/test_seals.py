"""Rows that carry a checksum of their own from schema 2 on: changed, gone or doubled behind the writer's back."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from filling import QUESTIONS, fill

from gaugelog.errors import DamagedRecordingError
from gaugelog.store.reader import open_recording
from gaugelog.store.seals import COUNTED, SEALS

ASKED = {
    "clock": "clock_sets",
    "instrument": "instrument",
    "skip": "snapshots",
    "event": "events",
    "gap": "gaps",
    "tally": "series",
    "reject": "rejects",
    "reject_raw": "rejects",
    "sitting": "sittings",
    "gauge_check": "checks",
}


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> bytes:
    path = tmp_path_factory.mktemp("filled") / "baritone.gaugelog"
    fill(path)
    return path.read_bytes()


def change(path: Path, filled: bytes, statement: str) -> None:
    path.write_bytes(filled)
    with closing(sqlite3.connect(path)) as connection, connection:
        assert connection.execute(statement).rowcount == 1


def must_be_refused(path: Path, table: str) -> None:
    recording = open_recording(path)
    for question in (lambda: QUESTIONS[ASKED[table]](recording), recording.check):
        with pytest.raises(DamagedRecordingError, match=table.replace("_check", ".check")):
            question()


@pytest.mark.parametrize(
    ("table", "column"), [(table, column) for table, seal in SEALS.items() for column in seal.covered]
)
def test_a_value_that_changed_is_found(path, filled, table, column) -> None:
    number = "(SELECT max(rowid) FROM " + table + ")"
    new = "X'00'" if column in ("bytes", "reason", "words", "text", "sha256", "checkpoint", "detail") else "91"
    change(path, filled, f"UPDATE {table} SET {column} = {new} WHERE rowid = {number}")
    must_be_refused(path, table)


@pytest.mark.parametrize("table", [*SEALS, "gauge_check"])
def test_a_row_that_vanished_is_found(path, filled, table) -> None:
    change(path, filled, f"DELETE FROM {table} WHERE rowid = (SELECT max(rowid) FROM {table})")
    must_be_refused(path, table)


@pytest.mark.parametrize("table", SEALS)
def test_a_checksum_that_is_gone_is_no_checksum_that_fits(path, filled, table) -> None:
    column = SEALS[table].checksum
    change(path, filled, f"UPDATE {table} SET {column} = NULL WHERE rowid = (SELECT max(rowid) FROM {table})")
    must_be_refused(path, table)


def test_every_row_of_every_table_is_covered_by_some_checksum(filled, path) -> None:
    path.write_bytes(filled)
    with closing(sqlite3.connect(path)) as connection:
        names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        columns = {name: {row[1] for row in connection.execute(f"PRAGMA table_info({name})")} for name in names}
        counted = dict(connection.execute("SELECT name, n FROM row_count"))
        stand = {name: connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in COUNTED}
    bare = {name for name, each in columns.items() if not each & {"checksum", "head_crc32"}}
    assert bare == {"part", "raw", "row_count", "sqlite_sequence"}, "parts and bytes are covered by their placement"
    assert counted == stand


def test_a_skip_that_is_taken_back_and_given_again_stays_sealed(path, begin) -> None:
    with begin() as writer:
        snapshot = writer.snapshot("before")
        for reason in ("no room", "a clamp is in the way"):
            writer.skip(snapshot.id, "control", reason)
        writer.unskip(snapshot.id, "control")
        writer.skip(snapshot.id, "control", "no room after all")
    recording = open_recording(path)
    recording.check()
    assert [skip.reason for skip in recording.snapshot("before").skips] == ["no room after all"]
