"""docs/commands.md, written from the commands themselves: `python -m gaugelog.cli.commands_page`."""

from __future__ import annotations

from pathlib import Path

import typer

PAGE = Path(__file__).resolve().parents[2] / "docs" / "commands.md"
_HEAD = """# Commands

Written from the commands themselves by `python -m gaugelog.cli.commands_page`; a test keeps it fresh.
"""


def commands_page() -> str:
    """Return the page: the help of every command, as the terminal shows it at 100 columns."""
    from gaugelog.cli.main import app

    root = typer.main.get_command(app)
    pages = [_HEAD]
    for name, command in sorted(getattr(root, "commands", {}).items()):
        pages.append(_section(f"gaugelog {name}", command))
        pages += [
            _section(f"gaugelog {name} {inner}", sub) for inner, sub in sorted(getattr(command, "commands", {}).items())
        ]
    return "\n".join(pages)


def _section(name: str, command: object) -> str:
    context_class = command.context_class  # type: ignore[attr-defined]
    context = context_class(command, info_name=name, terminal_width=100, max_content_width=100)
    return f"## {name}\n\n```\n{command.get_help(context)}\n```\n"  # type: ignore[attr-defined]


if __name__ == "__main__":
    PAGE.write_text(commands_page(), encoding="utf-8")
