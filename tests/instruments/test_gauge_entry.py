"""Writing a gauge into an instrument file: one entry more, every other byte as it was."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from gaugelog.errors import FaultyInstrumentError, GaugeNameTakenError, UnreadableFileError, WriteFailedError
from gaugelog.instruments.find import read_instrument_file
from gaugelog.instruments.gauge_entry import check_room, with_gauge, write_gauge
from gaugelog.instruments.new import new_instrument

GAUGE = "angle-line@serial:/dev/serial/by-id/adapter?baud=9600"
BARE = """# my own words
name = "baritone"   # kept
"""
POINT = """
[[checkpoint]]
id = "neck"
kind = "neck-angle"   # kept as well
todo = "long gauge on the fretboard"
step = 0.1
"""
_FORMS = {
    "table": BARE + '\n[gauges]\n# the one with the broken corner\nangle = "angle-line@sim:"\n\n[neck]\nfrets = 24\n',
    "none": BARE + "\n[neck]\nfrets = 24\n",
    "inline": BARE + 'gauges = {angle = "angle-line@sim:"}\n',
    "dotted": BARE + 'gauges.angle = "angle-line@sim:"\n',
    "detailed": BARE + '[gauges.angle]\ngauge = "angle-line@sim:"\nidentity = "A1"\n[neck]\nfrets = 24\n',
}
FORMS = {name: text + POINT for name, text in _FORMS.items()} | {"new": new_instrument("baritone")}


@pytest.mark.parametrize("line_end", ["\n", "\r\n"], ids=["LF", "CRLF"])
@pytest.mark.parametrize("text", FORMS.values(), ids=FORMS)
def test_one_gauge_more_and_every_line_that_was_there(tmp_path: Path, text: str, line_end: str) -> None:
    path = tmp_path / "baritone.toml"
    path.write_bytes(text.replace("\n", line_end).encode())
    path.chmod(0o640)
    before = read_instrument_file(path)
    write_gauge(path, "neck-gauge", GAUGE)
    after = read_instrument_file(path)
    assert str(after.gauges["neck-gauge"].gauge) == GAUGE
    assert {name: after.gauges[name] for name in before.gauges} == before.gauges
    assert (after.neck, after.checkpoints, after.movement_limits) == (
        before.neck,
        before.checkpoints,
        before.movement_limits,
    )
    lines = path.read_bytes().split(b"\n")
    lost = [line for line in text.replace("\n", line_end).encode().split(b"\n") if line not in lines]
    assert [line for line in lost if not line.startswith(b"gauges = {")] == []
    assert path.stat().st_mode & 0o777 == 0o640
    assert os.listdir(tmp_path) == ["baritone.toml"]


def test_comments_stay_where_they_were() -> None:
    written = with_gauge(FORMS["table"], "depth", GAUGE, "file")
    assert written == FORMS["table"].replace('sim:"\n', f'sim:"\ndepth = "{GAUGE}"\n')


def test_a_name_that_is_there_is_replaced_only_when_it_is_said(tmp_path: Path) -> None:
    path = tmp_path / "baritone.toml"
    path.write_text(FORMS["table"], encoding="utf-8")
    for attempt in (lambda: write_gauge(path, "angle", GAUGE), lambda: check_room(path, "angle")):
        with pytest.raises(GaugeNameTakenError, match="angle-line@sim:"):
            attempt()
    assert path.read_text(encoding="utf-8") == FORMS["table"]
    write_gauge(path, "angle", GAUGE, replace=True)
    assert path.read_text(encoding="utf-8") == FORMS["table"].replace("angle-line@sim:", GAUGE)


def test_the_identity_of_the_old_gauge_goes_with_it() -> None:
    written = with_gauge(FORMS["detailed"], "angle", GAUGE, "file", replace=True)
    assert "A1" not in written
    assert GAUGE in written


@pytest.mark.parametrize("name", ["two words", "", "a.b"])
def test_a_name_that_no_instrument_file_can_have_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / "baritone.toml"
    path.write_text(FORMS["table"], encoding="utf-8")
    with pytest.raises(FaultyInstrumentError, match="short name"):
        write_gauge(path, name, GAUGE)
    assert path.read_text(encoding="utf-8") == FORMS["table"]


def test_a_faulty_file_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "baritone.toml"
    path.write_text("name = 7\n", encoding="utf-8")
    with pytest.raises(FaultyInstrumentError):
        write_gauge(path, "angle", GAUGE)
    path.write_bytes(b"\xff")
    with pytest.raises(UnreadableFileError):
        write_gauge(path, "angle", GAUGE)
    assert path.read_bytes() == b"\xff"
    with pytest.raises(UnreadableFileError):
        write_gauge(tmp_path / "absent.toml", "angle", GAUGE)


def test_a_disk_that_is_full_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "baritone.toml"
    path.write_text(FORMS["table"], encoding="utf-8")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(WriteFailedError, match="No space left"):
        write_gauge(path, "depth", GAUGE)
    assert path.read_text(encoding="utf-8") == FORMS["table"]
    assert os.listdir(tmp_path) == ["baritone.toml"]


def test_a_link_to_the_file_stays_a_link(tmp_path: Path) -> None:
    real = tmp_path / "real.toml"
    real.write_text(FORMS["table"], encoding="utf-8")
    (tmp_path / "link.toml").symlink_to(real)
    write_gauge(tmp_path / "link.toml", "depth", GAUGE)
    assert (tmp_path / "link.toml").is_symlink()
    assert GAUGE in real.read_text(encoding="utf-8")
