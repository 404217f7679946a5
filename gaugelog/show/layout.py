"""Text and tables that fit the width there is.

Here: sentences that break only where they may, and the choice between a wide and a narrow layout. Not here: what they
say or hold.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderableType
from rich.text import Text


def prose(words: str, *, style: str = "", mark: str = "") -> RenderableType:
    """Return a sentence that breaks between words only, never at a no-break space, its further lines under the first.

    Args:
        words: the sentence.
        style: of all of it.
        mark: what stands before it, such as "✗"; further lines are set in by its width.
    """
    return _Prose(words, style, f"{mark} " if mark else "")


@dataclass(frozen=True, slots=True)
class _Prose:
    words: str
    style: str
    mark: str

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterable[RenderableType]:
        """Break the words for the width there is."""
        lines = textwrap.wrap(
            self.words,
            max(options.max_width, len(self.mark) + 1),
            initial_indent=self.mark,
            subsequent_indent=" " * len(self.mark),
            break_on_hyphens=False,
        )
        yield Text("\n".join(lines), style=self.style)


def fitting(wide: RenderableType, narrow: RenderableType) -> RenderableType:
    """Return the wide layout where it fits with no cell broken, the narrow one elsewhere."""
    return _Fitting(wide, narrow)


@dataclass(frozen=True, slots=True)
class _Fitting:
    wide: RenderableType
    narrow: RenderableType

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterable[RenderableType]:
        """Measure the wide layout and choose."""
        endless = options.update_width(_ENDLESS)
        fits = console.measure(self.wide, options=endless).maximum <= options.max_width
        yield self.wide if fits else self.narrow


_ENDLESS = 1000
