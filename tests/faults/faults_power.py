"""The power goes off: what was not yet synced is lost, torn or kept, in any combination.

The system calls of the real program are recorded once (`tracing`); then the power is cut at random places among them,
and the files are made anew as a disk that keeps its word may hold them (`platter`). What the program had printed up to
that very call must be there. Here: which programs, and what is looked for.
"""

from __future__ import annotations

import re
import shutil
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random

import scene
from platter import Platter
from rounds import Family, Outcome
from scene import look_for, opened
from tracing import Call, hindered, traced

from gaugelog.errors import GaugelogError, NoRecordingError
from gaugelog.model.clock import Anchor
from gaugelog.store.reader import open_recording
from gaugelog.store.writer import RecordingWriter

_PYTHON = [sys.executable]
_ROWS = 3000


@dataclass(frozen=True, slots=True)
class Story:
    """What a program did to the files of a folder, and the files that were there before."""

    folder: Path
    before: dict[str, bytes]
    calls: tuple[Call, ...]


def _files(folder: Path) -> dict[str, bytes]:
    return {each.name: each.read_bytes() for each in folder.iterdir()}


def _told(folder: Path, commands: list[tuple[list[str], str]]) -> Story:
    before = _files(folder)
    calls: list[Call] = []
    for command, lines in commands:
        more, ran = traced(folder, command, lines)
        if ran.returncode:
            raise RuntimeError(ran.stderr)
        calls += more
    return Story(folder, before, tuple(calls))


@cache
def writer_story(folder: Path) -> Story:
    """Return what the writer does, twice in a row: begin, store, gather, checkpoint, end, go on, end."""
    folder.mkdir(parents=True)
    command = [*_PYTHON, str(scene.PROGRAM), scene.RECORDING, "mixed"]
    return _told(folder, [([*command, "130"], ""), ([*command, "25"], "")])


@cache
def commands_story(folder: Path) -> Story:
    """Return what the commands do one after another, from an empty folder to the exports."""
    folder.mkdir(parents=True)
    scene.set_up(folder)
    rows = "".join(f"{n / 10},angle,{2.8 + n % 7 * 0.05:.2f},deg\n" for n in range(_ROWS))
    (folder / "session.csv").write_text(f"time,gauge,value,unit\n{rows}", encoding="utf-8")
    typed = ["".join(f"{value}\n" for value in scene.values(first, 12)) + "q\n" for first in (1, 100)]
    wanted = [
        *((("capture", "before"), typed[0]), (("clamp", "--mark", "glue on"), "")),
        *((("clamp", "--from", "session.csv"), ""), (("capture", "before"), typed[1])),
        *((("copy", "copy.gaugelog"), ""), (("export", "readings", "-o", "out.csv"), "")),
        *((("report", "-o", "report.html"), ""), (("clamp", "--mark", "clamps on"), "")),
    ]
    return _told(folder, [([*scene.GAUGELOG, *words], lines) for words, lines in wanted])


def _cut(story: Story, chance: Random, folder: Path) -> tuple[Outcome, str, Path]:
    """Cut the power somewhere in a story; return what the program had said by then, and the folder as it is left."""
    place = chance.randrange(len(story.calls) + 1)
    platter, said = Platter(story.folder, story.before), b""
    for call in story.calls[:place]:
        if call.name == "say":
            said += call.data
        else:
            platter.do(call)
    files, lost = platter.power_off(chance)
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, data in files.items():
        if not name.endswith("-shm"):  # an index in memory: whoever opens the file first makes it anew
            (folder / name).write_bytes(data)
        elif chance.random() < 0.5:
            (folder / name).write_bytes(chance.randbytes(len(data)))
    return Outcome(tries=1, hits=lost > 0), said.decode(), folder / scene.RECORDING


def _goes_on(outcome: Outcome, path: Path) -> None:
    """Let the next writer write, and look at all once more."""
    try:
        writer = RecordingWriter.open(path, anchor=Anchor(0, 1_800_000_000_000_000), command="after")
        with writer:
            snapshot = writer.snapshot("after the power was back")
            _ = snapshot
    except GaugelogError as error:
        outcome.wrong.append(f"can't go on: {error}")
        return
    opened(outcome, path)


def _nothing_yet(outcome: Outcome, path: Path, said: str) -> bool:
    """Return whether the power went before anything was stored: then there may be no recording yet."""
    if said:
        return False
    try:
        open_recording(path).check()
    except NoRecordingError:
        outcome.seen["cut before the recording had begun"] = 1
        _goes_on(outcome, path)
        return True
    except GaugelogError as error:
        outcome.wrong.append(str(error))
        return True
    return False


def of_the_writer(chance: Random, folder: Path) -> Outcome:
    """Cut the power under the writer at full speed."""
    outcome, said, path = _cut(writer_story(folder / "story"), chance, folder / "left")
    if _nothing_yet(outcome, path, said):
        return outcome
    recording = opened(outcome, path)
    if recording is None:
        outcome.lost += 1
        return outcome
    look_for(outcome, re.findall(r"^placed (\S+)$", said, re.M), scene.kept(recording), "placements")
    sittings = [sitting.command for sitting in recording.sittings() if sitting.command.startswith("drive")]
    told = [int(each) for each in re.findall(r"^stored (\d+)$", said, re.M)]
    most = [max(run) for run in _runs(told)]
    for command, count in zip(sittings, most, strict=False):
        there = recording.series("neck", command=command).utc_us.size
        outcome.acknowledged += count
        if there < count:
            outcome.lost += count - there
            outcome.wrong.append(f"readings: {there} of {count}")
    if len(most) > len(sittings):
        outcome.wrong.append("a sitting is missing")
    _goes_on(outcome, path)
    return outcome


def _runs(numbers: list[int]) -> list[list[int]]:
    """Return rising runs of numbers."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number > runs[-1][-1]:
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs


def of_the_commands(chance: Random, folder: Path) -> Outcome:
    """Cut the power under the commands as a builder runs them."""
    story = commands_story(folder / "story")
    outcome, said, path = _cut(story, chance, folder / "left")
    if _nothing_yet(outcome, path, said):
        return outcome
    recording = opened(outcome, path)
    if recording is None:
        outcome.lost += 1
        return outcome
    look_for(outcome, scene.placed(said), scene.kept(recording), "placements")
    marks = {mark.kind.value for mark in recording.marks()}
    look_for(outcome, re.findall(r"Marked: (glue on|clamps on)", said), marks, "marks")
    there = recording.series("angle", command="clamp").utc_us.size if "angle" in recording.gauges else 0
    look_for(outcome, re.findall(r"Brought in: angle (\d+) ", said), [str(there)], "a table")
    if there not in (0, _ROWS):
        outcome.wrong.append(f"half a table: {there} rows")
    _look_at_exports(outcome, said, path.parent)
    _goes_on(outcome, path)
    return outcome


def _look_at_exports(outcome: Outcome, said: str, folder: Path) -> None:
    """Look at what was written beside: a copy is there once it was told; an export is whole, or not there."""
    copied = folder / "copy.gaugelog"
    if "Copied to" in said:
        outcome.acknowledged += 1
        if not copied.exists():
            outcome.lost += 1
            outcome.wrong.append("a copy is gone")
    if copied.exists():
        opened(outcome, copied)
    for name, end, head in (("out.csv", "", _ROWS + 1), ("report.html", "</html>", 0)):
        path = folder / name
        if not path.exists():
            continue
        text = path.read_text(encoding="utf-8")
        if not text.rstrip().endswith(end) or (head and text.count("\n") != head):
            outcome.wrong.append(f"{name} is torn")


FAMILIES = (
    Family("power off: the writer", "The recording", of_the_writer, 1500, short=30, hindered=hindered),
    Family("power off: the commands", "The recording", of_the_commands, 1500, short=30, hindered=hindered),
)
