"""Blocks of readings: columns of numbers to a few bytes and back. Pure: no file, no clock.

Here: the decimal text of a reading as whole ticks, and the encoding of a block. Not here: which readings share a block
(`stream`), or the table that holds it.

A block holds four columns: time in microseconds UTC, ticks (2.85 is 285 with 2 decimals), the layout (unit and number
of decimals) and flags. Each column is stored as its first number, a step, and the differences less the step, zigzag
coded and split into byte planes of which those that are all zero are left out; every plane is a deflate block of its
own within one zlib stream.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gaugelog.model.quantities import Quantity, Unit, base_unit, find_unit

Ints = NDArray[np.int64]

_LARGEST_TICKS = 2**63 - 1
_MOST_DECIMALS = 400
_EXACT = 2**53
_HEAD = struct.Struct("<BIH")
_LAYOUT = struct.Struct("<hB")
_COLUMN = struct.Struct("<qqB")
_FORM = 1
_LEVEL = 6


class BlockFormError(ValueError):
    """Bytes that are no block of readings."""


class Layout(NamedTuple):
    """How the number of a reading is written: its unit's name and its decimals (below zero: trailing zeros)."""

    unit: str
    decimals: int


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Readings of one gauge in columns of equal length: `layout` says which of `layouts` each reading has."""

    utc_us: Ints
    ticks: Ints
    layout: Ints
    flags: Ints
    layouts: tuple[Layout, ...]

    def __len__(self) -> int:
        return len(self.utc_us)


def ticks_of(text: str, value: float, unit: str, quantity: Quantity) -> tuple[int, Layout]:
    """Return a reading's number as whole ticks and its layout.

    Args:
        text: the decimal number as shown in `unit`.
        value: the same in the base unit; it is kept instead where the text is no decimal of up to 18 digits, or does
            not say this value.
        unit: the unit's name.
        quantity: what is measured.

    Raises:
        ValueError: neither the text nor the value is a finite number.
    """
    with suppress(InvalidOperation, ValueError):
        ticks, decimals = _split(Decimal(text))
        shown = find_unit(unit, quantity).to_base(Decimal(text))
        if abs(ticks) <= _LARGEST_TICKS and abs(decimals) < _MOST_DECIMALS and shown == value:
            return ticks, Layout(unit, decimals)
    ticks, decimals = _split(Decimal(repr(value)))
    return ticks, Layout(quantity.base_unit, decimals)


def _split(number: Decimal) -> tuple[int, int]:
    sign, digits, exponent = number.as_tuple()
    if not isinstance(exponent, int):
        raise ValueError(f"{number} is no finite number")
    ticks = int("".join(map(str, digits)))
    return (-ticks if sign else ticks), -exponent


def base_values(columns: Columns, quantity: Quantity) -> NDArray[np.float64]:
    """Return the values in the base unit, each the float nearest to the number shown: 2.85 deg is 2.85."""
    values = np.empty(len(columns), dtype=np.float64)
    for place, layout in enumerate(columns.layouts):
        unit = base_unit(quantity) if layout.unit == quantity.base_unit else find_unit(layout.unit, quantity)
        if len(columns.layouts) == 1:
            return _to_base(columns.ticks, unit, layout.decimals)
        chosen = columns.layout == place
        values[chosen] = _to_base(columns.ticks[chosen], unit, layout.decimals)
    return values


def _to_base(ticks: Ints, unit: Unit, decimals: int) -> NDArray[np.float64]:
    """Return ticks in the base unit: one division of exact whole numbers where they fit a float, else one by one."""
    factor = unit.factor / Fraction(10) ** decimals
    below = factor.denominator * unit.offset.denominator
    slope, shift = int(factor * below), int(unit.offset * below)
    largest = max((abs(int(ticks.min())), abs(int(ticks.max()))), default=0) if len(ticks) else 0
    if max(largest, 1) * abs(slope) + abs(shift) < _EXACT and below < _EXACT:
        exact: NDArray[np.float64] = (ticks * slope + shift) / float(below)
        return exact
    return np.array([float(int(tick) * factor + unit.offset) for tick in ticks], dtype=np.float64)


def concatenate(parts: Sequence[Columns]) -> Columns:
    """Return the readings of several blocks in order as one."""
    layouts: dict[Layout, int] = {}
    placed = []
    for part in parts:
        places = np.array([layouts.setdefault(layout, len(layouts)) for layout in part.layouts], dtype=np.int64)
        placed.append(places[part.layout])
    return Columns(
        np.concatenate([part.utc_us for part in parts]),
        np.concatenate([part.ticks for part in parts]),
        np.concatenate(placed),
        np.concatenate([part.flags for part in parts]),
        tuple(layouts),
    )


def encode(columns: Columns) -> bytes:
    """Return the bytes of a block.

    Raises:
        ValueError: no reading, or more layouts than a block can have.
    """
    if not len(columns) or len(columns.layouts) > 0xFFFF:
        raise ValueError("a block has at least one reading and at most 65535 layouts")
    head = [_HEAD.pack(_FORM, len(columns), len(columns.layouts))]
    for layout in columns.layouts:
        name = layout.unit.encode()
        head += [_LAYOUT.pack(layout.decimals, len(name)), name]
    packer = zlib.compressobj(_LEVEL, zlib.DEFLATED, zlib.MAX_WBITS, 9)
    body = []
    for column, evenly in ((columns.utc_us, True), (columns.ticks, False), (columns.layout, False), (columns.flags, 0)):
        step, planes = _planes(column, bool(evenly))
        head.append(_COLUMN.pack(int(column[0]), step, len(planes)))
        for plane in planes:
            body += [packer.compress(plane.tobytes()), packer.flush(zlib.Z_FULL_FLUSH)]
    body.append(packer.flush())
    return b"".join(head + body)


def _planes(column: Ints, evenly: bool) -> tuple[int, NDArray[np.uint8]]:
    """Return the step and the byte planes of a column's differences, highest plane that isn't zero last."""
    differences = np.diff(column)
    step = int(np.median(differences)) if evenly and len(differences) else 0
    differences -= step
    zigzag = ((differences << 1) ^ (differences >> 63)).astype("<u8", copy=False)
    count = (int(zigzag.max()).bit_length() + 7) // 8 if len(zigzag) else 0
    return step, np.ascontiguousarray(zigzag.view(np.uint8).reshape(-1, 8)[:, :count].T)


def decode(data: bytes) -> Columns:
    """Return the readings of a block.

    Raises:
        BlockFormError: the bytes are no block.
    """
    try:
        return _decode(data)
    except (struct.error, zlib.error, IndexError, ValueError, UnicodeDecodeError) as reason:
        raise BlockFormError(str(reason)) from reason


def _decode(data: bytes) -> Columns:
    form, n, layout_count = _HEAD.unpack_from(data)
    if form != _FORM:
        raise BlockFormError(f"block form {form} is not known")
    at = _HEAD.size
    layouts = []
    for _ in range(layout_count):
        decimals, length = _LAYOUT.unpack_from(data, at)
        at += _LAYOUT.size
        layouts.append(Layout(data[at : at + length].decode(), decimals))
        at += length
    heads = [_COLUMN.unpack_from(data, at + place * _COLUMN.size) for place in range(4)]
    body = zlib.decompress(data[at + 4 * _COLUMN.size :])
    columns, start = [], 0
    for first, step, count in heads:
        size = count * (n - 1)
        planes = np.frombuffer(body, np.uint8, size, start).reshape(count, n - 1)
        columns.append(_unplane(first, step, planes, n))
        start += size
    return Columns(columns[0], columns[1], columns[2], columns[3], tuple(layouts))


def _unplane(first: int, step: int, planes: NDArray[np.uint8], n: int) -> Ints:
    column = np.empty(n, dtype=np.int64)
    column[0] = first
    if not len(planes):
        column[1:] = step
    else:
        wide = np.zeros((n - 1, 8), dtype=np.uint8)
        for place, plane in enumerate(planes):
            wide[:, place] = plane
        zigzag = wide.view("<u8").reshape(n - 1)
        column[1:] = (zigzag >> np.uint64(1)).astype(np.int64) ^ -(zigzag & np.uint64(1)).astype(np.int64)
        column[1:] += step
    np.cumsum(column, out=column)
    return column
