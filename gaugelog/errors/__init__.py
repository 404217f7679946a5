"""The whole error tree.

Here: every exception that gaugelog raises on purpose, as data. Not here: printing, exit codes (the command
line does both, in one place) and wrong arguments inside the program (those are `ValueError`).

Each leaf has a `slug`, under which docs/errors.md explains it, and a `hint` that says what is safe and what to do.
"""

from __future__ import annotations

from gaugelog.errors.files import (
    DamagedRecordingError,
    FileExistsAlreadyError,
    NewerRecordingError,
    NoInstrumentError,
    NoRecordingError,
    NotARecordingError,
    NothingToRescueError,
    RecordingBusyError,
    RecordingTakenAwayError,
    UnreadableFileError,
    WriteFailedError,
)
from gaugelog.errors.gauges import (
    AddressError,
    BenchGoneError,
    BenchRefusedError,
    FaultyDatasheetError,
    FaultyLogError,
    GaugeNameTakenError,
    GaugeSilentError,
    LinkFailedError,
    LinkReason,
    PluginBrokenError,
    PluginClashError,
    PortTakenError,
    UnknownDatasheetError,
    UnknownGaugeError,
    UnknownPluginError,
)
from gaugelog.errors.root import (
    Fault,
    FaultyFileError,
    GaugelogError,
)
from gaugelog.errors.work import (
    BadArgumentError,
    FaultyInstrumentError,
    FaultyTableError,
    MissingKeysError,
    MissingPackageError,
    NothingToDoError,
    StageNameError,
    UnitMismatchError,
    UnknownCheckpointError,
    UnknownStageError,
    ValueTextError,
)

__all__ = [
    "AddressError",
    "BadArgumentError",
    "BenchGoneError",
    "BenchRefusedError",
    "DamagedRecordingError",
    "Fault",
    "FaultyDatasheetError",
    "FaultyFileError",
    "FaultyInstrumentError",
    "FaultyLogError",
    "FaultyTableError",
    "FileExistsAlreadyError",
    "GaugeNameTakenError",
    "GaugeSilentError",
    "GaugelogError",
    "LinkFailedError",
    "LinkReason",
    "MissingKeysError",
    "MissingPackageError",
    "NewerRecordingError",
    "NoInstrumentError",
    "NoRecordingError",
    "NotARecordingError",
    "NothingToDoError",
    "NothingToRescueError",
    "PluginBrokenError",
    "PluginClashError",
    "PortTakenError",
    "RecordingBusyError",
    "RecordingTakenAwayError",
    "StageNameError",
    "UnitMismatchError",
    "UnknownCheckpointError",
    "UnknownDatasheetError",
    "UnknownGaugeError",
    "UnknownPluginError",
    "UnknownStageError",
    "UnreadableFileError",
    "ValueTextError",
    "WriteFailedError",
]
