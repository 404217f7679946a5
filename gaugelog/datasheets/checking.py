"""Whether a datasheet says the same in both directions.

Here: values, units and flags encoded and decoded again. Not here: its faults as a file (`read`), nor the check of a
framing (`gaugelog.testing`, which hands this on to authors).
"""

from __future__ import annotations

from collections.abc import Sequence

from gaugelog.datasheets.meaning import Decoding, Encoding
from gaugelog.datasheets.read import read_datasheet
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.readings import Chunk, Flag, Reading, Reject


class _BrokenRule(Exception):  # noqa: N818 - a finding, not an error
    """A rule that a datasheet breaks."""


def _demand(held: bool, rule: str, seen: Sequence[Reading | Reject]) -> None:
    if not held:
        raise _BrokenRule(f"{rule}; seen: {', '.join(map(_words, seen)) or 'nothing'}")


def _words(item: Reading | Reject) -> str:
    """Return what came back, in words."""
    if isinstance(item, Reading):
        return f"{item.text} {item.unit}"
    return f"{item.raw!r}, which is no reading: {item.reason.value}"


def check_datasheet(text: str) -> Datasheet:
    """Check that a datasheet reads without faults and says the same in both directions.

    Values over its whole range, each of its units and flags are encoded and decoded again.

    Returns:
        The datasheet.

    Raises:
        FaultyDatasheetError: the text has faults.
        AssertionError: with the rule that was broken.
    """
    datasheet = read_datasheet(text, "the datasheet")
    broken = broken_rule(datasheet)
    if broken:
        raise AssertionError(broken)
    return datasheet


def broken_rule(datasheet: Datasheet) -> str:
    """Return the first rule that a datasheet breaks, with what was seen, in words; empty where it keeps them all."""
    try:
        _check(datasheet)
    except _BrokenRule as broken:
        return str(broken)
    return ""


def _check(datasheet: Datasheet) -> None:
    for value in _values_over_range(datasheet):
        reading = _there_and_back(datasheet, value)
        off = abs(reading.value - value)
        _demand(off <= datasheet.resolution * 0.5000001, f"{value:g} comes back on its digit", [reading])
    for unit in {datasheet.value.unit, *datasheet.value.units.values()}:
        reading = _there_and_back(datasheet, _values_over_range(datasheet)[-1], unit=unit)
        _demand(reading.unit == unit, f"the unit {unit} comes back", [reading])
    for flag in (rule.flag for rule in datasheet.flags if rule.flag is not Flag.OVER_RANGE):
        reading = _there_and_back(datasheet, _values_over_range(datasheet)[0], flags=flag)
        _demand(bool(reading.flags & flag), f"the flag {flag.name} comes back", [reading])
    found = _items(datasheet, [b"\x00\xffno reading at all\r\n\r", b"\n"])
    _demand(not any(isinstance(item, Reading) for item in found), "nonsense is no reading", found)


def _values_over_range(datasheet: Datasheet) -> list[float]:
    low = datasheet.range_low if datasheet.range_low is not None else 0.0
    high = datasheet.range_high if datasheet.range_high is not None else 1000 * datasheet.resolution
    inside = datasheet.resolution
    return [low + inside + (high - low - 2 * inside) * share for share in (0.0, 0.13, 0.5, 0.77, 1.0)]


def _items(datasheet: Datasheet, pieces: Sequence[bytes]) -> list[Reading | Reject]:
    decoding = Decoding(datasheet, "gauge")
    found = [item for place, piece in enumerate(pieces) for item in decoding.feed(Chunk(place, piece)).items]
    return [*found, *decoding.finish(len(pieces)).items]


def _there_and_back(datasheet: Datasheet, value: float, *, flags: Flag = Flag.NONE, unit: str | None = None) -> Reading:
    data = _encoded(datasheet, value, flags, unit)
    found = _items(datasheet, [data])
    _demand(len(found) == 1 and isinstance(found[0], Reading), f"{data!r} is one reading", found)
    reading = found[0]
    assert isinstance(reading, Reading)
    return reading


def _encoded(datasheet: Datasheet, value: float, flags: Flag, unit: str | None) -> bytes:
    """Return a value as the gauge would send it; one that it can't say breaks a rule."""
    try:
        return Encoding(datasheet).encode(value, flags=flags, unit=unit)
    except ValueError as reason:
        raise _BrokenRule(f"every value of the range can be sent; seen: {value:g}, {reason}") from None
