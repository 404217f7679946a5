r"""The raw log: every byte of a gauge with its time, as text that a person can read and mend.

Here: writing and reading it. Not here: playing it back in time (`links.replay`).

One chunk a line: seconds, a space, the bytes. Printable ASCII stands for itself, `\r`, `\n`, `\t` and `\\` for what
they always mean, every other byte is `\xNN`; a space at either end is `\x20`, so that no editor can strip it. A line
with seconds alone is a tick. Lines that begin with `#` are remarks; the first says what the file is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TextIO

from gaugelog.errors import Fault, FaultyLogError
from gaugelog.model.readings import Chunk

HEADER = "# gaugelog raw log 1"
"""First line of a raw log."""

_NS = 1_000_000_000
_MOST_FAULTS = 20
_ESCAPES = {"\\r": b"\r", "\\n": b"\n", "\\t": b"\t", "\\\\": b"\\"}
_NAMES = {value[0]: name for name, value in _ESCAPES.items()}
_LINE = re.compile(r"(\d+)(?:\.(\d{1,9}))?(?: (.*))?")
_PIECE = re.compile(r"\\[rnt\\]|\\x[0-9a-fA-F]{2}|[ -\[\]-~]+")


def bytes_to_text(data: bytes) -> str:
    r"""Return bytes as a raw log writes them: `b"2.85\r\n"` gives `2.85\r\n` with the backslashes visible."""
    last = len(data) - 1
    return "".join(_byte_to_text(byte, edge=place in (0, last)) for place, byte in enumerate(data))


def _byte_to_text(byte: int, edge: bool) -> str:
    if byte in _NAMES:
        return _NAMES[byte]
    printable = 0x20 < byte < 0x7F or (byte == 0x20 and not edge)
    return chr(byte) if printable else f"\\x{byte:02x}"


def text_to_bytes(text: str) -> bytes:
    """Return the bytes that `bytes_to_text` wrote.

    Raises:
        ValueError: the text holds what no raw log writes; says what.
    """
    data, place = bytearray(), 0
    while place < len(text):
        match = _PIECE.match(text, place)
        if match is None:
            raise ValueError(f"{text[place : place + 4]!r} at character {place + 1} of the bytes")
        piece = match[0]
        if piece.startswith("\\x"):
            data.append(int(piece[2:], 16))
        else:
            data += _ESCAPES.get(piece) or piece.encode("ascii")
        place = match.end()
    return bytes(data)


def _seconds_to_text(offset_ns: int) -> str:
    """Return nanoseconds as seconds with three decimals at least and nine at most."""
    fraction = f"{offset_ns % _NS:09d}"
    return f"{offset_ns // _NS}.{fraction[:3]}{fraction[3:].rstrip('0')}"


class RawLogWriter:
    """Writes chunks to an open text file, their times counted from the first.

    Args:
        file: text, opened for writing.
        remarks: written as `# key: value` at the top, such as gauge, datasheet, date and whether it is synthetic.
    """

    def __init__(self, file: TextIO, remarks: Mapping[str, str] | None = None) -> None:
        self._file = file
        self._origin_ns: int | None = None
        file.write(HEADER + "\n")
        for key, value in (remarks or {}).items():
            file.write(f"# {key}: {' '.join(value.split())}\n")

    def remark(self, words: str) -> None:
        """Write a remark between the chunks."""
        self._file.write(f"# {' '.join(words.split())}\n")

    def write(self, chunk: Chunk) -> None:
        """Write one chunk. Times must not run backward.

        Raises:
            ValueError: the chunk is older than the first.
        """
        if self._origin_ns is None:
            self._origin_ns = chunk.time_ns
        offset_ns = chunk.time_ns - self._origin_ns
        if offset_ns < 0:
            raise ValueError("a raw log's time can't run backward")
        self._file.write(f"{_seconds_to_text(offset_ns)} {bytes_to_text(chunk.data)}".rstrip() + "\n")


def is_raw_log(head: bytes) -> bool:
    """Return whether a file that begins with `head` says that it is a raw log, of whatever version."""
    return head.startswith(HEADER.rstrip("0123456789").encode())


def parse_raw_log(lines: Iterable[str], path: str | Path = "raw log") -> Sequence[Chunk]:
    """Return the chunks of a raw log, their times in nanoseconds as the log counts them.

    Raises:
        FaultyLogError: a line that is none, with its number; up to twenty are listed at once.
    """
    chunks: list[Chunk] = []
    faults: list[Fault] = []
    for number, raw_line in enumerate(lines, 1):
        line = raw_line.rstrip("\r\n")
        if number == 1 and line.rstrip() != HEADER:
            raise FaultyLogError(path, [Fault("line 1", _short(line), HEADER)])
        if line.startswith("#") or not line.strip():
            continue
        try:
            chunks.append(_parse_line(line, chunks[-1].time_ns if chunks else 0))
        except ValueError as reason:
            faults.append(Fault(f"line {number}", _short(line), str(reason)))
            if len(faults) == _MOST_FAULTS:
                break
    if faults:
        raise FaultyLogError(path, faults)
    return chunks


def _parse_line(line: str, not_before_ns: int) -> Chunk:
    match = _LINE.fullmatch(line)
    if match is None:
        raise ValueError("seconds, a space and the bytes, such as 0.250 2.85\\r\\n")
    time_ns = int(match[1]) * _NS + int((match[2] or "").ljust(9, "0"))
    if time_ns < not_before_ns:
        raise ValueError("a time no earlier than that of the line above")
    try:
        return Chunk(time_ns, text_to_bytes((match[3] or "").strip(" ")))
    except ValueError as reason:
        raise ValueError(f"bytes written as printable ASCII, \\r, \\n, \\t, \\\\ or \\xNN; it has {reason}") from None


def _short(line: str) -> str:
    return repr(line if len(line) <= 60 else line[:57] + "…")
