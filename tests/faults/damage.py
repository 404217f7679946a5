"""Files damaged on purpose: bits, bytes, stretches and pages changed, files cut short, logs cut, damaged or swapped.

Recordings are made by the real writer, damaged, then opened, asked everything, checked and rescued. What comes out has
to be exactly what went in, or a clear refusal, or less with the loss told; never another value and never a crash. All
values are invented.

Run: python tests/faults/damage.py [--tries N] [--seed N]
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store" / "old"))

from filling import QUESTIONS, fill, plain

from gaugelog.errors import GaugelogError
from gaugelog.model.clock import Anchor
from gaugelog.store.connect import log_path
from gaugelog.store.pages import cell_at
from gaugelog.store.reader import open_recording
from gaugelog.store.rescue import RESCUE, Rescue, rescue

TOP = Path(__file__).resolve().parents[2]
PAGE = 1024
NOW = Anchor(0, 1_764_100_000_000_000)
UNSEALED_IN_1 = {"events", "gaps", "rejects", "skips", "clock_sets", "sittings"}
"""What schema 1 keeps without a checksum: skips, events, gaps, rejects, clocks that were set, the ends of sittings."""

KINDS = ("bit", "byte", "16 bytes", "512 bytes", "page", "another page", "cut", "log bit", "log page", "log cut")
MOST_S = 60.0


@dataclass
class Subject:
    """A whole recording: its bytes, those of its log, what it tells, and what it told after each earlier commit."""

    name: str
    schema: int
    data: bytes
    log: bytes
    told: dict[str, Any]
    frames: dict[str, Any]
    earlier: list[dict[str, Any]] = field(default_factory=list)


@dataclass
class Figures:
    """How many damaged files did what; `outcomes` of reading, `rescues` of rescuing, `pages` by what stood in them."""

    cases: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    rescues: Counter[str] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    pages: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0
    faults: list[str] = field(default_factory=list)

    @property
    def is_clean(self) -> bool:
        """Whether there was no wrong value, no loss that was not told, no crash and nothing that took too long."""
        return not self.faults and self.slowest_s < MOST_S


def ask(path: Path) -> tuple[dict[str, Any], list[GaugelogError]]:
    """Return what a recording tells, question by question, and what it refused to tell."""
    answers: dict[str, Any] = {}
    refusals: list[GaugelogError] = []
    recording = open_recording(path)
    questions = QUESTIONS | {"readings frame": lambda it: it.readings(), "placements frame": lambda it: it.placements()}
    for name, question in questions.items():
        try:
            answer = question(recording)
        except GaugelogError as error:
            refusals.append(error)
            continue
        answers[name] = answer if name.endswith("frame") else plain(answer)
    try:
        recording.check()
    except GaugelogError as error:
        refusals.append(error)
    return answers, refusals


def subject_of(name: str, path: Path, schema: int) -> Subject:
    """Return a recording as it is on the disk; a log is cut after each of its commits for what it told then."""
    data, log = path.read_bytes(), log_path(path).read_bytes() if log_path(path).exists() else b""
    with tempfile.TemporaryDirectory() as scratch:
        told, refusals = ask(put(Path(scratch), data, log))
        assert not refusals, refusals
    frames = {key: told.pop(key) for key in list(told) if key.endswith("frame")}
    whole = Subject(name, schema, data, log, told, frames)
    size = 24 + PAGE
    for end in range(32 + size, len(log), size):
        if log[end - size + 4 : end - size + 8] != bytes(4):
            with tempfile.TemporaryDirectory() as scratch:
                whole.earlier.append(ask(put(Path(scratch), data, log[:end]))[0])
    if log:
        with tempfile.TemporaryDirectory() as scratch:
            whole.earlier.append(ask(put(Path(scratch), data, b""))[0])
    return whole


def put(folder: Path, data: bytes, log: bytes) -> Path:
    """Write a recording and its log, where it has one."""
    path = folder / "baritone.gaugelog"
    path.write_bytes(data)
    if log:
        log_path(path).write_bytes(log)
    return path


def subjects() -> list[Subject]:
    """Return recordings that the writer makes now, finished and cut off, and those that are kept."""
    found = []
    with tempfile.TemporaryDirectory() as scratch:
        fill(Path(scratch, "finished.gaugelog"))
        found.append(subject_of("finished", Path(scratch, "finished.gaugelog"), 2))
        path = Path(scratch, "unfinished.gaugelog")
        writer = fill(path, finished=False)
        found.append(subject_of("unfinished", path, 2))
        writer.finish()
        for kept in ("recordings/invented-neck-set", "tests/store/old/v1/finished", "tests/store/old/v1/unfinished"):
            for each in (TOP / kept).parent.glob(f"{Path(kept).name}.gaugelog*"):
                shutil.copy(each, Path(scratch, "kept" + each.name.partition(".")[2].removeprefix("gaugelog")))
            found.append(subject_of(kept, Path(scratch, "kept"), 1))
            log_path(Path(scratch, "kept")).unlink(missing_ok=True)
    return found


def page_kind(data: bytes, place: int) -> str:
    """Return in words what stands at a place of a recording's file."""
    number, page = place // PAGE, data[place // PAGE * PAGE :][:PAGE]
    if number == 0:
        return "head and schema"
    kind = {0x0D: "rows", 0x05: "inner page", 0x0A: "index", 0x02: "index"}.get(page[0])
    if kind == "rows":
        cell = cell_at(page, int.from_bytes(page[8:10], "big"), {1: page})
        return f"rows of {len(cell.values)} columns" if cell else "long rows"
    return kind or ("empty" if not any(page) else "overflow, map or free")


def damaged(chance: random.Random, whole: Subject, kind: str, place: int) -> tuple[bytes, bytes]:
    """Return the bytes of a recording and of its log with one damage."""
    data, log = bytearray(whole.data), bytearray(whole.log)
    target = log if kind.startswith("log") else data
    size = {"bit": 1, "byte": 1, "16 bytes": 16, "512 bytes": 512, "log bit": 1}.get(kind, PAGE)
    if kind in ("cut", "log cut"):
        del target[place:]
    elif kind in ("bit", "log bit"):
        target[place] ^= 1 << chance.randrange(8)
    else:
        start = place // PAGE * PAGE if size == PAGE and target is data else place
        end = min(start + size, len(target))
        other = chance.randrange(0, max(len(data) // PAGE, 1)) * PAGE
        fillings = [bytes(PAGE), b"\xff" * PAGE, chance.randbytes(PAGE)]
        filling = whole.data[other : other + PAGE] if kind == "another page" else chance.choice(fillings)
        target[start:end] = filling[: end - start]
    return bytes(data), bytes(log)


def _differences(answers: dict[str, Any], told: dict[str, Any], frames: dict[str, Any]) -> set[str]:
    """Return what is told otherwise than it was put in."""
    found = set()
    for name, answer in answers.items():
        if name in frames:
            if not answer.equals(frames[name]):
                found.add(name)
        elif answer != told[name]:
            without = (
                [[{**each, "skips": []} for each in one] for one in (answer, told[name])]
                if name == "snapshots"
                else [0, 1]
            )
            found.add("skips" if name == "snapshots" and without[0] == without[1] else name)
    return found


def _is_earlier(answers: dict[str, Any], whole: Subject) -> bool:
    """Return whether all that is told is what it told after an earlier commit."""
    return any(
        all(
            answer.equals(state[name]) if name.endswith("frame") else answer == state[name]
            for name, answer in answers.items()
        )
        for state in whole.earlier
        if answers.keys() <= state.keys()
    )


def read_outcome(path: Path, whole: Subject) -> str:
    """Return in a word what reading a damaged recording came to."""
    try:
        answers, refusals = ask(path)
    except GaugelogError:
        return "refused"
    differing = _differences(answers, whole.told, whole.frames)
    if not differing:
        return "refused in part" if refusals else "whole"
    if _is_earlier(answers, whole):
        if refusals or not answers["sittings"][-1]["finished"]:
            return "as after an earlier commit, told as unfinished"
        return "as after an earlier commit, not told: schema 1" if whole.schema == 1 else "LOSS NOT TOLD"
    if whole.schema == 1 and differing <= UNSEALED_IN_1:
        return "differs where schema 1 has no checksum"
    return f"WRONG VALUE: {', '.join(sorted(differing))}"


def _pieces(told: dict[str, Any], names: dict[str, str]) -> dict[str, set[str]]:
    """Return everything that a recording tells in pieces, without numbers of rows, which a rescue may change.

    Args:
        told: by the recording.
        names: what gauges were called, by the name that a rescue gives to one that is lost.
    """

    def without(each: dict[str, Any], *left_out: str) -> dict[str, Any]:
        return {key: value for key, value in each.items() if key not in left_out}

    def real(value: object) -> Any:
        if isinstance(value, dict):
            return {key: real(each) for key, each in value.items() if key != "gauge_key"}
        if isinstance(value, list | tuple):
            return [real(each) for each in value]
        return names.get(value, value) if isinstance(value, str) else value

    def texts(values: Iterable[object]) -> set[str]:
        return {json.dumps(real(value), sort_keys=True) for value in values}

    snapshots = told["snapshots"]
    return {
        "readings": texts(
            [name, *row]
            for name, one in told["series"].items()
            for row in zip(one["utc_us"], one["value"], one["flags"], strict=True)
        ),
        "placements": texts(
            without(kept, "id", "snapshot", "stage") for one in snapshots for kept in one["placements"]
        ),
        "gauges": texts(each for each in told["gauges"] if each["name"] not in names),
        "marks": texts(told["marks"]),
        "checks": texts([each["gauge"]["name"], without(each, "gauge")] for each in told["checks"]),
        "snapshots": texts([f"stage {one['stage']}", one["number"], one["begun_utc_us"]] for one in snapshots),
        "skips": texts([f"stage {one['stage']}", skip] for one in snapshots for skip in one["skips"]),
        "events": texts(without(each, "sitting") for each in told["events"]),
        "gaps": texts(told["gaps"]),
        "rejects": texts([each["gauge"], each["reason"], kept] for each in told["rejects"] for kept in each["kept"]),
        "sittings": texts([each["command"], each["start_utc_us"], each["program"]] for each in told["sittings"]),
    }


def rescue_outcome(path: Path, whole: Subject) -> str:
    """Return in a word what rescuing a damaged recording came to."""
    target = path.with_name("rescued.gaugelog")
    before = path.read_bytes()
    try:
        done = rescue(path, target, NOW)
    except GaugelogError as error:
        return f"refused: {error.slug}"
    if path.read_bytes() != before:
        return "WRONG: the damaged file was touched"
    answers, refusals = ask(target)
    if refusals:
        return f"WRONG: the rescued recording is refused: {refusals[0]}"
    names = {f"lost-{place}": gauge["name"] for place, gauge in enumerate(whole.told["gauges"], 1)}
    have, had = _pieces(answers, names), _pieces(whole.told, {})
    return _judged(have, had, done, whole)


def _judged(have: dict[str, set[str]], had: dict[str, set[str]], done: Rescue, whole: Subject) -> str:
    """Return in a word what a rescue came to: what is new has to be the rescue's own, what lacks has to be told."""
    new = {name: {each for each in pieces - had[name] if not _is_ours(name, each)} for name, pieces in have.items()}
    if whole.earlier and done.losses:  # where a log is damaged or cut, what an earlier commit left may stand
        states = [_pieces(state, {}) for state in whole.earlier if whole.told.keys() <= state.keys()]
        new = {name: pieces.difference(*(state[name] for state in states)) for name, pieces in new.items()}
    lacking = {name for name in had if had[name] - have[name]}
    wrong = {name for name, pieces in new.items() if pieces}
    if whole.schema == 1:
        wrong, lacking = wrong - UNSEALED_IN_1, lacking - UNSEALED_IN_1
    if wrong:
        return f"WRONG VALUE: {', '.join(sorted(wrong))}"
    if lacking and done.is_whole:
        return f"LOSS NOT TOLD: {', '.join(sorted(lacking))}"
    return "all got out" if done.is_whole else "part got out, and told" if lacking else "all got out, doubt told"


def _is_ours(name: str, piece: str) -> bool:
    """Return whether a piece is what a rescue adds by itself and says so: its own sitting, stand-ins, gaps."""
    begins = {"sittings": ('["lost"', f'["{RESCUE}"'), "snapshots": ('["stage lost-',), "skips": ('["stage lost-',)}
    says = {"events": f'"kind": "{RESCUE}"', "gaps": "lost to damage of the file"}
    return piece.startswith(begins.get(name, ("nothing does",))) or says.get(name, "nothing says") in piece


def cases(seed: int, tries: int, found: list[Subject]) -> Iterator[tuple[Subject, str, int, random.Random]]:
    """Yield what to damage, how and where: every page of every file has its turn."""
    chance = random.Random(seed)
    turns = {whole.name: 0 for whole in found}
    for turn in range(tries):
        whole = found[turn % len(found)]
        kind = chance.choice(KINDS if whole.log else KINDS[:7])
        size = len(whole.log) if kind.startswith("log") else len(whole.data)
        place = (turns[whole.name] * PAGE + chance.randrange(PAGE)) % size
        turns[whole.name] += 1
        yield whole, kind, place, random.Random(chance.random())


def damage_rounds(seed: int, tries: int, found: list[Subject] | None = None) -> Figures:
    """Damage recordings and return what came of it.

    Args:
        seed: of the chance that chooses how and where.
        tries: how many damaged files.
        found: what to damage; else all kinds of recordings.
    """
    figures = Figures()
    for whole, kind, place, chance in cases(seed, tries, found or subjects()):
        figures.cases += 1
        figures.kinds[kind] += 1
        if not kind.startswith("log"):
            figures.pages[page_kind(whole.data, place)] += 1
        data, log = damaged(chance, whole, kind, place)
        started = time.perf_counter()
        with tempfile.TemporaryDirectory() as scratch:
            for outcomes, judge in ((figures.outcomes, read_outcome), (figures.rescues, rescue_outcome)):
                folder = Path(scratch, judge.__name__)
                folder.mkdir()
                try:
                    outcome = judge(put(folder, data, log), whole)
                except Exception as error:  # whatever it is, it is counted as a crash
                    outcome = f"CRASH: {type(error).__name__}: {error}"
                word = outcome.split(":")[0]
                outcomes[word if word.isupper() else outcome] += 1
                if word.isupper() or word == "WRONG":
                    figures.faults.append(f"{whole.name}, {kind} at {place}: {judge.__name__}: {outcome}")
        figures.slowest_s = max(figures.slowest_s, time.perf_counter() - started)
    return figures


def main() -> int:
    """Print the figures; exit status 1 where anything was wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tries", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=686)
    chosen = parser.parse_args()
    figures = damage_rounds(chosen.seed, chosen.tries)
    print(f"{figures.cases} damaged files, seed {chosen.seed}; slowest {figures.slowest_s:.1f} s")
    for title, counts in (
        ("damage", figures.kinds),
        ("where", figures.pages),
        ("read", figures.outcomes),
        ("rescued", figures.rescues),
    ):
        print(f"{title}:")
        for words, count in counts.most_common():
            print(f"  {count:6} {words}")
    print(*(figures.faults or ["no wrong value, no loss untold, no crash"]), sep="\n")
    return 0 if figures.is_clean else 1


if __name__ == "__main__":
    sys.exit(main())
