"""`gaugelog gauges show`: the builder's gauge book."""

from __future__ import annotations

from typing import Annotated

import typer

from gaugelog.cli.options import BookOption, InstrumentOption, JsonOption, book_folder, print_json


def show(
    gauge: Annotated[
        str,
        typer.Argument(
            metavar="[GAUGE]", help="A short name of the instrument file, or DATASHEET@ADDRESS; else all of the book."
        ),
    ] = "",
    number: Annotated[
        int,
        typer.Option("--check", min=0, metavar="N", help="Show this one of its checks, 1 the oldest; else the newest."),
    ] = 0,
    book: BookOption = None,
    instrument: InstrumentOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show the gauge book: every check of every gauge, or what the check of one gauge found."""
    from gaugelog.recorder.work import now
    from gaugelog.review.checked import book_checks
    from gaugelog.show.check_view import book_view, check_view, checked_document
    from gaugelog.show.terminal import console
    from gaugelog.store.gauge_book import read_gauge_book

    kept = read_gauge_book(book_folder(book))
    for path, why in kept.unreadable:
        typer.echo(f"gaugelog: {path.name} in the gauge book can't be read: {why}", err=True)
    now_utc_us = now().utc_us
    checks = book_checks(kept)
    if not gauge:
        if as_json:
            print_json({"checks": [checked_document(each) for each in checks]})
        else:
            console().print(book_view(checks, [each for each in kept.entries if each.result is None], now_utc_us))
        return
    mine = [each for each in checks if each.gauge.whose == _whose(gauge, instrument)]
    chosen = _choose(gauge, len(mine), number)
    if as_json:
        print_json(checked_document(mine[chosen]))
    else:
        console().print(check_view(mine[chosen], now_utc_us))


def _whose(gauge: str, instrument: InstrumentOption) -> str:
    from gaugelog.cli.naming import name_gauge
    from gaugelog.store.gauge_book import whose

    return whose(name_gauge(gauge, instrument)[0])


def _choose(gauge: str, count: int, number: int) -> int:
    """Return the place of the check that is wanted.

    Raises:
        NothingToDoError: there is none.
        BadArgumentError: there are fewer.
    """
    from gaugelog.errors import BadArgumentError, NothingToDoError

    if not count:
        raise NothingToDoError(f"the gauge book has no check of {gauge}", f"`gaugelog gauges check {gauge}` makes one.")
    if number > count:
        raise BadArgumentError(f"--check {number}", f"1 to {count}: so many checks of {gauge} are in the book")
    return number - 1
