"""Marks of a clamp session as they are typed: which, and how long ago.

Here: words to a mark's kind and to seconds. Not here: setting it (`recorder.clamping`).
"""

from __future__ import annotations

import difflib
import re

from gaugelog.errors import BadArgumentError
from gaugelog.model.placement import MarkKind

_AGO = re.compile(r"\s*(?:(\d{1,9})\s*h)?\s*(?:(\d{1,9})\s*m(?:in)?)?\s*(?:(\d{1,9})\s*s?)?\s*$")
_ALIKE = 0.75
_LONGEST_AGO_S = 366 * 86_400


def seconds_ago(text: str) -> float:
    """Return the seconds that `2m`, `1h30m` or `45s` name.

    Raises:
        BadArgumentError: it names no time, or one more than a year ago.
    """
    match = _AGO.match(text)
    if match is None or not any(match.groups()):
        raise BadArgumentError(text, "a time such as 45s, 2m or 1h30m")
    hours, minutes, seconds = (int(part or 0) for part in match.groups())
    ago_s = hours * 3600 + minutes * 60 + seconds
    if ago_s > _LONGEST_AGO_S:
        raise BadArgumentError(text[:40], "a time no more than a year ago")
    return float(ago_s)


def named_mark(text: str) -> tuple[MarkKind, str]:
    """Return the mark that a name names and no words, or a note and its words.

    Raises:
        BadArgumentError: the name is empty, or very like a mark's: a slip of the finger is no note.
    """
    written = text.strip()
    if not written:
        raise BadArgumentError(written, "a mark has a name, and a note has words")
    names = {kind.value: kind for kind in MarkKind if kind is not MarkKind.NOTE}
    kind = names.get(written.lower())
    if kind is not None:
        return kind, ""
    near = difflib.get_close_matches(written.lower(), names, 1, _ALIKE)
    if near:
        raise BadArgumentError(written, f"it is very like the mark {near[0]!r}; as a note, say it in other words")
    return MarkKind.NOTE, written
