"""Views of trying a datasheet, and of what is plugged in.

Here: whether it keeps the rules, and bytes message by message. Not here: its JSON documents (`finding_documents`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rich.console import Group, RenderableType
from rich.text import Text

from gaugelog.errors import PluginBrokenError
from gaugelog.gauges.trying import Message, Tried
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.readings import Reading
from gaugelog.plugins import Plugin
from gaugelog.show.finding_view import quoted
from gaugelog.show.gauge_documents import flag_words
from gaugelog.show.look import QUIET, STRONG, WARN, plain_table, two_lines
from gaugelog.show.numbers import count_text


def trying_view(datasheet: Datasheet, broken_rule: str, tried: Tried | None, start_ns: int = 0) -> RenderableType:
    """Return whether a datasheet keeps the rules, and what it makes of bytes, if any were given.

    Args:
        datasheet: read without faults.
        broken_rule: the first rule that it breaks, in words; empty where it breaks none.
        tried: what it makes of the bytes, None where none were given.
        start_ns: when the first of them came.
    """
    lines: list[RenderableType] = []
    if tried is not None:
        lines += _messages(tried, start_ns)
    lines += [
        Text.assemble((datasheet.name, STRONG), f"  {datasheet.title}", overflow="fold"),
        Text(f"breaks a rule: {broken_rule}", style=WARN, overflow="fold")
        if broken_rule
        else Text("It reads without faults and says the same in both directions."),
    ]
    return Group(*lines, *([] if tried is None else [_totals(tried)]))


def _messages(tried: Tried, start_ns: int) -> Iterator[RenderableType]:
    table = plain_table()
    table.add_column("seconds", justify="right", no_wrap=True)
    table.add_column("read as", justify="right", no_wrap=True)
    table.add_column("sent", overflow="fold")
    for message in (*tried.messages, *tried.left_over):
        seconds = f"{(message.time_ns - start_ns) / 1e9:.3f}"
        table.add_row(seconds, *_cells(message))
    if table.row_count:
        yield table
        yield Text()


def _cells(message: Message) -> tuple[Text, Text]:
    """Return what a message is read as, and its bytes; why it is no reading stands under them."""
    item = message.item
    sent = quoted(message.raw)
    if isinstance(item, Reading):
        flags = ", ".join(flag_words(item.flags))
        return Text(f"{item.text} {item.unit}", style=STRONG), two_lines(sent, flags) if flags else Text(sent)
    detail = f": {item.detail}" if item.detail and item.detail.encode() != message.raw else ""
    return Text("–", style=WARN), Text.assemble(sent, "\n", (f"{item.reason.value}{detail}", WARN), overflow="fold")


def _totals(tried: Tried) -> Text:
    if not tried.messages and not tried.left_over:
        return Text("There was no whole message in the bytes.", style=WARN)
    words = f"{count_text(len(tried.readings), 'reading')}, {len(tried.rejects)} rejected"
    words += ", the last one cut off by the end" if tried.left_over else ""
    return Text(f"{words}.", style=WARN if tried.rejects or not tried.readings else "")


def plugins_view(plugins: Iterable[tuple[Plugin, str]], broken: Iterable[PluginBrokenError]) -> RenderableType:
    """Return what installed packages add, and what of it can't be used.

    Args:
        plugins: each with why it can't be used, empty where it can.
        broken: datasheets that can't be used.
    """
    table = plain_table(title="Added by installed packages")
    for head in ("what", "name", "package", "where"):
        table.add_column(head, overflow="fold")
    for plugin, reason in plugins:
        package = f"{plugin.package} {plugin.version}"
        where = two_lines(plugin.target, reason) if reason else Text(plugin.target)
        what = plugin.group.removeprefix("gaugelog.").removesuffix("s")
        table.add_row(what, Text(plugin.name, style=STRONG), package, where, style=WARN if reason else "")
    nothing = Text("No installed package adds a framing, a link or datasheets.", style=QUIET)
    return Group(table if table.row_count else nothing, *broken_lines(broken))


def broken_lines(broken: Iterable[PluginBrokenError]) -> list[RenderableType]:
    """Return a line for each of a package's datasheets that can't be used."""
    return [Text(str(each), style=WARN, overflow="fold") for each in broken]
