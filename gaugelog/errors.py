"""The whole error tree.

Here: every exception that gaugelog raises on purpose, as data. Not here: printing, exit codes (the command
line does both, in one place) and wrong arguments inside the program (those are `ValueError`).

Each leaf has a `slug`, under which docs/errors.md explains it, and a `hint` that says what is safe and what to do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
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


class FaultyDatasheetError(FaultyFileError):
    """A datasheet with faults."""

    slug = "faulty-datasheet"
    what = "datasheet"


class FaultyInstrumentError(FaultyFileError):
    """An instrument file with faults."""

    slug = "faulty-instrument"
    what = "instrument file"


class FaultyTableError(FaultyFileError):
    """A table of placements with faults."""

    slug = "faulty-table"
    what = "table"


class FaultyLogError(FaultyFileError):
    """A raw log with damaged lines."""

    slug = "faulty-log"
    what = "raw log"


class _NearestError(GaugelogError):
    """A name that isn't known, with the nearest known ones."""

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


class UnknownCheckpointError(_NearestError):
    """A checkpoint id that the instrument file does not have."""

    slug = "unknown-checkpoint"
    what = "checkpoint"


class UnknownGaugeError(_NearestError):
    """A short gauge name that the instrument file does not have."""

    slug = "unknown-gauge"
    what = "gauge"


class UnknownDatasheetError(_NearestError):
    """A datasheet that is neither bundled nor in the builder's folder."""

    slug = "unknown-datasheet"
    what = "datasheet"


class UnknownStageError(_NearestError):
    """A stage of which the recording has no snapshot."""

    slug = "unknown-stage"
    what = "stage"


class StageNameError(GaugelogError):
    """What can't be, or can hardly be meant as, the name of a stage."""

    slug = "stage-name"

    def __init__(self, got: str, wanted: str) -> None:
        self.got, self.wanted = got, wanted
        super().__init__(f"{got!r} is no name for a stage: {wanted}")

    @property
    def hint(self) -> str:
        """Name the usual ones."""
        return "Nothing was taken. The usual stages are before, wet and after."


class BadArgumentError(GaugelogError):
    """An argument of the command line that isn't what the command takes."""

    slug = "bad-argument"

    def __init__(self, got: str, wanted: str) -> None:
        self.got, self.wanted = got, wanted
        super().__init__(f"{got!r} can't be used: {wanted}")

    @property
    def hint(self) -> str:
        """Nothing was done yet."""
        return "Nothing was done. The command's --help shows what it takes."


class UnknownPluginError(_NearestError):
    """A framing or link scheme that nothing provides."""

    slug = "unknown-plugin"
    what = "plug-in"


class PluginClashError(GaugelogError):
    """Two providers claim one name."""

    slug = "plugin-clash"

    def __init__(self, group: str, name: str, providers: Sequence[str]) -> None:
        self.group, self.name, self.providers = group, name, tuple(providers)
        super().__init__(f"{group} {name!r} is claimed twice: {' and '.join(self.providers)}")

    @property
    def hint(self) -> str:
        """One of the two has to go."""
        return "Uninstall one of the packages, or ask its author for another name."


class PluginBrokenError(GaugelogError):
    """A provider is listed but can't be imported; the reason is kept."""

    slug = "plugin-broken"

    def __init__(self, group: str, name: str, target: str, reason: str) -> None:
        self.group, self.name, self.target, self.reason = group, name, target, reason
        super().__init__(f"{group} {name!r} ({target}) can't be loaded: {reason}")

    @property
    def hint(self) -> str:
        """The package behind the name is at fault."""
        return "Install or mend the package that provides it; everything else goes on working."


class AddressError(GaugelogError):
    """A gauge address that can't be understood."""

    slug = "gauge-address"

    def __init__(self, got: str, wanted: str) -> None:
        self.got, self.wanted = got, wanted
        super().__init__(f"the gauge address {got!r} can't be read: {wanted}")

    @property
    def hint(self) -> str:
        """Show the form."""
        return "A gauge is DATASHEET@ADDRESS, for instance angle-line@serial:PORT?baud=9600."


class LinkReason(Enum):
    """Why a link failed, and what to do about it."""

    NOT_FOUND = "not found"
    NOT_PERMITTED = "not permitted"
    BUSY = "in use by another program"
    LOST = "lost"
    SETTINGS = "settings refused"
    FAILED = "failed"


_LINK_HINTS = {
    LinkReason.NOT_FOUND: "Plug the gauge in and switch it on; `gaugelog gauges` lists the ports that are there.",
    LinkReason.NOT_PERMITTED: "Your user may not open this port. On many Linux systems joining the group that"
    " owns the port helps (often dialout), then log in again.",
    LinkReason.BUSY: "Close the other program that has the port open, then run the command again.",
    LinkReason.LOST: "Everything read so far is kept. Check the cable and the gauge's battery, then run the"
    " same command again: it goes on in the same recording.",
    LinkReason.SETTINGS: "Check the options behind the question mark (baud, bits, parity, stop) against the"
    " gauge's own manual.",
    LinkReason.FAILED: "Check cable, port and gauge, then run the command again.",
}


class LinkFailedError(GaugelogError):
    """A link could not be opened, or went away."""

    slug = "link-failed"

    def __init__(self, address: str, reason: LinkReason, detail: str = "") -> None:
        self.address, self.reason, self.detail = address, reason, detail
        super().__init__(f"{address}: {reason.value}" + (f" ({detail})" if detail else ""))

    @property
    def hint(self) -> str:
        """What to do about this reason."""
        if self.reason is LinkReason.NOT_FOUND and self.address.startswith("serial:PORT"):
            return "PORT in the instrument file stands for your own port: `gaugelog gauges` lists those that are there."
        return _LINK_HINTS[self.reason]


class GaugeSilentError(GaugelogError):
    """A gauge sent nothing usable in the time given."""

    slug = "gauge-silent"

    def __init__(self, gauge: str, waited_s: float, rejected: int) -> None:
        self.gauge, self.waited_s, self.rejected = gauge, waited_s, rejected
        heard = f"{rejected} damaged or unknown lines" if rejected else "nothing"
        super().__init__(f"{gauge}: no reading in {waited_s:g} s, {heard} received")

    @property
    def hint(self) -> str:
        """Silence and gibberish have different causes."""
        if self.rejected:
            return "The bytes don't fit the datasheet: try another baud rate or datasheet, and look at --raw."
        return "Is the gauge switched on, and does it send by itself, on a button, or only when asked?"


class ValueTextError(GaugelogError):
    """A typed value that can't be understood."""

    slug = "value-text"

    def __init__(self, got: str, wanted: str) -> None:
        self.got, self.wanted = got, wanted
        super().__init__(f"the value {got!r} can't be read: {wanted}")

    @property
    def hint(self) -> str:
        """Show the forms."""
        return "Nothing was stored. Write 0.30, 3/32 in, 1 1/8 in, 0.25..0.30, >0.30 or <0.05."


class UnitMismatchError(GaugelogError):
    """A unit that doesn't fit the kind of value."""

    slug = "unit-mismatch"

    def __init__(self, got: str, quantity: str, wanted: Sequence[str]) -> None:
        self.got, self.quantity, self.wanted = got, quantity, tuple(wanted)
        super().__init__(f"the unit {got!r} doesn't fit: this is {quantity}, in {' or '.join(self.wanted)}")

    @property
    def hint(self) -> str:
        """The value was not taken."""
        return "Nothing was stored. Give the value in one of the units named above."


class MissingKeysError(GaugelogError):
    """A command needs keys that the instrument file leaves open."""

    slug = "missing-keys"

    def __init__(self, command: str, keys: Sequence[str]) -> None:
        self.command, self.keys = command, tuple(keys)
        super().__init__(f"{command} needs from the instrument file: {', '.join(self.keys)}")

    @property
    def hint(self) -> str:
        """Fill in the keys."""
        return "Write these keys into the instrument file; the comments there say what each one is."


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
        return "The file was left as it is. Is it the right one? If it should be a recording, work on a copy."


class DamagedRecordingError(GaugelogError):
    """A recording in which a checksum does not fit."""

    slug = "damaged-recording"

    def __init__(self, path: str | Path, damaged: Sequence[str]) -> None:
        self.path, self.damaged = str(path), tuple(damaged)
        super().__init__(f"{self.path} is damaged: {'; '.join(self.damaged)}")

    @property
    def hint(self) -> str:
        """No value is guessed."""
        return "Nothing was changed and no damaged value is used. Copy the file before doing anything else with it."


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


class NothingToDoError(GaugelogError):
    """A command that finds nothing it could work on."""

    slug = "nothing-there"

    def __init__(self, what: str, todo: str) -> None:
        self.what, self.todo = what, todo
        super().__init__(what)

    @property
    def hint(self) -> str:
        """What would make the command useful."""
        return self.todo


class MissingPackageError(GaugelogError):
    """An optional package that a command needs is not installed."""

    slug = "missing-package"

    def __init__(self, package: str, need: str) -> None:
        self.package, self.need = package, need
        super().__init__(f"{need} needs the package {package}, which is not installed")

    @property
    def hint(self) -> str:
        """How to get it."""
        return f"Install it with: python -m pip install {self.package}"
