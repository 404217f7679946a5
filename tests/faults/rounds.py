"""Rounds of faults: one form for every family, so that one command can run them all and one table can tell of them.

A family is a way of doing harm. It lives in a file `faults_*.py` of this folder that offers `FAMILIES`, a tuple of
`Family`; whoever adds such a file has registered it. `python tests/faults/long_run.py` runs them all, the tests a few
rounds of each. Not here: any fault.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

HERE = Path(__file__).resolve().parent
TOP = HERE.parents[1]


@dataclass(slots=True)
class Outcome:
    """What came of one round, or of several added up.

    Attributes:
        tries: how often the fault was aimed.
        hits: how often it truly struck: the program died in that very step, the disk was full, the write was lost.
        acknowledged: things that had been told as kept, each looked for afterwards.
        lost: those of them that were not there, or not as they had been told. Must be 0.
        wrong: in words, whatever else was not as it has to be. Must be empty.
        seen: further things worth counting, by name.
    """

    tries: int = 0
    hits: int = 0
    acknowledged: int = 0
    lost: int = 0
    wrong: list[str] = field(default_factory=list)
    seen: dict[str, int] = field(default_factory=dict)

    def add(self, other: Outcome) -> None:
        """Count another outcome in."""
        self.tries += other.tries
        self.hits += other.hits
        self.acknowledged += other.acknowledged
        self.lost += other.lost
        self.wrong += other.wrong
        for name, count in other.seen.items():
            self.seen[name] = self.seen.get(name, 0) + count

    def must_be_clean(self) -> None:
        """Fail where anything acknowledged was lost, or anything else was wrong."""
        assert (self.lost, self.wrong) == (0, [])


def always() -> str:
    """Say that nothing stands in the way."""
    return ""


@dataclass(frozen=True, slots=True)
class Family:
    """One way of doing harm.

    Attributes:
        name: as the table of figures has it.
        section: the heading of docs/reliability.md that it belongs to.
        round: does harm once and looks at what is left. It is given a source of chance and a folder that stays the same
            (and is empty before the first) for all rounds of one run.
        long: rounds of the long form.
        short: rounds of the tests.
        hindered: says why it can't be done on this machine, or nothing.
        by_chance: whether a round may miss: then it counts only that some of all rounds hit.
    """

    name: str
    section: str
    round: Callable[[Random, Path], Outcome]
    long: int
    short: int = 2
    hindered: Callable[[], str] = always
    by_chance: bool = True


def run(family: Family, rounds: int, seed: int, folder: Path, told: Callable[[int], None] = lambda _: None) -> Outcome:
    """Run rounds of a family in a folder, each with chance of its own that the seed decides; tell after each."""
    sum_of = Outcome()
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(rounds):
        sum_of.add(family.round(Random(f"{seed}/{family.name}/{number}"), folder))
        told(number + 1)
    if not family.by_chance and sum_of.hits != sum_of.tries:
        sum_of.wrong.append(f"only {sum_of.hits} of {sum_of.tries} faults struck")
    return sum_of


def families() -> Iterator[Family]:
    """Yield every family of this folder, in the order of the files' names."""
    if str(HERE) not in sys.path:
        sys.path.insert(0, str(HERE))
    for path in sorted(HERE.glob("faults_*.py")):
        yield from importlib.import_module(path.stem).FAMILIES
