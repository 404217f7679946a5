"""ASCII lines: one message a line.

Here: cutting bytes into lines, matching each against the datasheet's pattern, and writing a line from its fields.
Not here: what a field means (`datasheets`).
"""

from __future__ import annotations

import re
import string
from collections import defaultdict
from collections.abc import Mapping

from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section

_EITHER = ""
_LONGEST = 200
_WIDE = re.compile(r"\d{4,}|\{")
"""A width that no line has, or one that is itself a field."""


class LineFraming:
    """Lines that match a pattern; its named groups are the fields of a frame.

    Options: `pattern`, a regular expression that a whole line matches; `template`, how a line is written from the same
    names; `terminator`, what ends a line (CR, LF or both, unless said); `encoding` (ascii); `longest`, in bytes.
    """

    def __init__(self, options: Section) -> None:
        pattern = options.pattern("pattern", required=True)
        self.pattern = pattern or re.compile("(?!)")
        self.template = options.text("template", required=True)
        self.terminator = options.text("terminator", _EITHER)
        self.encoding = options.choice("encoding", ("ascii", "latin-1", "utf-8"), "ascii")
        self.longest = options.whole("longest", 1, 10_000) or _LONGEST
        if pattern is not None and not pattern.groupindex:
            options.fault("pattern", pattern.pattern, "named groups such as (?P<number>…), one of them for the value")
        self.fields = frozenset(self.pattern.groupindex)
        self.question = b""
        self._check_template(options)
        for name, text in (("template", self.template), ("terminator", self.terminator)):
            if not text.isascii() and not self._can_be_sent(text):
                options.fault(name, text, f"characters that {self.encoding} has")

    def _can_be_sent(self, text: str) -> bool:
        try:
            text.encode(self.encoding)
        except UnicodeEncodeError:
            return False
        return True

    def _check_template(self, options: Section) -> None:
        if not self.template or not self.pattern.groupindex:
            return
        groups = set(self.pattern.groupindex)
        try:
            parts = [part for part in string.Formatter().parse(self.template) if part[1] is not None]
            if any(_WIDE.search(spec or "") for _, _, spec, _ in parts):
                raise ValueError("a width of up to three digits")
            names = {name for _, name, _, _ in parts}
            self.template.format_map(defaultdict(str))
        except (ValueError, KeyError, IndexError, AttributeError, TypeError) as reason:
            options.fault("template", self.template, f"a text with the pattern's names in braces ({reason})")
            return
        if names != groups:
            options.fault("template", self.template, "exactly the names of the pattern: " + ", ".join(sorted(groups)))

    def decoder(self) -> LineDecoder:
        """Return a fresh decoder."""
        return LineDecoder(self)

    def encode(self, fields: Mapping[str, str | int | float | bytes]) -> bytes:
        """Return the bytes of one line with these fields; a name that is missing is written as nothing."""
        line = self.template.format_map(defaultdict(str, fields))
        return (line + (self.terminator or "\r\n")).encode(self.encoding)


class LineDecoder:
    """One connection's bytes cut into lines. A line's raw bytes are those before its terminator."""

    def __init__(self, framing: LineFraming) -> None:
        self._match = framing.pattern.fullmatch
        self._terminator = framing.terminator.encode(framing.encoding)
        self._encoding = framing.encoding
        self._longest = framing.longest
        self._most_kept = framing.longest + max(len(self._terminator) - 1, 0)
        self._kept = b""
        self._too_long = False

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk, return the lines that it completed."""
        if not chunk.data:
            return []
        *lines, self._kept = self._cut(self._kept + chunk.data)
        found = [item for line in lines if (item := self._line(line, chunk.time_ns)) is not None]
        if len(self._kept) > self._most_kept:
            if not self._too_long:
                found.append(self._reject(self._kept, chunk.time_ns, RejectReason.TOO_LONG))
            self._too_long = True
            self._kept = self._kept[len(self._kept) - max(len(self._terminator) - 1, 0) :]
        return found

    def _cut(self, data: bytes) -> list[bytes]:
        if self._terminator:
            return data.split(self._terminator)
        return data.replace(b"\r", b"\n").split(b"\n")

    def _line(self, line: bytes, time_ns: int) -> Frame | Reject | None:
        """Return what one whole line is; None for an empty one and for the rest of one already told as too long."""
        if self._too_long:
            self._too_long = False
            return None
        if not line:
            return None
        if len(line) > self._longest:
            return self._reject(line, time_ns, RejectReason.TOO_LONG)
        try:
            text = line.decode(self._encoding)
        except UnicodeDecodeError:
            return Reject(time_ns, line, RejectReason.ENCODING)
        match = self._match(text)
        if match is None:
            return Reject(time_ns, line, RejectReason.NO_MATCH, text)
        return Frame(time_ns, line, {name: part for name, part in match.groupdict().items() if part is not None})

    def _reject(self, data: bytes, time_ns: int, reason: RejectReason) -> Reject:
        return Reject(time_ns, data[: self._longest], reason)

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended: an unfinished line is told as cut off."""
        kept, self._kept = self._kept, b""
        too_long, self._too_long = self._too_long, False
        return [Reject(time_ns, kept, RejectReason.CUT_OFF)] if kept and not too_long else []
