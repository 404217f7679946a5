"""`gaugelog gauges try`: a datasheet checked, and bytes read through it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gaugelog.cli.options import JsonOption, print_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelog.model.datasheet import Datasheet
    from gaugelog.model.readings import Chunk


def try_datasheet(
    datasheet: Annotated[str, typer.Argument(metavar="DATASHEET", help="A datasheet's name, or its TOML file.")],
    bytes_file: Annotated[
        str,
        typer.Option("--bytes", metavar="FILE", help="A raw log, or bytes as a gauge sent them; - for standard input."),
    ] = "",
    as_json: JsonOption = False,
) -> None:
    """Check a datasheet, and show what it makes of bytes.

    Exit status 0 where it keeps the rules and every message is a reading, 1 where it breaks one or any was rejected.
    """
    from gaugelog.datasheets.checking import broken_rule
    from gaugelog.gauges.trying import try_bytes
    from gaugelog.show.finding_documents import trying_document
    from gaugelog.show.terminal import console
    from gaugelog.show.trying_view import trying_view

    sheet = _datasheet(datasheet)
    broken = broken_rule(sheet)
    chunks = _chunks(bytes_file, sheet) if bytes_file else ()
    tried = try_bytes(sheet, chunks) if bytes_file else None
    start_ns = chunks[0].time_ns if chunks else 0
    if as_json:
        print_json(trying_document(sheet, broken, tried, start_ns))
    else:
        console().print(trying_view(sheet, broken, tried, start_ns))
    if broken or (tried is not None and (tried.rejects or not tried.readings)):
        raise typer.Exit(1)


def _datasheet(named: str) -> Datasheet:
    """Return the datasheet of a name, or of a file where one is named.

    Raises:
        UnknownDatasheetError, UnreadableFileError, FaultyDatasheetError: as they are found or read.
    """
    from gaugelog.datasheets.catalogue import find_datasheet, read_datasheet_file
    from gaugelog.recorder.work import datasheet_folders

    if named.lower().endswith(".toml") or "/" in named or "\\" in named:
        return read_datasheet_file(Path(named))
    return find_datasheet(named, datasheet_folders(Path.cwd()))


def _chunks(file: str, sheet: Datasheet) -> Sequence[Chunk]:
    """Return the bytes to try.

    Raises:
        UnreadableFileError: they can't be read.
        FaultyLogError: a raw log with damaged lines.
    """
    from gaugelog.errors import UnreadableFileError
    from gaugelog.links.replay import DEFAULT_RATE_HZ, chunks_of

    if file == "-":
        return chunks_of(sys.stdin.buffer.read(), "standard input", sheet.rate_hz or DEFAULT_RATE_HZ)
    try:
        data = Path(file).read_bytes()
    except OSError as reason:
        raise UnreadableFileError(file, reason.strerror or str(reason)) from None
    return chunks_of(data, file, sheet.rate_hz or DEFAULT_RATE_HZ)
