"""The pages of a recording's file read without SQLite, so that what is sound can be told from what is damaged. Pure.

Here: the published form of the file (SQLite, "Database File Format", sections 1 and 2): pages, the cells of table
leaves, records, overflow chains. Nothing is believed of the file's order: a cell is a cell where it can be read as one.
Not here: which table a record is of, and whether its values are right (`salvage`).
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from gaugelog.store.schema import Column
from gaugelog.store.walog import Log

PAGE_SIZE = 1024
"""Of every recording, unless its head says otherwise."""

_LEAF = 0x0D
_INNER = 0x05
_HEAD_BYTES = 100
_FIXED = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}


@dataclass(frozen=True, slots=True)
class Cell:
    """A record as it stands in a page: its row number, its values, and the pages that it goes on in."""

    rowid: int
    values: tuple[Column, ...]
    overflow: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Pages:
    """A file's pages: the newest state of each by its number from 1, and all earlier states that are still there."""

    newest: Mapping[int, bytes]
    earlier: Sequence[tuple[int, bytes]]


def page_size_of(data: bytes) -> int:
    """Return the page size that a file's head says, the usual one where it says none that can be."""
    (said,) = struct.unpack_from(">H", data, 16) if len(data) >= _HEAD_BYTES else (0,)
    size = 65536 if said == 1 else said
    return size if size >= 512 and size & (size - 1) == 0 else PAGE_SIZE


def pages_of(data: bytes, log: Log) -> Pages:
    """Return a file's pages with those of its log laid over them, up to the last transaction that ended."""
    size = log.page_size if log.frames else page_size_of(data)
    newest = {place // size + 1: data[place : place + size] for place in range(0, len(data), size)}
    earlier: list[tuple[int, bytes]] = []
    last = max((place for place, frame in enumerate(log.frames) if frame.ends and frame.fits), default=-1)
    for place, frame in enumerate(log.frames):
        if frame.fits and place <= last:
            if frame.page in newest:
                earlier.append((frame.page, newest[frame.page]))
            newest[frame.page] = frame.data
        else:
            earlier.append((frame.page, frame.data))
    return Pages(newest, earlier)


def ordered_cells(pages: Pages) -> Iterator[Cell]:
    """Yield the cells that the newest table leaves list."""
    for number, page in pages.newest.items():
        start = _HEAD_BYTES if number == 1 else 0
        if len(page) < start + 8 or page[start] != _LEAF:
            continue
        (count,) = struct.unpack_from(">H", page, start + 3)
        for place in range(min(count, (len(page) - start - 8) // 2)):
            (offset,) = struct.unpack_from(">H", page, start + 8 + 2 * place)
            cell = cell_at(page, offset, pages.newest)
            if cell is not None:
                yield cell


def is_sound_tree(pages: Pages, root: Column, fits: Callable[[Cell], bool]) -> bool:
    """Return whether a table can be walked from its root page, and its leaves list rows of it and nothing else.

    Args:
        pages: of the file.
        root: number of its root page, as the schema says it.
        fits: whether a cell may be a row of the table.
    """
    if not isinstance(root, int):
        return False
    waiting, seen = [root], set[int]()
    while waiting:
        number = waiting.pop()
        page = pages.newest.get(number, b"")
        start = _HEAD_BYTES if number == 1 else 0
        if number in seen or len(page) < start + 12 or page[start] not in (_LEAF, _INNER):
            return False
        seen.add(number)
        (count,) = struct.unpack_from(">H", page, start + 3)
        head = 8 if page[start] == _LEAF else 12
        if start + head + 2 * count > len(page):
            return False
        offsets = struct.unpack_from(f">{count}H", page, start + head)
        if page[start] == _LEAF:
            cells = [cell_at(page, offset, pages.newest) for offset in offsets]
            if not all(cell is not None and fits(cell) for cell in cells):
                return False
        elif any(offset + 4 > len(page) for offset in offsets):
            return False
        else:
            waiting += [struct.unpack_from(">I", page, offset)[0] for offset in (start + 8, *offsets)]
    return True


def cell_at(page: bytes, offset: int, pages: Mapping[int, bytes]) -> Cell | None:
    """Return what stands at a place of a page if it can be read as the cell of a table leaf, else None."""
    size, at = _varint(page, offset)
    rowid, at = _varint(page, at)
    if not 2 <= size <= len(page) * len(pages) or rowid < 1 or at >= len(page):
        return None
    usable = len(page)
    local = size
    if size > usable - 35:
        least = (usable - 12) * 32 // 255 - 23
        most = least + (size - least) % (usable - 4)
        local = most if most <= usable - 35 else least
    if at + local + (0 if local == size else 4) > usable:
        return None
    types = _types(page, at, local)
    if types is None or types[0] + sum(_width(each) for each in types[1:]) != size:
        return None
    payload = page[at : at + local]
    overflow: tuple[int, ...] = ()
    if local < size:
        (following,) = struct.unpack_from(">I", page, at + local)
        payload, overflow = _gathered(payload, size, following, pages)
    values = _values(payload, types[0], types[1:])
    return None if values is None else Cell(rowid, values, overflow)


def _gathered(payload: bytes, size: int, following: int, pages: Mapping[int, bytes]) -> tuple[bytes, tuple[int, ...]]:
    """Return a payload with what stands in its overflow pages, filled up with zeros where the chain breaks."""
    parts, seen, have = [payload], dict[int, None](), len(payload)
    while have < size and following not in seen and following in pages:
        seen[following] = None
        page = pages[following]
        parts.append(page[4 : 4 + size - have])
        have += len(parts[-1])
        (following,) = struct.unpack_from(">I", page) if len(page) >= 4 else (0,)
    return b"".join(parts).ljust(size, b"\0"), tuple(seen)


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """Return a number of variable length and the place behind it; below zero where it doesn't end in the data."""
    value = 0
    for place in range(at, min(at + 9, len(data))):
        byte = data[place]
        if place == at + 8:
            value = value << 8 | byte
            return (value - (1 << 64) if value >> 63 else value), place + 1
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, place + 1
    return -1, len(data)


def _types(data: bytes, at: int, local: int) -> list[int] | None:
    """Return the length of a record's head and the types of its values."""
    length, place = _varint(data, at)
    end = at + length
    if not 2 <= length <= local:
        return None
    types = [length]
    while place < end:
        kind, place = _varint(data, place)
        if kind < 0 or kind in (10, 11):
            return None
        types.append(kind)
    return types if place == end else None


def _width(kind: int) -> int:
    return (kind - 12) // 2 if kind >= 12 else _FIXED.get(kind, 8 if kind == 7 else 0)


def _values(payload: bytes, at: int, types: Sequence[int]) -> tuple[Column, ...] | None:
    """Return the values of a record, None where a text is no UTF-8."""
    values: list[Column] = []
    for kind in types:
        width = _width(kind)
        raw = payload[at : at + width]
        at += width
        if kind == 0:
            values.append(None)
        elif kind == 7:
            values.append(float(struct.unpack(">d", raw)[0]))
        elif kind < 10:
            values.append(int.from_bytes(raw, "big", signed=True) if width else kind - 8)
        elif kind % 2:
            try:
                values.append(raw.decode())
            except UnicodeDecodeError:
                return None
        else:
            values.append(raw)
    return tuple(values)
