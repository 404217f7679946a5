"""Published values for the analysis, read from tests/oracles."""

from __future__ import annotations

import csv
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ORACLES = HERE.parent / "oracles"

sys.path.insert(0, str(HERE))


@pytest.fixture(scope="session")
def expected() -> dict:
    """The expected values, each with its source beside it in the file."""
    return tomllib.loads((ORACLES / "analysis.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def nist() -> Callable[[str], list[dict[str, str]]]:
    """A reader of the NIST data files: rows as dictionaries."""

    def read(name: str) -> list[dict[str, str]]:
        lines = (ORACLES / "nist" / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))

    return read


@pytest.fixture(scope="session")
def column(nist: Callable[[str], list[dict[str, str]]]) -> Callable[[str], list[float]]:
    """A reader of the NIST files that hold one column y."""
    return lambda name: [float(row["y"]) for row in nist(name)]
