"""Which datasheets there are.

Here: the bundled ones and those in the builder's own folders, by name. Not here: reading one (`read`).
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from functools import cache
from importlib.resources import files
from pathlib import Path

from gaugelog.datasheets.read import read_datasheet
from gaugelog.errors import PluginClashError, UnknownDatasheetError, UnreadableFileError
from gaugelog.model.datasheet import Datasheet

GROUP = "datasheet"


@cache
def _bundled() -> dict[str, Datasheet]:
    folder = files("gaugelog.datasheets").joinpath("bundled")
    texts = {entry.name: entry.read_text(encoding="utf-8") for entry in folder.iterdir()}
    sheets = [read_datasheet(text, name) for name, text in sorted(texts.items()) if name.endswith(".toml")]
    return {sheet.name: sheet for sheet in sheets}


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
    """Return all datasheets, bundled and the builder's own, sorted by name.

    Raises:
        FaultyDatasheetError: one of the builder's own has faults.
        PluginClashError: two have one name.
    """
    known, homes = dict(_bundled()), dict.fromkeys(_bundled(), "bundled")
    for path, sheet in _own(folders):
        if sheet.name in known:
            raise PluginClashError(GROUP, sheet.name, (homes[sheet.name], str(path)))
        known[sheet.name], homes[sheet.name] = sheet, str(path)
    return tuple(known[name] for name in sorted(known))


def find_datasheet(name: str, folders: Sequence[Path] = ()) -> Datasheet:
    """Return the datasheet of that name.

    Raises:
        UnknownDatasheetError: there is none; the nearest names are offered.
        FaultyDatasheetError: one of the builder's own has faults.
        PluginClashError: two have one name.
    """
    known = {sheet.name: sheet for sheet in known_datasheets(folders)}
    if name not in known:
        raise UnknownDatasheetError(name, difflib.get_close_matches(name, known, 3, 0.5), sorted(known))
    return known[name]
