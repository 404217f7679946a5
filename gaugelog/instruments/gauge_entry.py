"""Writing a gauge into an instrument file.

Here: one entry of the `[gauges]` table, put in so that every comment and every other line stays as it is. Not here:
which gauge it is (`gauges.finding`), nor a new instrument file (`new`).
"""

from __future__ import annotations

import os
import shutil
import tempfile
import tomllib
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from gaugelog.errors import GaugeNameTakenError, UnreadableFileError, WriteFailedError
from gaugelog.instruments.read import read_instrument

TABLE = "gauges"


def with_gauge(text: str, name: str, gauge: str, origin: str, *, replace: bool = False) -> str:
    """Return the text of an instrument file with one gauge more; all else in it stays as it is.

    Args:
        text: the instrument file's text.
        name: the gauge's short name.
        gauge: `DATASHEET@ADDRESS`.
        origin: what to call the file in an error.
        replace: whether a gauge of that short name may be replaced; what the old one's `identity` said goes with it.

    Raises:
        FaultyInstrumentError: the file has faults, or the name or the gauge can't stand in it.
        GaugeNameTakenError: it has a gauge of that short name, and `replace` is not said.
    """
    import tomlkit

    before = tomllib.loads(read_instrument(text, origin).text)
    had = before.get(TABLE, {}).get(name)
    if had is not None and not replace:
        raise GaugeNameTakenError(origin, name, had["gauge"] if isinstance(had, Mapping) else had)
    document: Any = tomlkit.parse(text)
    table = document.setdefault(TABLE, tomlkit.table())
    if isinstance(had, Mapping):
        table[name]["gauge"] = gauge
        table[name].pop("identity", None)
    else:
        table[name] = gauge
    after = tomlkit.dumps(document)
    read_instrument(after, origin)
    if _without(tomllib.loads(after), name) != _without(before, name):
        raise ValueError(f"{origin}: more than the gauge {name!r} would have changed")
    return after


def _without(document: dict[str, Any], name: str) -> dict[str, Any]:
    """Return an instrument file's content without one gauge."""
    gauges = {key: value for key, value in document.get(TABLE, {}).items() if key != name}
    return {**document, TABLE: gauges}


def write_gauge(path: Path, name: str, gauge: str, *, replace: bool = False) -> None:
    """Write a gauge into an instrument file: whole, or not at all.

    The new text is read as an instrument file before it takes the old one's place.

    Args:
        path: the instrument file.
        name: the gauge's short name.
        gauge: `DATASHEET@ADDRESS`.
        replace: whether a gauge of that short name may be replaced.

    Raises:
        UnreadableFileError: it can't be read as text.
        FaultyInstrumentError: the file has faults, or the name or the gauge can't stand in it.
        GaugeNameTakenError: it has a gauge of that short name, and `replace` is not said.
        WriteFailedError: no room, or not permitted; the file is as it was.
    """
    target = path.resolve()
    _put_in_place(target, with_gauge(_exact_text(target), name, gauge, str(path), replace=replace))


def check_room(path: Path, name: str, *, replace: bool = False) -> None:
    """Check that a gauge could be written under a short name, before anyone waits for one to be found.

    Raises:
        UnreadableFileError, FaultyInstrumentError, GaugeNameTakenError: as `write_gauge` does.
    """
    with_gauge(_exact_text(path), name, "any@typed:", str(path), replace=replace)


def _exact_text(path: Path) -> str:
    """Return a file's text with its line ends as they are."""
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as reason:
        raise UnreadableFileError(path, f"it isn't UTF-8 text (byte {reason.start})") from None
    except OSError as reason:
        raise UnreadableFileError(path, reason.strerror or str(reason)) from None


def _put_in_place(path: Path, text: str) -> None:
    """Write a file anew beside the old one, then put it in its place."""
    beside = ""
    try:
        descriptor, beside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        with os.fdopen(descriptor, "wb") as file:
            file.write(text.encode())
            file.flush()
            os.fsync(descriptor)
        shutil.copymode(path, beside)
        os.replace(beside, path)
    except OSError as reason:
        if beside:
            with suppress(OSError):
                os.unlink(beside)
        raise WriteFailedError(path, reason.strerror or str(reason)) from reason
