"""The table of what can be plugged in.

Here: framings and link schemes by name, each a `"module:name"` string, merged with what installed packages offer under
the entry-point groups `gaugelog.framings` and `gaugelog.links`. Not here: what a framing or a link is.
A clash of names is an error; a provider that can't be imported is an error that keeps the reason.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from functools import cache
from importlib import import_module
from importlib.metadata import entry_points
from typing import Any

from gaugelog.errors import PluginBrokenError, PluginClashError, UnknownPluginError

FRAMINGS = "gaugelog.framings"
LINKS = "gaugelog.links"

BUILT_IN: Mapping[str, Mapping[str, str]] = {
    FRAMINGS: {
        "line": "gaugelog.frames.line:LineFraming",
        "described": "gaugelog.frames.described:DescribedFraming",
        "binary": "gaugelog.frames.binary:BinaryFraming",
        "modbus": "gaugelog.frames.modbus:ModbusFraming",
    },
    LINKS: {
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
    table = dict(BUILT_IN[group])
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
