"""Which gaugelog this is."""

from __future__ import annotations


def program_version() -> str:
    """Return the version of the installed package, `not installed` where it runs from a bare folder."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("gaugelog")
    except PackageNotFoundError:
        return "not installed"
