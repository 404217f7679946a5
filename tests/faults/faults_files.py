"""Harm to the files from outside: taken away, replaced, written over, read-only, two programs, read while written.

Real programs and a real file each. Where the recording's file is taken away the program has to say so, save what it has
told as kept, and leave what lies in its place alone. Not here: a full disk (`faults_full`), bytes that change by
themselves.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random

import scene
import writing
from faults_kill import SECTION
from rooms import cant_mount, may_be_written, mounted
from rounds import Family, Outcome
from scene import look_for, opened

from gaugelog.errors import DamagedRecordingError, GaugelogError
from gaugelog.store.reader import open_recording

_DRIVER = (sys.executable, str(scene.PROGRAM), scene.RECORDING)
_TOLD_S = 20.0


def _fresh(chance: Random, folder: Path) -> Path:
    place = folder / f"{chance.randrange(10**9)}"
    place.mkdir()
    scene.set_up(place)
    return place


def _other(folder: Path) -> Path:
    """Return another recording, finished, of twelve placements."""
    path = folder / "other.bin"
    if not path.exists():
        with writing.begun(folder / "other.gaugelog") as writer:
            snapshot = writer.snapshot("before").id
            for text in scene.values(1, 12):
                writer.place(snapshot, writing.typed(text, 0))
        (folder / "other.gaugelog").rename(path)
    return path


@dataclass(frozen=True, slots=True)
class _Harm:
    """What is done to the files of a running writer: `moved_to` is where its file is then, if it is anywhere."""

    name: str
    do: Callable[[Path, Path], None]
    moved_to: str = ""
    is_replaced: bool = False
    told: bool = True


def _move_folder(path: Path, _: Path) -> None:
    path.parent.rename(path.parent.with_name(path.parent.name + "-moved"))


def _remove_all(path: Path, _: Path) -> None:
    for each in path.parent.glob(path.name + "*"):
        each.unlink(missing_ok=True)


def _replace(path: Path, other: Path) -> None:
    beside = path.with_name("beside")
    shutil.copy(other, beside)
    beside.replace(path)


def _replace_by_text(path: Path, _: Path) -> None:
    beside = path.with_name("beside")
    beside.write_text("shopping list\n" * 400, encoding="utf-8")
    beside.replace(path)


def _beside(end: str) -> Callable[[Path, Path], None]:
    return lambda path, _: path.with_name(path.name + end).unlink()


_HARMS = (
    _Harm("removed", lambda path, _: path.unlink()),
    _Harm("removed with all beside it", _remove_all),
    _Harm("renamed", lambda path, _: path.rename(path.with_name("elsewhere.bin")), moved_to="elsewhere.bin"),
    _Harm("its folder renamed", _move_folder, moved_to="-moved"),
    _Harm("replaced by another recording", _replace, is_replaced=True),
    _Harm("replaced by another file", _replace_by_text, is_replaced=True),
    _Harm("its -wal removed", _beside("-wal"), moved_to=scene.RECORDING),
    _Harm("its -shm removed", _beside("-shm"), moved_to=scene.RECORDING),
    _Harm("its lock removed", _beside(".lock"), moved_to=scene.RECORDING, told=False),
)


def taken_away(chance: Random, folder: Path) -> Outcome:
    """Take the file of a running writer away, one way or another; all it had told as kept must be somewhere."""
    outcome, other = Outcome(tries=1), _other(folder)
    place = _fresh(chance, folder)
    path, harm = place / scene.RECORDING, chance.choice(_HARMS)
    program = scene.start(place, *_DRIVER, "mixed", "40" if not harm.told else "100000", program=())
    assert program.stdout is not None
    lines = [program.stdout.readline() for _ in range(chance.randrange(3, 40))]
    time.sleep(chance.random() * 0.02)
    try:
        harm.do(path, other)
    except FileNotFoundError:
        outcome.wrong.append(f"{harm.name}: it had ended before")
    put = path.read_bytes() if harm.is_replaced else b""
    more, words = _until_told(program)
    outcome.hits = 1
    said = [line.split()[1] for line in (*lines, *more) if line.startswith("placed")]
    if harm.told != ("RecordingTakenAwayError" in words):
        outcome.wrong.append(f"{harm.name}: {words[-300:]}")
    kept_in = _where_it_is(place, harm)
    if kept_in is None:
        outcome.lost += len(said)
        outcome.wrong.append(f"{harm.name}: nowhere; {words[-300:]}")
        return outcome
    for each in kept_in:
        recording = opened(outcome, each)
        found = scene.kept(recording) if recording is not None else []
        look_for(outcome, said, found, f"{harm.name}: placements")
    if harm.is_replaced:
        _must_be_left_alone(outcome, path, put, harm.name)
    return outcome


def _until_told(program: subprocess.Popen[str]) -> tuple[list[str], str]:
    """Let a program run until it ends by itself; return the further lines, and what it said of it."""
    try:
        out, words = program.communicate(timeout=_TOLD_S)
    except subprocess.TimeoutExpired:
        program.kill()
        out, _ = program.communicate()
        words = "it went on as if nothing had happened"
    return out.splitlines(), words


def _where_it_is(place: Path, harm: _Harm) -> list[Path] | None:
    """Return the files that must hold all: the one saved, and its own file wherever that is now."""
    if harm.moved_to == "-moved":
        return [place.with_name(place.name + "-moved") / scene.RECORDING]
    if harm.moved_to == scene.RECORDING:
        return [place / scene.RECORDING]
    saved = sorted(place.glob("*-saved*.gaugelog"))
    if len(saved) != 1:
        return None
    return [*saved, *([place / harm.moved_to] if harm.moved_to else [])]


def _must_be_left_alone(outcome: Outcome, path: Path, put: bytes, what: str) -> None:
    """Look that what was put in the recording's place is as it was put, with nobody's log beside it."""
    if path.read_bytes() != put:
        outcome.wrong.append(f"{what}: it was written into")
    beside = [each.name for each in path.parent.glob(path.name + "-*")]
    if beside:
        outcome.wrong.append(f"{what}: left beside it: {beside}")
    if put.startswith(b"SQLite"):
        recording = opened(outcome, path)
        if recording is not None and scene.kept(recording) != scene.values(1, 12):
            outcome.wrong.append(f"{what}: it reads otherwise")


def written_over(chance: Random, folder: Path) -> Outcome:
    """Write another content into the very file of a running writer; it must be told, and left as it was put.

    What the writer had recorded is gone with that, by the hand that wrote over it; it isn't counted here.
    """
    outcome, other = Outcome(tries=1), _other(folder)
    place = _fresh(chance, folder)
    path = place / scene.RECORDING
    put = other.read_bytes() if chance.random() < 0.6 else b"shopping list\n" * 4000
    program = scene.start(place, *_DRIVER, "slowly", "100000", program=())
    assert program.stdout is not None
    for _ in range(chance.randrange(3, 12)):
        program.stdout.readline()
    path.write_bytes(put)
    _, words = _until_told(program)
    outcome.hits = 1
    if "RecordingTakenAwayError" not in words or "written over" not in words:
        outcome.wrong.append(f"written over: {words[-300:]}")
    if path.read_bytes() != put:
        outcome.wrong.append("written over: it was written into")
    left = sorted(each.name for each in place.iterdir())
    if f"{scene.RECORDING}-wal" in left or f"{scene.RECORDING}.held" in left:
        outcome.wrong.append(f"written over: left beside it: {left}")
    if put.startswith(b"SQLite"):
        recording = opened(outcome, path)
        look_for(outcome, scene.values(1, 12), scene.kept(recording) if recording else [], "the other's placements")
    return outcome


def read_only(chance: Random, folder: Path) -> Outcome:
    """Forbid writing in the folder: what reads goes on, what writes says so, nothing is changed."""
    outcome = Outcome(tries=1)
    with mounted(folder / f"{chance.randrange(10**9)}") as place:
        path = scene.set_up(place)
        out = folder / f"{place.name}-out"
        out.mkdir()
        ran = scene.ran(place, "capture", "before", lines="".join(f"{v}\n" for v in scene.values(1, 6)) + "q\n")
        said = scene.placed(ran.stdout)
        finished = chance.random() < 0.6
        if not finished:
            program = scene.start(place, *_DRIVER, "mixed", "100000", program=())
            assert program.stdout is not None
            lines = [program.stdout.readline() for _ in range(chance.randrange(6, 60))]
            program.kill()
            lines += program.communicate()[0].splitlines()
            said += [line.split()[1] for line in lines if line.startswith("placed") and line[-1] != "."][:-1]
        files = {each: each.read_bytes() for each in place.iterdir()}
        may_be_written(place, False)
        _commands_in_read_only(outcome, place, out, finished)
        if {each: each.read_bytes() for each in place.iterdir()} != files:
            outcome.wrong.append("something was changed")
        away = out / "away"
        shutil.copytree(place, away)
        recording = opened(outcome, away / path.name)
        look_for(outcome, said, scene.kept(recording) if recording else [], "placements, copied elsewhere")
        may_be_written(place, True)
        if scene.ran(place, "clamp", "--mark", "glue on").returncode:
            outcome.wrong.append("it doesn't go on though it may write again")
        recording = opened(outcome, path)
        look_for(outcome, (), scene.kept(recording) if recording else [], "placements", said)
    return outcome


def _commands_in_read_only(outcome: Outcome, place: Path, out: Path, finished: bool) -> None:
    for command in (("capture", "before"), ("clamp", "--mark", "glue on"), ("export", "placements", "-o", "x.csv")):
        ran = scene.ran(place, *command, lines="0.5\nq\n")
        refused = ran.returncode == 2 and "write-failed" in ran.stderr
        if not refused and not (command[0] == "export" and not finished and "not-a-recording" in ran.stderr):
            outcome.wrong.append(f"read-only, {command[0]}: {ran.returncode} {ran.stderr[-300:]}")
        outcome.hits = 1
    reading = (("export", "placements"), ("copy", str(out / "copy.gaugelog")), ("export", "readings"))
    for command in reading:
        ran = scene.ran(place, *command)
        told = "not finished" in ran.stderr and "copy it with" in ran.stderr
        if ran.returncode and not (told and not finished):
            outcome.wrong.append(f"read-only, {command[0]}: {ran.returncode} {ran.stderr[-300:]}")
        if ran.returncode:
            outcome.seen["unfinished, readable only elsewhere, and said so"] = 1


def two_programs(chance: Random, folder: Path) -> Outcome:
    """Try every command that writes while another program does: each is refused and told who; what reads goes on."""
    outcome = Outcome()
    place = _fresh(chance, folder)
    said = scene.placed(scene.ran(place, "capture", "before", lines="0.05\n0.10\nq\n").stdout)
    (place / "session.csv").write_text("time,gauge,value\n0,angle,2.8\n1,angle,2.8\n", encoding="utf-8")
    (place / "before.csv").write_text("checkpoint,value\nclearance-bass,0.5\n", encoding="utf-8")
    program = scene.start(place, *_DRIVER, "hold", "0", "patient", program=())
    assert program.stdout is not None
    program.stdout.readline()
    writing_ones = (
        *(("capture", "before"), ("capture", "before", "--from", "before.csv"), ("clamp",), ("bench", "--port", "0")),
        *(("clamp", "--mark", "glue on"), ("clamp", "--from", "session.csv"), ("stream", "angle", "--record")),
    )
    for command in writing_ones:
        ran = scene.ran(place, *command, lines="0.5\nq\n")
        outcome.tries += 1
        outcome.hits += 1
        if ran.returncode != 2 or "recording-busy" not in ran.stderr or str(program.pid) not in ran.stderr:
            outcome.wrong.append(f"two programs, {command}: {ran.returncode} {ran.stderr[-300:]}")
    for command in (("export", "placements"), ("copy", "copy.gaugelog"), ("report", "-o", "report.html")):
        ran = scene.ran(place, *command)
        if ran.returncode:
            outcome.wrong.append(f"reading meanwhile, {command}: {ran.stderr[-300:]}")
    program.communicate("go on\n")
    recording = opened(outcome, place / scene.RECORDING)
    look_for(outcome, said, scene.kept(recording) if recording else [], "placements")
    return outcome


def at_once(chance: Random, folder: Path) -> Outcome:
    """Start three captures in the same instant: one writes, the others are refused, or wait their turn by luck."""
    outcome = Outcome(tries=3)
    place = _fresh(chance, folder)
    programs = [
        scene.start(place, "capture", "before", stdin=subprocess.PIPE, stderr=subprocess.PIPE) for _ in range(3)
    ]
    said = []
    for number, program in enumerate(programs):
        try:
            assert program.stdin is not None
            program.stdin.write("".join(f"{each}\n" for each in scene.values(1 + 50 * number, 15)) + "q\n")
            program.stdin.flush()
        except BrokenPipeError:
            pass
    for program in programs:
        out, words = program.communicate()
        refused = program.returncode == 2 and "recording-busy" in words
        outcome.hits += refused
        if program.returncode and not refused:
            outcome.wrong.append(f"at once: {program.returncode} {words[-300:]}")
        said += scene.placed(out)
    recording = opened(outcome, place / scene.RECORDING)
    look_for(outcome, said, scene.kept(recording) if recording else [], "placements")
    return outcome


def read_meanwhile(chance: Random, folder: Path) -> Outcome:
    """Read, check, copy and `cp` a recording while it is written at full speed, and look into it with SQLite itself."""
    outcome, place = Outcome(), _fresh(chance, folder)
    path = place / scene.RECORDING
    program = scene.start(place, *_DRIVER, "mixed", "100000", program=())
    assert program.stdout is not None
    lines: list[str] = []
    for turn in range(8):
        lines += [program.stdout.readline() for _ in range(chance.randrange(2, 30))]
        said = [line.split()[1] for line in lines if line.startswith("placed")]
        outcome.tries += 1
        outcome.hits += 1
        if turn % 4 == 0:
            recording = opened(outcome, path)
            look_for(outcome, said, scene.kept(recording) if recording else [], "read meanwhile: placements")
        elif turn % 4 == 1:
            target = place / f"copy-{turn}.gaugelog"
            open_recording(path).copy_to(target)
            copied = opened(outcome, target)
            look_for(outcome, said, scene.kept(copied) if copied else [], "copied meanwhile: placements")
        elif turn % 4 == 2:
            _copy_by_hand(outcome, chance, path, said)
        else:  # as any tool that knows SQLite does, reading and writing allowed
            look = "import sqlite3, sys; c = sqlite3.connect(sys.argv[1]); c.execute('SELECT count(*) FROM block')"
            subprocess.run([sys.executable, "-c", look + ".fetchone(); c.close()", str(path)], check=True)
    program.kill()
    lines += program.communicate()[0].splitlines(keepends=True)
    said = [line.split()[1] for line in lines if line.startswith("placed") and line.endswith("\n")]
    recording = opened(outcome, path)
    look_for(outcome, said, scene.kept(recording) if recording else [], "placements after all that")
    shutil.rmtree(place)
    return outcome


def _copy_by_hand(outcome: Outcome, chance: Random, path: Path, said: list[str]) -> None:
    """Copy the file and its log as `cp` does: what comes of it is whole up to some moment, or refused, never wrong."""
    ends = ["", "-wal"]
    chance.shuffle(ends)
    target = path.with_name(f"hand-{chance.randrange(10**9)}.gaugelog")
    for end in ends:
        subprocess.run(["cp", f"{path}{end}", f"{target}{end}"], check=True)
    try:
        recording = open_recording(target)
        recording.check()
        found = scene.kept(recording)
    except DamagedRecordingError:
        outcome.seen["copied by hand: refused as damaged"] = 1
        return
    except GaugelogError:
        outcome.seen["copied by hand: refused"] = 1
        return
    outcome.seen["copied by hand: whole"] = set(said) <= set(found)
    outcome.seen["copied by hand: as it was a moment earlier"] = not set(said) <= set(found)
    if found != sorted(found):
        outcome.wrong.append("copied by hand: values that were never kept")


FAMILIES = (
    Family("file taken away or replaced", SECTION, taken_away, 120, short=5, by_chance=False),
    Family("file written over", SECTION, written_over, 40, by_chance=False),
    Family("folder read-only", SECTION, read_only, 12, short=1, hindered=cant_mount, by_chance=False),
    Family("two programs, each command", SECTION, two_programs, 4, short=1, by_chance=False),
    Family("programs started at once", SECTION, at_once, 10, short=1),
    Family("read and copied while written", SECTION, read_meanwhile, 15, short=1, by_chance=False),
)
