"""How often "held" and "moved" are wrong: a Monte Carlo of whole comparisons, quantised as gauges quantise.

Run `python tests/benchmarks/verdict_rates.py` for the tables of docs/methods.md. The simulation goes through the very
code that judges (`uncertainty.pool`, `Budget.evaluate`, `rules.judge`), over whole arrays of comparisons.

The neck is placed at the worst true shift: just at the limit, where neither "held" nor "moved" is earned, and for
"moved" also unmoved. Each is done at many places of the true value between two digits of the gauge. Made data.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from gaugelog.analysis import rules
from gaugelog.analysis.rules import Outcome
from gaugelog.analysis.uncertainty import Budget, pool

NOISES = (0.02, 0.1, 0.25, 0.5, 1.0, 2.0)
LIMITS = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 10.0)
PLACES = 40


@dataclass(frozen=True)
class Rates:
    """Shares of comparisons with one outcome: averaged over the place between two digits, and at the worst place."""

    mean: float
    worst: float


def read(true: np.ndarray, noise: float, placements: int, rng: np.random.Generator, readings: int) -> np.ndarray:
    """Return quantised placements, shape (places, comparisons, placements), of a value in digits.

    With two readings a placement is neck less body, each rounded by itself; the body stands at its own place between
    two digits, the same at both stages, and each reading has its share of the scatter.
    """
    shape = (*true.shape, placements)
    share = noise / np.sqrt(readings)
    neck = np.rint(true[..., None] + share * rng.standard_normal(shape))
    if readings == 1:
        return neck
    body = true[..., :1] * 0 + 0.371 * np.arange(true.shape[0])[:, None]
    return neck - np.rint((body % 1.0)[..., None] + share * rng.standard_normal(shape))


def outcomes(
    shift: float,
    limit: float,
    noise: float,
    placements: int,
    comparisons: int,
    rng: np.random.Generator,
    readings: int = 1,
) -> np.ndarray:
    """Return the outcome of each comparison, shape (places, comparisons); everything in digits (r = 1)."""
    place = np.repeat(((np.arange(PLACES) + 0.5) / PLACES)[:, None], comparisons, axis=1)
    before = read(place, noise, placements, rng, readings)
    after = read(place + shift, noise, placements, rng, readings)
    dof = placements - 1.0
    scatter = pool((before.std(axis=2, ddof=1), after.std(axis=2, ddof=1)), (dof, dof))
    found = Budget(scatter, placements, placements, 1.0, readings).evaluate()
    return rules.judge(after.mean(axis=2) - before.mean(axis=2), found.u, found.dof, limit, 1.0)


def rates(found: np.ndarray, outcome: Outcome) -> Rates:
    """Return how often `outcome` came."""
    by_place = (found == outcome).mean(axis=1)
    return Rates(float(by_place.mean()), float(by_place.max()))


@dataclass(frozen=True)
class Cell:
    """One row of the table."""

    limit: float
    noise: float
    held: Rates
    moved: Rates
    false_alarm: Rates
    found_held: float


def cell(
    limit: float, noise: float, placements: int, comparisons: int, rng: np.random.Generator, readings: int = 1
) -> Cell:
    """Return wrong verdicts with the neck at the limit, false alarms with it unmoved, and how often it is then held."""
    at_limit = outcomes(limit, limit, noise, placements, comparisons, rng, readings)
    unmoved = outcomes(0.0, limit, noise, placements, comparisons, rng, readings)
    return Cell(
        limit,
        noise,
        rates(at_limit, Outcome.HELD),
        rates(at_limit, Outcome.MOVED),
        rates(unmoved, Outcome.MOVED),
        rates(unmoved, Outcome.HELD).mean,
    )


def provable(noise: float, placements: int, comparisons: int, rng: np.random.Generator, readings: int = 1) -> float:
    """Return how often an unmoved neck is held at the smallest provable limit of the true scatter."""
    scatter = pool((noise, noise), (placements - 1.0, placements - 1.0))
    found = Budget(scatter, placements, placements, 1.0, readings).evaluate()
    limit = float(rules.smallest_provable(found.u, found.dof, 1.0))
    return rates(outcomes(0.0, limit, noise, placements, comparisons, rng, readings), Outcome.HELD).mean


def table(placements: int, readings: int, comparisons: int, rng: np.random.Generator) -> str:
    """Return the rows of one setting as a Markdown table, percent."""
    what = "one reading" if readings == 1 else "body then neck"
    lines = [
        f"**{placements} + {placements} placements, {what}**",
        "",
        "| limit / digit | scatter / digit | held, wrong: mean / worst place | moved, wrong: mean / worst place"
        " | moved though unmoved: mean / worst place | unmoved found held |",
        "|---|---|---|---|---|---|",
    ]
    for limit in LIMITS:
        for noise in NOISES:
            row = cell(limit, noise, placements, comparisons, rng, readings)
            told = " | ".join(
                f"{100 * r.mean:.1f} / {100 * r.worst:.1f}" for r in (row.held, row.moved, row.false_alarm)
            )
            lines.append(f"| {limit:g} | {noise:g} | {told} | {100 * row.found_held:.0f} |")
    return "\n".join(lines)


def provable_table(comparisons: int, rng: np.random.Generator) -> str:
    """Return how often an unmoved neck is held at the smallest provable limit, percent."""
    lines = ["| scatter / digit | 3 + 3 | 5 + 5 | 3 + 3, body then neck |", "|---|---|---|---|"]
    for noise in NOISES:
        shares = [provable(noise, n, comparisons, rng, k) for n, k in ((3, 1), (5, 1), (3, 2))]
        lines.append(f"| {noise:g} | " + " | ".join(f"{100 * share:.0f}" for share in shares) + " |")
    return "\n".join(lines)


def main() -> None:
    """Write all tables to the page given, between its markers, or to the screen."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--comparisons", type=int, default=5000, help="comparisons a place between two digits")
    parser.add_argument("--into", type=Path, help="page to write the tables into, between its two markers")
    given = parser.parse_args()
    rng = np.random.default_rng(686)
    parts = [table(n, k, given.comparisons, rng) for n, k in ((3, 1), (5, 1), (3, 2), (5, 2))]
    parts.append(
        "**Unmoved neck found held at the smallest provable limit, percent**\n\n"
        + provable_table(given.comparisons, rng)
    )
    text = "\n\n".join(parts)
    if given.into is None:
        print(text)
        return
    begin, end = "<!-- verdict rates -->", "<!-- end of verdict rates -->"
    page = given.into.read_text(encoding="utf-8")
    head, tail = page.split(begin)[0], page.split(end)[1]
    given.into.write_text(f"{head}{begin}\n{text}\n{end}{tail}", encoding="utf-8")


if __name__ == "__main__":
    main()
