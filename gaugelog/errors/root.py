"""What every error has in common.

Here: the root, a fault of a file, and a name that isn't known. Not here: the leaves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar


class GaugelogError(Exception):
    """Root of every error that a user may meet."""

    slug: ClassVar[str] = "gaugelog"

    @property
    def hint(self) -> str:
        """What is safe and what to do next, in one or two sentences."""
        return ""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a declarative file: where, what was found, what is wanted."""

    key: str
    got: str
    wanted: str

    def __str__(self) -> str:
        return f"{self.key}: found {self.got}, wanted {self.wanted}"


class FaultyFileError(GaugelogError):
    """A TOML file or a table with faults; all of them are listed at once."""

    slug = "faulty-file"
    what: ClassVar[str] = "file"

    def __init__(self, path: str | Path, faults: Sequence[Fault]) -> None:
        self.path = str(path)
        self.faults = tuple(faults)
        count = "1 fault" if len(self.faults) == 1 else f"{len(self.faults)} faults"
        lines = "\n".join(f"  {fault}" for fault in self.faults)
        super().__init__(f"{self.what} {self.path} has {count}:\n{lines}")

    @property
    def hint(self) -> str:
        """Nothing has been read from a file with faults."""
        return "Nothing was taken from it. Mend the lines named above and run the command again."


class NearestError(GaugelogError):
    """A name that isn't known, with the nearest known ones."""

    slug = "unknown-name"
    what: ClassVar[str] = "name"

    def __init__(self, got: str, nearest: Sequence[str] = (), known: Sequence[str] = ()) -> None:
        self.got = got
        self.nearest = tuple(nearest)
        self.known = tuple(known)
        super().__init__(f"there is no {self.what} {got!r}")

    @property
    def hint(self) -> str:
        """Offer the nearest names, else all."""
        if self.nearest:
            return "Did you mean " + " or ".join(self.nearest) + "?"
        if self.known:
            return "There is: " + ", ".join(self.known) + "."
        return "None is known here yet."
