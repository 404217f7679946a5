"""Errors of the work at hand: what was typed, the instrument file, stages and checkpoints.

Not here: gauges (`errors.gauges`), files on disk (`errors.files`).
"""

from __future__ import annotations

from collections.abc import Sequence

from gaugelog.errors.root import FaultyFileError, GaugelogError, NearestError


class FaultyInstrumentError(FaultyFileError):
    """An instrument file with faults."""

    slug = "faulty-instrument"
    what = "instrument file"


class FaultyTableError(FaultyFileError):
    """A table of placements with faults."""

    slug = "faulty-table"
    what = "table"


class UnknownCheckpointError(NearestError):
    """A checkpoint id that the instrument file does not have."""

    slug = "unknown-checkpoint"
    what = "checkpoint"


class UnknownStageError(NearestError):
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
