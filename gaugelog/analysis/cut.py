"""The least wood to take off a pocket so that every reading comes into its bounds.

Here: the linear programme, exactly and in whole steps of what a hand does. Not here: what the bounds are, or what the
outcome means for the strings (`neck_cut`).

Taking off `d_e` at the body-edge end and `d_t` at the tail end of a floor of length ℓ that begins at x_e lowers the
neck's plane at x by d_e + (d_t - d_e)(x - x_e)/ℓ (good to 0.02 mm while the ends differ by less than a millimetre).
Bass and treble each have their own two depths, such that the floor stays plane. Wood off a cheek lets the neck aside in
the same way.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float64]
SHIM_COST, TWIST_COST = 1e3, 1e5
"""What a millimetre of shim, and of difference between bass and treble, weighs against one of wood."""

_TIE = 1e-4
"""What makes the tail end of a cheek cheaper: of two cuts of as much wood, the one in one place."""
_FARTHEST_MM = 50.0
"""No depth and no shim is larger."""
_TWIST = (0.0, 0.0, 1.0)
_CORNERS = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 1.0), (0.0, 1.0, 1.0))
"""The four corners of a plane floor by three unknowns: bass body edge, bass tail, and treble less bass."""


@dataclass(frozen=True, slots=True)
class Pocket:
    """The pocket, mm: where its floor begins along the strings, its length and width, and the wood that may go."""

    start: float
    length: float
    width: float | None = None
    spare: float = math.inf

    def share_at(self, x: float) -> float:
        """Return the tail end's share in what happens at x; the body-edge end has the rest."""
        return (x - self.start) / self.length


@dataclass(frozen=True, slots=True)
class AtEnds:
    """Four lengths, mm: of the bass and the treble side of a pocket, each at its two ends."""

    bass_body_edge: float = 0.0
    bass_tail: float = 0.0
    treble_body_edge: float = 0.0
    treble_tail: float = 0.0

    def all(self) -> tuple[float, float, float, float]:
        """Return the four, in the order in which they are written."""
        return self.bass_body_edge, self.bass_tail, self.treble_body_edge, self.treble_tail


@dataclass(frozen=True, slots=True)
class Corners(AtEnds):
    """Wood off the floor at its four corners, mm; minus is a shim's thickness there."""

    @property
    def body_edge(self) -> float:
        """The body-edge end on the centreline."""
        return (self.bass_body_edge + self.treble_body_edge) / 2

    @property
    def tail(self) -> float:
        """The tail end on the centreline."""
        return (self.bass_tail + self.treble_tail) / 2

    @property
    def shim(self) -> float:
        """The thickest place of the shim that is needed, 0 where wood alone does it."""
        return max(0.0, -min(self.all()))

    @property
    def nothing(self) -> bool:
        """Whether nothing is to be done."""
        return all(abs(each) < 1e-9 for each in self.all())

    def in_steps(self, step: float, most: float) -> Corners:
        """Return the nearest plane cut in whole steps that takes off no more than `most`; depths of a plane floor."""
        edge, tail = round(self.bass_body_edge / step), round(self.bass_tail / step)
        twist = round((self.treble_tail - self.bass_tail) / step)
        over = max(edge, tail, edge + twist, tail + twist) - math.floor(min(most / step, 1e9) + 1e-6)
        return Corners(*(step * (each - max(over, 0)) for each in (edge, tail, edge + twist, tail + twist)))

    def fall(self, pocket: Pocket, x: float, y: float = 0.0) -> float:
        """Return by how much the neck's plane falls at a place, mm."""
        share = pocket.share_at(x)
        across = 0.0
        if pocket.width is not None:
            across = (self.treble_body_edge - self.bass_body_edge) / pocket.width * y
        return self.body_edge * (1 - share) + self.tail * share + across


@dataclass(frozen=True, slots=True)
class Cheeks(AtEnds):
    """Wood off the two cheeks of a pocket at their two ends, mm: the neck goes to the cheek that loses wood."""

    @property
    def nothing(self) -> bool:
        """Whether nothing is to be done."""
        return max(self.all()) < 1e-9

    def in_steps(self, step: float) -> Cheeks:
        """Return the nearest cut in whole steps."""
        return Cheeks(*(step * round(each / step) for each in self.all()))

    def aside(self, pocket: Pocket, x: float) -> float:
        """Return by how much the neck goes toward the treble side at x, mm."""
        share = pocket.share_at(x)
        edge, tail = self.treble_body_edge - self.bass_body_edge, self.treble_tail - self.bass_tail
        return edge * (1 - share) + tail * share


@dataclass(frozen=True, slots=True)
class Bound:
    """What a change must do: `by_corner` times the four depths lies from `low` to `high`."""

    by_corner: tuple[float, float, float, float]
    low: float
    high: float


def plane_bound(pocket: Pocket, slope: float, tilt: float, height: float, low: float, high: float) -> Bound:
    """Return the bound on slope T + tilt Q + height h of the neck's plane, as changes of the four corners' depths.

    A depth of 1 at a corner changes T, Q and h by what `Corners.fall` gives at the origin and its derivatives there.
    """
    parts = []
    for corner in np.eye(4):
        depths = Corners(*(float(each) for each in corner))
        fall = depths.fall(pocket, 0.0)
        along = depths.fall(pocket, 1.0) - fall
        across = depths.fall(pocket, 0.0, 1.0) - fall
        parts.append(-(slope * along + tilt * across + height * fall))
    return Bound((parts[0], parts[1], parts[2], parts[3]), low, high)


def least_cut(pocket: Pocket, bounds: Sequence[Bound], step: float | None = None) -> Corners | None:
    """Return the cut that takes least wood and meets the bounds, None where none does.

    A shim comes in only where wood alone doesn't do it, and bass and treble differ only where they must.

    Minimise Σ wood + 10⁵ |bass - treble| over the corners of a plane floor, each within what may go; where nothing
    does it, the same + 10³ Σ shim with shims. With `step`, every depth is a whole number of steps.
    Source: solved by scipy.optimize.milp (HiGHS).

    When this is wrong: a floor that isn't flat to begin with, on which the heel rocks.

    Args:
        pocket: the floor.
        bounds: what the changes must do.
        step: what a hand does, mm.
    """
    of_unknowns, twist = np.array(_CORNERS), np.array([_TWIST])
    rows = [*(np.array(each.by_corner) @ of_unknowns for each in bounds), *of_unknowns]
    most = 0.0 if pocket.width is None else _FARTHEST_MM
    parts = np.vstack([of_unknowns, -of_unknowns, twist, -twist])
    costs = [1.0] * 4 + [SHIM_COST] * 4 + [TWIST_COST] * 2
    for shim in (0.0, _FARTHEST_MM):
        limits = [*((each.low, each.high) for each in bounds), *[(-shim, pocket.spare)] * 4]
        found = _least(parts, costs, rows, limits, (_FARTHEST_MM, _FARTHEST_MM, most), step)
        if found is not None:
            return Corners(*(float(each) * (step or 1.0) for each in of_unknowns @ found))
    return None


def least_cheek(pocket: Pocket, bounds: Sequence[Bound], step: float | None = None) -> Cheeks | None:
    """Return the least wood off the cheeks that meets the bounds, None where none does; see `least_cut`.

    Args:
        pocket: the floor, whose length the cheeks share.
        bounds: by bass body edge, bass tail, treble body edge, treble tail; what a treble cheek does, the bass cheek
            does the other way.
        step: what a hand does, mm.
    """
    rows = [np.array(each.by_corner[2:]) for each in bounds]
    parts = np.vstack([np.eye(2), -np.eye(2)])
    limits = [(each.low, each.high) for each in bounds]
    found = _least(parts, [1.0 + _TIE, 1.0] * 2, rows, limits, (_FARTHEST_MM, _FARTHEST_MM), step)
    if found is None:
        return None
    edge, tail = (float(each) * (step or 1.0) for each in found)
    return Cheeks(max(-edge, 0.0), max(-tail, 0.0), max(edge, 0.0), max(tail, 0.0))


def _least(
    parts: Matrix,
    costs: Sequence[float],
    rows: Sequence[Matrix],
    limits: Sequence[tuple[float, float]],
    farthest: Sequence[float],
    step: float | None,
) -> Matrix | None:
    """Return the unknowns of least cost with `rows` times them within `limits`, mm or steps, None where none are.

    The cost is that of the positive parts of `parts` times the unknowns. With `step`, the unknowns are whole steps;
    they are few and bounded, so that the search ends.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    size = 1.0 if step is None else step
    count, free = parts.shape
    low, high = np.array(limits, dtype=np.float64).reshape(len(rows), 2).T / size
    within = np.hstack([np.array(rows).reshape(len(rows), free), np.zeros((len(rows), count))])
    positive = np.hstack([-parts, np.eye(count)])
    ends = np.floor(np.array(farthest) / size)
    found = milp(
        c=np.concatenate([np.zeros(free), costs]),
        constraints=[LinearConstraint(within, low, high), LinearConstraint(positive, 0.0, np.inf)],
        bounds=Bounds(np.concatenate([-ends, np.zeros(count)]), np.concatenate([ends, np.full(count, np.inf)])),
        integrality=np.concatenate([np.full(free, 0 if step is None else 1), np.zeros(count)]),
        options={"mip_rel_gap": 0.0},
    )
    if found.x is None:
        return None
    return np.asarray(found.x[:free] if step is None else np.rint(found.x[:free]), dtype=np.float64) + 0.0
