"""`gaugelog gauges check`: what a gauge is worth, kept in the builder's gauge book."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gaugelog.cli.options import BookOption, InstrumentOption, JsonOption, book_folder, print_json

if TYPE_CHECKING:
    from gaugelog.model.datasheet import Datasheet
    from gaugelog.model.gauge_check import CheckPlan, Reference
    from gaugelog.model.instrument import NamedGauge
    from gaugelog.recorder.checking import CheckWork

_AGAIN, _TURNS, _REST_MIN, _CYCLES, _EVERY_DAYS = 10, 3, 5.0, 2, 365


def check(
    gauge: Annotated[
        str, typer.Argument(metavar="GAUGE", help="A short name of the instrument file, or DATASHEET@ADDRESS.")
    ],
    rest: Annotated[
        float, typer.Option(min=0.0, metavar="MINUTES", help="Leave it alone so long at first; 0 leaves this out.")
    ] = _REST_MIN,
    again: Annotated[
        int, typer.Option(min=0, max=1000, metavar="N", help="Set it down N times on one spot; 0 leaves this out.")
    ] = _AGAIN,
    turns: Annotated[
        int | None,
        typer.Option(
            min=0,
            max=50,
            metavar="N",
            help="Turn it end for end N times on a level; 0 leaves this out. Else 3 for angles.",
        ),
    ] = None,
    at: Annotated[
        list[str] | None,
        typer.Option(
            "--at", metavar='"VALUE ± OFF"', help="A block or wedge to read, and what it may be off; repeat it."
        ),
    ] = None,
    sine: Annotated[
        str,
        typer.Option(metavar='"LENGTH ± OFF"', help="Length of a sine bar; --at then gives the heights of its blocks."),
    ] = "",
    cycles: Annotated[int, typer.Option(min=1, max=50, metavar="N", help="Read each reference N times.")] = _CYCLES,
    one_way: Annotated[
        bool, typer.Option("--one-way", help="Come to the references from the smaller side only.")
    ] = False,
    every: Annotated[
        int, typer.Option(min=0, metavar="DAYS", help="Tell when the check is older than this; 0 never does.")
    ] = _EVERY_DAYS,
    anew: Annotated[bool, typer.Option("--anew", help="Begin a new check though one is not finished.")] = False,
    finish: Annotated[
        bool, typer.Option("--finish", help="Work out the unfinished check from what there is; read nothing more.")
    ] = False,
    study: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="FILE.csv", help="A study by several people or on several days: value,person,day,run."
        ),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="No bell.")] = False,
    book: BookOption = None,
    instrument: InstrumentOption = None,
    as_json: JsonOption = False,
) -> None:
    """Walk through a check of a gauge: left alone, set down again, turned end for end, read against references.

    Each part can be left out; the result says what is then not known. Stop with q; the same command goes on. The result
    is kept in your gauge book and used from then on by capture, compare, neck and ready.
    """
    from gaugelog.cli.naming import name_gauge
    from gaugelog.datasheets.catalogue import find_datasheet
    from gaugelog.recorder.checking import open_check, take_study
    from gaugelog.show.numbers import count_text, date_text
    from gaugelog.store.gauge_book import read_gauge_book

    named, folders = name_gauge(gauge, instrument)
    sheet = find_datasheet(named.gauge.datasheet, folders)
    kept = read_gauge_book(book_folder(book))
    if study is not None:
        _tell(take_study(kept, named, sheet, study, every), named, as_json)
        return
    plan = _plan(named, sheet, rest, again, turns, _references(at or [], sine, sheet), cycles, not one_way, every)
    with open_check(kept, named, plan, folders, anew=anew) as work:
        if work.resumed:
            begun = date_text(work.begun_utc_us)
            typer.echo(f"Going on with the check begun {begun}, as it was planned. --anew begins another.", err=True)
        if not finish:
            _walk(work, quiet=quiet, aside=as_json)
        path, missing, done = work.path, work.missing, work.finish(anyway=finish)
    if not done:
        left = count_text(missing, "setting") if missing else "The time left alone"
        words = f"{left} still to read; the same command goes on. --finish works out what there is."
        typer.echo(words, err=as_json)
        return
    _tell(path, named, as_json)


def _references(texts: list[str], sine: str, sheet: Datasheet) -> tuple[Reference, ...]:
    """Return the references given, as angles where they are blocks under a sine bar.

    Raises:
        BadArgumentError: one can't be read, or a sine bar is given for a gauge that reads no angle.
    """
    from gaugelog.errors import BadArgumentError
    from gaugelog.instruments.check_references import parse_reference, sine_reference
    from gaugelog.model.quantities import Quantity

    if not sine:
        return tuple(parse_reference(text, sheet.quantity, sheet.value.unit) for text in texts)
    if sheet.quantity is not Quantity.ANGLE:
        raise BadArgumentError(sine, "a sine bar goes with a gauge that reads angles")
    length = parse_reference(sine, Quantity.LENGTH, "mm")
    return tuple(sine_reference(parse_reference(text, Quantity.LENGTH, "mm"), length) for text in texts)


def _plan(
    named: NamedGauge,
    sheet: Datasheet,
    rest_min: float,
    again: int,
    turns: int | None,
    references: tuple[Reference, ...],
    cycles: int,
    both_ways: bool,
    every: int,
) -> CheckPlan:
    """Return what is to be read.

    Raises:
        BadArgumentError: nothing is, or too little for anything to come of it.
    """
    from gaugelog.errors import BadArgumentError
    from gaugelog.model.datasheet import Sends
    from gaugelog.model.gauge_check import CheckPlan
    from gaugelog.model.quantities import Quantity
    from gaugelog.recorder.work import is_typed

    level = sheet.quantity is Quantity.ANGLE
    # such a gauge says nothing while it is left alone
    by_hand = is_typed(named.gauge) or sheet.sends in (Sends.ON_BUTTON, Sends.WHEN_TYPED)
    plan = CheckPlan(
        sheet.quantity,
        again=again,
        turns=(_TURNS if level else 0) if turns is None else turns,
        references=references,
        cycles=cycles,
        both_ways=both_ways,
        rest_s=0.0 if by_hand else 60.0 * rest_min,
        every_days=every,
    )
    if plan.empty:
        raise BadArgumentError("everything left out", "at least one part of the check")
    if again == 1:
        raise BadArgumentError("--again 1", "2 or more: one setting-down says nothing of repeating")
    if plan.turns and not level:
        raise BadArgumentError("--turns", "a gauge that reads angles: nothing else has a zero that turning shows")
    return plan


def _walk(work: CheckWork, *, quiet: bool, aside: bool) -> None:
    """Leave the gauge alone, then walk through the settings."""
    from gaugelog.cli.capture_desk import CaptureDesk
    from gaugelog.cli.live import start
    from gaugelog.cli.rest_desk import RestDesk

    if work.rest_s:
        desk = RestDesk(work.resting(), work.rest_s, work.simulated, quiet=quiet, aside=aside)
        start(desk.attend())
        if desk.attendance.interrupted:
            return
        work.rested()
    snapshot = work.settings()
    if snapshot is not None:
        start(CaptureDesk(snapshot, quiet=quiet, aside=aside).attend())


def _tell(path: Path, named: NamedGauge, as_json: bool) -> None:
    """Show what the check found."""
    from gaugelog.review.checked import book_checks
    from gaugelog.show.check_view import check_view, checked_document
    from gaugelog.show.terminal import console
    from gaugelog.store.gauge_book import read_gauge_book

    checked = next(each for each in book_checks(read_gauge_book(path.parent)) if each.path == path)
    if as_json:
        print_json(checked_document(checked))
        return
    console().print(check_view(checked))
    typer.echo(f"Kept in {path}. It counts for {named.name} from now on.")
