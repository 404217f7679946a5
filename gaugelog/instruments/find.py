"""Finding the instrument file and the recording beside it.

Here: which file of a folder is meant, and its text. Not here: what the text says (`read`), what a recording holds.
An instrument file is known by its [[checkpoint]] tables, so it is found even where a fault keeps it from being read,
and a datasheet in the same folder is never taken for one.
"""

from __future__ import annotations

import re
from pathlib import Path

from gaugelog.errors import NoInstrumentError, NoRecordingError, UnreadableFileError
from gaugelog.instruments.read import read_instrument
from gaugelog.model.instrument import Instrument

RECORDING_SUFFIX = ".gaugelog"
_HAS_CHECKPOINTS = re.compile(r"^[ \t]*(?:\[\[[ \t]*checkpoint[ \t]*\]\]|checkpoint[ \t]*=)", re.MULTILINE)


def read_text(path: Path) -> str:
    """Return the text of a UTF-8 file; a byte order mark at its head is left out.

    Raises:
        UnreadableFileError: it isn't there, may not be read, or isn't UTF-8 text.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as reason:
        raise UnreadableFileError(path, f"it isn't UTF-8 text (byte {reason.start})") from None
    except OSError as reason:
        raise UnreadableFileError(path, reason.strerror or str(reason)) from None


def is_instrument_file(path: Path) -> bool:
    """Return whether a file holds [[checkpoint]] tables, faulty or not."""
    try:
        text = path.read_text(encoding="utf-8-sig", errors="replace")
    except OSError:
        return False
    return _HAS_CHECKPOINTS.search(text) is not None


def find_instrument(folder: Path, named: Path | None = None) -> Path:
    """Return the instrument file: the one named, else the only one in the folder.

    Raises:
        NoInstrumentError: none is named, and the folder holds none or several.
    """
    if named is not None:
        return named
    found = sorted(path for path in folder.glob("*.toml") if path.is_file() and is_instrument_file(path))
    if len(found) != 1:
        raise NoInstrumentError(folder, [path.name for path in found])
    return found[0]


def read_instrument_file(path: Path) -> Instrument:
    """Return the instrument that a file describes.

    Raises:
        UnreadableFileError: the file can't be read as text.
        FaultyInstrumentError: with all its faults.
    """
    return read_instrument(read_text(path), str(path))


def recording_beside(instrument_path: Path) -> Path:
    """Return where the recording of an instrument's work is, or will be: NAME.gaugelog beside NAME.toml."""
    return instrument_path.with_suffix(RECORDING_SUFFIX)


def find_recording(folder: Path, instrument: Path | None = None) -> Path:
    """Return the recording: the one beside the instrument file, else the only one in the folder.

    It need not exist yet where there is an instrument file.

    Args:
        folder: where to look.
        instrument: the instrument file that the builder named.

    Raises:
        NoInstrumentError: the folder holds several instrument files.
        NoRecordingError: it holds no instrument file, and no recording or several.
    """
    if instrument is not None:
        return recording_beside(instrument)
    try:
        return recording_beside(find_instrument(folder))
    except NoInstrumentError as reason:
        if reason.found:
            raise
    found = sorted(path for path in folder.glob(f"*{RECORDING_SUFFIX}") if path.is_file())
    if len(found) > 1:
        raise NoRecordingError(folder, [path.name for path in found])
    if not found:
        raise NoRecordingError(folder / f"NAME{RECORDING_SUFFIX}")
    return found[0]
