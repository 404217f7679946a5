"""Steps of made-up sessions found afterwards: how many, how well, how fast; and beside a change-point library.

Run: python tests/benchmarks/step_finding.py [sessions [shapes] [beside] [long]]      tables for docs/steps.md
The library is `ruptures`: its compiled kernel method (KernelCPD, linear kernel) on one-second means of the same
readings, with the penalty out of fifteen that gives it the best F1 over all sessions; steps are the differences of its
segment means. A step counts as found within 10 s; steps of at least 0.1 degrees count for recall. A found one that
matches a smaller true step is neither right nor wrong. Times are processor times of this machine.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "analysis"))

import ruptures
from made_sessions import DIGIT, Made, made, matched, seconds

from gaugelog.analysis.bins import binned
from gaugelog.analysis.explained import explain
from gaugelog.analysis.noise import wild
from gaugelog.analysis.steps import find_steps

COUNTED, REST, TOLERANCE_S = 0.1, 0.1, 10.0
PENALTIES = (0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, 0.7, 1.0, 2.0, 4.0, 6.0, 9.0, 13.0, 20.0)
SHAPES: dict[str, dict[str, object]] = {
    "plain: half of them creep": {},
    "with wander, gaps and wild readings": {"walk": 0.01, "gaps": 2, "wild": 5},
    "wander three times that": {"walk": 0.03},
    "noise 0.01": {"noise": 0.01},
    "noise 0.05": {"noise": 0.05},
    "noise 0.1": {"noise": 0.1},
    "noise remembered (0.8 from reading to reading)": {"correlation": 0.8},
    "noise remembered (0.95)": {"correlation": 0.95},
    "creep that begins late": {"late_creep": True, "creep": True},
    "a warming gauge, 0.03 an hour": {"line_per_h": 0.03},
    "a swing of 0.03 in 90 minutes": {"swing": 0.03},
    "slips that take 15 s": {"ramp_s": 15.0},
    "steps 60 s apart and more, all of 0.1 to 0.3": {"steps": 3, "sizes": (0.1, 0.3)},
    "10 minutes at 2/s": {"duration_s": 600.0, "rate_hz": 2.0, "creep_tau_s": (60.0, 300.0)},
    "a reading every 5 minutes for a day": {
        "duration_s": 86_400.0,
        "rate_hz": 1 / 300,
        "spacing_s": 5400.0,
        "creep_tau_s": (7200.0, 36_000.0),
    },
    "half an hour at 50/s": {"duration_s": 1800.0, "rate_hz": 50.0},
    "quiet, no steps, no creep": {"steps": 0, "creep": False},
    "creep only": {"steps": 0, "creep": True},
    "wander only": {"steps": 0, "creep": False, "walk": 0.03},
}


@dataclass
class Score:
    """Found, missed and invented steps, and how far off the found ones were, in their own uncertainties too."""

    found: int = 0
    missed: int = 0
    invented: int = 0
    late_s: list[float] = field(default_factory=list)
    off: list[float] = field(default_factory=list)
    in_u: list[float] = field(default_factory=list)
    creep_in_u: list[float] = field(default_factory=list)
    creep: list[int] = field(default_factory=lambda: [0, 0, 0, 0])
    processor_s: float = 0.0

    def steps(self, session: Made, when: list[float], size: list[float], u: list[float] | None = None) -> None:
        """Count the steps of one session."""
        pairs = matched(when, session.step_s, max(TOLERANCE_S, float(np.median(np.diff(session.utc_us))) / 1e6))
        large = {k for k in range(session.step.size) if abs(session.step[k]) >= COUNTED}
        hit = large & set(pairs.values())
        self.found += len(hit)
        self.missed += len(large - hit)
        self.invented += len(when) - len(pairs)
        for here, true in pairs.items():
            self.late_s.append(abs(when[here] - session.step_s[true]))
            self.off.append(abs(size[here] - session.step[true]))
            if u is not None:
                self.in_u.append(self.off[-1] / u[here])

    @property
    def f1(self) -> float:
        """F1 of the steps, 1 where there was none to find and none was invented."""
        return 2 * self.found / max(2 * self.found + self.missed + self.invented, 1) if self.found else 0.0

    @property
    def recall(self) -> float:
        """Share of true steps that were found."""
        return self.found / max(self.found + self.missed, 1)

    @property
    def precision(self) -> float:
        """Share of found steps that are true."""
        return self.found / max(self.found + self.invented, 1)


def covered(values: list[float]) -> str:
    """Return how often the truth lay within one and within 1.96 standard uncertainties."""
    told = np.asarray(values)
    return f"{np.mean(told < 1):.2f} / {np.mean(told < 1.96):.2f}" if told.size else "-"


def ours(sessions: list[Made]) -> Score:
    """Explain each session and score its steps and creep."""
    score = Score()
    for session in sessions:
        begin = time.process_time()
        told = explain(session.utc_us, session.value, (DIGIT,), rest_rate_per_day=REST)
        score.processor_s += time.process_time() - begin
        score.steps(
            session,
            [seconds(step.time_us) for step in told.steps],
            [step.size for step in told.steps],
            [step.u for step in told.steps],
        )
        if session.creep:
            score.creep[0 if told.creep else 1] += 1
            if told.creep:
                score.creep_in_u.append(abs(told.creep.size - session.creep[0]) / told.creep.u)
        else:
            score.creep[2 if told.creep else 3] += 1
    return score


def second_means(session: Made) -> tuple[np.ndarray, np.ndarray]:
    """Return the seconds in which there are readings and the means over them."""
    second = (session.utc_us - session.utc_us[0]) // 1_000_000
    count = np.bincount(second)
    there = count > 0
    return np.flatnonzero(there) + (session.utc_us[0] / 1e6), np.bincount(second, session.value)[there] / count[there]


def theirs(sessions: list[Made], penalty: float, tidy: bool) -> Score:
    """Score the library with one penalty; `tidy` leaves out differences below 1.5 digits as ours does."""
    score = Score()
    for session in sessions:
        at, means = second_means(session)
        begin = time.process_time()
        ends = ruptures.KernelCPD(kernel="linear", min_size=5).fit(means.reshape(-1, 1)).predict(pen=penalty)
        score.processor_s += time.process_time() - begin
        levels = [float(part.mean()) for part in np.split(means, ends[:-1])]
        sizes = np.diff(levels)
        keep = [k for k in range(sizes.size) if not tidy or abs(sizes[k]) >= 1.5 * DIGIT]
        score.steps(session, [seconds(int(at[ends[k]] * 1e6)) for k in keep], [float(sizes[k]) for k in keep])
    return score


def finding(sessions: list[Made]) -> Score:
    """Score finding alone: wild readings, second means, places; it tells no sizes. The best time of three rounds."""
    spent = []
    for _ in range(3):
        score = Score()
        begin = time.process_time()
        places = [places_of(session) for session in sessions]
        spent.append(time.process_time() - begin)
        for session, when in zip(sessions, places, strict=True):
            score.steps(session, when, [0.0] * len(when))
    score.processor_s = min(spent)
    return score


def places_of(session: Made) -> list[float]:
    """Return when there may be steps, in s."""
    odd = wild(session.value, DIGIT)
    bins = binned(np.delete(session.utc_us, odd), np.delete(session.value, odd))
    found = find_steps(bins, 1.5 * DIGIT, 0.6 * DIGIT)
    return [seconds(bins.origin_us) + float(bins.time_s[place - 1 : place + 1].mean()) for place in found.place]


def shapes(count: int) -> None:
    """Print how well each shape of session is explained."""
    print(
        "| sessions | recall | precision | farthest in time | in size | steps within u / 1.96 u | creep told, missed,"
    )
    print("invented | creep within u / 1.96 u | ms |\n|---|---|---|---|---|---|---|---|---|")
    for name, how in SHAPES.items():
        score = ours([made(5000 + seed, **how) for seed in range(count)])  # type: ignore[arg-type]
        told, missed, invented, _ = score.creep
        right = (
            f"{score.recall:.3f} | {score.precision:.3f}"
            if score.found + score.missed
            else f"- | {score.invented} invented"
        )
        print(
            f"| {name} | {right} | {max(score.late_s, default=0):.1f} s | {max(score.off, default=0):.3f} | "
            f"{covered(score.in_u)} | {told}, {missed}, {invented} | {covered(score.creep_in_u)} | "
            f"{1000 * score.processor_s / count:.0f} |"
        )


def side_by_side(count: int) -> None:
    """Print both in one run, on sessions with everything in them and on plain ones."""
    print("\n| sessions | who | penalty | recall | precision | F1 | ms a session | ratio |\n" + "|---" * 8 + "|")
    for name in ("plain: half of them creep", "with wander, gaps and wild readings"):
        sessions = [made(9000 + seed, **SHAPES[name]) for seed in range(count)]  # type: ignore[arg-type]
        mine, places = ours(sessions), finding(sessions)
        plain, tidied = (
            max(((theirs(sessions, penalty, tidy), penalty) for penalty in PENALTIES), key=lambda each: each[0].f1)
            for tidy in (False, True)
        )
        for who, score, how, spent in (
            ("gaugelog, finding alone", places, "-", places.processor_s),
            ("gaugelog, everything explained", mine, "-", mine.processor_s),
            ("ruptures", plain[0], str(plain[1]), plain[0].processor_s),
            ("ruptures, differences below 1.5 digits left out", tidied[0], str(tidied[1]), tidied[0].processor_s),
        ):
            print(
                f"| {name} | {who} | {how} | {score.recall:.3f} | {score.precision:.3f} | {score.f1:.3f} | "
                f"{1000 * spent / count:.1f} | {plain[0].processor_s / spent:.1f} |"
            )


def long_sessions() -> None:
    """Print how the time grows with the session."""
    print(
        "\n| hours at 10/s | readings | explained in ms | finding alone | ruptures | ratio to finding |\n"
        + "|---" * 6
        + "|"
    )
    for hours in (2, 6, 12, 24):
        session = made(77, duration_s=3600.0 * hours, steps=3, sizes=(0.1, 0.3), walk=0.01, creep=True)
        times = [ours([session]).processor_s for _ in range(5)]
        alone = min(finding([session]).processor_s for _ in range(5))
        library = theirs([session], 0.5, False).processor_s
        print(
            f"| {hours} | {session.value.size} | {1000 * min(times):.0f} | {1000 * alone:.1f} | "
            f"{1000 * library:.0f} | {library / alone:.0f} |"
        )


def main() -> None:
    """Print the tables."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    parts = sys.argv[2:] or ["shapes", "beside", "long"]
    if "shapes" in parts:
        shapes(count)
    if "beside" in parts:
        side_by_side(count)
    if "long" in parts:
        long_sessions()


if __name__ == "__main__":
    main()
