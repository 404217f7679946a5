"""How the neck moved as a rigid body, from the shifts of all checkpoints together.

Here: the fit and what it can and can't tell. Not here: what each checkpoint feels (`sensing`), least squares itself
(`least_squares`), what the movement does to the strings (`consequences`).

Two-epoch deformation analysis as geodesy does it: between two stages the neck is rigid, the body is the reference.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from gaugelog.analysis.least_squares import Adjustment, Matrix, Residual, adjust, widening
from gaugelog.analysis.sensing import Sensor
from gaugelog.model.estimate import Estimate

_DEGREES = 180 / math.pi
DIRECTIONS: Mapping[str, tuple[tuple[float, ...], str]] = {
    "neck_angle": ((0, 0, 0, 0, -_DEGREES, 0), "deg"),
    "yaw": ((0, 0, 0, 0, 0, _DEGREES), "deg"),
    "roll": ((0, 0, 0, _DEGREES, 0, 0), "deg"),
    "sink": ((0, 0, -1, 0, 0, 0), "mm"),
    "sideways": ((0, 1, 0, 0, 0, 0), "mm"),
    "slide": ((1, 0, 0, 0, 0, 0), "mm"),
}
"""The six movements, each as a function of t_x t_y t_z ω_x ω_y ω_z (mm, radians), and its unit."""

_SCALE = np.array([1.0, 1.0, 1.0, 1 / 300, 1 / 300, 1 / 300])
"""Steps that weigh alike: a millimetre, and the turn that makes one at about the bridge's distance."""
_WEAKEST = 20.0
_MOST_ROUNDS = 20
_SETTLED = 1e-9


@dataclass(frozen=True, slots=True)
class Observed:
    """The shift of one checkpoint between two stages.

    `shift` is in the base unit (degrees where `is_angle`, else mm), the variances in that unit squared:
    `scatter_variance` comes from placements whose standard deviation is pooled over all that go by the name `pooled`,
    with `dof` degrees of freedom in all; `other_variance` is the rest (digits, accuracies). Checkpoints read on one
    zero a stage share `zero_variance` under the name `zero`.
    """

    id: str
    sensor: Sensor
    shift: float
    is_angle: bool
    scatter_variance: float
    dof: float
    other_variance: float
    pooled: str
    zero: str = ""
    zero_variance: float = 0.0

    def row(self) -> Matrix:
        """Return the change of the shift by movement, base unit a mm and a radian, shape (6,)."""
        return self.sensor.row() * (_DEGREES if self.is_angle else 1.0)

    def change(self, movement: Matrix) -> float:
        """Return the exact change in the base unit for a movement of shape (6,), mm and radians."""
        change = self.sensor.change(movement)
        return math.degrees(change) if self.is_angle else change


@dataclass(frozen=True, slots=True, eq=False)
class MovementFit:
    """The rigid movement that fits all shifts best.

    `movement`, shape (6,), is t_x t_y t_z ω_x ω_y ω_z in mm and radians; `p` judges the fit as a whole, None where
    nothing is left over to judge by; `rounds` is 1 where the linear rows were good enough, else how often they were
    made anew.
    """

    movement: Matrix
    covariance: Matrix
    adjustment: Adjustment
    p: float | None
    rounds: int
    scatters: tuple[tuple[Matrix, float], ...]

    @property
    def residuals(self) -> tuple[Residual, ...]:
        """What is left of each shift, in its base unit."""
        return self.adjustment.residuals

    @property
    def misfits(self) -> tuple[Residual, ...]:
        """The residuals that contradict the others, worst first."""
        return tuple(sorted((each for each in self.residuals if each.misfit), key=lambda each: -abs(each.w or 0.0)))

    def component(self, name: str) -> Estimate | None:
        """Return one of the six movements of `DIRECTIONS`, None where it can't be told."""
        direction, unit = DIRECTIONS[name]
        return self.of(np.array(direction, dtype=np.float64), unit)

    def of(self, direction: Matrix, unit: str) -> Estimate | None:
        """Return a linear function of the movement, shape (6,), with its uncertainty; None where it can't be told.

        Degrees of freedom: u⁴ / Σ_g (the variance that comes from the pooled scatter g)² / ν_g, after GUM G.4.1.
        """
        if not self.adjustment.tells(direction):
            return None
        variance = float(direction @ self.covariance @ direction)
        below = sum(float(direction @ share @ direction) ** 2 / dof for share, dof in self.scatters if dof > 0)
        return Estimate(
            value=float(direction @ self.movement),
            u=math.sqrt(max(variance, 0.0)),
            unit=unit,
            dof=variance**2 / below if below > 0 else math.inf,
            n=len(self.residuals),
        )


def fit_movement(observed: Sequence[Observed], believed: Sequence[Observed] = ()) -> MovementFit:
    """Return the movement of the neck that fits the shifts of its checkpoints.

    Formula: `least_squares.adjust` of the sensors' rows to the shifts, its covariance widened by
    `least_squares.widening` for scatters known from few placements; zeros that are shared give the shifts a
    covariance. Where the linear rows are off by more than a tenth of any shift's uncertainty, the exact readings are
    fitted by Gauss-Newton, in the directions that are known to better than 20 mm (or the turn that makes it).

    When this is wrong: a neck or a body that bent; a checkpoint read at another spot than before; scatters that are
    pooled although they differ.

    Args:
        observed: at least one; variances above 0.
        believed: what is taken to be so beside them, such as that no neck moves by centimetres; these enter the fit,
            and neither the global test nor the residuals.

    Raises:
        ValueError: nothing observed, or a variance that isn't above 0.
    """
    if not observed:
        raise ValueError("nothing observed to fit a movement to")
    count, observed = len(observed), [*observed, *believed]
    ids = [each.id for each in observed]
    covariance = _covariance(observed)
    shifts = np.array([each.shift for each in observed])
    rows = np.array([each.row() for each in observed])
    found = adjust(ids, rows, shifts, covariance, _SCALE)
    movement, rounds = found.unknowns, 1
    felt = adjust(ids, rows, shifts, covariance, _SCALE, _WEAKEST).unknowns
    exact = _changes(observed, felt)
    if bool((np.abs(exact - rows @ felt) > 0.1 * np.sqrt(np.diag(covariance))).any()):
        movement = felt
        while rounds < _MOST_ROUNDS:
            rows = _exact_rows(observed, movement)
            found = adjust(ids, rows, shifts - exact, covariance, _SCALE, _WEAKEST)
            movement = movement + found.unknowns
            exact = _changes(observed, movement)
            rounds += 1
            if float(np.abs(found.unknowns / _SCALE).max()) < _SETTLED:
                break
    judged = found.first(count) if believed else found
    return MovementFit(
        movement=movement,
        covariance=found.covariance + widening(rows, covariance, found.covariance, _estimated(observed)),
        adjustment=judged,
        p=judged.p_value(_pooled_dof(observed[:count])),
        rounds=rounds,
        scatters=_scatters(observed, found.gain),
    )


def _covariance(observed: Sequence[Observed]) -> Matrix:
    covariance = np.diag([each.scatter_variance + each.other_variance for each in observed])
    for i, one in enumerate(observed):
        for j, other in enumerate(observed):
            if one.zero and one.zero == other.zero:
                covariance[i, j] += math.sqrt(one.zero_variance * other.zero_variance)
    return covariance


def _changes(observed: Sequence[Observed], movement: Matrix) -> Matrix:
    return np.array([each.change(movement) for each in observed])


def _exact_rows(observed: Sequence[Observed], movement: Matrix) -> Matrix:
    """Return the derivative of the exact readings at a movement, by central differences."""
    steps = np.diag(_SCALE * 1e-4)
    columns = [
        (_changes(observed, movement + step) - _changes(observed, movement - step)) / (2 * step.max()) for step in steps
    ]
    return np.array(columns).T


def _groups(observed: Sequence[Observed]) -> dict[str, list[int]]:
    groups: dict[str, list[int]] = {}
    for place, each in enumerate(observed):
        groups.setdefault(each.pooled, []).append(place)
    return groups


def _scatters(observed: Sequence[Observed], gain: Matrix) -> tuple[tuple[Matrix, float], ...]:
    """Return each pooled scatter's share of the movement's covariance, and its degrees of freedom."""
    variances = np.array([each.scatter_variance for each in observed])
    return tuple(
        ((gain[:, places] * variances[places]) @ gain[:, places].T, observed[places[0]].dof)
        for places in _groups(observed).values()
    )


def _estimated(observed: Sequence[Observed]) -> list[tuple[Matrix, float]]:
    """Return what each pooled scatter puts into the covariance of the shifts, and its degrees of freedom."""
    parts = []
    for places in _groups(observed).values():
        dof = observed[places[0]].dof
        if dof > 0:
            own = np.zeros(len(observed))
            own[places] = [observed[place].scatter_variance for place in places]
            parts.append((np.diag(own), dof))
    return parts


def _pooled_dof(observed: Sequence[Observed]) -> float:
    """Return the degrees of freedom of all variances together, each shift weighing alike (Welch-Satterthwaite)."""
    below = 0.0
    for places in _groups(observed).values():
        group = [observed[place] for place in places]
        share = sum(each.scatter_variance / (each.scatter_variance + each.other_variance) for each in group)
        below += (share / len(observed)) ** 2 / group[0].dof if group[0].dof > 0 else 0.0
    return 1 / below if below > 0 else math.inf
