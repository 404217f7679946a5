"""The progress of a search for gauges, on standard error: bars on a terminal, plain lines elsewhere.

Not here: what was found (`finding_view`).
"""

from __future__ import annotations

import sys
from types import TracebackType

from rich.console import Console
from rich.live import Live
from rich.table import Table
from rich.text import Text

from gaugelog.gauges.found import Doing, Step
from gaugelog.show.look import ACCENT, QUIET, bar

_BAR_WIDTH = 16
_ENDINGS = (Doing.DONE, Doing.FAILED)
_WITH_SECONDS = (Doing.LOOKING, Doing.LISTENING, Doing.ASKING)


class FindingProgress:
    """Shows each step of a search as it happens; a context manager."""

    def __init__(self) -> None:
        self._console = Console(file=sys.stderr, highlight=False, markup=False, emoji=False)
        self._going: dict[str, tuple[Step, float]] = {}
        self._seen = 0
        self._live = (
            Live(
                console=self._console,
                get_renderable=self._bars,
                refresh_per_second=8,
                transient=True,
                redirect_stdout=False,
                redirect_stderr=False,
                vertical_overflow="crop",
            )
            if self._console.is_terminal
            else None
        )

    def __enter__(self) -> FindingProgress:
        if self._live is not None:
            self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._live is not None:
            self._live.stop()

    def __call__(self, step: Step) -> None:
        """Show a step."""
        place = step.where.partition("?")[0]
        self._seen += step.doing is Doing.SEEN
        if step.doing in _ENDINGS:
            self._going.pop(place, None)
        elif step.doing in _WITH_SECONDS:
            self._going[place] = (step, self._console.get_time())
        if self._live is None and step.doing is not Doing.DONE:
            self._console.print(step_words(step), soft_wrap=True)

    def _bars(self) -> Table:
        """Return a row for each place that is being looked or listened at."""
        rows = Table.grid(padding=(0, 1), expand=True)
        rows.add_column(no_wrap=True, width=_BAR_WIDTH)
        rows.add_column(no_wrap=True, overflow="ellipsis", ratio=1)
        for step, began_s in list(self._going.values()):
            share = (self._console.get_time() - began_s) / step.seconds if step.seconds else 1.0
            rows.add_row(Text(bar(share, _BAR_WIDTH), style=ACCENT), Text(step_words(step), style=QUIET))
        if self._seen:
            rows.add_row("", Text(f"seen so far: {self._seen}", style=QUIET))
        return rows


def step_words(step: Step) -> str:
    """Return a step in one line."""
    detail = f" ({step.detail})" if step.detail else ""
    seconds = f" for {step.seconds:g} s" if step.seconds else ""
    match step.doing:
        case Doing.LOOKING:
            return f"looking around: {step.where}{seconds}"
        case Doing.FAILED:
            return f"can't look around: {step.where}: {step.detail}"
        case Doing.LISTENING:
            return f"listening{seconds}: {step.where}"
        case Doing.ASKING:
            return f"asking as {step.detail}: {step.where}"
        case _:
            return f"{step.doing.value}: {step.where}{detail}"
