"""Sentences of NMEA 0183: a number in an XDR transducer measurement, or at a place in any other sentence.

Here: cutting out sentences, their checksum, and one transducer among several, both ways. Not here: what a unit's letter
means, which is the datasheet's `[value]`. Source: NMEA 0183, clauses not seen; form, checksum and transducer types as
many manuals reprint them; the length of 82 from memory.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping

import anycrc  # type: ignore[import-untyped]

from gaugelog.frames.cut import Lines
from gaugelog.frames.numbers import decimal_of, plain
from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section

_XDR = "XDR"
_QUADRUPLE = 4
_LONGEST = 82
_LINE_END = 2
_MOST_PLACES = 100
_BEHIND_BODY = 5
"""The star, two digits, and the end of the line."""

_ADDRESS_LENGTH = 6
"""Talker, formatter, and the comma behind them."""

_TALKER = "II"
"""What an integrated instrument calls itself."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)").fullmatch
_PART = re.compile(r"[^\x00-\x1f\x7f-\U0010ffff,*$!\\^~]*").fullmatch
"""What a part of a sentence may be made of: the standard keeps the other signs for itself."""

_SENTENCE = re.compile(rb"[$!]([\x20-\x7e]*)\*([0-9A-Fa-f]{2})").fullmatch
_ADDRESS = re.compile(r"[A-OQ-Z][A-Z0-9]").fullmatch
_FORMATTER = re.compile(r"[A-Z0-9]{3}").fullmatch
_HEX = {f"{number:02X}": number for number in range(256)}
_NONE = re.compile("(?!)")
_LETTERS = r"[\x20\x22\x23\x25-\x29\x2b\x2d-\x7e]*"
"""What a part that is received may be made of: all that can be printed, but for the signs that part a sentence."""


checksum: Callable[[bytes], int] = anycrc.CRC(8, 0x01, 0x00, False, False, 0x00).calc
"""The exclusive or of all bytes, which is their remainder by x**8 + 1."""


class NmeaFraming:
    """A number in each sentence of one kind.

    Options: `sentence`, three letters (XDR); `talker`, the two letters before them (any). Of XDR: `type` and `id`, at
    least one of them, which transducer. Of others: `place` of the number and `unit_place`, counted from 1. `longest`,
    in bytes with the end of the line.
    """

    def __init__(self, options: Section) -> None:
        self.sentence = options.text("sentence", _XDR)
        self.talker = options.text("talker")
        self.longest = options.whole("longest", 12, 10_000) or _LONGEST
        self.type = self.id = ""
        self.place = 1
        self.unit_place: int | None = None
        if not _FORMATTER(self.sentence):
            options.fault("sentence", self.sentence, "three capital letters or digits, such as XDR")
        if self.talker and not _ADDRESS(self.talker):
            options.fault("talker", self.talker, "two capital letters, the first of them not P, such as II")
        self.is_xdr = self.sentence == _XDR
        if self.is_xdr:
            self._read_transducer(options)
        else:
            self._read_places(options)
        named = {"type", "id", "unit"} if self.is_xdr else {"unit"} if self.unit_place else set[str]()
        self.fields = frozenset({"number", "talker"} | named)
        self.question = b""

    def _read_transducer(self, options: Section) -> None:
        self.type, self.id = options.text("type"), options.text("id")
        for name, text in (("type", self.type), ("id", self.id)):
            if not _PART(text):
                options.fault(name, text, "plain characters without , * $ ! \\ ^ ~")
        if not self.type and not self.id:
            options.fault("type", None, 'which transducer: its type, such as "A", or its id, or both')

    def _read_places(self, options: Section) -> None:
        self.place = options.whole("place", 1, _MOST_PLACES, required=True) or 1
        self.unit_place = options.whole("unit_place", 1, _MOST_PLACES)
        if self.unit_place == self.place:
            options.fault("unit_place", self.unit_place, "another place than the number's")

    def only_transducer(self) -> re.Pattern[str]:
        """Return what a whole sentence matches that holds nothing but one transducer that is meant.

        Its groups: all that is checked, talker, type, number, unit, id, and the checksum.
        """
        if not self.is_xdr:
            return _NONE
        talker = re.escape(self.talker) or "[A-OQ-Z][A-Z0-9]"
        kind, name = (re.escape(text) or _LETTERS for text in (self.type, self.id))
        number = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
        return re.compile(rf"\$(({talker})XDR,({kind}),({number}),({_LETTERS}),({name}))\*([0-9A-F]{{2}})\r\n")

    def decoder(self) -> NmeaDecoder:
        """Return a fresh decoder."""
        return NmeaDecoder(self)

    def encode(self, fields: Mapping[str, str | int | float | bytes]) -> bytes:
        """Return the sentence with these fields; the options count where one of theirs is missing.

        Raises:
            ValueError: a text that no sentence can hold, or more than the longest one can.
        """
        given = fields.get("number", 0)
        number = given if isinstance(given, str) and _NUMBER(given) else plain(decimal_of(given))
        unit = str(fields.get("unit", ""))
        if self.is_xdr:
            parts = [str(fields.get("type", self.type)), number, unit, str(fields.get("id", self.id))]
        else:
            parts = [""] * max(self.place, self.unit_place or 0)
            parts[self.place - 1] = number
            if self.unit_place:
                parts[self.unit_place - 1] = unit
        talker = str(fields.get("talker") or self.talker or _TALKER)
        wrong = [part for part in parts if not _PART(part)]
        if wrong or not _ADDRESS(talker):
            raise ValueError(f"no sentence can hold {(wrong or [talker])[0]!r}")
        body = ",".join([talker + self.sentence, *parts]).encode("ascii")
        sentence = b"$%b*%02X\r\n" % (body, checksum(body))
        if len(sentence) > self.longest:
            raise ValueError(f"a sentence of {len(sentence)} bytes is longer than {self.longest}")
        return sentence


class NmeaDecoder:
    """One connection's sentences. A frame's raw bytes are those of its own part of the sentence where it is an XDR."""

    def __init__(self, framing: NmeaFraming) -> None:
        self._framing = framing
        self._sentence, self._talker = framing.sentence, framing.talker
        self._read = self._transducers if framing.is_xdr else self._place
        self._longest = framing.longest - _BEHIND_BODY
        self._lines = Lines(framing.longest - _LINE_END)
        self._find_only = framing.only_transducer().findall

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk, return the values and faults that it completed."""
        time_ns = chunk.time_ns
        data = self._lines.take_back() + chunk.data if self._lines.begun else chunk.data
        found = self._all_alike(data, time_ns)
        if found and data.endswith(b"\n"):
            return found
        left = data[data.rfind(b"\n") + 1 :] if found else data
        for line in self._lines.feed(left, time_ns):
            if isinstance(line, Reject):
                found.append(line)
            else:
                self._line(line, time_ns, found)
        return found

    def _all_alike(self, data: bytes, time_ns: int) -> list[Frame | Reject]:
        """Return the values of all whole sentences where each is sound and of our transducer alone, as most are.

        Empty where any of them is anything else: each line is then looked at by itself.
        """
        text = data.decode("latin-1")
        found: list[Frame | Reject] = []
        longest, sum_of, of_digits = self._longest, checksum, _HEX
        at = 0
        for body, talker, kind, number, unit, name, sent in self._find_only(text):
            end = at + 1 + len(body)
            checked = data[at + 1 : end]
            if sum_of(checked) != of_digits[sent] or end - at > longest:
                return []
            fields = {"number": number, "unit": unit, "id": name, "type": kind, "talker": talker}
            found.append(Frame(time_ns, checked[_ADDRESS_LENGTH:], fields))
            at = end + _BEHIND_BODY
        return found if at == text.rfind("\n") + 1 else []

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended: an unfinished sentence is told as cut off."""
        return [*self._lines.finish(time_ns)]

    def _line(self, line: bytes, time_ns: int, found: list[Frame | Reject]) -> None:
        """Tell what one line is; a sentence begins at the last sign that can begin one."""
        begin = max(line.rfind(b"$"), line.rfind(b"!"))
        if begin:
            found.append(Reject(time_ns, line[:begin] if begin > 0 else line, RejectReason.NO_MATCH))
            if begin < 0:
                return
            line = line[begin:]
        match = _SENTENCE(line)
        if match is None:
            reason = RejectReason.CHECKSUM if line.isascii() else RejectReason.ENCODING
            found.append(Reject(time_ns, line, reason, "no checksum" if line.isascii() else ""))
            return
        body, sent = match.groups()
        if checksum(body) != int(sent, 16):
            found.append(Reject(time_ns, line, RejectReason.CHECKSUM))
            return
        address, *parts = body.decode("ascii").split(",")
        talker = address[:2]
        if address[2:] == self._sentence and line[0] == 0x24 and talker[0] != "P" and self._talker in ("", talker):
            found.extend(self._read(parts, talker, line, time_ns))

    def _transducers(self, parts: list[str], talker: str, line: bytes, time_ns: int) -> Iterator[Frame | Reject]:
        """Give each transducer that is meant, in their order."""
        if len(parts) % _QUADRUPLE:
            yield Reject(time_ns, line, RejectReason.NO_MATCH, "parts that are no fours of type, number, unit, id")
            return
        wanted_type, wanted_id = self._framing.type, self._framing.id
        for at in range(0, len(parts), _QUADRUPLE):
            kind, number, unit, name = four = parts[at : at + _QUADRUPLE]
            if wanted_type in ("", kind) and wanted_id in ("", name):
                raw = ",".join(four).encode("ascii")
                if _NUMBER(number):
                    fields = {"number": number, "unit": unit, "id": name, "type": kind, "talker": talker}
                    yield Frame(time_ns, raw, fields)
                else:
                    yield Reject(time_ns, raw, RejectReason.NUMBER, number)

    def _place(self, parts: list[str], talker: str, line: bytes, time_ns: int) -> Iterator[Frame | Reject]:
        """Give the number at the place that is meant."""
        place, unit_place = self._framing.place, self._framing.unit_place
        if len(parts) < max(place, unit_place or 0):
            yield Reject(time_ns, line, RejectReason.NO_MATCH, f"a sentence of {len(parts)} parts")
        elif not _NUMBER(parts[place - 1]):
            yield Reject(time_ns, line, RejectReason.NUMBER, parts[place - 1])
        else:
            fields = {"number": parts[place - 1], "talker": talker}
            if unit_place:
                fields["unit"] = parts[unit_place - 1]
            yield Frame(time_ns, line, fields)
