"""The disk is full: while readings stream in, placements are kept, blocks are gathered, at the end, in every export.

Real programs on a small file system that is full, or under the system's limit of a file's size; and SQLite's own
limit of pages. Each must say so plainly (`write-failed`, with what is safe), lose nothing acknowledged, and go through
once there is room. Not here: folders that may not be written at all (`faults_files`).
"""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path
from random import Random

import scene
import writing
from faults_kill import SECTION, look_at_readings
from rooms import Tight, tight
from rounds import Family, Outcome
from scene import look_for, opened

from gaugelog.errors import WriteFailedError
from gaugelog.store.reader import open_recording

_DRIVER = (sys.executable, str(scene.PROGRAM), scene.RECORDING)


def _told_full(outcome: Outcome, ran: subprocess.CompletedProcess[str] | tuple[int, str], what: str) -> bool:
    """Return whether a command ended for want of room; anything but that, or the end of its work, is wrong."""
    status, words = ran if isinstance(ran, tuple) else (ran.returncode, ran.stderr)
    if status in (0, 130):  # its work was done, or it was stopped by hand before it had begun
        return False
    plain = status == 2 and "can't be written" in words and "write-failed" in words and "is safe" in words
    if not plain or "Traceback" in words:
        outcome.wrong.append(f"{what}: status {status}: {words[-400:]}")
    return True


def _begun(room: Tight) -> list[str]:
    """Begin a recording while there is room; return what it keeps."""
    scene.set_up(room.folder)
    ran = scene.ran(room.folder, "capture", "before", lines="".join(f"{v}\n" for v in scene.values(1, 5)) + "q\n")
    return scene.placed(ran.stdout)


def capture(chance: Random, folder: Path) -> Outcome:
    """Fill the disk under `capture`, often before it has begun; what it said it had kept is there, and it goes on."""
    outcome = Outcome(tries=1)
    with tight(chance, folder) as room:
        said = _begun(room) if chance.random() < 0.7 else []
        path = scene.set_up(room.folder)
        room.leave(chance.randrange(0, 120_000) if said else chance.randrange(0, 250_000))
        ran = room.run(*scene.GAUGELOG, "capture", "before", lines=_typed(10, 80))
        outcome.hits += _told_full(outcome, ran, "capture")
        said += scene.placed(ran.stdout)
        if said:
            _looks_whole_though_full(outcome, room, said)
        room.make_room()
        again = scene.ran(room.folder, "capture", "before", lines=_typed(200, 5))
        said += scene.placed(again.stdout)
        if again.returncode or len(scene.placed(again.stdout)) != 5:
            outcome.wrong.append(f"capture doesn't go on: {again.stderr}")
        recording = opened(outcome, path)
        if recording is not None:
            look_for(outcome, said, scene.kept(recording), "placements")
    return outcome


def _typed(first: int, count: int) -> str:
    return "".join(f"{value}\n" for value in scene.values(first, count)) + "q\n"


def _looks_whole_though_full(outcome: Outcome, room: Tight, said: list[str]) -> None:
    """Look at the recording while the disk is still full: it can be read, or what is wanted is said."""
    path = room.folder / scene.RECORDING
    try:
        recording = open_recording(path)
        recording.check()
        found = scene.kept(recording)
    except WriteFailedError:
        outcome.seen["not even readable until there was room, and said so"] = 1
        return
    if not set(said) <= set(found):
        outcome.wrong.append("placements can't be read while the disk is full")


def stream(chance: Random, folder: Path) -> Outcome:
    """Fill the disk under `stream --record`: the readings shown over a second before it ended are there."""
    outcome = Outcome(tries=1)
    with tight(chance, folder) as room:
        said = _begun(room)
        room.leave(chance.randrange(20_000, 130_000))
        program = room.start(*scene.GAUGELOG, "stream", "angle", "--record")
        try:
            out, words = program.communicate(timeout=4)
        except subprocess.TimeoutExpired:
            program.send_signal(signal.SIGINT)
            out, words = program.communicate()
        outcome.hits += _told_full(outcome, (program.returncode, words), "stream")
        room.make_room()
        recording = opened(outcome, room.folder / scene.RECORDING)
        if recording is None:
            return outcome
        look_for(outcome, said, scene.kept(recording), "placements")
        shown = [line for line in map(json.loads, out.splitlines()) if "text" in line]
        safe = [line["text"] for line in shown if line["seconds"] <= shown[-1]["seconds"] - 1.0]
        look_at_readings(outcome, recording, safe, [line["text"] for line in shown])
        if scene.ran(room.folder, "clamp", "--mark", "glue on").returncode:
            outcome.wrong.append("nothing can be written though there is room")
    return outcome


def gathering(chance: Random, folder: Path) -> Outcome:
    """Fill the disk under the writer at full speed, make room, and let the same program try again."""
    outcome = Outcome(tries=1)
    with tight(chance, folder) as room:
        room.leave(chance.randrange(100_000, 700_000))
        program = room.start(*_DRIVER, "mixed", "90", "patient")
        assert program.stdout is not None
        assert program.stdin is not None
        lines = []
        for line in program.stdout:
            lines.append(line)
            if line == "full\n":
                room.make_room()
                program.stdin.write("go on\n")
                program.stdin.flush()
        _, words = program.communicate()
        outcome.hits += "full\n" in lines
        if "full\n" in lines and lines[lines.index("full\n") - 1] == "gathering\n":
            outcome.seen["in the very commit that gathers"] = 1
        path = room.folder / scene.RECORDING
        if program.returncode and "begun" not in "".join(lines):  # not even the beginning had room
            room.make_room()
            outcome.hits += 1
            writing.begun(path).finish()
            opened(outcome, path)
            return outcome
        if program.returncode and "WriteFailedError" not in words:
            outcome.wrong.append(words[-400:])
        if program.returncode:  # it was full at the very beginning or end
            outcome.hits = 1
            room.make_room()
        recording = opened(outcome, path)
        if recording is not None:
            placed = [line.split()[1] for line in lines if line.startswith("placed")]
            look_for(outcome, placed, scene.kept(recording), "placements")
            stored = max((int(line.split()[1]) for line in lines if line.startswith("stored")), default=0)
            there = recording.series("neck").utc_us.size
            outcome.acknowledged += stored
            outcome.lost += max(0, stored - there)
            if there != stored:
                outcome.wrong.append(f"readings: {there} of {stored}")
    return outcome


def finish(chance: Random, folder: Path) -> Outcome:
    """Let the disk be full just at the end, where all is merged and one plain file is left."""
    outcome = Outcome(tries=1)
    with tight(chance, folder) as room:
        program = room.start(*_DRIVER, "finish", str(chance.randrange(2, 30)), "patient")
        assert program.stdout is not None
        assert program.stdin is not None
        lines = []
        for line in program.stdout:
            lines.append(line)
            if line == "finishing\n":
                room.leave(chance.randrange(0, 30_000))
                if not room.is_mounted:
                    room.limit_running()
                program.stdin.write("go on\n")
                program.stdin.flush()
        _, words = program.communicate()
        outcome.hits += "finished\n" not in lines
        if program.returncode and "WriteFailedError" not in words:
            outcome.wrong.append(words[-400:])
        room.make_room()
        path = room.folder / scene.RECORDING
        stored = max(int(line.split()[1]) for line in lines if line.startswith("stored"))
        recording = opened(outcome, path)
        outcome.acknowledged += stored
        outcome.lost += stored if recording is None else max(0, stored - recording.series("neck").utc_us.size)
        writing.begun(path).finish()
        opened(outcome, path)
        if [each.name for each in room.folder.iterdir()] != [scene.RECORDING]:
            outcome.wrong.append("the next end leaves more than one plain file")
    return outcome


def bringing_in(chance: Random, folder: Path) -> Outcome:
    """Fill the disk under `clamp --from`: the table is there whole or not at all, and can be given again."""
    outcome, rows = Outcome(tries=1), 20_000
    with tight(chance, folder) as room:
        said = _begun(room)
        noise = Random(5)
        lines = [f"{n / 10:.1f},angle,{2.8 + 0.05 * noise.randrange(9):.2f},deg\n" for n in range(rows)]
        (room.folder / "session.csv").write_text("time,gauge,value,unit\n" + "".join(lines), encoding="utf-8")
        room.leave(chance.randrange(0, 110_000))
        ran = room.run(*scene.GAUGELOG, "clamp", "--from", "session.csv")
        full = _told_full(outcome, ran, "table")
        outcome.hits += full
        room.make_room()
        recording = opened(outcome, room.folder / scene.RECORDING)
        if recording is None:
            return outcome
        there = recording.series("angle").utc_us.size if "angle" in recording.gauges else 0
        if there not in ((0, rows) if full else (rows,)):  # it may have been full only for the end, behind the table
            outcome.wrong.append(f"half a table: {there}")
        if not there:
            again = scene.ran(room.folder, "clamp", "--from", "session.csv")
            outcome.wrong += [again.stderr] if again.returncode else []
        there = recording.series("angle").utc_us.size
        look_for(outcome, said, scene.kept(recording), "placements")
        outcome.acknowledged += rows
        outcome.lost += rows - there
    return outcome


def exports(chance: Random, folder: Path) -> Outcome:
    """Fill the disk under `export`, `copy` and `report`: no half file bears the name, and with room it goes through."""
    outcome = Outcome(tries=1)
    command, target = chance.choice(
        (
            (("export", "placements", "-o", "out.csv"), "out.csv"),
            (("export", "placements", "-o", "out.parquet"), "out.parquet"),
            (("copy", "copy.gaugelog"), "copy.gaugelog"),
            (("report", "-o", "report.html"), "report.html"),
        )
    )
    with tight(chance, folder) as room:
        said = _begun(room)
        if target == "report.html":
            (room.folder / target).write_text("the old one", encoding="utf-8")
        room.leave(
            chance.randrange(0, 50_000) if target == "report.html" or room.is_mounted else chance.randrange(0, 5_000)
        )
        ran = room.run(*scene.GAUGELOG, *command)
        outcome.hits += _told_full(outcome, ran, command[0])
        left = room.folder / target
        if ran.returncode and left.exists() and left.read_text(encoding="utf-8", errors="replace") != "the old one":
            outcome.wrong.append(f"half a {target} is left")
        if list(room.folder.glob("*.part*")):
            outcome.wrong.append("a part is left")
        room.make_room()
        if ran.returncode:
            again = scene.ran(room.folder, *command)
            outcome.wrong += [again.stderr] if again.returncode else []
        recording = opened(outcome, room.folder / scene.RECORDING)
        if recording is not None:
            look_for(outcome, said, scene.kept(recording), "placements")
        if target == "copy.gaugelog":
            copied = opened(outcome, left)
            look_for(outcome, said, scene.kept(copied) if copied is not None else [], "placements of the copy")
    return outcome


def pages(chance: Random, folder: Path) -> Outcome:
    """Let SQLite itself refuse a further page, at any number of pages; the same writer goes on with more of them."""
    outcome, path = Outcome(tries=1), folder / f"{chance.randrange(10**9)}.gaugelog"
    said, stored = [], 0
    with writing.begun(path) as writer:
        driver, snapshot = writing.Driver(writer, quiet=True), writer.snapshot("before").id
        count = writer._db.execute("PRAGMA page_count").fetchone()[0]
        writer._db.execute(f"PRAGMA max_page_count = {count + chance.randrange(0, 60)}").fetchone()
        for number in range(60):
            text = f"{number}.25"
            for _ in range(2):
                try:
                    if driver.readings == stored:
                        driver.hear(2000)
                    stored = driver.readings
                    writer.place(snapshot, writing.typed(text, driver.second * writing.SECOND_NS))
                    said.append(text)
                    break
                except WriteFailedError:
                    outcome.hits = 1
                    writer._db.execute("PRAGMA max_page_count = 1000000").fetchone()
    recording = opened(outcome, path)
    if recording is not None:
        look_for(outcome, said, scene.kept(recording), "placements")
        outcome.acknowledged += stored
        there = recording.series("neck").utc_us.size
        outcome.lost += max(0, stored - there)
        if there != stored or len(said) != 60:
            outcome.wrong.append(f"readings: {there} of {stored}, placements: {len(said)} of 60")
    path.unlink(missing_ok=True)
    return outcome


FAMILIES = (
    Family("disk full: stream", SECTION, stream, 30, short=1),
    Family("disk full: capture", SECTION, capture, 60, short=1),
    Family("disk full: gathering blocks", SECTION, gathering, 50, short=2),
    Family("disk full: finish", SECTION, finish, 40, short=2),
    Family("disk full: a table brought in", SECTION, bringing_in, 30, short=1),
    Family("disk full: export, copy, report", SECTION, exports, 60, short=1),
    Family("disk full: SQLite's page limit", SECTION, pages, 100, short=5),
)
