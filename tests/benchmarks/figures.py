"""What several benchmarks share: timing a piece of work, and putting tables into a page between two markers."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from pathlib import Path


def milliseconds(work: Callable[[], object], rounds: int) -> float:
    """Return the median processor time of several runs."""
    times = []
    for _ in range(rounds):
        before = time.process_time()
        work()
        times.append(time.process_time() - before)
    return 1000 * statistics.median(times)


def print_or_write(text: str, page: Path | None, begin: str, end: str) -> None:
    """Print tables or, given a page, write them into it between its two markers."""
    if page is None:
        print(text)
        return
    written = page.read_text(encoding="utf-8")
    head, tail = written.split(begin)[0], written.split(end)[1]
    page.write_text(f"{head}{begin}\n\n{text}\n\n{end}{tail}", encoding="utf-8")
