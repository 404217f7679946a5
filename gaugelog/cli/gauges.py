"""`gaugelog gauges`: what is plugged in, which datasheets are known, and what a gauge says right now."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gaugelog.cli import gauges_advise, gauges_check, gauges_find, gauges_show, gauges_try
from gaugelog.cli.options import InstrumentOption, JsonOption, print_json

app = typer.Typer(
    help="Serial ports, datasheets, finding gauges, and what one says right now.",
    invoke_without_command=True,
    rich_markup_mode=None,
    add_completion=False,
)


app.command("find", short_help="look around, listen, guess which datasheet fits")(gauges_find.find)
app.command("check", short_help="what a gauge is worth, kept in your gauge book")(gauges_check.check)
app.command("show", short_help="your gauge book: checks old and new")(gauges_show.show)
app.command("advise", short_help="which gauge can prove which checkpoint's limit")(gauges_advise.advise)
app.command("try", short_help="check a datasheet, read bytes through it")(gauges_try.try_datasheet)


@app.callback(invoke_without_command=True)
def overview(
    context: typer.Context,
    plugged_in: Annotated[
        bool, typer.Option("--plugins", help="Show what installed packages add: framings, links, datasheets.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Show the serial ports that are present and the datasheets that are known."""
    if context.invoked_subcommand is not None:
        return
    if plugged_in:
        _plugins(as_json)
        return
    from gaugelog.datasheets.catalogue import broken_datasheets, known_datasheets
    from gaugelog.links.ports import serial_ports
    from gaugelog.recorder.work import datasheet_folders
    from gaugelog.show.documents import gauges_document
    from gaugelog.show.terminal import console, datasheet_table, port_table

    ports = serial_ports()
    datasheets = known_datasheets(datasheet_folders(Path.cwd()))
    for broken in broken_datasheets():
        typer.echo(f"gaugelog: {broken}", err=True)
    if as_json:
        print_json(gauges_document(ports, datasheets))
        return
    screen = console()
    screen.print(port_table(ports))
    screen.print(datasheet_table(datasheets))


def _plugins(as_json: bool) -> None:
    """Show what installed packages add, and what of it can't be used and why."""
    from gaugelog.datasheets.catalogue import broken_datasheets
    from gaugelog.plugins import plugins, why_broken
    from gaugelog.show.finding_documents import plugins_document
    from gaugelog.show.terminal import console
    from gaugelog.show.trying_view import plugins_view

    found = [(plugin, why_broken(plugin)) for plugin in plugins()]
    broken = broken_datasheets()
    if as_json:
        print_json(plugins_document(found, broken))
    else:
        console().print(plugins_view(found, broken))


@app.command()
def read(
    gauge: Annotated[
        str, typer.Argument(metavar="GAUGE", help="A short name of the instrument file, or DATASHEET@ADDRESS.")
    ],
    count: Annotated[int, typer.Option(min=1, metavar="N", help="How many readings.")] = 5,
    wait: Annotated[float, typer.Option(min=0.1, metavar="SECONDS", help="How long to wait for them.")] = 10.0,
    raw: Annotated[bool, typer.Option("--raw", help="Show the bytes too.")] = False,
    instrument: InstrumentOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what a gauge says right now."""
    from gaugelog.cli.live import start
    from gaugelog.cli.naming import name_gauge
    from gaugelog.gauges.connect import open_gauge
    from gaugelog.gauges.read_once import read_once
    from gaugelog.show.documents import heard_document
    from gaugelog.show.terminal import console, heard_view, simulated_above

    named, folders = name_gauge(gauge, instrument)
    stream = open_gauge(named.gauge, folders, named.name)
    heard = start(read_once(stream, wait, count))
    simulated = named.gauge.address.scheme == "sim"
    if as_json:
        print_json(heard_document(heard, simulated))
    else:
        console().print(simulated_above(heard_view(heard, raw=raw), [named.name] if simulated else []))
