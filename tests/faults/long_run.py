"""Run many rounds of every family of faults, and print what came of them as a table.

    python tests/faults/long_run.py [--seed N] [--only WORDS] [--times FACTOR] [--write]

A seed that is printed makes the same choices again; the moments at which a process dies depend on the machine as well.
`--write` puts the figures into docs/reliability.md. It ends with status 1 where anything acknowledged was lost or
anything else was wrong, 0 else.
"""

from __future__ import annotations

import argparse
import secrets
import shutil
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]

from rounds import TOP, Family, Outcome, families, run  # noqa: E402

PAGE = TOP / "docs" / "reliability.md"
HEAD = "| fault | tries | faults that struck | acknowledged and looked for | lost |\n|---|---|---|---|---|"


def row(family: Family, outcome: Outcome) -> str:
    """Return a family's line of the table."""
    return (
        f"| {family.name} | {outcome.tries} | {outcome.hits} | {outcome.acknowledged}"
        f" | {outcome.lost}{' and ' + str(len(outcome.wrong)) + ' wrong' if outcome.wrong else ''} |"
    )


def write(section: str, text: str) -> None:
    """Put a section's table between its two markers in the page."""
    begin, end = f"<!-- figures: {section} -->", "<!-- end of the figures -->"
    page = PAGE.read_text(encoding="utf-8")
    head, _, tail = page.partition(begin)
    if not tail:
        raise SystemExit(f"{PAGE.name} has no marker {begin}")
    PAGE.write_text(f"{head}{begin}\n\n{text}\n\n{end}{tail.partition(end)[2]}", encoding="utf-8")


def tell(of: int, done: int) -> None:
    """Show how far a family is, where somebody looks on."""
    if sys.stdout.isatty():
        print(f"\r{done}/{of} ", end="", flush=True)


def main() -> int:
    """Run what was asked for; return the exit status."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seed", type=int, default=secrets.randbelow(10**6))
    parser.add_argument("--only", default="", help="families whose name or section holds these words")
    parser.add_argument("--times", type=float, default=1.0, help="so many times the rounds of the long form")
    parser.add_argument("--write", action="store_true", help="put the tables into docs/reliability.md")
    asked = parser.parse_args()
    print(f"seed {asked.seed}", flush=True)
    tables: dict[str, list[str]] = {}
    wrong = 0
    for family in families():
        if asked.only not in family.name and asked.only not in family.section:
            continue
        reason = family.hindered()
        if reason:
            print(f"{family.name}: not done here: {reason}", flush=True)
            tables.setdefault(family.section, []).append(f"| {family.name} | not done: {reason} | | | |")
            continue
        rounds = max(1, round(family.long * asked.times))
        folder = Path(tempfile.mkdtemp(prefix="gaugelog-faults-"))
        began = time.monotonic()
        outcome = run(family, rounds, asked.seed, folder, partial(tell, rounds))
        shutil.rmtree(folder, ignore_errors=True)
        seen = "".join(f", {name} {count}" for name, count in outcome.seen.items())
        print(f"{row(family, outcome)} {time.monotonic() - began:.0f} s{seen}", flush=True)
        for each in outcome.wrong[:10]:
            print(f"    {each}", flush=True)
        wrong += outcome.lost + len(outcome.wrong)
        tables.setdefault(family.section, []).append(row(family, outcome))
    for section, rows in tables.items():
        text = "\n".join([HEAD, *rows])
        print(f"\n{section}\n\n{text}")
        if asked.write:
            write(section, text)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
