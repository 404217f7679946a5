"""What keys mean: commands while nothing is being typed, text otherwise."""

from __future__ import annotations

import pytest

from gaugelog.cli.entry import Command, Entry, Line
from gaugelog.errors import BadArgumentError
from gaugelog.links.keyboard import Key
from gaugelog.model.typed_marks import seconds_ago


def typed(entry: Entry, text: str) -> list[Command | Line]:
    taken = [entry.take(Key(0, "enter" if character == "\n" else character)) for character in text]
    return [each for each in taken if each is not None]


def test_a_letter_is_a_command_while_nothing_is_typed() -> None:
    assert typed(Entry("dq"), "d") == [Command("d")]


def test_an_unknown_letter_is_nothing() -> None:
    entry = Entry("dq")
    assert typed(entry, "xy") == []
    assert entry.text == ""


@pytest.mark.parametrize("value", ["3/32 in", "0.25..0.30", ">0.30", "<0.05", "-0.2", "1 1/8"])
def test_a_value_may_hold_letters_and_spaces_once_it_has_begun(value: str) -> None:
    assert typed(Entry("in d"), f"{value}\n") == [Line(value)]


def test_a_question_takes_any_words() -> None:
    entry = Entry("d")
    entry.ask("Why")
    assert typed(entry, "dust in the pocket\n") == [Line("dust in the pocket", "Why")]
    assert entry.question == ""


def test_escape_takes_back_what_was_typed_and_asked() -> None:
    entry = Entry("d")
    entry.ask("Why")
    typed(entry, "abc")
    entry.take(Key(0, "escape"))
    assert (entry.text, entry.question) == ("", "")
    assert typed(entry, "d") == [Command("d")]


def test_backspace_takes_back_one_character() -> None:
    entry = Entry("d")
    typed(entry, "0.35")
    entry.take(Key(0, "backspace"))
    assert typed(entry, "0\n") == [Line("0.30")]


def test_tab_ends_a_value_too_and_is_nothing_alone() -> None:
    entry = Entry("d")
    assert entry.take(Key(0, "tab")) is None
    typed(entry, "12.34")
    assert entry.take(Key(0, "tab")) == Line("12.34")


def test_enter_alone_is_a_command() -> None:
    assert typed(Entry("d"), "\n") == [Command("")]


def test_piped_lines_carry_a_command_with_its_words_or_a_value() -> None:
    entry = Entry("ds")
    assert entry.take(Key(0, "s no feeler at hand", True)) == Command("s", "no feeler at hand")
    assert entry.take(Key(0, "0.25..0.30", True)) == Line("0.25..0.30")
    assert entry.take(Key(0, "", True)) == Command("")


@pytest.mark.parametrize(("text", "seconds"), [("45s", 45), ("2m", 120), ("1h30m", 5400), ("90", 90), ("2 min", 120)])
def test_times_ago(text: str, seconds: float) -> None:
    assert seconds_ago(text) == seconds


@pytest.mark.parametrize("text", ["", "soon", "2x", "-5m"])
def test_what_is_no_time_is_told(text: str) -> None:
    with pytest.raises(BadArgumentError):
        seconds_ago(text)
