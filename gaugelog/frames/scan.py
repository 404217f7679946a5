"""Whole messages in a stream that marks no ends.

Here: finding them wherever they begin, and telling what had to be skipped, in bounded memory and in time that grows as
the bytes do. Not here: what a message is; each framing brings a function that recognises one. This is no framing.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum
from heapq import heappop, heappush
from typing import NamedTuple

from gaugelog.model.readings import Reject, RejectReason

NOTHING = 0
"""No message begins here."""

DAMAGED = -1_000_000
"""One seems to begin here, and its check doesn't fit."""

_MOST_SKIPPED = 64

Recognise = Callable[[bytes, int], int]
"""Look at the bytes from a place on: the length of the whole message there, `NOTHING`, `DAMAGED`, or, where that can't
be told yet, minus how many bytes from there are needed to go on. What it asks for must be bounded."""


class Kind(Enum):
    """What a piece of the stream turned out to be."""

    WHOLE = "a whole message"
    SKIPPED = "no message"
    SPOILT = "no message, though one with a wrong check may have been in it"
    CUT_OFF = "the beginning of a message at the end of the connection"


class Piece(NamedTuple):
    """A message, or a stretch without any."""

    kind: Kind
    raw: bytes


_REASONS = {
    Kind.SKIPPED: RejectReason.NO_MATCH,
    Kind.SPOILT: RejectReason.CHECKSUM,
    Kind.CUT_OFF: RejectReason.CUT_OFF,
}


def reject_of(piece: Piece, time_ns: int) -> Reject:
    """Return the reject that a piece without a message is."""
    return Reject(time_ns, piece.raw, _REASONS[piece.kind])


class Scan:
    """One connection's bytes cut into whole messages and what lies between them.

    A message begins at the first place where a whole one is recognised. Where an incomplete one seems to stand before
    it, that was none: a byte of noise that promises a long message must not hold up those behind it. What is skipped is
    told when the next message comes, at the end, or whenever `most_skipped` bytes of it have gathered, so that neither
    the pieces nor the bytes in them depend on how the stream was cut into chunks. (Only where one recognisable message
    lies inside another does it matter which of the two is whole first.)

    Args:
        recognise: says whether a message begins at a place.
        most_skipped: the longest stretch told in one piece.
    """

    def __init__(self, recognise: Recognise, most_skipped: int = _MOST_SKIPPED) -> None:
        self._recognise = recognise
        self._most_skipped = most_skipped
        self.kept = b""
        """What is not settled yet; while it is empty, what comes next begins where a message may begin."""
        self._base = 0
        """How many bytes of the stream came before `kept`."""
        self._looked_at = 0
        """How many bytes of the stream have been looked at as the beginning of a message."""
        self._waiting: list[tuple[int, int]] = []
        """A heap of the places that may be a beginning: how long the stream must be to tell, and the place."""
        self._spoilt_before = 0
        """The place behind the last one whose check didn't fit."""

    def feed(self, more: bytes) -> list[Piece]:
        """Take bytes, return the messages and stretches that became known, in order."""
        self.kept += more
        begin, end = self._base, self._base + len(self.kept)
        pieces: list[Piece] = []
        for place in self._ready(end):
            if place >= begin:
                begin = self._look(place, begin, end, pieces)
        place = max(begin, self._looked_at)
        while place < end:
            begin = self._look(place, begin, end, pieces)
            place = max(begin, place + 1)
        self._looked_at = end
        if begin > self._base:
            self._forget_before(begin)
        if len(self.kept) >= self._most_skipped:
            self._skip_what_is_certain(pieces)
        return pieces

    def _ready(self, end: int) -> list[int]:
        """Return in order the places that wait for no more than there is now."""
        ready = []
        while self._waiting and self._waiting[0][0] <= end:
            ready.append(heappop(self._waiting)[1])
        return sorted(ready)

    def _look(self, place: int, begin: int, end: int, pieces: list[Piece]) -> int:
        """Look for a message at a place; return up to where the bytes are settled: `begin`, or the message's end."""
        at = place - self._base
        found = self._recognise(self.kept, at)
        if found > 0:
            if place > begin:
                self._skip(begin, place, pieces)
            pieces.append(Piece(Kind.WHOLE, self.kept[at : at + found]))
            return place + found
        if found == DAMAGED:
            self._spoilt_before = place + 1
        elif found:
            heappush(self._waiting, (max(place - found, end + 1), place))
        return begin

    def _skip(self, begin: int, end: int, pieces: list[Piece]) -> None:
        """Tell what lies between two places, the stream's bytes being counted from its beginning."""
        for start in range(begin, end, self._most_skipped):
            stop = min(start + self._most_skipped, end)
            kind = Kind.SPOILT if self._spoilt_before > start else Kind.SKIPPED
            pieces.append(Piece(kind, self.kept[start - self._base : stop - self._base]))

    def _forget_before(self, begin: int) -> None:
        """Let go of the bytes before a place."""
        self.kept = self.kept[begin - self._base :]
        self._base = begin
        if self._waiting and any(place < begin for _, place in self._waiting):
            self._waiting = sorted(item for item in self._waiting if item[1] >= begin)

    def _first_waiting(self) -> int:
        """Return the first place that may still be the beginning of a message."""
        return min((place for _, place in self._waiting), default=self._base + len(self.kept))

    def _skip_what_is_certain(self, pieces: list[Piece]) -> None:
        """Tell whole stretches of the greatest length in which nothing can begin any more."""
        certain = self._first_waiting() - self._base
        certain -= certain % self._most_skipped
        if certain:
            self._skip(self._base, self._base + certain, pieces)
            self._forget_before(self._base + certain)

    def finish(self) -> list[Piece]:
        """Say that the connection has ended; return what was left over."""
        pieces: list[Piece] = []
        begin, end = self._first_waiting(), self._base + len(self.kept)
        self._skip(self._base, begin, pieces)
        if begin < end:
            pieces.append(Piece(Kind.CUT_OFF, self.kept[begin - self._base :]))
        self.kept, self._base, self._looked_at, self._waiting = b"", end, end, []
        return pieces
