"""Messages with a check digit: `<`, a sign, so many digits, `:`, the check digit, `>`.

The check digit is the last digit of the sum of each digit times its place, counted from 1, and 7 more for a minus:
`<+00285:3>`, since 2*3 + 8*4 + 5*5 = 63.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal

from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section


def check_digit(signed_digits: str) -> str:
    """Return the check digit of a sign and digits."""
    sign, digits = signed_digits[0], signed_digits[1:]
    total = sum(place * int(digit) for place, digit in enumerate(digits, 1))
    return str((total + 7 * (sign == "-")) % 10)


class TallyFraming:
    """A whole number with a check digit. Option: `digits`, how many it always has, 1 to 9."""

    fields = frozenset({"number"})
    question = b""

    def __init__(self, options: Section) -> None:
        """Take the options of a datasheet's [framing] table; what is wrong is noted there."""
        self.digits = options.whole("digits", 1, 9, required=True) or 1

    def decoder(self) -> TallyDecoder:
        """Return a fresh decoder."""
        return TallyDecoder(self.digits)

    def encode(self, fields: Mapping[str, str | int | float | bytes]) -> bytes:
        """Return the bytes of one message."""
        number = int(Decimal(str(fields.get("number", 0))))
        signed_digits = f"{'-' if number < 0 else '+'}{abs(number):0{self.digits}d}"
        if len(signed_digits) != 1 + self.digits:
            raise ValueError(f"{number} has more than {self.digits} digits")
        return f"<{signed_digits}:{check_digit(signed_digits)}>".encode()


class TallyDecoder:
    """One connection's bytes cut into messages; what lies between them is told as rejected."""

    def __init__(self, digits: int) -> None:
        self._length = digits + 5
        self._match = re.compile(rb"<([+-]\d{%d}):(\d)>" % digits).fullmatch
        self._kept = b""

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk, return the messages that it completed."""
        found: list[Frame | Reject] = []
        self._kept += chunk.data
        while self._kept:
            start = self._kept.find(b"<")
            if start:
                found.append(self._reject(start if start > 0 else len(self._kept), chunk.time_ns))
            elif len(self._kept) < self._length:
                break
            else:
                found.append(self._message(chunk.time_ns))
        return found

    def _message(self, time_ns: int) -> Frame | Reject:
        """Return what stands at the beginning, a whole message long."""
        raw = self._kept[: self._length]
        match = self._match(raw)
        if match is None:
            return self._reject(1, time_ns)
        signed_digits, digit = match[1].decode(), match[2].decode()
        if check_digit(signed_digits) != digit:
            return self._reject(self._length, time_ns, RejectReason.CHECKSUM)
        self._kept = self._kept[self._length :]
        return Frame(time_ns, raw, {"number": int(signed_digits)})

    def _reject(self, length: int, time_ns: int, reason: RejectReason = RejectReason.NO_MATCH) -> Reject:
        raw, self._kept = self._kept[:length], self._kept[length:]
        return Reject(time_ns, raw, reason)

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended: the beginning of a message is told as cut off."""
        return [self._reject(len(self._kept), time_ns, RejectReason.CUT_OFF)] if self._kept else []
