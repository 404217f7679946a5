"""`gaugelog gauges try`: a datasheet checked, and bytes read through it, message by message."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from gaugelog.datasheets.catalogue import find_datasheet

LOG = """# gaugelog raw log 1
# synthetic: written by hand
0.000 +  2.85 deg\\r\\n
0.100 +  2.
0.105 90 deg H\\r\\n
0.200 +2x.90\\r\\n
0.300 +  2.
"""


def test_a_sound_datasheet_is_called_sound(run) -> None:
    ran = run("gauges", "try", "angle-line")
    assert ran.status == 0
    assert "says the same in both directions" in ran.out


def test_a_broken_rule_is_told_in_words(run, tmp_path: Path) -> None:
    text = find_datasheet("caliper-polled").text.replace('template = "L={number}"', 'template = "M={number}"')
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    ran = run("gauges", "try", "mine.toml")
    assert ran.status == 1
    assert "breaks a rule" in ran.out
    assert "is no reading: does not match the pattern" in " ".join(ran.out.split())
    document = run("gauges", "try", "mine.toml", "--json").document
    assert "is one reading" in document["broken_rule"]


def test_faults_are_listed(run, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text('name = "mine"\nquantity = "colour"\n', encoding="utf-8")
    ran = run("gauges", "try", "mine.toml")
    assert ran.status == 2
    assert 'quantity: found "colour"' in ran.err
    assert "faulty-datasheet" in ran.err
    assert run("gauges", "try", "no-such-datasheet").status == 2
    assert "unreadable-file" in run("gauges", "try", "absent.toml").err


def test_each_message_of_a_raw_log_is_shown_in_order(run, tmp_path: Path) -> None:
    (tmp_path / "wall.log").write_text(LOG, encoding="utf-8")
    ran = run("gauges", "try", "angle-line", "--bytes", "wall.log")
    assert ran.status == 1
    lines = [" ".join(line.split()) for line in ran.out.splitlines()]
    assert "0.000 2.85 deg `+ 2.85 deg`" in lines
    assert "0.105 2.90 deg `+ 2.90 deg H`" in lines
    assert "hold" in lines
    assert "0.200 – `+2x.90`" in lines
    assert "2 readings, 1 rejected, the last one cut off by the end." in lines
    document = run("gauges", "try", "angle-line", "--bytes", "wall.log", "--json").document
    assert (document["readings"], document["rejects"]) == (2, 1)
    assert [each["reason"] for each in document["messages"]] == [None, None, "does not match the pattern"]
    assert bytes.fromhex(document["left_over"][0]["bytes"]) == b"+  2."


def test_plain_bytes_and_standard_input(run, tmp_path: Path, workshop) -> None:
    from terminal import piped

    (tmp_path / "bytes").write_bytes(b"+  2.85 deg\r\n-  0.35 deg\r\n")
    assert run("gauges", "try", "angle-line", "--bytes", "bytes").status == 0
    ran = piped(tmp_path, "gauges", "try", "angle-line", "--bytes", "-", "--json", lines="+  2.85 deg\n")
    assert ran.returncode == 0
    assert json.loads(ran.stdout)["messages"][0]["reading"]["value"] == 2.85


@pytest.mark.parametrize("data", [b"", b"\x00\x01"])
def test_bytes_without_a_whole_message_are_not_well(run, tmp_path: Path, data: bytes) -> None:
    (tmp_path / "bytes").write_bytes(data)
    ran = run("gauges", "try", "angle-line", "--bytes", "bytes")
    assert ran.status == 1


def test_damaged_logs_and_missing_files_are_told(run, tmp_path: Path) -> None:
    (tmp_path / "wall.log").write_text(LOG + "nonsense\n", encoding="utf-8")
    assert "faulty-log" in run("gauges", "try", "angle-line", "--bytes", "wall.log").err
    assert "unreadable-file" in run("gauges", "try", "angle-line", "--bytes", "absent").err
