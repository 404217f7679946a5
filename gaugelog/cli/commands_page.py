"""docs/commands.md, written from the commands themselves: `python -m gaugelog.cli.commands_page`."""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

PAGE = Path(__file__).resolve().parents[2] / "docs" / "commands.md"
_HEAD = """# Commands

Written from the commands themselves by `python -m gaugelog.cli.commands_page`; a test keeps it fresh.
Every command has `--help`. Exit status: 0 all well, 1 something moved, 2 wrong use or unusable input, 3 something is
not proven, 70 a fault of gaugelog itself, 130 stopped by Ctrl-C, 141 the reader of a pipe has gone.
"""


def commands_page() -> str:
    """Return the page: what each command does, its arguments and its options."""
    from gaugelog.cli.main import app

    root: Any = typer.main.get_command(app)
    return "\n".join([_HEAD, *_sections("gaugelog", root)])


def _sections(path: str, group: Any) -> Iterator[str]:
    for name, command in group.commands.items():
        yield _section(f"{path} {name}", command)
        if hasattr(command, "commands"):
            yield from _sections(f"{path} {name}", command)


def _section(path: str, command: Any) -> str:
    parameters = [parameter for parameter in command.params if getattr(parameter, "help", None)]
    arguments = [parameter for parameter in parameters if parameter.param_type_name == "argument"]
    options = [parameter for parameter in parameters if parameter.param_type_name == "option"]
    usage = " ".join([path, *(_argument(each) for each in arguments), *(["[options]"] if options else [])])
    rows = [f"| `{_argument(each)}` | {each.help} |" for each in arguments]
    rows += [f"| `{_option(each)}` | {each.help} |" for each in options if "--help" not in each.opts]
    table = ["", "| | |", "|---|---|", *rows] if rows else []
    return "\n".join([f"## {path}", "", f"`{usage}`", "", inspect.cleandoc(command.help or ""), *table, ""])


def _argument(parameter: Any) -> str:
    name = parameter.metavar
    return name if parameter.required else f"[{name}]"


def _option(parameter: Any) -> str:
    words = ", ".join(parameter.opts)
    if parameter.is_flag:
        return words
    return f"{words} {parameter.metavar}".replace("|", "\\|")


if __name__ == "__main__":
    PAGE.write_text(commands_page(), encoding="utf-8")
