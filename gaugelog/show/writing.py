"""Writing a file whole or not at all."""

from __future__ import annotations

from pathlib import Path

from gaugelog.errors import WriteFailedError


def write_whole(path: Path, text: str) -> None:
    """Write UTF-8 text through a temporary file beside it, so that a half-written file is never seen.

    Raises:
        WriteFailedError: it can't be written; an older file of that name is left as it was.
    """
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        part.replace(path)
    except OSError as reason:
        part.unlink(missing_ok=True)
        raise WriteFailedError(path, reason.strerror or str(reason)) from None
