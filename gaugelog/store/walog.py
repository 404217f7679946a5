"""The log that SQLite keeps beside a recording while it is written: its frames, and which are whole.

Here: the published form of a -wal file (SQLite, "Database File Format", section 4, "The Write-Ahead Log"). SQLite
itself stops reading at the first frame whose checksum doesn't fit, as after a crash, and says nothing of what comes
behind it; here what comes behind it is looked at. Opening the log by itself harms nobody: SQLite holds no lock on it.
Not here: what stands in a page (`pages`).
"""

from __future__ import annotations

import struct
import time
from collections import Counter
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

_HEAD = struct.Struct(">8I")
_FRAME = struct.Struct(">6I")
_MAGIC = (0x377F0682, 0x377F0683)
_MASK = 0xFFFFFFFF
_LOOKS = 3
_BETWEEN_LOOKS_S = 0.05


@dataclass(frozen=True, slots=True)
class LogFrame:
    """A page as it was written: its number, whether it ends a transaction, and whether its checksum fits."""

    page: int
    ends: bool
    fits: bool
    data: bytes


@dataclass(frozen=True, slots=True)
class Log:
    """The frames of the last generation in order; `sound` is how many of them SQLite takes for whole."""

    page_size: int
    head_fits: bool
    frames: tuple[LogFrame, ...]
    sound: int

    @property
    def passed_over(self) -> int:
        """How many transactions end behind the first frame that isn't whole: SQLite passes over them."""
        return sum(frame.ends for frame in self.frames[self.sound :])

    @property
    def is_damaged(self) -> bool:
        """Whether something that had been stored for good is passed over.

        The transaction that was being written as the machine stopped may be passed over; a second one can't, since each
        is on the disk before the next begins. The head is on the disk before any frame.
        """
        return self.passed_over > (1 if self.head_fits else 0)


def read_log(data: bytes, page_size: int = 1024) -> Log:
    """Return the frames of a log; none where it is empty.

    Args:
        data: the file.
        page_size: of the recording, for a log whose own head is damaged.
    """
    if len(data) < _HEAD.size:
        return Log(page_size, not data, (), 0)
    magic, _, said_size, _, first_salt, second_salt, one, two = _HEAD.unpack_from(data)
    order = ">u4" if magic == _MAGIC[1] else "<u4"
    head_words = np.frombuffer(data, order, 6)[None, :].astype(np.uint32)
    head_fits = magic in _MAGIC and _sums(_added(head_words)[0], (0, 0), 3) == (one, two)
    rows = _rows(data, said_size if head_fits else page_size)
    heads = [_FRAME.unpack(row[: _FRAME.size].tobytes()) for row in rows]
    salts = (first_salt, second_salt)
    if heads and not head_fits:
        salts = Counter((head[2], head[3]) for head in heads).most_common(1)[0][0]
    mine = [place for place, head in enumerate(heads) if head[2:4] == salts]
    rows = rows[: mine[-1] + 1 if mine else 0]  # what comes behind is of an earlier generation
    words = np.ascontiguousarray(np.concatenate([rows[:, :8], rows[:, _FRAME.size :]], axis=1)).view(order)
    added = _added(words.astype(np.uint32))
    frames, before = [], (one, two)
    for row, (page, size, *salt, one, two), more in zip(rows, heads, added, strict=False):
        fits = tuple(salt) == salts and _sums(more, before, words.shape[1] // 2) == (one, two)
        frames.append(LogFrame(page, size != 0 and tuple(salt) == salts, fits, row[_FRAME.size :].tobytes()))
        before = (one, two)  # as it is written, so that a damaged frame doesn't spoil those behind it
    sound = next((place for place, frame in enumerate(frames) if not frame.fits), len(frames))
    return Log(rows.shape[1] - _FRAME.size, head_fits, tuple(frames), sound if head_fits else 0)


def _rows(data: bytes, page_size: int) -> NDArray[np.uint8]:
    """Return the bytes of each whole frame, shape (frames, bytes)."""
    size = _FRAME.size + page_size
    count = (len(data) - _HEAD.size) // size
    return np.frombuffer(data, np.uint8, count * size, _HEAD.size).reshape(count, size)


@cache
def _powers(count: int) -> tuple[tuple[int, int, int, int], ...]:
    """Return what 0 to `count` steps make of the two sums: powers of the matrix (1 1; 1 2), modulo 2**32."""
    found = [(1, 0, 0, 1)]
    for _ in range(count):
        a, b, c, d = found[-1]
        found.append(((a + c) & _MASK, (b + d) & _MASK, (a + 2 * c) & _MASK, (b + 2 * d) & _MASK))
    return tuple(found)


@cache
def _weights(words: int) -> NDArray[np.uint32]:
    """Return how much each word adds to the two sums at the end, shape (words, 2)."""
    rows = []
    for a, b, c, d in reversed(_powers(words // 2 - 1)):
        rows += [((a + b) & _MASK, (c + d) & _MASK), (b, d)]
    return np.array(rows, dtype=np.uint32)


def _added(words: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Return what the words of each row add to the two sums, shape (rows, 2), modulo 2**32 as they are meant."""
    weights = _weights(words.shape[1])
    return np.stack([(words * weights[:, place]).sum(axis=1, dtype=np.uint32) for place in (0, 1)], axis=1)


def _sums(added: NDArray[np.uint32], before: tuple[int, int], steps: int) -> tuple[int, int]:
    """Return the two sums at the end, from those before and what the words add."""
    a, b, c, d = _powers(steps)[steps]
    return (a * before[0] + b * before[1] + int(added[0])) & _MASK, (
        c * before[0] + d * before[1] + int(added[1])
    ) & _MASK


def damaged_log(path: Path) -> str:
    """Return in words what SQLite passes over in a log though it was stored for good; empty where nothing is.

    Raises:
        OSError: it can't be read.
    """
    for turn in range(_LOOKS):
        if turn:
            time.sleep(_BETWEEN_LOOKS_S)  # a writer may have been at work just there; damage stays
        try:
            log = read_log(path.read_bytes())
        except FileNotFoundError:
            return ""
        if not log.is_damaged:
            return ""
    return f"its -wal file is damaged, and {log.passed_over} transactions behind the damage are not seen"
