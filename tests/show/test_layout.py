"""Sentences that break where they may, and the choice between a wide and a narrow layout."""

from __future__ import annotations

import pytest
from rich.text import Text
from typed_neck import printed

from gaugelog.show.layout import fitting, prose
from gaugelog.show.look import plain_table

WORDS = "Read pocket-wall-squareness again: it reads 1.5\N{NO-BREAK SPACE}mm over, with 95\N{NO-BREAK SPACE}% or more."


@pytest.mark.parametrize("width", range(24, 90))
def test_a_sentence_breaks_between_words_only(width: int) -> None:
    lines = [line.rstrip(" ") for line in printed(prose(WORDS), width).splitlines()]
    assert " ".join(lines) == WORDS
    assert max(map(len, lines)) <= width
    for whole in ("pocket-wall-squareness", "1.5\N{NO-BREAK SPACE}mm", "95\N{NO-BREAK SPACE}%"):
        assert any(whole in line for line in lines)


def test_further_lines_stand_under_the_first_behind_its_mark() -> None:
    lines = printed(prose(WORDS, mark="✗"), 30).splitlines()
    assert len(lines) > 2
    assert lines[0].startswith("✗ Read")
    assert all(line.startswith("  ") and line[2] != " " for line in lines[1:])


def test_a_word_that_fits_no_line_is_broken_rather_than_lost() -> None:
    page = printed(prose("x" * 50), 20)
    assert page.replace("\n", "").replace(" ", "") == "x" * 50
    assert max(map(len, page.splitlines())) <= 20


def test_the_wide_layout_is_taken_where_it_fits_to_the_last_column() -> None:
    table = plain_table()
    table.add_column("a", no_wrap=True)
    table.add_column("b", no_wrap=True)
    table.add_row("x" * 20, "y" * 17)
    choice = fitting(table, Text("narrow"))
    needed = max(len(line.rstrip()) for line in printed(table, 200).splitlines())
    assert "narrow" in printed(choice, needed - 1)
    page = printed(choice, needed + 1)
    assert "x" * 20 in page
    assert "y" * 17 in page
