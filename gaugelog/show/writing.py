"""Writing a file whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from gaugelog.errors import WriteFailedError


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a temporary file beside a path to write to; it bears the path's name only once it is whole on the disk.

    So neither a program that is killed nor a power cut leaves a half-written file under that name.

    Raises:
        WriteFailedError: it can't be written; an older file of that name is left as it was.
    """
    part = path.with_name(path.name + ".part")
    try:
        yield part
        with part.open("r+b") as written:
            os.fsync(written.fileno())
        part.replace(path)
    except OSError as reason:
        raise WriteFailedError(path, reason.strerror or str(reason)) from None
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def write_whole(path: Path, text: str) -> None:
    """Write UTF-8 text, so that a half-written file is never seen.

    Raises:
        WriteFailedError: it can't be written; an older file of that name is left as it was.
    """
    with whole_file(path) as part:
        part.write_text(text, encoding="utf-8", newline="\n")
