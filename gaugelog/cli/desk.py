"""What the desks of live commands have in common: keys, a message, a screen.

Here: turning keys into commands and lines, saying things, telling of links. Not here: what a command does (each desk).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import TYPE_CHECKING

from gaugelog.cli.entry import Command, Entry, Line
from gaugelog.cli.live import Screen
from gaugelog.errors import GaugelogError, RecordingTakenAwayError

if TYPE_CHECKING:
    from rich.console import RenderableType

    from gaugelog.links.keyboard import Key
    from gaugelog.model.readings import LinkChange


ASK_NOTE = "Note"
ASK_SPOT = "Spot reading: checkpoint and value, such as clearance-bass 0.30"
ASK_SKIP = "Why is it skipped"
ASK_TURN = "Turn to which checkpoint"
"""Questions that more than one desk asks."""


class Desk(ABC):
    """Attends to gauges and keys; `letters` are its commands, `now_ns` the moment it begins.

    With `aside` it shows and says everything on standard error, where standard output is for a document.
    """

    def __init__(self, letters: str, now_ns: int, *, quiet: bool, aside: bool = False) -> None:
        from gaugelog.recorder.attend import Attendance

        self.entry = Entry(letters)
        self.message = ""
        self.attendance = Attendance()
        self.screen = Screen(self._draw, quiet=quiet, aside=aside)
        self._now_ns = now_ns

    @abstractmethod
    def _draw(self, width: int, height: int) -> RenderableType:
        """Return the view for a width and height in characters."""

    @abstractmethod
    def _command(self, command: Command) -> None:
        """Do what a letter asks for."""

    @abstractmethod
    def _line(self, line: Line) -> None:
        """Take a line that was typed."""

    def press(self, key: Key) -> None:
        """Do what a key asks for; what can't be done is said, and nothing is lost."""
        self._now_ns = key.time_ns
        taken = self.entry.take(key)
        try:
            if isinstance(taken, Line):
                self._line(taken)
            elif isinstance(taken, Command):
                self._command(taken)
        except RecordingTakenAwayError:  # nothing can be kept any more
            raise
        except GaugelogError as error:
            self._say(f"{error}. {error.hint}")
        except ValueError as error:
            self._say(f"{error}.")
        self.screen.redraw()

    def say(self, words: str) -> None:
        """Show a message; where there is no live view, print it."""
        self._say(words)

    def _say(self, words: str) -> None:
        """Show a message; where there is no live view, print it."""
        self.message = words
        if not self.screen.is_live:
            self.screen.say(words)

    def _tell_link(self, change: LinkChange, stranger: str = "") -> None:
        """Say how a link stands now; above all where another gauge than named is at its end."""
        self._say(stranger or f"{change.gauge}: {change.state.value}" + (f", {change.words}" if change.words else ""))
