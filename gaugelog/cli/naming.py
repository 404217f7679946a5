"""Finding the gauge that a command line names: a short name of the instrument file, or DATASHEET@ADDRESS."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gaugelog.model.instrument import NamedGauge


def name_gauge(text: str, instrument: Path | None) -> tuple[NamedGauge, tuple[Path, ...]]:
    """Return the gauge named, and the folders with the builder's own datasheets.

    Raises:
        AddressError: what stands behind the @ can't be understood.
        UnknownGaugeError: the instrument file has no gauge of that short name.
        NoInstrumentError: a short name, and no instrument file to look it up in.
    """
    from gaugelog.cli.options import find_files, load_instrument
    from gaugelog.model.gauges import parse_gauge
    from gaugelog.model.instrument import NamedGauge
    from gaugelog.recorder.work import datasheet_folders

    if "@" in text:
        gauge = parse_gauge(text)
        beside = instrument.parent if instrument is not None else Path.cwd()
        return NamedGauge(gauge.name, gauge), datasheet_folders(beside)
    path, _ = find_files(instrument, None)
    return load_instrument(path).gauge(text), datasheet_folders(path.parent)
