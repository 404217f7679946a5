"""The program is killed with SIGKILL at a random moment, again and again, on the same recording.

Real processes: the commands as a builder runs them, on a simulated gauge, and `writing.py`, which drives the real
writer so fast that the rare moments (gathering blocks, the end) come often. Here: killing, and looking at what is left.
Not here: the power going off, which takes unsynced writes with it (`faults_power`).
"""

from __future__ import annotations

import json
import re
import select
import subprocess
import sys
import time
from collections.abc import Iterable
from pathlib import Path
from random import Random

import scene
from rounds import TOP, Family, Outcome
from scene import Ledger, look_for, opened

from gaugelog.errors import NoRecordingError, UnknownGaugeError
from gaugelog.store.reader import Recording, open_recording

sys.path.insert(0, str(TOP / "tests" / "cli"))

SECTION = "The recording"
_PYTHON = [sys.executable]


def _lines(program: subprocess.Popen[str], count: int, wanted: str = "") -> list[str]:
    """Read lines until so many have come, or so many of one kind, or the program has ended."""
    assert program.stdout is not None
    lines: list[str] = []
    while count and (line := program.stdout.readline()):
        lines.append(line)
        count -= not wanted or line == wanted
    return lines


def _killed(program: subprocess.Popen[str], lines: list[str]) -> tuple[list[str], bool]:
    """Kill a program; return all whole lines that it printed, and whether it was still running."""
    program.kill()
    rest, _ = program.communicate()
    text = "".join(lines) + rest
    return text[: text.rfind("\n") + 1].splitlines(), program.returncode < 0


def begin_anew(folder: Path) -> None:
    """Take the recording and its ledger away; a recording that grows for ever makes each look at it slower."""
    for each in folder.iterdir():
        if each.name.startswith(scene.RECORDING) or each.suffix == ".txt":
            each.unlink()


def _nap(chance: Random, longest_s: float) -> None:
    time.sleep(chance.random() * longest_s)


def stream(chance: Random, folder: Path) -> Outcome:
    """Kill `stream --record`: readings that were shown over a second before are there, in order, and no other value."""
    outcome, path = Outcome(tries=1), scene.set_up(folder)
    program = scene.start(folder, "stream", "angle", "--record", stderr=subprocess.DEVNULL)
    seen = _lines(program, chance.randrange(1, 150))
    if chance.random() < 0.3 and program.stdin is not None:  # while it is ending by itself
        program.stdin.write("q\n")
        _nap(chance, 0.12)
    lines, killed = _killed(program, seen)
    outcome.hits += killed
    shown = [line for line in map(json.loads, lines) if "text" in line]
    recording = opened(outcome, path)
    if recording is None or not shown:
        return outcome
    safe = [line["text"] for line in shown if line["seconds"] <= shown[-1]["seconds"] - 1.0]
    look_at_readings(outcome, recording, safe, [line["text"] for line in shown])
    return outcome


def look_at_readings(outcome: Outcome, recording: Recording, safe: list[str], shown: list[str]) -> None:
    """Look whether the last sitting holds the readings that must be safe, in order, and none that was never shown."""
    sitting = recording.sittings()[-1]
    values = recording.series("angle", start_utc_us=sitting.start_utc_us).value.tolist()
    there = [f"{value:.2f}" for value in values]
    outcome.acknowledged += len(safe)
    if there[: len(safe)] != safe:
        outcome.lost += max(1, len(safe) - len(there))
        outcome.wrong.append(f"stream: {len(there)} of {len(safe)} readings, or others")
    if there[: len(shown)] != shown[: len(there)]:
        outcome.wrong.append("stream: a reading that was never shown")


def capture(chance: Random, folder: Path) -> Outcome:
    """Kill `capture` while values are typed: each that it said it had kept is there, in all rounds so far."""
    outcome, path, ledger = Outcome(tries=1), scene.set_up(folder), Ledger(folder)
    so_far = len(open_recording(path).sittings()) if path.exists() else 0
    program = scene.start(folder, "capture", "before", stderr=subprocess.DEVNULL)
    assert program.stdin is not None
    program.stdin.write("".join(f"{each}\n" for each in scene.values(1 + 50 * so_far, 40)))
    program.stdin.flush()
    seen = _lines(program, chance.randrange(1, 30))
    _nap(chance, 0.02)
    lines, killed = _killed(program, seen)
    outcome.hits += killed
    said = scene.placed("\n".join([*lines, ""]))
    recording = opened(outcome, path)
    if recording is not None:
        look_for(outcome, said, scene.kept(recording), "placements", ledger.all())
        ledger.add(said)
        if len(scene.kept(recording)) > 300:
            begin_anew(folder)
    return outcome


def clamp(chance: Random, folder: Path) -> Outcome:
    """Kill `clamp` in a terminal while notes are typed: each that it said it had marked is there."""
    from terminal import Terminal

    outcome, path, ledger = Outcome(tries=1), scene.set_up(folder), Ledger(folder)
    first = len(ledger.all())
    screen = Terminal(folder, "clamp", "--quiet")
    try:
        screen.expect(r"2\.\d\d")
        for number in range(chance.randrange(1, 8)):
            screen.type("n")
            screen.type(f"note-{first}-{number}-\n")
            if chance.random() < 0.7:
                screen.expect("Marked: note")
        _nap(chance, 0.1)
        screen.process.kill()
        outcome.hits += screen.process.wait() < 0
        while select.select([screen._end], [], [], 0.2)[0] and screen._read(0):
            pass
        said = dict.fromkeys(re.findall(r"Marked: (note-\d+-\d+-)", screen.text))
    finally:
        screen.close()
    recording = opened(outcome, path)
    if recording is not None:
        look_for(outcome, said, (mark.words for mark in recording.marks()), "marks", ledger.all())
        ledger.add(said)
    return outcome


def _driven(chance: Random, folder: Path, what: str, *count: str) -> tuple[Outcome, subprocess.Popen[str], Path]:
    path = folder / scene.RECORDING
    if path.exists() and path.stat().st_size > 3_000_000:
        begin_anew(folder)
    program = scene.start(folder, str(scene.PROGRAM), path.name, what, *count, program=_PYTHON)
    return Outcome(tries=1), program, path


def _readings_stored(outcome: Outcome, path: Path, lines: Iterable[str], ledger: Ledger) -> None:
    """Look for as many readings as the last sitting said it had stored, and for all those of the sittings before."""
    stored = max((int(line.split()[1]) for line in lines if line.startswith("stored")), default=0)
    recording = opened(outcome, path)
    if recording is None:
        return
    if recording.sittings()[-1].command.startswith("drive"):
        ledger.add([f"{stored} {recording.sittings()[-1].command}"])
    outcome.acknowledged += stored
    for each in ledger.all():
        count, _, command = each.partition(" ")
        there = recording.series("neck", command=command).utc_us.size
        if there < int(count):
            outcome.lost += int(count) - there
            outcome.wrong.append(f"readings: {there} of {count}")


def gathering(chance: Random, folder: Path) -> Outcome:
    """Kill the writer while it gathers small blocks into a large one: each reading is there, and there once."""
    outcome, program, path = _driven(chance, folder, "gather")
    seen = _lines(program, chance.randrange(1, 4), "gathering\n")
    _nap(chance, 0.012)
    lines, _ = _killed(program, seen)
    outcome.hits += lines[-1] == "gathering"
    _readings_stored(outcome, path, lines, Ledger(folder))
    return outcome


def finish(chance: Random, folder: Path) -> Outcome:
    """Kill the writer while it merges, checkpoints and leaves one plain file."""
    outcome, program, path = _driven(chance, folder, "finish", str(chance.randrange(1, 30)))
    seen = _lines(program, 1, "finishing\n")
    _nap(chance, 0.035)
    lines, _ = _killed(program, seen)
    outcome.hits += lines[-1] == "finishing"
    _readings_stored(outcome, path, lines, Ledger(folder))
    return outcome


def _big_table(folder: Path, rows: int = 120_000) -> Path:
    """Return a table of a session logged elsewhere, written once."""
    table = folder / "session.csv"
    if not table.exists():
        noise = Random(686)
        lines = [f"{n / 10:.1f},angle,{2.8 + 0.05 * noise.randrange(9):.2f},deg" for n in range(rows)]
        table.write_text("time,gauge,value,unit\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return table


def bringing_in(chance: Random, folder: Path) -> Outcome:
    """Kill `clamp --from`: the table is there whole or not at all, and can be given again."""
    outcome, path, table = Outcome(tries=1), scene.set_up(folder), _big_table(folder)
    rows = table.read_bytes().count(b"\n") - 1
    begin_anew(folder)
    program = scene.start(folder, "clamp", "--from", table.name)
    until = time.monotonic() + scene.WAIT_S
    while not path.exists() and program.poll() is None and time.monotonic() < until:
        time.sleep(0.002)
    _nap(chance, 1.6)
    lines, killed = _killed(program, [])
    outcome.hits += killed and path.exists()
    told = any("Brought in" in line for line in lines)
    there = _rows_there(outcome, path)
    if there not in (0, rows) or (told and not there):
        outcome.wrong.append(f"table: {there} of {rows} rows")
    if not there:
        again = scene.ran(folder, "clamp", "--from", table.name)
        if again.returncode:
            outcome.wrong.append(f"table given again: {again.stderr}")
            return outcome
        there = _rows_there(outcome, path)
    outcome.acknowledged += rows
    outcome.lost += max(0, rows - there)
    return outcome


def _rows_there(outcome: Outcome, path: Path) -> int:
    """Return how many readings of the table a recording holds; one that had only just been made holds nothing yet."""
    try:
        open_recording(path).overview("angle", 1)
    except (NoRecordingError, UnknownGaugeError):
        outcome.seen["killed before anything was stored"] = 1
        return 0
    recording = opened(outcome, path)
    return 0 if recording is None else recording.series("angle").utc_us.size


def _finished_recording(folder: Path) -> Path:
    """Return a recording to export, with 60 000 readings, made once."""
    path = scene.set_up(folder)
    if not path.exists():
        made = scene.ran(folder, "clamp", "--from", _big_table(folder, 60_000).name)
        placed = scene.ran(folder, "capture", "before", lines="".join(f"{v}\n" for v in scene.values(1, 20)) + "q\n")
        if made.returncode or placed.returncode:
            raise RuntimeError(made.stderr + placed.stderr)
    return path


def _half_written(target: Path) -> bool:
    return target.with_name(target.name + ".part").exists()


def _kill_writing(chance: Random, folder: Path, target: Path, longest_s: float, *command: str) -> bool:
    """Kill a command at a random moment after it began to write beside its target; return whether it was at it."""
    target.with_name(target.name + ".part").unlink(missing_ok=True)
    before = target.stat().st_mtime_ns if target.exists() else 0
    program = scene.start(folder, *command)
    until = time.monotonic() + scene.WAIT_S
    while not _half_written(target) and program.poll() is None and time.monotonic() < until:
        time.sleep(0.0005)
    _nap(chance, longest_s)
    _killed(program, [])
    after = target.stat().st_mtime_ns if target.exists() else 0
    return _half_written(target) and after == before


def export(chance: Random, folder: Path) -> Outcome:
    """Kill `export`: the file is there whole or not at all, and the next export goes through."""
    outcome, _ = Outcome(tries=1), _finished_recording(folder)
    end = chance.choice((".csv", ".parquet"))
    whole, target = folder / f"whole{end}", folder / f"out{end}"
    if not whole.exists():
        scene.ran(folder, "export", "readings", "-o", whole.name)
    outcome.hits += _kill_writing(
        chance, folder, target, 0.35 if end == ".csv" else 0.03, "export", "readings", "-o", target.name
    )
    if target.exists():
        _must_equal(outcome, target, whole)
        target.unlink()
    scene.ran(folder, "export", "readings", "-o", target.name)
    _must_equal(outcome, target, whole)
    target.unlink(missing_ok=True)
    return outcome


def _must_equal(outcome: Outcome, target: Path, whole: Path) -> None:
    outcome.acknowledged += 1
    if not target.exists() or target.read_bytes() != whole.read_bytes():
        outcome.lost += 1
        outcome.wrong.append(f"{target.name} is torn")


def report(chance: Random, folder: Path) -> Outcome:
    """Kill `report` over an older one: the file is the old one or a whole new one."""
    outcome, _ = Outcome(tries=1), _finished_recording(folder)
    target = folder / "report.html"
    target.write_text("the old one", encoding="utf-8")
    outcome.hits += _kill_writing(chance, folder, target, 0.01, "report", "-o", target.name)
    text = target.read_text(encoding="utf-8")
    outcome.acknowledged += 1
    if text != "the old one" and not text.rstrip().endswith("</html>"):
        outcome.lost += 1
        outcome.wrong.append("the report is torn")
    outcome.wrong += [again.stderr] if (again := scene.ran(folder, "report", "-o", target.name)).returncode else []
    return outcome


def copy(chance: Random, folder: Path) -> Outcome:
    """Kill `copy`: the copy is there whole or not at all, and the next copy goes through."""
    outcome, path = Outcome(tries=1), _finished_recording(folder)
    target = folder / "copy.gaugelog"
    target.unlink(missing_ok=True)
    outcome.hits += _kill_writing(chance, folder, target, 0.008, "copy", target.name)
    if not target.exists():
        again = scene.ran(folder, "copy", target.name)
        outcome.wrong += [again.stderr] if again.returncode else []
    recording, original = opened(outcome, target), opened(outcome, path)
    if recording is not None and original is not None:
        look_for(outcome, scene.kept(original), scene.kept(recording), "placements of the copy")
        if recording.series("angle").value.tolist() != original.series("angle").value.tolist():
            outcome.wrong.append("the copy's readings are others")
    return outcome


FAMILIES = (
    Family("killed: stream", SECTION, stream, 40, short=1),
    Family("killed: capture", SECTION, capture, 50, short=1),
    Family("killed: clamp", SECTION, clamp, 40, short=1),
    Family("killed: gathering blocks", SECTION, gathering, 70),
    Family("killed: finish", SECTION, finish, 70, short=4),
    Family("killed: a table brought in", SECTION, bringing_in, 30, short=1),
    Family("killed: export", SECTION, export, 40, short=1),
    Family("killed: report", SECTION, report, 20, short=1),
    Family("killed: copy", SECTION, copy, 30, short=1),
)
