"""Reading an instrument file.

Here: the file's top level and its gauges; the other tables are in `tables` and `checkpoints`, what must agree between
keys in `agreement`. Not here: finding or opening the file (`find`), or knowing any datasheet.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Any

from gaugelog.errors import AddressError, Fault, FaultyInstrumentError
from gaugelog.instruments import tables
from gaugelog.instruments.agreement import note_contradictions
from gaugelog.instruments.checkpoints import read_checkpoints
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import Instrument, NamedGauge
from gaugelog.model.section import Section

UNITS = ("mm", "in")
HANDEDNESS = ("right", "left")
_NAME = re.compile(r"\w[\w-]*")
_PLACE_IN_TEXT = re.compile(
    r"^(?P<what>.*?)\s*\((?:at line (?P<line>\d+), column \d+|at end of document)\)$", re.DOTALL
)


def read_instrument(text: str, origin: str) -> Instrument:
    """Return the instrument that the text of an instrument file describes.

    Args:
        text: the file's text, TOML.
        origin: where it came from, for the error.

    Raises:
        FaultyInstrumentError: with every fault of the text; nothing is taken from it then.
    """
    top = Section(_parse(text, origin))
    units = top.choice("units", UNITS, "mm")
    flat_spot = top.text("flat_spot")
    gauges = _read_gauges(top.table("gauges"))
    instrument = Instrument(
        name=top.text("name", required=True, wanted="the name of the piece of work, in quotes"),
        units=units,
        handedness=top.choice("handedness", HANDEDNESS, "right"),
        flat_spot=flat_spot,
        gauges=gauges,
        neck=tables.read_neck(top.table("neck"), units),
        pocket=tables.read_pocket(top.table("pocket"), units),
        bridge=tables.read_bridge(top.table("bridge"), units),
        action=tables.read_action(top.table("action"), units),
        movement_limits=tables.read_movement_limits(top.table("movement_limits"), units),
        wood=tables.read_wood(top.table("wood")),
        glue=tables.read_glue(top.table("glue")),
        checkpoints=read_checkpoints(top, units, flat_spot, gauges),
        text=text,
    )
    top.done()
    note_contradictions(instrument, top)
    if top.faults:
        raise FaultyInstrumentError(origin, top.faults)
    return instrument


def _parse(text: str, origin: str) -> Mapping[str, Any]:
    """Return the text as TOML; what isn't TOML is one fault with its line."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as reason:
        place = _PLACE_IN_TEXT.match(str(reason))
        what = place["what"] if place else str(reason)
        line = place["line"] if place and place["line"] else str(len(text.splitlines()))
        fault = Fault(f"line {line}", what, 'TOML, such as name = "…" or a heading in square brackets')
    except (ValueError, RecursionError):
        fault = Fault("file", "numbers of thousands of digits, or brackets in brackets without end", "plain TOML")
    raise FaultyInstrumentError(origin, [fault]) from None


def _read_gauges(section: Section) -> dict[str, NamedGauge]:
    """Return the gauges by short name; one at fault is kept out of the dictionary's values but not of its names."""
    gauges = {}
    for name in section.names():
        if _NAME.fullmatch(name) is None:
            section.fault(name, name, "a short name of letters, digits and hyphens")
        value = section.data[name]
        details = section.table(name) if isinstance(value, Mapping) else section
        key = "gauge" if isinstance(value, Mapping) else name
        written = details.text(key, required=True, wanted="a gauge, DATASHEET@ADDRESS in quotes")
        identity = details.text("identity") if isinstance(value, Mapping) else ""
        if isinstance(value, Mapping):
            details.done()
        try:
            gauge = parse_gauge(written or "unknown@typed:", name)
        except AddressError as reason:
            details.fault(key, written, f"DATASHEET@ADDRESS: {reason.wanted}")
            gauge = parse_gauge("unknown@typed:", name)
        gauges[name] = NamedGauge(name, gauge, identity)
    return gauges
