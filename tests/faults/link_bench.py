"""A bench for harming links and clocks: gauges that count, gaugelog recording them, and what is looked at afterwards.

Everything runs for real: gauges in processes of their own on ptys and sockets, `gaugelog clamp` in another, one SQLite
file. All values are invented. Here: setting up and looking. Not here: any fault (`faults_links`, the tests).
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from rounds import HERE, TOP

from gaugelog.links.clock import now_ns
from gaugelog.store.reader import Recording, open_recording

GAUGELOG = [sys.executable, "-m", "gaugelog"]
WAIT_S = 60.0
LONGEST_SILENCE_S = 2.0
"""What the datasheet below makes of 50 readings a second: a silence is one after max(2 s, 5 periods)."""

MARGIN_S = 0.7
"""What was sent so shortly before a link broke may have been on its way still; so much is not counted on."""

COUNTER = Path(__file__).with_name("counter.toml").read_text(encoding="utf-8")
PLAN = """
name = "baritone"
flat_spot = "tape mark behind the bridge"

[gauges]
{gauges}

[[checkpoint]]
id = "clearance-bass"
kind = "fret-to-bridge-clearance"
side = "bass"
todo = "feelers over the saddle"
stages = ["before", "after"]
step = 0.05
limit = 0.25
"""


@dataclass(frozen=True, slots=True)
class Ledger:
    """What one source sent: numbers and times (gaugelog's clock, nanoseconds), and from when to when it was away."""

    number: np.ndarray
    time_ns: np.ndarray
    away: Sequence[tuple[int, int]] = ()


class Source:
    """A counting gauge in another process."""

    def __init__(self, kind: str, where: str, rate_hz: float = 50.0) -> None:
        self.process = subprocess.Popen(
            [sys.executable, str(HERE / "link_source.py"), kind, where, str(rate_hz)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=environment(),
        )
        self.where = self._line()

    def _line(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().strip()

    def do(self, command: str) -> None:
        """Give a command and wait until it is done."""
        assert self.process.stdin is not None
        self.process.stdin.write(f"{command}\n")
        self.process.stdin.flush()
        said = self._line()
        if said != command.split()[0]:
            raise RuntimeError(f"{command!r} was answered with {said!r}")

    def end(self) -> Ledger:
        """End it; return what it sent."""
        assert self.process.stdin is not None
        self.process.stdin.write("end\n")
        self.process.stdin.flush()
        said = json.loads(self._line())
        self.close()
        sent = np.array(said["sent"], dtype=np.int64).reshape(-1, 2)
        return Ledger(sent[:, 0], sent[:, 1], [tuple(each) for each in said["away"]])

    def close(self) -> None:
        """End it, whatever it does."""
        self.process.kill()
        self.process.communicate()


def environment(clock: Path | None = None, **more: str) -> dict[str, str]:
    """Return the environment in which this checkout's own gaugelog runs, with `clock` by the clocks of that file."""
    kept = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES", "NO_COLOR")}
    path = [str(HERE / "stepped_clock")] * (clock is not None) + [str(TOP)]
    stepped = {} if clock is None else {"STEPPED_CLOCK": str(clock)}
    return {**kept, "TZ": "UTC", "COLUMNS": "200", **more, "PYTHONPATH": os.pathsep.join(path), **stepped}


@dataclass(slots=True)
class Bench:
    """A folder with an instrument file, its sources, and gaugelog in it."""

    folder: Path
    sources: dict[str, Source] = field(default_factory=dict)
    program: subprocess.Popen[str] | None = None
    zone: str = "UTC"
    stops: list[tuple[int, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        (self.folder / "datasheets").mkdir(parents=True, exist_ok=True)
        (self.folder / "datasheets" / "counter.toml").write_text(COUNTER, encoding="utf-8")
        self.set_clock()

    def __enter__(self) -> Bench:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def clock(self) -> Path:
        """The file that says how gaugelog's clocks are off."""
        return self.folder / "clock.txt"

    @property
    def path(self) -> Path:
        """The recording."""
        return self.folder / "baritone.gaugelog"

    def set_clock(self, off_s: float = 0.0, slept_s: float = 0.0) -> None:
        """Put the wall clock of gaugelog off, and let the computer have slept."""
        aside = self.clock.with_suffix(".new")
        aside.write_text(f"{off_s} {slept_s}", encoding="ascii")
        aside.replace(self.clock)

    def plugged(self, name: str, rate_hz: float = 50.0) -> Source:
        """Start a gauge on a pty that is to be found at a path of its name."""
        self.sources[name] = Source("pty", str(self.folder / f"tty-{name}"), rate_hz)
        return self.sources[name]

    def served(self, name: str, rate_hz: float = 50.0) -> Source:
        """Start a gauge behind a TCP port."""
        self.sources[name] = Source("tcp", "0", rate_hz)
        return self.sources[name]

    def plan(self, options: Mapping[str, str] | None = None) -> None:
        """Write the instrument file for the sources; `options` are added to a gauge's address."""
        lines = []
        for name, source in self.sources.items():
            place = f"serial:{source.where}" if source.where.startswith("/") else f"tcp:{source.where}"
            lines.append(f'{name} = "counter@{place}{(options or {}).get(name, "")}"')
        (self.folder / "baritone.toml").write_text(PLAN.format(gauges="\n".join(lines)), encoding="utf-8")

    def environment(self) -> dict[str, str]:
        """Return the environment of the programs of this bench."""
        return environment(self.clock, TZ=self.zone)

    def start(self, *arguments: str) -> subprocess.Popen[str]:
        """Run gaugelog, its output going into a file, and wait until all gauges are connected."""
        with (self.folder / "output.txt").open("w", encoding="utf-8") as output:
            self.program = subprocess.Popen(
                [*GAUGELOG, *arguments],
                stdin=subprocess.PIPE,
                stdout=output,
                stderr=subprocess.STDOUT,
                text=True,
                cwd=self.folder,
                env=self.environment(),
            )
        self.until(lambda: self.output.count("connected") >= len(self.sources), "connected")
        return self.program

    @property
    def output(self) -> str:
        """All that gaugelog printed so far."""
        return (self.folder / "output.txt").read_text(encoding="utf-8")

    def until(self, true, what: str, wait_s: float = WAIT_S) -> None:
        """Wait until something is so."""
        ends = time.monotonic() + wait_s
        while not true():
            if time.monotonic() > ends or (self.program is not None and self.program.poll() is not None):
                raise AssertionError(f"{what} never came; gaugelog said:\n{self.output[-2000:]}")
            time.sleep(0.05)

    def type(self, keys: str) -> None:
        """Give gaugelog a line."""
        assert self.program is not None
        assert self.program.stdin is not None
        self.program.stdin.write(f"{keys}\n")
        self.program.stdin.flush()

    def stand_still(self, seconds: float) -> None:
        """Stop gaugelog as a suspend would, and let it go on."""
        assert self.program is not None
        began_ns = now_ns()
        self.program.send_signal(signal.SIGSTOP)
        time.sleep(seconds)
        self.program.send_signal(signal.SIGCONT)
        self.stops.append((began_ns, now_ns()))

    def end(self, key: str = "e") -> Recording:
        """End gaugelog properly; return its recording, checked."""
        assert self.program is not None
        self.type(key)
        self.program.communicate(timeout=WAIT_S)
        assert self.program.returncode == 0, self.output
        recording = open_recording(self.path)
        recording.check()
        return recording

    def said(self, *arguments: str) -> str:
        """Run another command to its end; return what it printed."""
        ran = subprocess.run(
            [*GAUGELOG, *arguments],
            capture_output=True,
            text=True,
            cwd=self.folder,
            env=self.environment(),
            timeout=WAIT_S,
            check=False,
        )
        assert ran.returncode == 0, ran.stderr
        return ran.stdout

    def close(self) -> None:
        """End everything."""
        if self.program is not None:
            self.program.kill()
            self.program.communicate()
        for source in self.sources.values():
            source.close()


@dataclass(slots=True)
class Found:
    """What a recording holds of one source.

    Attributes:
        healthy: readings sent while the link stood, and long enough before it broke.
        missing: those of them that are not in the recording.
        kept: readings in the recording.
        outages: pairs of readings between which the link was lost, or more time passed than a silence may take.
        gaps: gaps that are marked.
        wrong: in words, whatever is not as it has to be.
    """

    healthy: int = 0
    missing: int = 0
    kept: int = 0
    outages: int = 0
    gaps: int = 0
    wrong: list[str] = field(default_factory=list)


def look(recording: Recording, name: str, ledger: Ledger, end_ns: int, stops: Sequence[tuple[int, int]] = ()) -> Found:
    """Hold what a recording has of one source against what the source sent.

    Args:
        recording: of one sitting.
        name: of the gauge.
        ledger: what it sent.
        end_ns: until when readings are counted on, on gaugelog's clock.
        stops: from when to when gaugelog was stopped.
    """
    (sitting,) = recording.sittings()
    series = recording.series(name)
    number = np.rint(series.value * 100).astype(np.int64)
    time_ns = (series.utc_us - sitting.start_utc_us) * 1000 + sitting.monotonic_ns
    found = Found(kept=number.size)
    for place in np.flatnonzero(np.diff(number) <= 0)[:3].tolist():
        around = slice(max(place - 2, 0), place + 4)
        what = f"{number[around].tolist()} at {time_ns[around].tolist()}"
        found.wrong.append(
            f"{name}: readings not in order of arrival, or twice: {what}, lost at {_lost(recording, name)}"
        )
    if np.any(np.diff(series.utc_us) < 0):
        found.wrong.append(f"{name}: times run backward")
    known, first, second = np.intersect1d(number, ledger.number, return_indices=True)
    if known.size != number.size:
        found.wrong.append(f"{name}: {number.size - known.size} readings that were never sent")
    if np.any(time_ns[first] < ledger.time_ns[second] - 2_000):  # stored to the microsecond
        found.wrong.append(f"{name}: readings stamped before they were sent")
    healthy = ledger.number[_healthy(recording, name, ledger, end_ns, stops)]
    missing = np.setdiff1d(healthy, number)
    found.healthy, found.missing = healthy.size, missing.size
    if missing.size:
        when = ledger.time_ns[np.searchsorted(ledger.number, missing[:3])]
        found.wrong.append(f"{name}: {missing[:3].tolist()} missing, sent at {when.tolist()}, stops {list(stops)}")
    _look_at_gaps(recording, name, series.utc_us, found)
    return found


def _lost(recording: Recording, name: str) -> list[int]:
    """Return when a link was opened and lost, on gaugelog's clock."""
    (sitting,) = recording.sittings()
    changes = [event.utc_us for event in recording.events() if event.gauge == name and event.kind.startswith("link")]
    return [(each - sitting.start_utc_us) * 1000 + sitting.monotonic_ns for each in changes]


def _up(recording: Recording, name: str) -> list[tuple[int, int]]:
    """Return from when to when the link stood, in microseconds UTC, by the recording's own events."""
    found: list[tuple[int, int]] = []
    since: int | None = None
    for event in recording.events():
        if event.gauge != name:
            continue
        if event.kind == "link connected" and since is None:
            since = event.utc_us
        elif event.kind in ("link lost", "link asleep", "link ended") and since is not None:
            found.append((since, event.utc_us))
            since = None
    return found if since is None else [*found, (since, recording.sittings()[-1].end_utc_us)]


def _healthy(
    recording: Recording, name: str, ledger: Ledger, end_ns: int, stops: Sequence[tuple[int, int]]
) -> np.ndarray:
    """Return of each reading sent whether it has to be in the recording.

    A link that is found broken when gaugelog goes on after a stop may have broken at any time in it.
    """
    (sitting,) = recording.sittings()
    sent_us = sitting.start_utc_us + (ledger.time_ns - sitting.monotonic_ns) // 1000
    margin_us, margin_ns = round(MARGIN_S * 1e6), round(MARGIN_S * 1e9)
    healthy = np.zeros(sent_us.size, dtype=bool)
    stops_us = [[sitting.start_utc_us + (each - sitting.monotonic_ns) // 1000 for each in stop] for stop in stops]
    for start_us, lost_us in _up(recording, name):
        end_us = min([lost_us, *(stop[0] for stop in stops_us if stop[0] < lost_us < stop[1] + margin_us)])
        healthy |= (sent_us > start_us + 100_000) & (sent_us < end_us - margin_us)
    for start_ns, back_ns in ledger.away:
        healthy &= (ledger.time_ns < start_ns - margin_ns) | ((ledger.time_ns > back_ns) if back_ns else False)
    return healthy & (ledger.time_ns < end_ns - margin_ns)


def _look_at_gaps(recording: Recording, name: str, utc_us: np.ndarray, found: Found) -> None:
    """See that every outage has its gap, from the reading before to the reading after, and that no other is marked."""
    gaps = {(gap.start_utc_us, gap.end_utc_us) for gap in recording.gaps() if gap.gauge == name}
    lost_us = [each.utc_us for each in recording.events() if each.gauge == name and each.kind == "link lost"]
    wanted = set()
    for place in np.flatnonzero(np.diff(utc_us) > LONGEST_SILENCE_S * 1e6).tolist():
        wanted.add((int(utc_us[place]), int(utc_us[place + 1])))
    for when_us in lost_us:
        place = int(np.searchsorted(utc_us, when_us, side="right"))
        if 0 < place < utc_us.size:
            wanted.add((int(utc_us[place - 1]), int(utc_us[place])))
    found.outages, found.gaps = len(wanted), len(gaps)
    last_us = int(utc_us[-1]) if utc_us.size else 0
    missing = wanted - gaps
    strange = {gap for gap in gaps - wanted if gap[0] != last_us}  # one that lasts to the end has no reading after it
    if missing:
        found.wrong.append(f"{name}: {len(missing)} outages without a gap: {sorted(missing)[:3]}")
    if strange:
        found.wrong.append(f"{name}: {len(strange)} gaps where nothing was out: {sorted(strange)[:3]}")
