"""`gaugelog gauges advise`: which gauge at hand can prove which checkpoint's limit."""

from __future__ import annotations

from gaugelog.cli.options import (
    BookOption,
    InstrumentOption,
    JsonOption,
    book_folder,
    find_files,
    load_instrument,
    print_json,
)


def advise(book: BookOption = None, instrument: InstrumentOption = None, as_json: JsonOption = False) -> None:
    """Show which of your gauges can prove which checkpoint's limit, before anything is measured.

    Tried are the gauges of the instrument file and those of your gauge book, at every checkpoint that glue can move.
    """
    from gaugelog.analysis.advice import advice
    from gaugelog.recorder.work import datasheet_folders, datasheets_of
    from gaugelog.review.checked import gauges_at_hand
    from gaugelog.show.advice_view import advice_document, advice_view
    from gaugelog.show.terminal import console
    from gaugelog.store.gauge_book import read_gauge_book

    path, _ = find_files(instrument, None)
    piece = load_instrument(path)
    sheets = datasheets_of(piece, datasheet_folders(path.parent))
    at_hand = gauges_at_hand(piece, sheets, read_gauge_book(book_folder(book)))
    found = advice(piece, at_hand)
    if as_json:
        print_json(advice_document(found))
    else:
        console().print(advice_view(found, at_hand, piece.units))
