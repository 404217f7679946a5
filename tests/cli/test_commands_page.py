"""The page of commands is what the commands say."""

from __future__ import annotations

from gaugelog.cli.commands_page import PAGE, commands_page


def test_the_page_of_commands_is_fresh() -> None:
    assert PAGE.read_text(encoding="utf-8") == commands_page(), "run python -m gaugelog.cli.commands_page"
