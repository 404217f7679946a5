"""Modbus RTU: a number in the registers of one unit on a line that may have several.

Here: cutting a line's bytes into requests and replies, finding the answer that holds our register, and writing one.
Not here: when to ask (`gauges.polling`). Sources: MODBUS Application Protocol Specification V1.1b3 (6.1 to 6.17 for the
lengths, 7 for the exceptions), MODBUS over Serial Line V1.02 (2.5.1); clauses from memory.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping
from typing import NamedTuple

from gaugelog.frames.checks import crc
from gaugelog.frames.numbers import NUMBER_TYPES, NoNumber, Number
from gaugelog.frames.scan import DAMAGED, NOTHING, Kind, Piece, Scan, reject_of
from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section

_crc = crc("CRC-16/MODBUS").compute
_TYPES = ("sint16", "uint16", "sint32", "uint32", "float32")
_CODES = {"sint16": "h", "uint16": "H", "sint32": "i", "uint32": "I"}
_WORD_ORDERS = ("high first", "low first")
_MOST_REGISTERS = 125
_HIGHEST_UNIT = 247
_EXCEPTION = 0x80
_SHORTEST = 5
_REQUEST = 8
"""The length of a request to read registers; no reply to it has that length, as it holds an even number of bytes."""

_BEFORE_REGISTERS = 3

_BEFORE_CHECK = 6
"""How many bytes of a request to read registers stand before its check."""

_EXCEPTIONS = {
    1: "function not known",
    2: "no such register",
    3: "a value that isn't allowed",
    4: "the gauge failed",
}

_FIXED = {**dict.fromkeys((1, 2, 3, 4, 5, 6, 15, 16), 8), 22: 10}
"""Lengths of the messages of each function that have always the same."""

_REPLY_COUNTS, _REQUEST_COUNTS = (2, 5), (6, 9)
_COUNTED = {
    **dict.fromkeys((1, 2, 3, 4), (_REPLY_COUNTS,)),
    **dict.fromkeys((15, 16), (_REQUEST_COUNTS,)),
    23: (_REPLY_COUNTS, (10, 13)),
}
"""Those that say their own: the byte that counts further ones, and the length without them."""

_MOST_READ = {1: 2000, 2: 2000, 3: _MOST_REGISTERS, 4: _MOST_REGISTERS}
"""The most that a request of each function may ask for."""

_PAIRS = frozenset({3, 4})
"""Functions whose replies hold whole registers of two bytes."""


def with_crc(message: bytes) -> bytes:
    """Return a message with its check behind it."""
    return message + _crc(message).to_bytes(2, "little")


def recognise(data: bytes, at: int, waits: Callable[[bytes], bool]) -> int:
    """Say whether a message of any unit begins at a place: see `frames.scan`.

    Of a message whose last byte is nought, all but that byte is one too as far as its check tells. So where a request
    and a reply differ by one byte in length, the longer counts if the next byte is nought; `waits` says of the shorter
    whether that byte is to be waited for.
    """
    there = len(data) - at
    if data[at] > _HIGHEST_UNIT:
        return NOTHING
    if there < _SHORTEST:
        return -_SHORTEST if there < 2 or _may_be(data[at + 1]) else NOTHING
    function = data[at + 1]
    if not _may_be(function):
        return NOTHING
    if function & _EXCEPTION:
        return _SHORTEST if not _crc(data[at : at + _SHORTEST]) else DAMAGED
    lengths = _lengths(data, at, function, there)
    for length in lengths:
        if length > there:
            return -length
        message = data[at : at + length]
        if not _crc(message):
            if length + 1 not in lengths or not waits(message):
                return length
            return -(length + 1) if there == length else length + (data[at + length] == 0)
    return DAMAGED


def _may_be(function: int) -> bool:
    """Return whether a byte is a function whose messages' lengths are known, or the exception to one."""
    bare = function & ~_EXCEPTION
    return bare in _FIXED or bare in _COUNTED


def _lengths(data: bytes, at: int, function: int, there: int) -> list[int]:
    """Return how long a message at a place can be, shortest first; the length needed where one can't be told yet."""
    lengths = {_FIXED[function]} if function in _FIXED else set()
    if function in _MOST_READ and there >= _BEFORE_CHECK:
        first, count = struct.unpack_from(">HH", data, at + 2)
        if not 0 < count <= _MOST_READ[function] or first + count > 1 << 16:
            lengths.discard(_REQUEST)
    for counter, others in _COUNTED.get(function, ()):
        if counter >= there:
            lengths.add(counter + 1)
            continue
        count = data[at + counter]
        if 0 < count <= 2 * _MOST_REGISTERS and not (function in _PAIRS and count % 2):
            lengths.add(others + count)
    return sorted(lengths)


class _Asked(NamedTuple):
    """A request that was heard: the registers asked for."""

    first: int
    registers: int


class ModbusFraming:
    """A number held by one or two registers of a unit.

    Options: `unit` (1 to 247), `function` (3 or 4), `register`, its address as sent, counted from 0; `type` and
    `word_order` of the number; `status`, the address of a register that comes as a field of its own; `listen`, where
    somebody else asks.
    """

    def __init__(self, options: Section) -> None:
        self.unit = options.whole("unit", 1, _HIGHEST_UNIT, required=True) or 1
        self.function = options.whole("function", 3, 4, required=True) or 3
        self.register = options.whole("register", 0, 0xFFFF, required=True) or 0
        self.status = options.whole("status", 0, 0xFFFF)
        type_name = options.choice("type", _TYPES, _TYPES[0], required=True)
        self.type = NUMBER_TYPES[type_name]
        self.low_first = options.choice("word_order", _WORD_ORDERS, _WORD_ORDERS[0]) == _WORD_ORDERS[1]
        self.listen = options.flag("listen")
        self._unpack = self._layout(type_name)
        self.first, self.count = self._span(options)
        self.question = with_crc(struct.pack(">BBHH", self.unit, self.function, self.first, self.count))
        self.fields = frozenset({"number"} if self.status is None else {"number", "status"})

    def _layout(self, type_name: str) -> Callable[[bytes, int], tuple[int]] | None:
        """Return what reads a whole number that lies in one piece at a place in a reply; None for any other number."""
        if type_name not in _CODES or (self.low_first and self.type.size > 2):
            return None
        return struct.Struct(">" + _CODES[type_name]).unpack_from

    def _span(self, options: Section) -> tuple[int, int]:
        """Return the first register to ask for and how many."""
        own = range(self.register, self.register + self.type.size // 2)
        if own[-1] > 0xFFFF:
            options.fault("register", self.register, "an address with room for all registers of the number")
        if self.status is None:
            return own[0], len(own)
        first, last = min(own[0], self.status), max(own[-1], self.status)
        if self.status in own:
            options.fault("status", self.status, "another register than the number's")
        elif last - first >= _MOST_REGISTERS:
            options.fault("status", self.status, f"a register at most {_MOST_REGISTERS - 1} away from the number's")
        return first, last + 1 - first

    def decoder(self) -> ModbusDecoder:
        """Return a fresh decoder."""
        return ModbusDecoder(self)

    def encode(self, fields: Mapping[str, str | int | float | bytes]) -> bytes:
        """Return the reply that holds these fields, behind its request where the gauge is only listened to.

        Raises:
            ValueError: a number that the registers can't hold.
        """
        held = bytearray(2 * self.count)
        place = 2 * (self.register - self.first)
        held[place : place + self.type.size] = self._in_order(self.type.write(fields.get("number", 0), "big"))
        if self.status is not None:
            place = 2 * (self.status - self.first)
            held[place : place + 2] = NUMBER_TYPES["uint16"].write(fields.get("status", 0), "big")
        reply = with_crc(bytes((self.unit, self.function, len(held))) + held)
        return self.question + reply if self.listen else reply

    def _in_order(self, data: bytes) -> bytes:
        """Return the bytes of a number with its registers put the other way round where they are."""
        return data[2:] + data[:2] if self.low_first else data

    def read(self, message: bytes, at: int) -> dict[str, Number] | NoNumber:
        """Return the fields of a reply in which our register stands at a place."""
        number: Number | NoNumber
        if self._unpack is not None:
            (number,) = self._unpack(message, at)
        else:
            number = self.type.read(self._in_order(message[at : at + self.type.size]), "big")
            if isinstance(number, NoNumber):
                return number
        if self.status is None:
            return {"number": number}
        at += 2 * (self.status - self.register)
        return {"number": number, "status": int.from_bytes(message[at : at + 2], "big")}


class ModbusDecoder:
    """One connection's bytes as the values of one unit's register.

    Once a request to our unit was heard, or where we only listen, a reply counts only behind its own request: it tells
    neither its registers nor whom it answers. Elsewhere we ask ourselves, and a reply must have the length of ours.
    """

    def __init__(self, framing: ModbusFraming) -> None:
        self._framing = framing
        self._scan = Scan(self._recognise)
        self._begun = b""
        """The beginning of an answer to us that stands where a message may begin."""

        self._unanswered = b""
        """The last message of any unit, if it was a request to read registers."""
        self._hears_requests = framing.listen
        self._asked: _Asked | None = None
        head = bytes((framing.unit, framing.function, 2 * framing.count))
        self._answer = (head, _SHORTEST + 2 * framing.count, self._place(framing.first), framing.read)
        """How an answer to us begins, its length, where our register stands in it, and what reads it."""

        self._answer_may_be_question = framing.question.startswith(head)

    def _recognise(self, data: bytes, at: int) -> int:
        found = recognise(data, at, self._waits)
        if found > 0:
            self._unanswered = data[at : at + found] if found == _REQUEST else b""
        return found

    def _waits(self, message: bytes) -> bool:
        """Return whether one byte more could make something else of a message.

        What looks like an answer is one, and not the beginning of a request, if that unit was just asked, or if nobody
        but us asks; unless those very bytes were sent to ask.
        """
        if len(message) == _REQUEST:
            return True
        if self._framing.listen and message[:2] != self._unanswered[:2]:
            return True
        return self._framing.question.startswith(message) or self._unanswered.startswith(message)

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk, return the values and faults that it completed."""
        data, time_ns = self._begun + chunk.data, chunk.time_ns
        self._begun = b""
        found: list[Frame | Reject] = []
        if not (self._hears_requests or self._scan.kept or self._answer_may_be_question):
            data = data[self._take_answers(data, time_ns, found) :]
            if self._begins_answer(data):
                self._begun = data
                return found
        self._search(data, time_ns, found)
        return found

    def _begins_answer(self, data: bytes) -> bool:
        """Return whether bytes are the beginning of an answer to us, as a stream cut anywhere ends in one."""
        head, length, *_ = self._answer
        return len(data) < length and (data.startswith(head) or head.startswith(data))

    def _search(self, data: bytes, time_ns: int, found: list[Frame | Reject]) -> None:
        """Look for messages of anybody wherever they begin."""
        if data:
            items = (self._item(piece, time_ns) for piece in self._scan.feed(data))
            found += [item for item in items if item is not None]

    def _take_answers(self, data: bytes, time_ns: int, found: list[Frame | Reject]) -> int:
        """Take our whole answers off the front, as most chunks are nothing else; return how far they reach."""
        head, length, place, read = self._answer
        at = 0
        while data.startswith(head, at):
            message = data[at : at + length]
            if len(message) < length or _crc(message):
                break
            fields = read(message, place)
            if isinstance(fields, NoNumber):
                found.append(Reject(time_ns, message, *fields))
            else:
                found.append(Frame(time_ns, message, fields))
            at += length
        return at

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended; what was left over comes back as rejects."""
        found: list[Frame | Reject] = []
        self._search(self._begun, time_ns, found)
        self._begun = b""
        self._hears_requests, self._asked = self._framing.listen, None
        return found + [reject_of(piece, time_ns) for piece in self._scan.finish()]

    def _item(self, piece: Piece, time_ns: int) -> Frame | Reject | None:
        """Return what a piece of the stream is to us; None for what is between others, and for requests."""
        message, framing = piece.raw, self._framing
        if piece.kind is not Kind.WHOLE:
            if len(message) >= _SHORTEST - 1:
                self._asked = None
            return reject_of(piece, time_ns)
        ours = message[0] == framing.unit
        if ours and message[1] == framing.function:
            if len(message) != _REQUEST:
                return self._reply(message, time_ns)
            self._hears_requests = True
            self._asked = _Asked(*struct.unpack_from(">HH", message, 2))
            return None
        if ours and message[1] == framing.function | _EXCEPTION:
            return self._exception(message, time_ns)
        self._asked = None
        return None

    def _reply(self, message: bytes, time_ns: int) -> Frame | Reject | None:
        framing, count = self._framing, message[2] // 2
        asked, self._asked = self._asked, None
        if not self._hears_requests:
            asked = _Asked(framing.first, framing.count)
        elif asked is None:
            return Reject(time_ns, message, RejectReason.NO_MATCH, "an answer to a request that was not heard whole")
        if count != asked.registers:
            words = f"an answer of {count} registers, not of {asked.registers}"
            return Reject(time_ns, message, RejectReason.NO_MATCH, words)
        if not self._covered(asked):
            return None
        fields = framing.read(message, self._place(asked.first))
        if isinstance(fields, NoNumber):
            return Reject(time_ns, message, *fields)
        return Frame(time_ns, message, fields)

    def _place(self, first: int) -> int:
        """Return where in a reply our register stands, `first` being the address of the first one in it."""
        return _BEFORE_REGISTERS + 2 * (self._framing.register - first)

    def _covered(self, asked: _Asked) -> bool:
        """Return whether our registers are all among those asked for."""
        framing = self._framing
        return asked.first <= framing.first and framing.first + framing.count <= asked.first + asked.registers

    def _exception(self, message: bytes, time_ns: int) -> Reject | None:
        asked, self._asked = self._asked, None
        if asked is not None and not self._covered(asked):
            return None
        words = _EXCEPTIONS.get(message[2], f"exception {message[2]}")
        return Reject(time_ns, message, RejectReason.ERROR_ANSWER, words)
