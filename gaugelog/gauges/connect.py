"""From a gauge's name to a stream.

Here: finding its datasheet and its link. Not here: opening it (`gauges.stream`).
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.errors import UnknownPluginError
from gaugelog.gauges.simulated import SimulatedLink
from gaugelog.gauges.stream import GaugeStream
from gaugelog.links import Link, Suits
from gaugelog.links.faults import FaultLink, parse_faults
from gaugelog.links.tap import TapLink
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.gauges import Address, GaugeName, parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.plugins import LINKS, load

SIMULATED = "sim"


_AROUND = ("tap", "faults")
"""Options that any address may have: what stands around the link, and not what the link is."""


def open_link(address: Address, datasheet: Datasheet) -> Link:
    """Return the link that an address names, not opened yet.

    What the address leaves open and the datasheet knows is filled in (`links.Suits`). With `faults=` the link is spoilt
    on purpose, with `tap=` its bytes are written down as the program sees them.

    Raises:
        AddressError: the address can't be understood.
        UnknownPluginError: no link has this scheme.
        PluginBrokenError: the link's provider can't be imported.
    """
    own = {name: value for name, value in address.options.items() if name not in _AROUND}
    link = _plain_link(replace(address, options=own), datasheet)
    if "faults" in address.options:
        link = FaultLink(link, parse_faults(address.options["faults"], address.text))
    if "tap" in address.options:
        link = TapLink(link, address.options["tap"], {"datasheet": datasheet.name})
    return link


def _plain_link(address: Address, datasheet: Datasheet) -> Link:
    """Return the link itself, with nothing around it."""
    if address.scheme == SIMULATED:
        return SimulatedLink(address, datasheet)
    try:
        link_class = load(LINKS, address.scheme)
    except UnknownPluginError as error:
        known = sorted((*error.known, SIMULATED))
        raise UnknownPluginError(error.got, difflib.get_close_matches(error.got, known, 3, 0.5), known) from None
    if isinstance(link_class, Suits):
        address = link_class.suit(address, datasheet)
    link: Link = link_class(address)
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
