"""Binary frames of one fixed length, described in a datasheet.

Here: numbers at fixed places, a fixed beginning and a check, both ways. Not here: the types of numbers
(`frames.numbers`) nor the kinds of checks (`frames.checks`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

from gaugelog.frames import Decoder
from gaugelog.frames.checks import Check, read_check
from gaugelog.frames.numbers import (
    NUMBER_TYPES,
    DecimalDigits,
    Given,
    Integer,
    NoNumber,
    Number,
    NumberType,
    Order,
)
from gaugelog.frames.scan import DAMAGED, NOTHING, Kind, Piece, Scan, reject_of
from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section

_LONGEST = 256
_BCD = "bcd"
_MOST_DIGITS = 18
_ORDERS: Mapping[str, Order] = {"little": "little", "big": "big"}


@dataclass(frozen=True, slots=True)
class _Field:
    """A number in a frame: `size` bytes from `at` on, of which it fills bits `lowest` and up."""

    name: str
    at: int
    size: int
    order: Order
    lowest: int
    type: NumberType

    @property
    def end(self) -> int:
        return self.at + self.size

    def bits(self) -> set[int]:
        """Return the bits of the frame that are this field's, each as 8 x byte + bit."""
        places = [divmod(bit, 8) for bit in range(self.lowest, self.lowest + self.type.bits)]
        if self.order == "little":
            return {8 * (self.at + step) + bit for step, bit in places}
        return {8 * (self.end - 1 - step) + bit for step, bit in places}

    def read(self, frame: bytes) -> Number | NoNumber:
        held = frame[self.at : self.end]
        if self.size != self.type.size or self.lowest:
            whole = int.from_bytes(held, self.order) >> self.lowest & ((1 << self.type.bits) - 1)
            return self.type.read(whole.to_bytes(self.type.size, self.order), self.order)
        return self.type.read(held, self.order)

    def write(self, frame: bytearray, number: Given) -> None:
        """Put a number among what is there already.

        Raises:
            ValueError: the field can't hold it.
        """
        whole = int.from_bytes(self.type.write(number, self.order), self.order) << self.lowest
        there = int.from_bytes(frame[self.at : self.end], self.order)
        frame[self.at : self.end] = (there | whole).to_bytes(self.size, self.order)


@dataclass(frozen=True, slots=True)
class _Checked:
    """A check over the bytes from `begin` up to `end`, sent at `at`."""

    check: Check
    begin: int
    end: int
    at: int
    order: Order

    def fits(self, frame: bytes) -> bool:
        sent = frame[self.at : self.at + self.check.size]
        return self.check.compute(frame[self.begin : self.end]) == int.from_bytes(sent, self.order)

    def write(self, frame: bytearray) -> None:
        number = self.check.compute(bytes(frame[self.begin : self.end]))
        frame[self.at : self.at + self.check.size] = number.to_bytes(self.check.size, self.order)


class BinaryFraming:
    """Frames of one length, with numbers at fixed places.

    Options: `length`, of the whole frame in bytes; `sync`, what each begins with, in hexadecimal; a `[[field]]` each
    number (`name`, `at`, `type`, `order`, `digits`, `bits`); `[check]` (`kind`, `over`, `at`, `order`). Without `sync`
    and `[check]` nothing tells where a frame begins but the link, which must hand on messages whole.
    """

    def __init__(self, options: Section) -> None:
        self.length = options.whole("length", 1, _LONGEST, required=True) or _LONGEST
        self.sync = self._read_sync(options)
        self._taken: dict[int, str] = dict.fromkeys(range(8 * len(self.sync)), "sync")
        """Which bit of the frame is whose."""
        given = options.tables("field")
        if not given:
            options.fault("field", None, f"the numbers of a frame, each as [[{options.key('field')}]]")
        read = [self._read_field(each) for each in given]
        self.numbers = tuple(field for field in read if field is not None)
        self.checked = self._read_check(options.table("check")) if options.has("check") else None
        self.fields = frozenset(field.name for field in self.numbers)
        self.question = b""
        if len(self.fields) < len(self.numbers):
            options.fault("field", [field.name for field in self.numbers], "a name of its own for each")

    def _read_sync(self, options: Section) -> bytes:
        text = options.text("sync")
        wanted = f'pairs of hexadecimal digits, such as "AA 55", at most the {self.length} bytes of the frame'
        try:
            sync = bytes.fromhex(text)
        except ValueError:
            options.fault("sync", text, wanted)
            return b""
        if len(sync) > self.length:
            options.fault("sync", text, wanted)
            return b""
        return sync

    def _read_field(self, options: Section) -> _Field | None:
        name = options.text("name", required=True)
        at = options.whole("at", 0, self.length - 1, required=True)
        whole = self._read_type(options)
        order = _ORDERS[options.choice("order", list(_ORDERS), "little")]
        part = self._read_bits(options, whole)
        options.done()
        if at is None or whole is None or part is None:
            return None
        lowest, number_type = part
        field = _Field(name, at, whole.size, order, lowest, number_type)
        if field.end > self.length:
            options.fault("at", at, f"a place from which {whole.size} bytes fit into the {self.length} of the frame")
            return None
        self._take(options, "at", at, field.bits(), name)
        return field

    def _read_type(self, options: Section) -> NumberType | None:
        name = options.choice("type", [*NUMBER_TYPES, _BCD], required=True)
        digits = options.whole("digits", 1, _MOST_DIGITS, required=name == _BCD)
        if name == _BCD:
            return None if digits is None else DecimalDigits(digits)
        if digits is not None:
            options.fault("digits", digits, f'nothing but beside the type "{_BCD}"')
        return NUMBER_TYPES.get(name)

    def _read_bits(self, options: Section, whole: NumberType | None) -> tuple[int, NumberType] | None:
        """Return the lowest bit and the type of the part of a whole number that is meant; the whole unless said."""
        if not options.has("bits") or whole is None:
            return None if whole is None else (0, whole)
        given = options.numbers("bits", 2)
        if given is None:
            return None
        lowest, count = (int(number) for number in given)
        fits = [lowest, count] == list(given) and lowest >= 0 and count > 0 and lowest + count <= whole.bits
        if not isinstance(whole, Integer) or whole.signed or not fits:
            options.fault("bits", list(given), "[lowest, count] within the bits of a uint")
            return None
        return lowest, Integer(count, signed=False)

    def _read_check(self, options: Section) -> _Checked | None:
        check = read_check(options)
        over = options.numbers("over", 2)
        if not options.has("over"):
            options.fault("over", None, "[from, to), the first byte that is checked and the one behind the last")
        at = options.whole("at", 0, self.length - 1, required=True)
        order = _ORDERS[options.choice("order", list(_ORDERS), "little")]
        options.done()
        if check is None or over is None or at is None:
            return None
        begin, end = (int(number) for number in over)
        if [begin, end] != list(over) or not 0 <= begin < end <= self.length:
            options.fault("over", list(over), f"two whole numbers, rising, from 0 to {self.length}")
            return None
        if at + check.size > self.length:
            options.fault("at", at, f"a place from which {check.size} bytes fit into the {self.length} of the frame")
            return None
        if begin < at + check.size and at < end:
            options.fault("over", list(over), "bytes without the check itself")
            return None
        self._take(options, "at", at, set(range(8 * at, 8 * (at + check.size))), "check")
        return _Checked(check, begin, end, at, order)

    def _take(self, options: Section, key: str, value: object, bits: set[int], name: str) -> None:
        """Note that bits are taken; a fault where they are another's."""
        others = sorted({self._taken[bit] for bit in bits if bit in self._taken})
        if others:
            options.fault(key, value, f"bytes or bits that aren't taken by {', '.join(others)}")
        self._taken.update(dict.fromkeys(bits, name))

    def decoder(self) -> Decoder:
        """Return a fresh decoder."""
        if self.sync or self.checked:
            return SearchingDecoder(self)
        return WholePieceDecoder(self)

    def encode(self, fields: Mapping[str, str | int | float | bytes]) -> bytes:
        """Return the bytes of one frame with these fields; one that is missing is written as zero.

        Raises:
            ValueError: a field can't hold its number.
        """
        frame = bytearray(self.length)
        frame[: len(self.sync)] = self.sync
        for field in self.numbers:
            field.write(frame, fields.get(field.name, 0))
        if self.checked is not None:
            self.checked.write(frame)
        return bytes(frame)

    def read(self, raw: bytes, time_ns: int) -> Frame | Reject:
        """Return the numbers of a whole frame, or why one of them is none."""
        fields: dict[str, Number] = {}
        for field in self.numbers:
            number = field.read(raw)
            if isinstance(number, NoNumber):
                return Reject(time_ns, raw, number.reason, f"{field.name}: {number.detail}")
            fields[field.name] = number
        return Frame(time_ns, raw, fields)


def recognise(framing: BinaryFraming, data: bytes, at: int) -> int:
    """Say whether a frame begins at a place: see `frames.scan`."""
    sync, length = framing.sync, framing.length
    if sync and not data.startswith(sync, at):
        begun = len(data) - at < len(sync) and sync.startswith(data[at:])
        return -length if begun else NOTHING
    if len(data) - at < length:
        return -length
    if framing.checked is not None and not framing.checked.fits(data[at : at + length]):
        return DAMAGED
    return length


class SearchingDecoder:
    """One connection's bytes searched for frames that begin with the sync and whose check fits."""

    def __init__(self, framing: BinaryFraming) -> None:
        self._framing = framing
        self._scan = Scan(partial(recognise, framing))

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk, return the frames that it completed."""
        return [self._item(piece, chunk.time_ns) for piece in self._scan.feed(chunk.data)]

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended; what was left over comes back as rejects."""
        return [self._item(piece, time_ns) for piece in self._scan.finish()]

    def _item(self, piece: Piece, time_ns: int) -> Frame | Reject:
        if piece.kind is Kind.WHOLE:
            return self._framing.read(piece.raw, time_ns)
        return reject_of(piece, time_ns)


class WholePieceDecoder:
    """One connection's bytes as frames that nothing marks: a chunk that is a whole number of frames begins with one."""

    def __init__(self, framing: BinaryFraming) -> None:
        self._framing = framing
        self._kept = b""

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk, return the frames that it completed."""
        length, time_ns = self._framing.length, chunk.time_ns
        found: list[Frame | Reject] = []
        if not chunk.data:
            return found
        if len(chunk.data) % length == 0:
            found += self.finish(time_ns)
        data = self._kept + chunk.data
        whole = len(data) - len(data) % length
        found += [self._framing.read(data[at : at + length], time_ns) for at in range(0, whole, length)]
        self._kept = data[whole:]
        return found

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended: an unfinished frame is told as cut off."""
        kept, self._kept = self._kept, b""
        return [Reject(time_ns, kept, RejectReason.CUT_OFF)] if kept else []
