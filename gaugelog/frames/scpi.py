"""Numbers as laboratory instruments answer them: IEEE 488.2 response data, as SCPI uses it.

Here: the three forms of a number (NR1, NR2, NR3), replies of several elements, and what stands for "no number", both
ways. Not here: what to ask, which is the datasheet's `[poll]`. Sources: IEEE 488.2-1992, 8.7.2 to 8.7.4, and SCPI-1999,
volume 1, 7.2.1; clauses from memory.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal

from gaugelog.frames.cut import Lines
from gaugelog.frames.numbers import decimal_of, plain
from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section

_LONGEST = 200
_MOST_ELEMENTS = 100
_NUMBER = re.compile(r" *([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+))([eE][+-]?[0-9]{1,3})? *").fullmatch
_SIGNED_NR3 = re.compile(r"([+-][0-9]+(?:\.[0-9]*)?)([eE][+-]?[0-9]{1,3})").fullmatch
_FORMS = ("any", "signed NR3")
_ERROR = re.compile(r"[+-]?[0-9]+,\"(?s:.*)\" *").fullmatch
_NO_PLAIN_ELEMENTS = re.compile("[\"'#;]").search
"""Texts and blocks may hold commas of their own, and a semicolon parts two answers: places can't be counted then."""

_NOT_A_NUMBER, _INFINITE = Decimal("9.91E37"), Decimal("9.9E37")
_NEAR = Decimal("1E31")
"""An instrument that computes in binary may be this far off when it writes one of the two."""


class ScpiFraming:
    """A number in each reply; the field is `number`.

    Options: `place`, which element of the reply it is, counted from 1; `elements`, how many a reply has (any number
    unless said); `form` of the number; `longest`, in bytes.
    """

    def __init__(self, options: Section) -> None:
        self.place = options.whole("place", 1, _MOST_ELEMENTS) or 1
        self.elements = options.whole("elements", 1, _MOST_ELEMENTS)
        self.longest = options.whole("longest", 1, 10_000) or _LONGEST
        self.with_exponent = options.choice("form", _FORMS, _FORMS[0]) == _FORMS[1]
        self.match_number = _SIGNED_NR3 if self.with_exponent else _NUMBER
        self.fields = frozenset({"number"})
        self.question = b""
        if self.elements is not None and self.elements < self.place:
            options.fault("elements", self.elements, f"at least the place, {self.place}")

    def decoder(self) -> ScpiDecoder:
        """Return a fresh decoder."""
        return ScpiDecoder(self)

    def encode(self, fields: Mapping[str, str | int | float | bytes]) -> bytes:
        """Return the reply with this number; other elements are written as zero.

        Raises:
            ValueError: it is no number.
        """
        given = fields.get("number", 0)
        if self.with_exponent:
            written = format(decimal_of(given), "+E")
        else:
            written = given if isinstance(given, str) and _NUMBER(given) else plain(decimal_of(given))
        elements = ["0"] * (self.elements or self.place)
        elements[self.place - 1] = written
        return ",".join(elements).encode("ascii") + b"\n"


class ScpiDecoder:
    """One connection's replies."""

    def __init__(self, framing: ScpiFraming) -> None:
        self._place = framing.place - 1
        self._elements = framing.elements
        self._match_number = framing.match_number
        self._lines = Lines(framing.longest)

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk, return the replies that it completed."""
        time_ns = chunk.time_ns
        return [
            line if isinstance(line, Reject) else self._reply(line, time_ns)
            for line in self._lines.feed(chunk.data, time_ns)
        ]

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended: an unfinished reply is told as cut off."""
        return [*self._lines.finish(time_ns)]

    def _reply(self, line: bytes, time_ns: int) -> Frame | Reject:
        if not line.isascii():
            return Reject(time_ns, line, RejectReason.ENCODING)
        text = line.decode("ascii")
        if _NO_PLAIN_ELEMENTS(text):
            reason = RejectReason.ERROR_ANSWER if _ERROR(text) else RejectReason.NO_MATCH
            return Reject(time_ns, line, reason, text)
        elements = text.split(",")
        if len(elements) <= self._place or (self._elements or len(elements)) != len(elements):
            return Reject(time_ns, line, RejectReason.NO_MATCH, f"a reply of {len(elements)} elements")
        element = elements[self._place]
        match = self._match_number(element)
        if match is None:
            return Reject(time_ns, line, RejectReason.NUMBER, element)
        number, exponent = match.groups()
        if exponent is None and len(number) < 38:
            return Frame(time_ns, line, {"number": number})
        value = Decimal(number + (exponent or ""))
        if abs(abs(value) - _NOT_A_NUMBER) <= _NEAR:
            return Reject(time_ns, line, RejectReason.NUMBER, "not a number")
        if abs(value) >= _INFINITE - _NEAR:
            return Reject(time_ns, line, RejectReason.RANGE, "over range")
        return Frame(time_ns, line, {"number": plain(value)})
