"""`gaugelog gauges find`: what is there, which datasheets fit what it sends, and the chosen one written down."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gaugelog.cli.options import InstrumentOption, JsonOption, print_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelog.gauges.found import Choice, Found, Wish
    from gaugelog.model.datasheet import Datasheet


def find(
    look: Annotated[
        float, typer.Option("--for", min=0.1, metavar="SECONDS", help="How long to look for radio devices.")
    ] = 6.0,
    listen: Annotated[
        float, typer.Option(min=0.1, metavar="SECONDS", help="How long to listen at each place and speed.")
    ] = 3.0,
    speeds: Annotated[
        list[int] | None,
        typer.Option("--baud", min=1, metavar="N", help="Speed of serial ports to try; may be given several times."),
    ] = None,
    places: Annotated[
        list[str] | None,
        typer.Option("--at", metavar="ADDRESS", help="Listen only there; may be given several times."),
    ] = None,
    ask: Annotated[
        bool,
        typer.Option(
            "--ask",
            help="Send the questions of all datasheets to what is silent. Caution: an unknown device may be a machine"
            " that moves.",
        ),
    ] = False,
    take: Annotated[
        str,
        typer.Option(metavar="N", help="Write this one into the instrument file: its number, or its datasheet's name."),
    ] = "",
    name: Annotated[str, typer.Option("--as", metavar="NAME", help="The short name to write it under.")] = "",
    replace: Annotated[
        bool, typer.Option("--replace", help="Put it in the place of a gauge that has this short name already.")
    ] = False,
    instrument: InstrumentOption = None,
    as_json: JsonOption = False,
) -> None:
    """Look around for gauges, listen, and show which datasheets fit what they send.

    Serial ports are opened and listened to, those in use by another program left alone. A radio device is connected to
    only if it advertises a service that a known datasheet names, or is named with --at. Nothing is sent unless --ask is
    given: make sure first that nothing behind these ports can move, heat or cut.
    """
    from gaugelog.gauges.found import Wish
    from gaugelog.recorder.work import datasheet_folders

    _check_wanted(take, name)
    target = _target(instrument, required=bool(take))
    if take and target is not None:
        from gaugelog.instruments.gauge_entry import check_room

        check_room(target, name, replace=replace)
    wish = Wish(look, listen, tuple(speeds or ()), tuple(places or ()), ask)
    found = _search(wish, _known(datasheet_folders(target.parent if target else Path.cwd())))
    if as_json:
        _print_document(found, _chosen(found, take) if take else None, target, name, replace)
        return
    _show(found, ask)
    choice = _chosen(found, take) if take else None
    if choice is None and found.choices and sys.stdin.isatty() and sys.stdout.isatty():
        if target is None:
            _tell_how(found.choices[0])
            return
        choice, name, replace = _ask_which(found, target, name, replace)
    if choice is not None and target is not None:
        _write(choice, target, name, replace)
    elif found.choices:
        _tell_how(found.choices[0])


def _check_wanted(take: str, name: str) -> None:
    """Check that what is to be taken has a name, and the other way round.

    Raises:
        BadArgumentError: one of the two is missing.
    """
    from gaugelog.errors import BadArgumentError

    if take and not name:
        raise BadArgumentError(f"--take {take}", "the short name to write it under is said with --as NAME")
    if name and not take:
        raise BadArgumentError(f"--as {name}", "which one is to be written is said with --take N")


def _target(instrument: Path | None, required: bool) -> Path | None:
    """Return the instrument file to write into; None where there is none and none is needed.

    Raises:
        NoInstrumentError: none is named, and the folder holds none or several; only if `required`.
    """
    from gaugelog.cli.options import find_files
    from gaugelog.errors import NoInstrumentError

    try:
        return find_files(instrument, None)[0]
    except NoInstrumentError:
        if required:
            raise
        return None


def _known(folders: Sequence[Path]) -> Sequence[Datasheet]:
    """Return the datasheets to try; a package's that can't be used are told and left out."""
    from gaugelog.datasheets.catalogue import broken_datasheets, known_datasheets

    known = known_datasheets(folders)
    for broken in broken_datasheets():
        typer.echo(f"gaugelog: {broken}", err=True)
    return known


def _search(wish: Wish, datasheets: Sequence[Datasheet]) -> Found:
    from gaugelog.cli.live import start
    from gaugelog.gauges.finding import find_gauges
    from gaugelog.show.finding_progress import FindingProgress

    with FindingProgress() as progress:
        return start(find_gauges(wish, datasheets, progress))


def _show(found: Found, asked: bool) -> None:
    from gaugelog.show.finding_view import finding_view
    from gaugelog.show.terminal import console

    console().print(finding_view(found, asked))


def _chosen(found: Found, take: str) -> Choice:
    """Return the choice of a number or of a datasheet's name.

    Raises:
        NothingToDoError: there is none, or a name fits at more than one place.
    """
    from gaugelog.errors import NothingToDoError

    fitting = [each for each in found.choices if take in (str(each.number), each.fit.datasheet.name)]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        numbers = ", ".join(str(each.number) for each in fitting)
        raise NothingToDoError(f"{take} fits at several places: {numbers}", "Nothing was written. Say its number.")
    there = ", ".join(f"{each.number} {each.fit.datasheet.name}" for each in found.choices)
    raise NothingToDoError(
        f"there is no {take} among what was found" + (f": {there}" if there else ""),
        "Nothing was written. Look again without --take.",
    )


def _ask_which(found: Found, target: Path, name: str, replace: bool) -> tuple[Choice | None, str, bool]:
    """Return what a person chooses: one of the choices or none, its short name, and whether one may be replaced."""
    from gaugelog.errors import FaultyInstrumentError, GaugeNameTakenError, NothingToDoError
    from gaugelog.instruments.gauge_entry import check_room

    typer.echo("")
    while True:
        wanted = typer.prompt(
            f"Write which one into {target.name}? Its number, or Enter for none", "", show_default=False
        )
        if not wanted:
            return None, name, replace
        try:
            choice = _chosen(found, wanted.strip())
            break
        except NothingToDoError as reason:
            typer.echo(str(reason))
    while True:
        name = typer.prompt("Short name", choice.fit.datasheet.quantity.value).strip()
        try:
            check_room(target, name, replace=replace)
        except GaugeNameTakenError as taken:
            if typer.confirm(f"{taken}. Replace it?"):
                return choice, name, True
            continue
        except FaultyInstrumentError as faulty:
            typer.echo(str(faulty))
            continue
        return choice, name, replace


def _write(choice: Choice, target: Path, name: str, replace: bool) -> None:
    from gaugelog.instruments.gauge_entry import write_gauge

    write_gauge(target, name, choice.gauge, replace=replace)
    typer.echo(f'\nWritten into {target}:\n  {name} = "{choice.gauge}"')
    typer.echo(f"Try it: gaugelog gauges read {name}")


def _tell_how(choice: Choice) -> None:
    """Say how what was found is used, by the example of the first."""
    typer.echo(f"\nTo hear it: gaugelog gauges read '{choice.gauge}'")
    typer.echo("To write it into the instrument file: the same command with --take NUMBER --as NAME.")


def _print_document(found: Found, choice: Choice | None, target: Path | None, name: str, replace: bool) -> None:
    from gaugelog.show.finding_documents import finding_document, written_document

    written = None
    if choice is not None and target is not None:
        from gaugelog.instruments.gauge_entry import write_gauge

        write_gauge(target, name, choice.gauge, replace=replace)
        written = written_document(str(target), name, choice.gauge)
    print_json(finding_document(found, written))
