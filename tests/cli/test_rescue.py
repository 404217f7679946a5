"""`gaugelog rescue` as a builder meets it. The recording is the demo's: simulated gauges, invented values."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from gaugelog.store.reader import open_recording


def damage(recording: Path, *statements: str) -> None:
    """Change rows behind the writer's back, so that their checksums don't fit any more."""
    with closing(sqlite3.connect(recording)) as connection, connection:
        for statement in statements:
            connection.execute(statement)


def test_a_whole_recording_comes_out_whole_with_status_0(run, recording) -> None:
    ran = run("rescue", recording.name)
    new = recording.with_name(f"{recording.stem}-rescued.gaugelog")
    assert ran.status == 0
    assert "Nothing is missing." in ran.out
    assert "was left as it is" in ran.out
    was, now = open_recording(recording), open_recording(new)
    now.check()
    assert now.placements().equals(was.placements())
    assert now.readings().equals(was.readings())


def test_what_is_missing_is_said_and_the_status_is_1(run, recording) -> None:
    damage(recording, "UPDATE placement SET value_base = value_base + 1 WHERE id = 3")
    damage(recording, "UPDATE block SET data = zeroblob(100) WHERE id = (SELECT min(id) FROM block)")
    told = run("compare", "--recording", recording.name)
    assert told.status == 2
    assert "`gaugelog rescue FILE`" in told.err
    before = recording.read_bytes()
    ran = run("rescue", recording.name, "--to", "new.gaugelog")
    words = " ".join(ran.out.split())
    assert ran.status == 1
    assert "placements: 1 of" in words
    assert "it counts as complete no more" in words
    assert "readings:" in words
    assert recording.read_bytes() == before
    open_recording("new.gaugelog").check()


def test_the_document_says_the_same(run, recording) -> None:
    damage(recording, "UPDATE mark SET words = 'another' WHERE id = 1")
    ran = run("rescue", recording.name, "--to", "new.gaugelog", "--json")
    document = ran.document
    assert ran.status == 1
    assert document["whole"] is False
    assert [(loss["what"], loss["count"], loss["words"]) for loss in document["missing"]] == [("mark", 1, "1 of 3")]
    assert document["kept"]["mark"] == 2
    assert document["kept"]["readings"] == len(open_recording("new.gaugelog").readings())
    assert document["without_checksum"] == {}


def test_it_overwrites_nothing_and_makes_nothing_of_nothing(run, recording) -> None:
    before = recording.read_bytes()
    taken = run("rescue", recording.name, "--to", recording.name)
    assert (taken.status, "exists already" in taken.err) == (2, True)
    assert recording.read_bytes() == before
    Path("other.gaugelog").write_bytes(b"something else " * 500)
    nothing = run("rescue", "other.gaugelog")
    assert (nothing.status, "nothing-to-rescue" in nothing.err) == (2, True)
    assert not Path("other-rescued.gaugelog").exists()
    assert run("rescue", "not-there.gaugelog").status == 2


@pytest.mark.parametrize(
    "command",
    [
        ("compare",),
        ("drift",),
        ("report", "-o", "out.html"),
        ("export", "readings"),
        ("export", "placements"),
        ("copy", "copied.gaugelog"),
        ("decode", "neck", "--look"),
        ("neck",),
    ],
    ids=" ".join,
)
def test_every_command_opens_what_was_rescued(run, recording, command) -> None:
    damage(
        recording,
        "UPDATE placement SET value_base = value_base + 1 WHERE id = 3",
        "UPDATE block SET data = zeroblob(100) WHERE id = (SELECT min(id) FROM block)",
    )
    assert run("rescue", recording.name, "--to", "new.gaugelog").status == 1
    [instrument] = [path.name for path in recording.parent.glob("*.toml")]
    ran = run(*command, "--recording", "new.gaugelog", "--instrument", instrument)
    assert ran.status in (0, 1, 3), ran.err


def test_the_report_says_that_it_was_rescued_and_what_is_missing(run, recording) -> None:
    damage(recording, "UPDATE mark SET words = 'another' WHERE id = 3")
    run("rescue", recording.name, "--to", "new.gaugelog")
    [instrument] = [path.name for path in recording.parent.glob("*.toml")]
    ran = run("report", "-o", "out.html", "--recording", "new.gaugelog", "--instrument", instrument)
    assert ran.status == 0
    assert f"This recording was rescued from {recording.name}; missing: mark: 1 of 3." in Path("out.html").read_text()


def test_one_whose_instrument_text_is_lost_is_read_with_the_file_that_is_named(run, recording) -> None:
    damage(recording, "UPDATE instrument SET text = 'name = 1'")
    assert run("rescue", recording.name, "--to", "elsewhere.gaugelog").status == 1
    [instrument] = list(recording.parent.glob("*.toml"))
    unnamed = run("compare", "--recording", "elsewhere.gaugelog")
    assert (unnamed.status, "--instrument" in unnamed.err) == (2, True)
    assert run("compare", "--recording", "elsewhere.gaugelog", "--instrument", instrument.name).status in (0, 1, 3)
    instrument.rename("elsewhere.toml")
    assert run("compare", "--recording", "elsewhere.gaugelog").status in (0, 1, 3)
