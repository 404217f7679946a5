"""How often "held" and "moved" are wrong: a Monte Carlo of whole comparisons, quantised as gauges quantise.

Run `python tests/benchmarks/verdict_rates.py --into docs/methods.md` for the tables of docs/methods.md (minutes). The
simulation goes through the very code that judges (`uncertainty.pool`, `Budget.evaluate`, `rules.judge`), over whole
arrays of comparisons. All numbers are made; one digit of the gauge is 1.

The neck is put just at its limit, where neither "held" nor "moved" is earned and either is most often said wrongly,
and, for "moved", also where it was. Each is done at many places of the true value between two digits of the gauge;
with body then neck, at many pairs of places.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from gaugelog.analysis import rules
from gaugelog.analysis.rules import Outcome
from gaugelog.analysis.uncertainty import Budget, pool

NOISES = (0.02, 0.1, 0.25, 0.5, 1.0, 2.0)
LIMITS = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 10.0)
PLACES, PLACES_OF_A_PAIR = 40, 12
SETTINGS = ((3, 1), (5, 1), (3, 2), (5, 2))
BEGIN, END = "<!-- verdict rates -->", "<!-- end of verdict rates -->"


@dataclass(frozen=True)
class Rates:
    """Shares of comparisons with one outcome: averaged over the place between two digits, and at the worst place."""

    mean: float
    worst: float

    def __str__(self) -> str:
        return f"{100 * self.mean:.1f} ({100 * self.worst:.0f})"


@dataclass(frozen=True)
class Places:
    """Where the true values of neck and body stand between two digits, shape (places,); no body with one reading."""

    neck: np.ndarray
    body: np.ndarray | None = None


def places(readings: int) -> Places:
    """Return places spread evenly over one digit, among them its middle and the edge to the next, the worst place."""
    if readings == 1:
        return Places(np.arange(PLACES) / PLACES)
    even = np.arange(PLACES_OF_A_PAIR) / PLACES_OF_A_PAIR
    neck, body = np.meshgrid(even, even, indexing="ij")
    return Places(neck.ravel(), body.ravel())


def read(
    where: Places, shift: float, noise: float, placements: int, comparisons: int, rng: np.random.Generator
) -> np.ndarray:
    """Return quantised placements, shape (places, comparisons, placements).

    With body and neck a placement is neck less body, each rounded by itself; the body stays where it stands, and each
    of the two readings has its share of the scatter.
    """
    shape = (where.neck.size, comparisons, placements)
    share = noise if where.body is None else noise / np.sqrt(2)
    neck = np.rint(where.neck[:, None, None] + shift + share * rng.standard_normal(shape))
    if where.body is None:
        return neck
    return neck - np.rint(where.body[:, None, None] + share * rng.standard_normal(shape))


def outcomes(
    shift: float,
    limit: float,
    noise: float,
    placements: int,
    comparisons: int,
    rng: np.random.Generator,
    readings: int = 1,
) -> np.ndarray:
    """Return the outcome of each comparison, shape (places, comparisons)."""
    where = places(readings)
    before = read(where, 0.0, noise, placements, comparisons, rng)
    after = read(where, shift, noise, placements, comparisons, rng)
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
    """One limit and one scatter: wrong verdicts with the neck at its limit, and what is said of an unmoved one."""

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


def _matrix(title: str, cells: dict[tuple[float, float], Cell], show: Callable[[Cell], str]) -> str:
    """Return one Markdown table: a row a limit, a column a scatter."""
    lines = [
        title,
        "",
        "| limit \\ scatter | " + " | ".join(f"{noise:g}" for noise in NOISES) + " |",
        "|---" * (len(NOISES) + 1) + "|",
    ]
    lines.extend(
        f"| {limit:g} | " + " | ".join(show(cells[limit, noise]) for noise in NOISES) + " |" for limit in LIMITS
    )
    return "\n".join(lines)


def tables(placements: int, readings: int, comparisons: int, rng: np.random.Generator) -> str:
    """Return the three tables of one setting, percent."""
    what = "one reading a placement" if readings == 1 else "body then neck"
    cells = {
        (limit, noise): cell(limit, noise, placements, comparisons, rng, readings)
        for limit in LIMITS
        for noise in NOISES
    }
    return "\n\n".join(
        (
            f"### {placements} + {placements} placements, {what}",
            _matrix("At the limit, said to have **held**:", cells, lambda c: str(c.held)),
            _matrix("At the limit, said to have **moved**:", cells, lambda c: str(c.moved)),
            _matrix(
                "Unmoved, said to have **moved** / found **held**:",
                cells,
                lambda c: f"{c.false_alarm} / {100 * c.found_held:.0f}",
            ),
        )
    )


def provable_table(comparisons: int, rng: np.random.Generator) -> str:
    """Return how often an unmoved neck is held at the smallest provable limit, percent."""
    lines = [
        "### At the smallest provable limit",
        "",
        "Unmoved, found **held**:",
        "",
        "| scatter | 3 + 3 | 5 + 5 | 3 + 3, body then neck | 5 + 5, body then neck |",
        "|---|---|---|---|---|",
    ]
    for noise in NOISES:
        shares = [provable(noise, n, comparisons, rng, k) for n, k in SETTINGS]
        lines.append(f"| {noise:g} | " + " | ".join(f"{100 * share:.0f}" for share in shares) + " |")
    return "\n".join(lines)


def main() -> None:
    """Write all tables to the page given, between its markers, or to the screen."""
    from figures import print_or_write  # beside this script; the tests load it from elsewhere

    parser = argparse.ArgumentParser(description="Simulate whole comparisons and tell how often they are wrong.")
    parser.add_argument("--comparisons", type=int, default=4000, help="comparisons a place between two digits")
    parser.add_argument("--into", type=Path, help="page to write the tables into, between its two markers")
    given = parser.parse_args()
    rng = np.random.default_rng(686)
    parts = [tables(n, k, given.comparisons, rng) for n, k in SETTINGS]
    text = "\n\n".join([*parts, provable_table(given.comparisons, rng)])
    print_or_write(text, given.into, BEGIN, END)


if __name__ == "__main__":
    main()
