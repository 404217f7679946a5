"""Everything that can happen to links and clocks at once, at random, under a real `gaugelog clamp`.

Four gauges that count their readings: two on ptys that are unplugged, one behind a bad cable (gaugelog's own `faults=`:
cut, glued, late, and dropped every few seconds), one behind TCP whose connection is cut off, hung up and falls silent.
Meanwhile the program is stopped and continued, and its wall clock is set by an hour forward and back. Afterwards the
recording is held against what the sources sent.
"""

from __future__ import annotations

import shutil
import time
from pathlib import Path
from random import Random

from link_bench import Bench, look
from rounds import Family, Outcome

from gaugelog.links.clock import now_ns

SECTION = "Links and clocks"
HARMS = 12
CABLE = "?faults=cut:0.3,glue:0.2,delay:0.15,drop:4,seed:{seed}"


def _harm(bench: Bench, chance: Random, outcome: Outcome, off_s: list[float]) -> None:
    """Do one harm and let some time go by."""
    kind = chance.choice(("unplug", "unplug", "reset", "hang up", "hush", "stand still", "set the clock"))
    outcome.tries += 1
    outcome.hits += 1
    outcome.seen[kind] = outcome.seen.get(kind, 0) + 1
    if kind == "unplug":
        source = bench.sources[chance.choice(("neck", "body"))]
        source.do("unplug")
        time.sleep(chance.uniform(0.05, 1.2))
        source.do("plug")
    elif kind == "hush":
        bench.sources["served"].do("hush")
        time.sleep(chance.uniform(2.2, 3.0))
        bench.sources["served"].do("speak")
    elif kind == "stand still":
        time.sleep(0.8)  # what breaks within a stop would break before it is read
        bench.stand_still(chance.uniform(0.3, 3.0))
    elif kind == "set the clock":
        off_s[0] += chance.choice((-3600.0, 3600.0))
        bench.set_clock(off_s[0])
    else:
        bench.sources["served"].do(kind)
    time.sleep(chance.uniform(0.3, 1.5))


def storm(chance: Random, folder: Path) -> Outcome:
    """Record through a dozen harms; each reading of a healthy stretch is there once, in order; each outage is a gap."""
    outcome = Outcome()
    place = folder / f"round-{chance.randrange(10**9)}"
    off_s = [0.0]
    with Bench(place) as bench:
        for name in ("neck", "body", "cable"):
            bench.plugged(name)
        bench.served("served")
        bench.plan({"cable": CABLE.format(seed=chance.randrange(10**6))})
        bench.start("clamp")
        time.sleep(0.5)
        for _ in range(HARMS):
            _harm(bench, chance, outcome, off_s)
        time.sleep(5.5)  # the longest pause before a lost link is opened anew
        end_ns = now_ns()
        ledgers = {name: source.end() for name, source in bench.sources.items()}
        time.sleep(1.0)
        recording = bench.end()
        for name, ledger in ledgers.items():
            found = look(recording, name, ledger, end_ns, bench.stops)
            outcome.acknowledged += found.healthy
            outcome.lost += found.missing
            outcome.wrong += found.wrong
            for what, count in (("kept", found.kept), ("outages", found.outages), ("gaps", found.gaps)):
                outcome.seen[what] = outcome.seen.get(what, 0) + count
        sets = [each for each in recording.clock_sets() if abs(each.by_s) > 1]
        outcome.seen["clock sets kept"] = outcome.seen.get("clock sets kept", 0) + len(sets)
        if round(sum(each.by_s for each in sets)) != off_s[0]:
            outcome.wrong.append(f"the clock was set by {off_s[0]} s in all, and {sets} is kept")
    shutil.rmtree(place, ignore_errors=True)
    return outcome


FAMILIES = (
    Family("links torn and clocks set, twelve times a round", SECTION, storm, long=40, short=1, by_chance=False),
)
