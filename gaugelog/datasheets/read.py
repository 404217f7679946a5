"""Reading a datasheet's TOML.

Here: every key of a datasheet, checked. Not here: where datasheets are found (`catalogue`), applying one to frames
(`meaning`), or the options of a framing, which the framing checks itself.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from gaugelog.errors import Fault, FaultyDatasheetError, GaugelogError, UnitMismatchError
from gaugelog.frames import Framing
from gaugelog.model.datasheet import Datasheet, FlagRule, Poll, Radio, Sends, ValueRule
from gaugelog.model.quantities import Quantity, find_unit
from gaugelog.model.readings import Flag
from gaugelog.model.section import Section
from gaugelog.plugins import FRAMINGS, load, providers

_NAME = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_SMALLEST, _GREATEST = Decimal("1e-9"), Decimal("1e9")
_FLAGS = {"low battery": Flag.LOW_BATTERY, "hold": Flag.HOLD, "over range": Flag.OVER_RANGE}


def read_datasheet(text: str, origin: str) -> Datasheet:
    """Return the datasheet that a TOML text describes.

    Args:
        text: the file's content; the datasheet keeps it.
        origin: what to call the file in an error.

    Raises:
        FaultyDatasheetError: with every fault of the text.
    """
    top = Section(_parse(text, origin))
    name = top.text("name", required=True, wanted="small letters, digits and hyphens, such as angle-line")
    if name and not _NAME.fullmatch(name):
        top.fault("name", name, "small letters, digits and hyphens, such as angle-line")
    quantity = Quantity(top.choice("quantity", [q.value for q in Quantity], Quantity.ANGLE.value, required=True))
    value = _read_value(top.table("value", required=True), top, quantity)
    kind, options, framing = _read_framing(top.table("framing", required=True))
    sends = Sends(top.choice("sends", [each.value for each in Sends], Sends.STEADILY.value, required=True))
    poll = _read_poll(top.table("poll"), framing.question if framing else b"") if top.has("poll") else None
    if sends is Sends.WHEN_ASKED and poll is None:
        top.fault("poll", None, "what to send to a gauge that answers when asked")
    low, high = _read_range(top, quantity, value.unit)
    datasheet = Datasheet(
        name=name,
        title=top.text("title", required=True),
        quantity=quantity,
        sends=sends,
        framing=kind,
        options=options,
        value=value,
        resolution=_read_resolution(top, quantity, value.unit),
        flags=tuple(_read_flag(each) for each in top.tables("flag")),
        accuracy=top.measure("accuracy", quantity, value.unit, low=0, difference=True),
        range_low=low,
        range_high=high,
        rate_hz=top.number("rate_hz", above=0, high=10_000),
        awake_s=top.number("awake_s", above=0),
        frozen_s=top.number("frozen_s", above=0),
        poll=poll,
        radio=_read_radio(top.table("radio")),
        text=text,
    )
    if framing is not None:
        _note_unknown_fields(datasheet, framing.fields, top)
    top.done()
    if top.faults:
        raise FaultyDatasheetError(origin, top.faults)
    return datasheet


def _parse(text: str, origin: str) -> Mapping[str, Any]:
    """Return the TOML as tables, decimals as written.

    Raises:
        FaultyDatasheetError: it is no TOML.
    """
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except (tomllib.TOMLDecodeError, RecursionError, InvalidOperation, ValueError) as reason:
        raise FaultyDatasheetError(origin, [Fault("(file)", str(reason), "TOML")]) from None


def _unit(section: Section, name: str, written: str, quantity: Quantity) -> str:
    """Return a unit's own name; a fault is noted and the base unit returned where it doesn't fit."""
    try:
        return find_unit(written, quantity).name
    except UnitMismatchError as mismatch:
        section.fault(name, written, f"a unit of {quantity.value}: {' or '.join(mismatch.wanted)}")
        return quantity.base_unit


def _in_reach(number: int | Decimal) -> bool:
    """Return whether a step or a factor is one that arithmetic on the digits can hold."""
    return Decimal(number).is_finite() and _SMALLEST <= number <= _GREATEST


def _decimal(section: Section, name: str, default: Decimal) -> Decimal:
    """Return a number from 1e-9 to 1e9 exactly as written, as a number or as text."""
    if not section.has(name):
        return default
    try:
        number = Decimal(str(section.data[name]))
    except InvalidOperation:
        number = Decimal(0)
    if isinstance(section.data[name], bool) or not _in_reach(number):
        section.fault(name, section.data[name], "a number above 0, from 1e-9 to 1e9")
        return default
    return number


def _read_resolution(top: Section, quantity: Quantity, unit: str) -> float:
    low, high = float(_SMALLEST), float(_GREATEST)
    return top.measure("resolution", quantity, unit, low, high, required=True, difference=True) or 1.0


def _read_value(section: Section, top: Section, quantity: Quantity) -> ValueRule:
    unit = _unit(section, "unit", section.text("unit", quantity.base_unit, required=True), quantity)
    units = section.table("units")
    names = {
        text: _unit(units, text, units.text(text, quantity.base_unit, required=True), quantity)
        for text in units.names()
    }
    steps_given = section.table("steps")
    steps = {
        _unit(steps_given, name, name, quantity): _decimal(steps_given, name, Decimal(1))
        for name in steps_given.names()
    }
    resolution = top.data.get("resolution")
    if isinstance(resolution, int | Decimal) and _in_reach(resolution):
        steps.setdefault(unit, Decimal(resolution))
    rule = ValueRule(
        number_field=section.text("field", "number"),
        unit=unit,
        unit_field=section.text("unit_field"),
        units=names,
        sign_field=section.text("sign_field"),
        negative=section.texts("negative", ("-",)),
        decimal_comma=section.flag("decimal_comma"),
        scale=_decimal(section, "scale", Decimal(1)),
        steps=steps,
    )
    if not rule.negative:
        section.fault("negative", [], "the texts of the sign field that mean minus")
    section.done()
    return rule


def _read_framing(section: Section) -> tuple[str, Mapping[str, Any], Framing | None]:
    """Return the framing's name, its options, and the framing itself unless it can't be made."""
    name = section.text("kind", required=True)
    options = {key: value for key, value in section.data.items() if key != "kind"}
    try:
        if name and name not in providers(FRAMINGS):
            section.fault("kind", name, "a framing: " + ", ".join(sorted(providers(FRAMINGS))))
        elif name:
            inner = Section(options, section.prefix, section.faults)
            framing: Framing = load(FRAMINGS, name)(inner)
            inner.done()
            return name, options, framing
    except GaugelogError as reason:
        section.fault("kind", name, f"a framing that can be loaded ({reason})")
    return name, options, None


def _read_poll(section: Section, question: bytes) -> Poll:
    """Return what to send; the framing's own `question` where neither text nor hex is given."""
    period_s = section.number("period_s", above=0, high=3600, required=True) or 1.0
    text, digits = section.text("text"), section.text("hex")
    data = b"" if text or digits else question
    if bool(text) + bool(digits) + bool(data) != 1:
        section.fault("", None, "either text or hex, the bytes to send")
    elif text:
        try:
            data = text.encode("latin-1")
        except UnicodeEncodeError:
            section.fault("text", text, "characters of one byte each")
    elif digits:
        try:
            data = bytes.fromhex(digits)
        except ValueError:
            section.fault("hex", digits, 'pairs of hexadecimal digits, such as "01 0D"')
    section.done()
    return Poll(data, period_s)


_UUID = re.compile(r"[0-9a-f]{4}|[0-9a-f]{8}|[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}", re.IGNORECASE)


def _read_radio(section: Section) -> Radio:
    """Return where the readings are offered; each as a UUID of 4, 8 or 32 hexadecimal digits."""
    uuids = {name: section.text(name) for name in ("service", "notify", "write")}
    for name, uuid in uuids.items():
        if uuid and not _UUID.fullmatch(uuid):
            section.fault(name, uuid, "a UUID, such as 2a6e or 7a1e0001-5c3b-4b0a-9c55-6d2b1f0e0a01")
    section.done()
    return Radio(**{name: uuid.lower() for name, uuid in uuids.items()})


def _read_range(top: Section, quantity: Quantity, unit: str) -> tuple[float | None, float | None]:
    """Return the ends of the range in the base unit."""
    ends = top.numbers("range", 2)
    if ends is None:
        return None, None
    low, high = (find_unit(unit, quantity).to_base(Decimal(repr(end))) for end in ends)
    if low >= high:
        top.fault("range", list(ends), "the lower end first")
    return low, high


def _read_flag(section: Section) -> FlagRule:
    field = section.text("field", required=True)
    means = section.choice("means", list(_FLAGS), required=True)
    rule = FlagRule(field, section.texts("texts"), _FLAGS.get(means, Flag.NONE))
    if not rule.texts:
        section.fault("texts", None, "the texts of the field that mean it")
    section.done()
    return rule


def _note_unknown_fields(datasheet: Datasheet, known: frozenset[str], top: Section) -> None:
    """Note the fields that the value or a flag is taken from and the framing does not have."""
    rule = datasheet.value
    used = [("value.field", rule.number_field), ("value.unit_field", rule.unit_field)]
    used += [("value.sign_field", rule.sign_field)]
    used += [(f"flag[{place}].field", flag.field) for place, flag in enumerate(datasheet.flags, 1)]
    for key, name in used:
        if name and name not in known:
            top.fault(key, name, "a field of the framing: " + ", ".join(sorted(known)))
