"""A long run: eight gauges at fifty readings a second, once on the wall clock and once through 48 simulated hours.

On the wall clock another process counts into eight pseudo-terminals, the number of each reading being its value, and
`gaugelog clamp` records them in a process of its own: what the source counted is compared with what the file holds, and
the recorder's memory is watched. Through simulated time the recorder's own objects are driven as fast as it goes, with
the bytes of eight gauges, three sittings, marks, gaps and merging; every time and value is compared with what was sent.
All values are invented. Needs Linux: memory is read from /proc.

Run: python tests/faults/soak.py [--wall SECONDS] [--hours HOURS] [--rate HZ]    (0 leaves a part out)
"""

from __future__ import annotations

import argparse
import json
import os
import pty
import signal
import subprocess
import sys
import tempfile
import time
import tty
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.datasheets.meaning import Decoding
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.model.clock import Anchor
from gaugelog.model.placement import MarkKind
from gaugelog.model.readings import Chunk, Heard, LinkChange, LinkState
from gaugelog.recorder.clamping import ClampWork
from gaugelog.recorder.work import Work, datasheet_folders, open_work
from gaugelog.store.reader import Recording, open_recording

GAUGES, RATE_HZ = 8, 50
NAMES = tuple(f"gauge{place}" for place in range(GAUGES))
BYTES_A_READING = 1.81
"""Of docs/architecture.md: four gauges at ten a second for a day, synthetic."""
BYTES_A_BLOCK = 250
"""What a block costs beside its readings where it holds few; with 30 000 in it that is nothing."""
TICK_NS = 1_500_000_000
"""How far apart a silent link's ticks are here."""
UTC_US = 1_700_000_000_000_000
COUNTER = Path(__file__).with_name("counter.toml").read_text(encoding="utf-8")
SOURCE = """
import os, sys, time
seconds, rate, descriptors = float(sys.argv[1]), float(sys.argv[2]), [int(text) for text in sys.argv[3:]]
began, sent = time.monotonic(), 0
while time.monotonic() - began < seconds:
    sent += 1
    for descriptor in descriptors:
        line = b"#%d.%02d\\r\\n" % divmod(sent, 100)
        while line:
            line = line[os.write(descriptor, line):]
    time.sleep(max(0.0, began + sent / rate - time.monotonic()))
print(sent)
"""


@dataclass
class Soaked:
    """What came of a run. Sizes in bytes, memory in MB; `lost` and `doubled` are readings, `wrong` values or times."""

    seconds: float
    sent: int
    kept: int
    lost: int
    doubled: int
    wrong: int
    size: int
    predicted: float
    warm_mb: float
    largest_mb: float
    gaps: int = 0
    marks: int = 0
    alarms: int = 0
    opening_s: float = 0.0

    @property
    def grown_mb(self) -> float:
        """How much more memory was ever in use than once it had warmed up."""
        return self.largest_mb - self.warm_mb


def memory_mb(pid: int) -> float:
    """Return the resident memory of a process."""
    pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def write_instrument(folder: Path, gauges: dict[str, str], rate_hz: float = RATE_HZ) -> Path:
    """Write an instrument file with these gauges, and beside it the datasheets of a counting and of a steady one."""
    lines = "".join(f'{name} = "{gauge}"\n' for name, gauge in gauges.items())
    path = folder / "soak.toml"
    path.write_text(new_instrument("soak", gauges="none").replace("[gauges]\n", "[gauges]\n" + lines), encoding="utf-8")
    (folder / "datasheets").mkdir()
    (folder / "datasheets" / "counter.toml").write_text(COUNTER, encoding="utf-8")
    bundled = find_datasheet("angle-line").text.replace('name = "angle-line"', 'name = "steady"')
    steady = bundled.replace("rate_hz = 10", f"rate_hz = {rate_hz}")
    (folder / "datasheets" / "steady.toml").write_text(steady, encoding="utf-8")
    return path


def on_the_wall_clock(folder: Path, seconds: float, rate_hz: float = RATE_HZ) -> Soaked:
    """Let eight ports be written for so long while `gaugelog clamp` records them; compare counts."""
    pairs = [pty.openpty() for _ in NAMES]
    for _, near in pairs:
        tty.setraw(near)
    ports = {name: os.ttyname(near) for name, (_, near) in zip(NAMES, pairs, strict=True)}
    write_instrument(folder, {name: f"counter@serial:{port}?baud=115200" for name, port in ports.items()})
    with (folder / "said.txt").open("w") as said:
        recorder = subprocess.Popen(
            [sys.executable, "-m", "gaugelog", "clamp"],
            cwd=folder, stdin=subprocess.DEVNULL, stdout=said, stderr=subprocess.STDOUT,
        )  # fmt: skip
    file = folder / "soak.gaugelog"
    try:
        until(lambda: file.exists() and opened(file) == set(NAMES), 30)
        far = [pair[0] for pair in pairs]
        command = [sys.executable, "-c", SOURCE, str(seconds), str(rate_hz), *map(str, far)]
        source = subprocess.Popen(command, pass_fds=far, stdout=subprocess.PIPE, text=True)
        began, warm, largest = time.monotonic(), 0.0, 0.0
        while source.poll() is None:
            time.sleep(min(1.0, seconds / 20))
            mb = memory_mb(recorder.pid)
            largest = max(largest, mb)
            if time.monotonic() - began <= seconds / 4:
                warm = largest
        sent = int(source.communicate()[0])
        time.sleep(2.5)
    finally:
        recorder.send_signal(signal.SIGINT)
        recorder.wait(60)
        for far_end, near in pairs:
            os.close(far_end)
            os.close(near)
    before = time.perf_counter()
    recording = open_recording(file)
    series = {name: recording.series(name) for name in NAMES}
    opening_s = time.perf_counter() - before
    recording.check()
    counted = {name: np.rint(each.value * 100).astype(np.int64) for name, each in series.items()}
    kept = sum(map(len, counted.values()))
    distinct = {name: np.unique(each) for name, each in counted.items()}
    lost = sum(sent - len(each) for each in distinct.values())
    doubled = sum(len(counted[name]) - len(distinct[name]) for name in NAMES)
    right = np.arange(1, sent + 1)
    wrong = sum(0 if len(each) == sent and (each == right).all() else 1 for each in counted.values())
    return Soaked(
        seconds, sent * GAUGES, kept, lost, doubled, wrong, file.stat().st_size,
        predicted_size(recording, kept), warm, largest, len(recording.gaps()), 0,
        sum(event.kind.startswith("alarm") for event in recording.events()), opening_s,
    )  # fmt: skip


def until(what: object, seconds: float) -> None:
    """Wait until `what()` is true."""
    end = time.monotonic() + seconds
    while not what():  # type: ignore[operator]
        if time.monotonic() > end:
            raise TimeoutError("it never came")
        time.sleep(0.1)


def opened(file: Path) -> set[str]:
    """Return the gauges whose links the recording says are open."""
    try:
        return {event.gauge for event in open_recording(file).events() if event.kind == f"link {LinkState.OPEN.value}"}
    except Exception:  # it is being made at this very moment
        return set()


def predicted_size(recording: Recording, readings: int) -> float:
    """Return how large the file is to be: what its readings and its blocks cost."""
    import sqlite3

    with sqlite3.connect(f"file:{recording.path}?mode=ro", uri=True) as db:
        (blocks,) = db.execute("SELECT count(*) FROM block").fetchone()
    db.close()
    return readings * BYTES_A_READING + blocks * BYTES_A_BLOCK + 100_000


@dataclass(frozen=True)
class Minute:
    """What eight gauges send in one stretch: times in nanoseconds and whole ticks of 0.05 degrees, a row a gauge."""

    time_ns: NDArray[np.int64]
    ticks: NDArray[np.int64]


def minutes(hours: float, rate_hz: float) -> Iterator[Minute]:
    """Yield what is sent, always the same: levels wander by a tick an hour, digits flicker, clocks jitter."""
    chance = np.random.default_rng(686)
    count = round(hours * 3600 * rate_hz)
    stretch = max(1, round(60 * rate_hz))
    level = np.full((GAUGES, 1), 57)
    for begin in range(0, count, stretch):
        n = min(stretch, count - begin)
        even = (np.arange(begin, begin + n) * (1e9 / rate_hz)).astype(np.int64)
        jitter = np.clip(1e6 * chance.normal(size=(GAUGES, n)), -4e6, 4e6).astype(np.int64)
        if chance.random() < stretch / rate_hz / 3600:
            level = level + chance.integers(-1, 2, (GAUGES, 1))
        flicker = chance.choice((-1, 0, 1), (GAUGES, n), p=(0.025, 0.95, 0.025))
        yield Minute(10**9 + even + jitter, level + flicker)


def begins_ns(stretch: Minute) -> int:
    """Return a moment before all of a stretch, in whole microseconds."""
    return int(stretch.time_ns.min()) // 1000 * 1000


class Drive:
    """A clamp session driven by simulated time, through sittings, marks and gaps; it counts what it sends."""

    def __init__(self, folder: Path, hours: float, rate_hz: float) -> None:
        """Begin in a folder; a third of the hours goes to each sitting."""
        path = write_instrument(folder, dict.fromkeys(NAMES, "steady@typed:"), rate_hz)
        self.instrument = read_instrument(path.read_text(encoding="utf-8"), "soak")
        self.file = folder / "soak.gaugelog"
        self.hours, self.rate_hz = hours, rate_hz
        self.end_ns = round(hours * 3600e9)
        self.sent = self.gaps = self.marks = self.alarms = 0
        self.rss_mb: list[float] = []
        self.told = False
        self._away: dict[str, int] = {}
        self._before_ns = 10**9

    def _open(self, now_ns: int) -> tuple[Work, ClampWork, dict[str, Decoding]]:
        work = open_work(
            self.instrument,
            self.file,
            "clamp",
            datasheet_folders(self.file.parent),
            Anchor(now_ns, UTC_US + now_ns // 1000),
        )
        session = ClampWork(work, NAMES)
        for name in NAMES:
            session.hear(LinkChange(now_ns, name, LinkState.OPEN))
        return work, session, {name: Decoding(work.datasheets[name], name) for name in NAMES}

    def run(self) -> None:
        """Send everything."""
        work, session, decoders = self._open(0)
        changes = [self.end_ns // 3, 2 * self.end_ns // 3]
        marks = [
            (place * self.end_ns // 24, kind) for place, kind in enumerate((*list(MarkKind)[:3], MarkKind.NOTE), 1)
        ]
        sampled_ns, every_ns = 0, max(self.end_ns // 48, 1)
        for stretch in minutes(self.hours, self.rate_hz):
            now_ns = begins_ns(stretch)
            if changes and now_ns >= changes[0]:
                changes.pop(0)
                self._close(work, session)
                work, session, decoders = self._open(now_ns)
            if marks and now_ns >= marks[0][0]:
                session.mark(marks.pop(0)[1], now_ns, words="cauls warmed")
                self.marks += 1
            self._break(session, now_ns)
            self._send(stretch, session, decoders)
            if now_ns - sampled_ns >= every_ns:
                sampled_ns = now_ns
                self.rss_mb.append(memory_mb(os.getpid()))
                if self.told:
                    print(
                        f"{now_ns / 3.6e12:6.2f} h  {self.rss_mb[-1]:7.1f} MB  {self.file.stat().st_size} B", flush=True
                    )
        self._close(work, session)

    def _close(self, work: Work, session: ClampWork) -> None:
        session.close()
        self.alarms += len(session.alarms)
        self.gaps += session.gaps
        work.writer.finish()

    def _break(self, session: ClampWork, now_ns: int) -> None:
        """Let a gauge's link go and come again now and then: what it says meanwhile isn't sent."""
        chosen = NAMES[now_ns // 10**9 // 600 % GAUGES]
        for name in list(self._away):
            if now_ns >= self._away[name]:
                del self._away[name]
                session.hear(LinkChange(now_ns, name, LinkState.OPEN))
        if now_ns // 10**9 % 7200 >= 7000 and not self._away:
            self._away[chosen] = now_ns + 120 * 10**9
            session.hear(LinkChange(now_ns, chosen, LinkState.LOST, "unplugged"))

    def _send(self, stretch: Minute, session: ClampWork, decoders: dict[str, Decoding]) -> None:
        order = np.argsort(stretch.time_ns, axis=None, kind="stable")
        gauges = (order // stretch.time_ns.shape[1]).tolist()
        times, ticks = stretch.time_ns.ravel()[order].tolist(), (stretch.ticks.ravel()[order] * 5).tolist()
        hear, lines, before_ns = session.hear, {}, self._before_ns
        for gauge, time_ns, hundredths in zip(gauges, times, ticks, strict=True):
            name = NAMES[gauge]
            for tick_ns in range(before_ns + TICK_NS, time_ns, TICK_NS):
                hear(Heard(NAMES[0], Chunk(tick_ns, b"")))
            self._before_ns = before_ns = time_ns
            if name in self._away:
                continue
            line = lines.get(hundredths)
            if line is None:
                line = lines[hundredths] = b"%s%6.2f deg\r\n" % (
                    b"-" if hundredths < 0 else b"+",
                    abs(hundredths) / 100,
                )
            hear(decoders[name].feed(Chunk(time_ns, line)))
            self.sent += 1


def through_simulated_time(folder: Path, hours: float, rate_hz: float, *, told: bool = False) -> Soaked:
    """Drive a session through so many hours; compare every time and value with what was sent."""
    drive = Drive(folder, hours, rate_hz)
    drive.told = told
    began = time.monotonic()
    drive.run()
    seconds = time.monotonic() - began
    recording = open_recording(drive.file)
    before = time.perf_counter()
    recording.series(NAMES[0])
    opening_s = time.perf_counter() - before
    recording.check()
    kept = lost = doubled = wrong = 0
    for hour in _hours_sent(drive):
        for name in NAMES:
            sent_us, sent_value = hour.of[name]
            series = recording.series(name, hour.start_us, hour.end_us)
            distinct = np.unique(series.utc_us)
            kept += len(series.utc_us)
            lost += len(np.setdiff1d(sent_us, distinct, assume_unique=True))
            doubled += len(series.utc_us) - len(distinct)
            if len(series.utc_us) == len(sent_us):
                wrong += int(((series.utc_us != sent_us) | (series.value != sent_value)).sum())
            else:
                wrong += abs(len(series.utc_us) - len(sent_us))
    warm = len(drive.rss_mb) // 8 + 1
    faulty = [gap for gap in recording.gaps() if gap.fault]
    assert len(faulty) == drive.gaps
    return Soaked(
        seconds, drive.sent, kept, lost, doubled, wrong, drive.file.stat().st_size, predicted_size(recording, kept),
        max(drive.rss_mb[:warm]), max(drive.rss_mb), len(faulty), len(recording.marks()), drive.alarms, opening_s,
    )  # fmt: skip


@dataclass(frozen=True)
class Hour:
    """What was sent in about an hour from `start_us` up to `end_us`: times in microseconds and values, by gauge."""

    start_us: int
    end_us: int
    of: dict[str, tuple[NDArray[np.int64], NDArray[np.float64]]]


def _hours_sent(drive: Drive) -> Iterator[Hour]:
    """Yield what was sent, made anew: the recorder had no part in it."""
    away: dict[str, int] = {}
    start_us, gathered = 0, {name: ([], []) for name in NAMES}
    for number, stretch in enumerate(minutes(drive.hours, drive.rate_hz)):
        now_ns = begins_ns(stretch)
        if number and number % 60 == 0:
            end_us = UTC_US + now_ns // 1000
            yield _hour(start_us, end_us, gathered)
            start_us, gathered = end_us, {name: ([], []) for name in NAMES}
        away = {name: end for name, end in away.items() if now_ns < end}
        if now_ns // 10**9 % 7200 >= 7000 and not away:
            away[NAMES[now_ns // 10**9 // 600 % GAUGES]] = now_ns + 120 * 10**9
        for place, name in enumerate(NAMES):
            if name not in away:
                gathered[name][0].append(UTC_US + stretch.time_ns[place] // 1000)
                gathered[name][1].append(stretch.ticks[place] * 5 / 100)
    yield _hour(start_us, 2 * UTC_US, gathered)


def _hour(start_us: int, end_us: int, gathered: dict[str, tuple[list, list]]) -> Hour:
    nothing = [np.empty(0)]
    of = {
        name: (np.concatenate(us or nothing).astype(np.int64), np.concatenate(values or nothing))
        for name, (us, values) in gathered.items()
    }
    return Hour(start_us, end_us, of)


def main() -> None:
    """Run both parts and print their figures, one JSON object each."""
    wanted = argparse.ArgumentParser(description="A long run; figures on standard output.")
    wanted.add_argument("--wall", type=float, default=600.0, help="seconds on the wall clock")
    wanted.add_argument("--hours", type=float, default=48.0, help="simulated hours")
    wanted.add_argument("--rate", type=float, default=RATE_HZ, help="readings a second and gauge, simulated")
    given = wanted.parse_args()
    parts = {
        "wall": (given.wall, lambda folder: on_the_wall_clock(folder, given.wall)),
        "simulated": (given.hours, lambda folder: through_simulated_time(folder, given.hours, given.rate, told=True)),
    }
    for name, (amount, run) in parts.items():
        if amount > 0:
            with tempfile.TemporaryDirectory() as folder:
                print(name, json.dumps(asdict(run(Path(folder)))), flush=True)


if __name__ == "__main__":
    main()
