"""The table of what can be plugged in.

Here: framings and link schemes by name, each a `"module:name"` string, merged with what installed packages offer under
the entry-point groups `gaugelog.framings` and `gaugelog.links`; and which packages bring datasheets, under
`gaugelog.datasheets`. Not here: what a framing or a link is, nor the datasheets themselves (`datasheets.catalogue`).
A clash of names is an error; a provider that can't be imported is an error that keeps the reason.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.metadata import EntryPoint, entry_points
from typing import Any

from gaugelog.errors import PluginBrokenError, PluginClashError, UnknownPluginError

FRAMINGS = "gaugelog.framings"
LINKS = "gaugelog.links"
DATASHEETS = "gaugelog.datasheets"

BUILT_IN: Mapping[str, Mapping[str, str]] = {
    FRAMINGS: {
        "line": "gaugelog.frames.line:LineFraming",
        "described": "gaugelog.frames.described:DescribedFraming",
        "binary": "gaugelog.frames.binary:BinaryFraming",
        "modbus": "gaugelog.frames.modbus:ModbusFraming",
        "nmea": "gaugelog.frames.nmea:NmeaFraming",
        "scpi": "gaugelog.frames.scpi:ScpiFraming",
        "clocked": "gaugelog.frames.clocked:ClockedFraming",
    },
    LINKS: {
        "tcp": "gaugelog.links.tcp:TcpLink",
        "serial": "gaugelog.links.serial_port:SerialLink",
        "typed": "gaugelog.links.typed:TypedLink",
        "replay": "gaugelog.links.replay:ReplayLink",
        "ble": "gaugelog.links.ble:BleLink",
    },
}


@cache
def providers(group: str) -> Mapping[str, str]:
    """Return name to `"module:name"` of everything in `group`.

    Raises:
        PluginClashError: two providers claim one name.
    """
    table = dict(BUILT_IN.get(group, {}))
    for point in entry_points(group=group):
        if point.name in table and table[point.name] != point.value:
            raise PluginClashError(group, point.name, (table[point.name], point.value))
        table[point.name] = point.value
    return table


def load(group: str, name: str) -> Any:
    """Return the object that `group` has under `name`.

    Raises:
        UnknownPluginError: nothing provides it; the nearest names are offered.
        PluginBrokenError: its provider can't be imported.
    """
    table = providers(group)
    if name not in table:
        raise UnknownPluginError(name, difflib.get_close_matches(name, table, 3, 0.5), sorted(table))
    module_name, _, attribute = table[name].partition(":")
    try:
        return getattr(import_module(module_name), attribute)
    except (ImportError, AttributeError) as reason:
        raise PluginBrokenError(group, name, table[name], str(reason)) from reason


@dataclass(frozen=True, slots=True)
class Plugin:
    """Something that an installed package adds: in which group, under which name, where it is, and whose it is."""

    group: str
    name: str
    target: str
    package: str
    version: str


def plugins() -> tuple[Plugin, ...]:
    """Return what installed packages add to gaugelog, by group and name; what is built in is not among it."""
    return tuple(
        Plugin(group, point.name, point.value, point.dist.name if point.dist else "", _version(point))
        for group in (FRAMINGS, LINKS, DATASHEETS)
        for point in sorted(entry_points(group=group), key=lambda point: point.name)
    )


def _version(point: EntryPoint) -> str:
    return point.dist.version if point.dist else ""


def why_broken(plugin: Plugin) -> str:
    """Return why a framing or a link that a package adds can't be loaded; empty where it can."""
    if plugin.group == DATASHEETS:
        return ""
    try:
        load(plugin.group, plugin.name)
    except PluginBrokenError as broken:
        return broken.reason
    return ""
