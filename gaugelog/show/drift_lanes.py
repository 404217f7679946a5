"""Room for names in the chart of a clamp session, so that none is written over another.

Here: how far a name reaches in a narrow chart, and which lane is free for it. Not here: the names (`drift_frame`,
`drift_steps`). In a wider chart names stand farther apart, so what is free in a narrow one is free in any.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from gaugelog.show.sittings import Panel

PLOT_PX = 236
"""Width of all panels together on the narrowest screen that is thought of, a telephone held upright."""


@dataclass(frozen=True, slots=True)
class Reach:
    """From where to where a name reaches, in pixels of a narrow chart; `leftwards` where it ends at its moment."""

    left: float
    right: float
    leftwards: bool


@dataclass(frozen=True, slots=True)
class Lane:
    """One line of names, the `up`-th from the foot or from the head of a row, and what is taken of it."""

    foot: bool
    up: int
    taken: list[Reach] = field(default_factory=list)

    def takes(self, reach: Reach) -> bool:
        """Take a stretch if it is free, and return whether it was."""
        if any(reach.left < other.right and other.left < reach.right for other in self.taken):
            return False
        self.taken.append(reach)
        return True


def reach_of(panels: Sequence[Panel], column: int, utc_us: int, width_px: float, *, end: float | None = None) -> Reach:
    """Return where a name stands that begins at a moment, or ends there if it would reach beyond the end.

    Args:
        panels: of the chart.
        column: in which of them the moment lies.
        utc_us: the moment.
        width_px: of the name.
        end: as a share of the chart's width; that of the panel where it isn't given.
    """
    panel = panels[column]
    before = sum(each.share for each in panels[:column])
    part = (utc_us - panel.start_us) / max(panel.end_us - panel.start_us, 1)
    at = PLOT_PX * (before + panel.share * part)
    leftwards = at + width_px > PLOT_PX * (end if end is not None else before + panel.share)
    return Reach(at - width_px, at, True) if leftwards else Reach(at, at + width_px, False)
