"""What the keys at the terminal mean: single-letter commands, or a line being typed.

Here: turning keys into commands and lines. Not here: doing them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gaugelog.links.keyboard import Key

_BEGINS_A_VALUE = "0123456789.,-+<>\u2212"


@dataclass(frozen=True, slots=True)
class Command:
    """A single-letter command, with the words that followed it where a whole line was piped in."""

    letter: str
    words: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """A line that was typed and ended with Enter; `question` is what had been asked, empty for a value."""

    text: str
    question: str = ""


class Entry:
    """The line at the bottom of a live view.

    While it is empty and nothing is asked, a letter is a command and a digit begins a value. A question takes whatever
    is typed until Enter; Escape takes it back. Tab ends a line as Enter does: gauges that type like a keyboard send
    either.
    """

    def __init__(self, letters: str) -> None:
        """Take the letters that are commands; space and Enter are commands too, named ` ` and empty."""
        self.letters = letters
        self.text = ""
        self.question = ""

    def ask(self, question: str) -> None:
        """Ask for a line in words."""
        self.question, self.text = question, ""

    def take(self, key: Key) -> Command | Line | None:
        """Return what a key completed, None while a line is being typed."""
        if key.whole_line:
            return self._take_line(key.text)
        if key.text == "enter" or (key.text == "tab" and self.text):
            return self._enter()
        if key.text == "escape":
            self.text = self.question = ""
        elif key.text == "backspace":
            self.text = self.text[:-1]
        elif len(key.text) == 1:
            if not self.text and not self.question and key.text not in _BEGINS_A_VALUE:
                return Command(key.text.lower()) if key.text.lower() in self.letters else None
            self.text += key.text
        return None

    def _enter(self) -> Command | Line:
        text, question = self.text.strip(), self.question
        self.text = self.question = ""
        return Line(text, question) if text or question else Command("")

    def _take_line(self, text: str) -> Command | Line:
        word, _, rest = text.strip().partition(" ")
        if not word:
            return Command("")
        if len(word) == 1 and word.lower() in self.letters:
            return Command(word.lower(), rest.strip())
        return Line(text.strip())
