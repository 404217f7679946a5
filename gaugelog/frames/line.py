"""ASCII lines: one message a line.

Here: matching each line against the datasheet's pattern, and writing a line from its fields. Not here: cutting bytes
into lines (`cut`), nor what a field means (`datasheets`).
"""

from __future__ import annotations

import re
import string
from collections import defaultdict
from collections.abc import Mapping

from gaugelog.frames.cut import Lines
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
    """One connection's lines, each matched. A line's raw bytes are those before its terminator."""

    def __init__(self, framing: LineFraming) -> None:
        self._match = framing.pattern.fullmatch
        self._encoding = framing.encoding
        self._lines = Lines(framing.longest, framing.terminator.encode(framing.encoding))

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        """Take a chunk, return the lines that it completed."""
        lines = self._lines.feed(chunk.data, chunk.time_ns) if chunk.data else ()
        return [line if isinstance(line, Reject) else self._line(line, chunk.time_ns) for line in lines]

    def _line(self, line: bytes, time_ns: int) -> Frame | Reject:
        """Return what one whole line is."""
        try:
            text = line.decode(self._encoding)
        except UnicodeDecodeError:
            return Reject(time_ns, line, RejectReason.ENCODING)
        match = self._match(text)
        if match is None:
            return Reject(time_ns, line, RejectReason.NO_MATCH, text)
        return Frame(time_ns, line, {name: part for name, part in match.groupdict().items() if part is not None})

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        """Say that the connection has ended: an unfinished line is told as cut off."""
        return [*self._lines.finish(time_ns)]
