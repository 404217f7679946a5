"""Which datasheets there are.

Here: the bundled ones, those that installed packages add and those in the builder's own folders, by name. Not here:
reading one (`read`). A package's datasheet that can't be used is left out, and its reason kept (`broken_datasheets`):
the others go on working.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from gaugelog.datasheets.read import read_datasheet
from gaugelog.errors import (
    FaultyDatasheetError,
    PluginBrokenError,
    PluginClashError,
    UnknownDatasheetError,
    UnreadableFileError,
)
from gaugelog.model.datasheet import Datasheet
from gaugelog.plugins import DATASHEETS, providers

GROUP = "datasheet"


BUNDLED = "bundled"


@dataclass(slots=True)
class _Shelf:
    """Datasheets by name, where each of them comes from, and what could not be used."""

    sheets: dict[str, Datasheet] = field(default_factory=dict)
    homes: dict[str, str] = field(default_factory=dict)
    broken: list[PluginBrokenError] = field(default_factory=list)

    def put(self, sheet: Datasheet, home: str) -> None:
        """Add one.

        Raises:
            PluginClashError: there is one of that name.
        """
        if sheet.name in self.sheets:
            raise PluginClashError(GROUP, sheet.name, (self.homes[sheet.name], home))
        self.sheets[sheet.name], self.homes[sheet.name] = sheet, home


@cache
def _installed() -> _Shelf:
    """Return the datasheets that come with gaugelog and with installed packages.

    Raises:
        PluginClashError: two packages claim one name.
    """
    shelf = _Shelf()
    for entry in _toml_files(files("gaugelog.datasheets").joinpath(BUNDLED)):
        shelf.put(read_datasheet(entry.read_text(encoding="utf-8"), entry.name), BUNDLED)
    for name, package in sorted(providers(DATASHEETS).items()):
        _put_package(shelf, name, package)
    return shelf


def _toml_files(folder: Traversable) -> list[Traversable]:
    return sorted((entry for entry in folder.iterdir() if entry.name.endswith(".toml")), key=lambda entry: entry.name)


def _put_package(shelf: _Shelf, provider: str, package: str) -> None:
    """Add a package's datasheets; what can't be read of it is kept as broken, with the reason."""
    try:
        entries = _toml_files(files(package))
    except Exception as reason:  # whatever a stranger's package does when it is imported
        shelf.broken.append(PluginBrokenError(DATASHEETS, provider, package, f"{type(reason).__name__}: {reason}"))
        return
    if not entries:
        shelf.broken.append(PluginBrokenError(DATASHEETS, provider, package, "there is no *.toml file in it"))
    for entry in entries:
        try:
            sheet = read_datasheet(entry.read_text(encoding="utf-8"), entry.name)
        except (FaultyDatasheetError, OSError, UnicodeDecodeError) as reason:
            shelf.broken.append(PluginBrokenError(DATASHEETS, provider, package, str(reason)))
        else:
            shelf.put(sheet, package)


def broken_datasheets() -> tuple[PluginBrokenError, ...]:
    """Return what installed packages offer as datasheets and can't be used, each with its reason.

    Raises:
        PluginClashError: two packages claim one name.
    """
    return tuple(_installed().broken)


def read_datasheet_file(path: Path) -> Datasheet:
    """Return the datasheet that a file describes.

    Raises:
        UnreadableFileError: it can't be read as text.
        FaultyDatasheetError: with all its faults.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as reason:
        raise UnreadableFileError(path, f"it isn't UTF-8 text (byte {reason.start})") from None
    except OSError as reason:
        raise UnreadableFileError(path, reason.strerror or str(reason)) from None
    return read_datasheet(text, str(path))


def _own(folders: Sequence[Path]) -> Iterator[tuple[Path, Datasheet]]:
    for folder in folders:
        for path in sorted(folder.glob("*.toml")):
            yield path, read_datasheet_file(path)


def known_datasheets(folders: Sequence[Path] = ()) -> tuple[Datasheet, ...]:
    """Return all datasheets, bundled, of installed packages and the builder's own, sorted by name.

    Raises:
        FaultyDatasheetError: one of the builder's own has faults.
        PluginClashError: two have one name.
    """
    installed = _installed()
    shelf = _Shelf(dict(installed.sheets), dict(installed.homes))
    for path, sheet in _own(folders):
        shelf.put(sheet, str(path))
    return tuple(shelf.sheets[name] for name in sorted(shelf.sheets))


def find_datasheet(name: str, folders: Sequence[Path] = ()) -> Datasheet:
    """Return the datasheet of that name.

    Raises:
        UnknownDatasheetError: there is none; the nearest names are offered.
        PluginBrokenError: there is none, no name is like it, and a package's datasheets can't be used.
        FaultyDatasheetError: one of the builder's own has faults.
        PluginClashError: two have one name.
    """
    known = {sheet.name: sheet for sheet in known_datasheets(folders)}
    if name in known:
        return known[name]
    nearest = difflib.get_close_matches(name, known, 3, 0.5)
    if broken_datasheets() and not nearest:
        raise broken_datasheets()[0]
    raise UnknownDatasheetError(name, nearest, sorted(known))
