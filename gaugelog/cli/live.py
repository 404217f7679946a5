"""Running a live command: the event loop's one start, the screen, the bell.

Here: what every live command needs at the terminal. Not here: what is drawn (`show`) or done (`recorder`).
"""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from types import TracebackType
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from rich.console import RenderableType

T = TypeVar("T")
_REDRAW_NS = 100_000_000


def start(work: Coroutine[Any, Any, T]) -> T:
    """Run a live command to its end and return what it returns."""
    import asyncio

    return asyncio.run(work)


class Screen:
    """The live part of the terminal: drawn at most ten times a second; only plain lines where output is piped."""

    def __init__(self, draw: Callable[[int, int], RenderableType], *, quiet: bool = False, aside: bool = False) -> None:
        """Take what draws the view for a width and height in characters.

        Args:
            draw: draws it.
            quiet: no bell.
            aside: draw on standard error, where standard output is for a document.
        """
        from rich.live import Live

        from gaugelog.show.terminal import console

        self.console = console(aside=aside)
        self.quiet = quiet
        self._draw = draw
        self._drawn_ns = 0
        self._live = (
            Live(console=self.console, auto_refresh=False, transient=True, vertical_overflow="crop")
            if self.console.is_terminal
            else None
        )

    def __enter__(self) -> Screen:
        if self._live is not None:
            self._live.start()
            self.redraw()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._live is not None:
            self._live.stop()

    @property
    def is_live(self) -> bool:
        """Whether there is a terminal to draw on."""
        return self._live is not None

    def redraw(self, now_ns: int | None = None) -> None:
        """Draw the view anew; with `now_ns` only if the last drawing is a tenth of a second old."""
        if self._live is None or (now_ns is not None and now_ns - self._drawn_ns < _REDRAW_NS):
            return
        if now_ns is not None:
            self._drawn_ns = now_ns
        size = self.console.size
        self._live.update(self._draw(size.width, size.height), refresh=True)

    def say(self, words: str) -> None:
        """Print a line that stays, above the live view."""
        self.console.print(words, highlight=False, markup=False, soft_wrap=True)

    def bell(self) -> None:
        """Ring the terminal's bell, unless told to be quiet."""
        if not self.quiet and self._live is not None:
            self.console.bell()
