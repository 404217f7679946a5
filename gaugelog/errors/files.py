"""Errors of files: not found, not readable, not writable, damaged, busy.

Not here: faults within a file that a person wrote (`errors.root`).
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from gaugelog.errors.root import GaugelogError


class NoInstrumentError(GaugelogError):
    """No instrument file, or more than one, where a command looks for it."""

    slug = "no-instrument"

    def __init__(self, folder: str | Path, found: Sequence[str] = ()) -> None:
        self.folder, self.found = str(folder), tuple(found)
        what = f"{len(self.found)} instrument files: {', '.join(self.found)}" if self.found else "no instrument file"
        super().__init__(f"the folder {self.folder} holds {what}")

    @property
    def hint(self) -> str:
        """Name one, or make one."""
        if self.found:
            return "Name the one you mean with --instrument FILE."
        return "`gaugelog new NAME` writes one here; or name one with --instrument FILE."


class UnreadableFileError(GaugelogError):
    """A file that was named but can't be read as text."""

    slug = "unreadable-file"

    def __init__(self, path: str | Path, detail: str) -> None:
        self.path, self.detail = str(path), detail
        super().__init__(f"{self.path} can't be read: {detail}")

    @property
    def hint(self) -> str:
        """The file is left as it is."""
        return "The file was left as it is. Check the name and the folder; text files are kept as UTF-8."


class NoRecordingError(GaugelogError):
    """No recording, or more than one, where a command looks for it."""

    slug = "no-recording"

    def __init__(self, path: str | Path, found: Sequence[str] = ()) -> None:
        self.path, self.found = str(path), tuple(found)
        several = f"{self.path} holds {len(self.found)} recordings: {', '.join(self.found)}"
        super().__init__(several if self.found else f"there is no recording {self.path}")

    @property
    def hint(self) -> str:
        """A recording begins with the first snapshot."""
        if self.found:
            return "Name the one you mean with --recording FILE."
        return "`gaugelog capture before` begins one; or name one with --recording FILE."


class NotARecordingError(GaugelogError):
    """A file that is no recording, or is damaged beyond opening."""

    slug = "not-a-recording"

    def __init__(self, path: str | Path, detail: str) -> None:
        self.path, self.detail = str(path), detail
        super().__init__(f"{self.path} can't be read as a recording: {detail}")

    @property
    def hint(self) -> str:
        """The file is left as it is."""
        return (
            "The file was left as it is. Is it the right one? If it should be a recording, `gaugelog rescue FILE` gets"
            " out what can be got."
        )


class DamagedRecordingError(GaugelogError):
    """A recording in which a checksum does not fit."""

    slug = "damaged-recording"

    def __init__(self, path: str | Path, damaged: Sequence[str]) -> None:
        self.path, self.damaged = str(path), tuple(damaged)
        super().__init__(f"{self.path} is damaged: {'; '.join(self.damaged)}")

    @property
    def hint(self) -> str:
        """No value is guessed."""
        return (
            "Nothing was changed and no damaged value is used. `gaugelog rescue FILE` gets out what can be got, into a"
            " new recording, and says what is missing."
        )


class NothingToRescueError(GaugelogError):
    """A file in which not one row of a recording is right."""

    slug = "nothing-to-rescue"

    def __init__(self, path: str | Path) -> None:
        self.path = str(path)
        super().__init__(f"nothing can be got out of {self.path}: no row of a recording is whole in it")

    @property
    def hint(self) -> str:
        """The file is left as it is; a backup is what is left."""
        return "The file was left as it is, and nothing was written. Is it the right one? If so, look for a copy of it."


class NewerRecordingError(GaugelogError):
    """A recording made by a newer version."""

    slug = "newer-recording"

    def __init__(self, path: str | Path, version: int, known: int) -> None:
        self.path, self.version, self.known = str(path), version, known
        super().__init__(f"{self.path} has schema {version}; this gaugelog knows up to {known}")

    @property
    def hint(self) -> str:
        """Never write into it."""
        return "The file was left as it is. Update gaugelog to open it."


class RecordingBusyError(GaugelogError):
    """A recording that another program is writing."""

    slug = "recording-busy"

    def __init__(self, path: str | Path, holder: str) -> None:
        self.path, self.holder = str(path), holder
        super().__init__(f"{self.path} is being written by {holder}")

    @property
    def hint(self) -> str:
        """One writer at a time; reading is always possible."""
        return "A recording has one writer. End that command first; compare, drift and report can read meanwhile."


class RecordingTakenAwayError(GaugelogError):
    """A recording that was removed, moved, replaced or written over while it was written."""

    slug = "recording-taken-away"

    def __init__(self, path: str | Path, what: str, saved: str | Path | None = None, detail: str = "") -> None:
        """Take what happened, where all that was recorded is now, or why it could not be saved."""
        self.path, self.what, self.saved, self.detail = str(path), what, saved and str(saved), detail
        where = f"all that was recorded is in {self.saved}" if self.saved else f"it can't be saved: {self.detail}"
        super().__init__(f"{self.path} {self.what} while it was being written; {where}")

    @property
    def hint(self) -> str:
        """What was acknowledged is saved, or can't be."""
        if self.saved == self.path:
            return "Nothing is lost. Give the command again to go on, and leave the files beside the recording alone."
        if self.saved:
            return "Nothing is lost. Put that file in its place, or go on with --recording and its name."
        return (
            "What this program recorded is lost with the file, unless the file was only moved: then all of it is there."
            " A file that lies in its place now was left as it is. Go on from a copy, or begin anew."
        )


class WriteFailedError(GaugelogError):
    """The disk is full, or the folder can't be written."""

    slug = "write-failed"

    def __init__(self, path: str | Path, detail: str) -> None:
        self.path, self.detail = str(path), detail
        super().__init__(f"{self.path} can't be written: {detail}")

    @property
    def hint(self) -> str:
        """What was stored before is safe."""
        return "Everything stored before this moment is safe. Make room or choose another folder, then go on."


class FileExistsAlreadyError(GaugelogError):
    """A file that would have been overwritten."""

    slug = "file-exists"

    def __init__(self, path: str | Path) -> None:
        self.path = str(path)
        super().__init__(f"{self.path} exists already")

    @property
    def hint(self) -> str:
        """Never overwrite in silence."""
        return "It was left as it is. Choose another name, or move the old file away first."
