"""Tell which folders of the host the guest has to see besides /usr, each under its own path.

Run as `shares.py CHECKOUT VENV` by the environment's own Python. One line each: a tag, a space, the path.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from pathlib import Path


def outermost(folders: Iterable[Path]) -> list[Path]:
    """Return the folders, without those that lie in another of them or in /usr."""
    kept: list[Path] = []
    for folder in sorted(set(folders)):
        if not any(folder.is_relative_to(other) for other in (Path("/usr"), *kept)):
            kept.append(folder)
    return kept


def main(checkout: Path, venv: Path) -> None:
    """Print the folders: the checkout, the environment, and the interpreter that it is made of."""
    interpreter = {Path(sys.base_prefix), Path(sys.base_prefix).resolve()}
    executable = Path(os.path.realpath(sys.executable)).parent.parent
    for number, folder in enumerate(outermost({checkout, venv, venv.resolve(), executable, *interpreter})):
        print(f"share{number} {folder}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
