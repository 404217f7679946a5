"""From a gauge's name to a stream.

Here: finding its datasheet and its link. Not here: opening it (`gauges.stream`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.gauges.simulated import SimulatedLink
from gaugelog.gauges.stream import GaugeStream
from gaugelog.links import Link
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.gauges import Address, GaugeName, parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.plugins import LINKS, load

SIMULATED = "sim"


def open_link(address: Address, datasheet: Datasheet) -> Link:
    """Return the link that an address names, not opened yet.

    A plain file of bytes has no times of its own: it is replayed at the datasheet's rate unless the address says one.

    Raises:
        AddressError: the address can't be understood.
        UnknownPluginError: no link has this scheme.
        PluginBrokenError: the link's provider can't be imported.
    """
    if address.scheme == SIMULATED:
        return SimulatedLink(address, datasheet)
    if address.scheme == "replay" and datasheet.rate_hz and "rate" not in address.options:
        address = replace(address, options={**address.options, "rate": f"{datasheet.rate_hz:g}"})
    link: Link = load(LINKS, address.scheme)(address)
    return link


def open_gauge(
    gauge: str | GaugeName | NamedGauge,
    folders: Sequence[str | Path] = (),
    name: str = "",
    *,
    reconnect: bool = False,
) -> GaugeStream:
    """Return the stream of a gauge; nothing is opened before its events are asked for.

    Args:
        gauge: `DATASHEET@ADDRESS`, or the same already taken apart.
        folders: where the builder's own datasheets are.
        name: the short name it goes by; unless given its own, else the datasheet's.
        reconnect: go on after a loss.

    Raises:
        AddressError: the name can't be read.
        UnknownDatasheetError: no datasheet of that name, bundled or in `folders`.
        FaultyDatasheetError: the datasheet has faults.
        UnknownPluginError: no link has this scheme.
    """
    named = parse_gauge(gauge) if isinstance(gauge, str) else gauge
    whole = named.gauge if isinstance(named, NamedGauge) else named
    whole = replace(whole, name=name or named.name)
    datasheet = find_datasheet(whole.datasheet, [Path(folder) for folder in folders])
    return GaugeStream(whole, datasheet, open_link(whole.address, datasheet), reconnect=reconnect)
