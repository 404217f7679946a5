"""`gaugelog clamp`: record through the clamp-up and the cure."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gaugelog.cli.options import InstrumentOption, RecordingOption, bring_book, find_files, load_instrument

NOW = "0s"


def clamp(
    gauges: Annotated[
        list[str] | None, typer.Option("--gauge", metavar="NAME", help="Only this gauge; may be repeated.")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="No bell.")] = False,
    mark: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Only set a mark (glue on, clamps on, clamps off, or words) and end."),
    ] = None,
    ago: Annotated[str, typer.Option(metavar="TIME", help="With --mark: how long ago, such as 2m or 1h30m.")] = NOW,
    table: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="FILE.csv", help="Bring in a session logged elsewhere: time,gauge,value[,unit]."
        ),
    ] = None,
    rehearse: Annotated[
        Path | None,
        typer.Option(metavar="RECORDING", help="Run a finished session through the live watch again; nothing is kept."),
    ] = None,
    speed: Annotated[
        float | None,
        typer.Option(min=0.01, max=1e9, help="With --rehearse: so many times faster.", show_default="100, or no wait"),
    ] = None,
    on_alarm: Annotated[
        str, typer.Option(metavar="COMMAND", help="Run this on an alarm; GAUGELOG_WORDS says in words what was told.")
    ] = "",
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="With --rehearse: one JSON object a line for each alarm (docs/documents.md).")
    ] = False,
) -> None:
    """Record all gauges through the clamp-up and the cure, and tell a slip while the glue is open.

    Keys set marks and acknowledge alarms. Ctrl-C ends it, and it can go on later.
    """
    from gaugelog.cli.bench_desk import join_bench
    from gaugelog.cli.clamp_desk import ClampDesk
    from gaugelog.cli.live import start
    from gaugelog.model.placement import CLAMP_SITTING
    from gaugelog.recorder.clamping import ClampWork
    from gaugelog.recorder.work import datasheet_folders, open_work

    if mark is None and ago != NOW:
        raise typer.BadParameter("--ago goes with --mark; in a running session press b")
    _must_go_together(
        {"--rehearse": rehearse is not None, "--from": table is not None, "--mark": mark is not None},
        {"--gauge": bool(gauges), "--on-alarm": bool(on_alarm)},
    )
    if rehearse is not None:
        from gaugelog.cli.rehearse import rehearse_session

        rehearse_session(rehearse, instrument, speed, as_json=as_json, quiet=quiet)
        return
    if as_json or speed is not None:
        raise typer.BadParameter("--json and --speed go with --rehearse")
    path, target = find_files(instrument, recording)
    if table is not None:
        from gaugelog.cli.clamp_table import take_table

        take_table(table, load_instrument(path), target, path.parent)
        return
    if mark is not None and _marked_at_bench(target, mark, ago):
        return
    if mark is None and not gauges and not on_alarm and join_bench(target, {"do": "clamp"}, quiet=quiet):
        return
    piece = load_instrument(path)
    names = tuple(piece.gauge(name).name for name in gauges) if gauges else tuple(piece.gauges)
    with open_work(piece, target, CLAMP_SITTING, datasheet_folders(path.parent)) as work:
        bring_book(work)
        session = ClampWork(work, names)
        desk = ClampDesk(session, quiet=quiet, on_alarm=on_alarm)
        if mark is not None:
            desk.set_mark(mark, ago, work.anchor.monotonic_ns)
        else:
            start(desk.attend())
    typer.echo(f"Kept in {target}. Next: gaugelog drift; after the cure: gaugelog capture after.")


def _marked_at_bench(recording: Path, mark: str, ago: str) -> bool:
    """Have a running bench set a mark, and say what it says; return whether one runs.

    Raises:
        BenchRefusedError: it records no clamp session, or the mark is none.
    """
    from gaugelog.bench.client import ask_bench

    said = ask_bench(recording, {"do": "mark", "name": mark, "ago": ago})
    if said is None:
        return False
    typer.echo(f"At the bench: {said}")
    return True


def _must_go_together(instead: dict[str, bool], live: dict[str, bool]) -> None:
    """Refuse what would be passed over in silence: two things to do at once, or an option of recording with another.

    Args:
        instead: options that do something else than record, and whether each was given.
        live: options that only recording heeds, and whether each was given.

    Raises:
        BadParameter: they don't go together.
    """
    asked = [name for name, given in instead.items() if given]
    if len(asked) > 1:
        raise typer.BadParameter(f"{asked[0]} and {asked[1]} don't go together: one at a time")
    unheeded = [name for name, given in live.items() if given]
    if asked and unheeded:
        raise typer.BadParameter(f"{unheeded[0]} goes with recording, not with {asked[0]}")
