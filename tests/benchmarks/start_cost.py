"""What a start costs: `gaugelog --help` against a bare `import typer`, process time, in one run.

Run: python tests/benchmarks/start_cost.py
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

RUNS = 15


def process_ms(*arguments: str) -> float:
    """Return the user and system time of one child process in milliseconds."""
    import resource

    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return 1e3 * (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)


def main() -> None:
    """Print medians and their ratio."""
    bare, typer, shown = [], [], []
    for _ in range(RUNS):
        bare.append(process_ms("-c", "pass"))
        typer.append(process_ms("-c", "import typer"))
        shown.append(process_ms("-m", "gaugelog", "--help"))
        time.sleep(0.01)
    medians = [statistics.median(each) for each in (bare, typer, shown)]
    print(f"bare Python {medians[0]:.0f} ms, import typer {medians[1]:.0f} ms, gaugelog --help {medians[2]:.0f} ms")
    print(f"gaugelog --help / import typer = {medians[2] / medians[1]:.2f}")


if __name__ == "__main__":
    main()
