"""Lines in a stream of bytes.

Here: cutting at CR, LF or both, or at a terminator, in bounded memory. Not here: what a line is; each framing of lines
says that. This is no framing.
"""

from __future__ import annotations

from gaugelog.model.readings import Reject, RejectReason


class Lines:
    """One connection's bytes cut into lines without their ends; empty lines are left out.

    Args:
        longest: how many bytes a line may have; of a longer one the beginning is told once, and its rest forgotten.
        terminator: what ends a line; CR, LF or both where it is empty.
    """

    def __init__(self, longest: int, terminator: bytes = b"") -> None:
        self._longest, self._terminator = longest, terminator
        self._tail = max(len(terminator) - 1, 0)
        """How many bytes of a terminator may have come before it is whole."""

        self._kept = b""
        self._too_long = False
        self.begun = False
        """Whether a line has begun that isn't whole yet."""

    def feed(self, data: bytes, time_ns: int) -> list[bytes | Reject]:
        """Take bytes, return the lines that they completed, and a reject for each that is too long."""
        found: list[bytes | Reject] = []
        *lines, self._kept = self._cut(self._kept + data)
        for line in lines:
            if self._too_long:
                self._too_long = False
            elif len(line) > self._longest:
                found.append(self._reject(line, time_ns))
            elif line:
                found.append(line)
        if self._too_long or len(self._kept) > self._longest + self._tail:
            if not self._too_long:
                found.append(self._reject(self._kept, time_ns))
            self._kept, self._too_long = self._kept[max(len(self._kept) - self._tail, 0) :], True
        self.begun = self._too_long or bool(self._kept)
        return found

    def _cut(self, data: bytes) -> list[bytes]:
        if self._terminator:
            return data.split(self._terminator)
        return data.replace(b"\r", b"\n").split(b"\n")

    def take_back(self) -> bytes:
        """Return the line that has begun, for whoever can make more of it at once; of one too long nothing is kept."""
        if self._too_long:
            return b""
        kept, self._kept, self.begun = self._kept, b"", False
        return kept

    def _reject(self, line: bytes, time_ns: int) -> Reject:
        return Reject(time_ns, line[: self._longest], RejectReason.TOO_LONG)

    def finish(self, time_ns: int) -> list[Reject]:
        """Say that the connection has ended: an unfinished line is told as cut off."""
        kept = b"" if self._too_long else self._kept
        self._kept, self._too_long, self.begun = b"", False, False
        return [Reject(time_ns, kept, RejectReason.CUT_OFF)] if kept else []
