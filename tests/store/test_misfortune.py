"""Killed, locked, full, flipped: nothing acknowledged is lost, no wrong value is returned. All values are invented."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from gaugelog.errors import GaugelogError, RecordingBusyError
from gaugelog.store.reader import open_recording

PROGRAM = Path(__file__).with_name("writing_program.py")


def start(path: Path, *more: str) -> subprocess.Popen[str]:
    command = [sys.executable, str(PROGRAM), str(path), *more]
    surroundings = os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=surroundings)


def acknowledged(lines: list[str]) -> dict[int, float]:
    """What the program said it had kept; a last line that was cut off says nothing."""
    whole = [line.split() for line in lines if line.endswith("\n") and line[0].isdigit()]
    return {int(number): float(value) for number, value, _ in whole}


def kept(path: Path) -> dict[int, float | None]:
    return {each.id: each.placement.value for each in open_recording(path).snapshot("before").placements}


def test_killed_twenty_times_it_loses_no_acknowledged_placement_and_at_most_a_second(path) -> None:
    said: dict[int, float] = {}
    for turn in range(20):
        with start(path) as program:
            assert program.stdout is not None
            lines = [program.stdout.readline() for _ in range(1 + turn)]
            program.send_signal(signal.SIGKILL)
            lines += program.stdout.readlines()
        said |= acknowledged(lines)
        heard = max(int(line.split()[2]) for line in lines if line.endswith("\n"))
        recording = open_recording(path)
        recording.check()
        assert kept(path).items() >= said.items()
        sitting = recording.sittings()[-1]
        mine = recording.series("neck", command=sitting.command)
        newest = mine.utc_us[mine.utc_us.size - 1]
        assert newest >= 1_700_000_000_000_000 + (heard - 1) * 100_000 - 1_000_000
    assert len(said) > 100


def test_a_second_writer_is_refused_and_told_who_writes_while_reading_goes_on(path, begin) -> None:
    with start(path, "hold") as program:
        assert program.stdout is not None
        assert program.stdout.readline() == "open\n"
        with pytest.raises(RecordingBusyError) as busy:
            begin()
        assert open_recording(path).gauges["neck"].name == "neck"
        program.kill()
    assert str(program.pid) in str(busy.value)
    assert "clamp" in str(busy.value)
    begin().finish()


def test_a_full_disk_leaves_all_that_was_acknowledged_and_can_be_tried_again(path) -> None:
    with start(path, "400000") as program:
        assert program.stdout is not None
        lines = program.stdout.readlines()
    assert program.returncode == 0
    assert "full\n" in lines
    said = acknowledged(lines)
    assert len(said) > 2
    assert kept(path) == said
    open_recording(path).check()


def test_a_flipped_byte_gives_no_wrong_value(path, begin, heard, placement) -> None:
    with begin() as writer:
        for place in range(400):
            writer.hear(heard(f"2.{place % 90 + 10}", place * 100))
            writer.keep_up(place * 100_000_000)
        before = writer.snapshot("before")
        for text in ("2.85", "2.80", "2.90"):
            writer.place(before.id, placement(text))
    whole = path.read_bytes()
    values = open_recording(path).series("neck").value.tolist()
    placements = open_recording(path).snapshot("before").of("neck-angle")
    chance = random.Random(686)
    used = [place for place, byte in enumerate(whole) if byte]
    refused = 0
    for place in chance.sample(used, 250):
        flipped = bytearray(whole)
        flipped[place] ^= 1 << chance.randrange(8)
        path.write_bytes(flipped)
        try:
            recording = open_recording(path)
            assert recording.series("neck").value.tolist() == values
            assert recording.snapshot("before").of("neck-angle") == placements
        except GaugelogError:
            refused += 1
    assert refused > 20
