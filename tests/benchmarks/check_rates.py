"""How often a verdict is wrong when it goes by a gauge's check, and what the check is good for.

Run `python tests/benchmarks/check_rates.py --into docs/gauge-checks.md` for the table of docs/gauge-checks.md (some
minutes). A check of ten settings-down and three or five placements a stage are drawn anew each time and go through the
very functions that check and compare. All numbers are made; scatter and limit are in digits of the gauge.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from figures import print_or_write

from gaugelog.analysis.gauge_repeat import repeatability
from gaugelog.analysis.results import Verdict
from gaugelog.analysis.shift import Side, compare_checkpoint
from gaugelog.analysis.uncertainty import Study, of_placement
from gaugelog.model.instrument import Checkpoint
from gaugelog.model.kinds import KIND_BY_SLUG
from gaugelog.model.quantities import Quantity

BEGIN, END = "<!-- check rates -->", "<!-- end of check rates -->"
DIGIT = 0.05
AGAIN = 10
HEAD = (
    "| readings a placement | placements a stage | scatter | limit | called held just beyond the limit"
    " | called moved just within it | unmoved, called held |\n|---|---|---|---|---|---|---|"
)


@dataclass(frozen=True)
class Case:
    """Readings in a placement, placements a stage, scatter of one reading and limit in digits."""

    readings: int
    placements: int
    scatter: float
    limit: float

    @property
    def checkpoint(self) -> Checkpoint:
        kind = "neck-angle" if self.readings == 2 else "control"
        return Checkpoint(
            "spot", KIND_BY_SLUG[kind], Quantity.ANGLE, "deg", "", limit=self.limit * DIGIT, gauge="gauge"
        )


def rounded(values: np.ndarray | float) -> np.ndarray:
    return np.round(np.asarray(values) / DIGIT) * DIGIT


def verdicts(case: Case, shift: float, tries: int, rng: np.random.Generator, *, checked: bool) -> Counter[Verdict]:
    """Return how often each verdict is given where the truth shifts by so many digits."""
    found: Counter[Verdict] = Counter()
    scatter, n = case.scatter * DIGIT, case.placements

    def stage(neck: float, body: float) -> Side:
        values = rounded(neck + rng.normal(0, scatter, n))
        if case.readings == 2:
            values = values - rounded(body + rng.normal(0, scatter, n))
        return Side(tuple(values.tolist()), DIGIT, gauge="gauge")

    for _ in range(tries):
        neck, body, spot = rng.uniform(0, DIGIT, 3)
        study: Study | None = None
        if checked:
            study = of_placement(
                {repeatability(rounded(spot + rng.normal(0, scatter, AGAIN)), DIGIT).study: case.readings}
            )
        sides = stage(neck, body), stage(neck + shift * DIGIT, body)
        found[compare_checkpoint(case.checkpoint, *sides, study=study).verdict] += 1
    return found


def row(case: Case, tries: int, rng: np.random.Generator) -> str:
    """Return a row of the table: with a check, and without in brackets."""

    def both(shift: float, verdict: Verdict) -> str:
        shares = (verdicts(case, shift, tries, rng, checked=each)[verdict] / tries for each in (True, False))
        return "{:.1f} % ({:.1f})".format(*(100 * share for share in shares))

    told = [
        both(case.limit * 1.0001, Verdict.HELD),
        both(case.limit * 0.9999, Verdict.MOVED),
        both(0.0, Verdict.HELD),
    ]
    cells = [str(case.readings), str(case.placements), f"{case.scatter:g}", f"{case.limit:g}", *told]
    return f"| {' | '.join(cells)} |"


def main() -> None:
    """Print the table, or write it into a page."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tries", type=int, default=1000)
    parser.add_argument("--into", type=Path)
    given = parser.parse_args()
    rng = np.random.default_rng(5)
    cases = [
        Case(readings, placements, scatter, 6.0 if scatter == 2 else 4.0)
        for readings in (1, 2)
        for placements in (2, 3, 5)
        for scatter in (0.2, 0.5, 1.0, 2.0)
    ]
    lines = [HEAD, *(row(case, given.tries, rng) for case in cases)]
    print_or_write("\n".join(lines), given.into, BEGIN, END)


if __name__ == "__main__":
    main()
