"""The numbered schema, and what makes a file a recording.

Here: the SQL texts in order, the numbers that SQLite keeps in a file's head, checksums of rows. Not here: opening
files (`connect`).
"""

from __future__ import annotations

import json
import re
from functools import cache
from importlib.resources import files
from zlib import crc32

APPLICATION_ID = 0x67676C67
"""What SQLite's `application_id` says in a recording: `gglg`."""

_NAME = re.compile(r"(\d{4})\.sql")

Column = int | float | str | bytes | None


@cache
def schema_texts() -> dict[int, str]:
    """Return the schema's SQL by its number, in order."""
    found = {}
    for entry in (files(__package__) / "schema").iterdir():
        match = _NAME.fullmatch(entry.name)
        if match:
            found[int(match[1])] = entry.read_text(encoding="utf-8")
    return dict(sorted(found.items()))


def newest_version() -> int:
    """Return the number of the newest schema known here: what `user_version` says in a recording."""
    return max(schema_texts())


def checksum(*values: object) -> int:
    """Return the CRC-32 of values that JSON can hold; bytes count as hexadecimal text."""
    text = json.dumps(values, ensure_ascii=True, separators=(",", ":"), default=bytes.hex)
    return crc32(text.encode("ascii"))
