"""What a movement of the neck does: to the bridge, the strings, the centreline and the scale length.

Here: the geometry of a neck set before and after a fitted movement, with the movement's uncertainty carried through.
Not here: the movement itself (`neck_movement`), or how well the geometry was known before.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np

from gaugelog.analysis.movement import MovementFit
from gaugelog.analysis.neckset import SIDES, NeckSet, neck_set_of
from gaugelog.analysis.results import Consequence
from gaugelog.analysis.sensing import LengthSensor, Sensor, SlopeSensor, Vector
from gaugelog.analysis.sensors import ACROSS, ALONG, UP, Stand
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Instrument

_STEP = np.array([1e-3, 1e-3, 1e-3, 1e-5, 1e-5, 1e-5])
_WORST_MM, _WORST_CENTS = 2.5, 5.0


def consequences(
    instrument: Instrument, stand: Stand, fit: MovementFit, standing: Mapping[str, Estimate] | None = None
) -> tuple[Consequence, ...]:
    """Return what the movement does, each before and after; what the plan or the checkpoints can't tell is left out.

    Formula: each quantity is computed exactly from the neck's plane before and after the movement (`neckset`,
    `sensing`); its change gets its uncertainty from the movement's covariance by the derivative at no movement.
    Required bearing: for the wanted action, the bridge staying where it is along the body. Action: the bridge left as
    it was. Scale length: nut to saddle, in cents 1200 log2 of the ratio.

    When this is wrong: a movement so large that the derivative changes over it; a bridge that was touched. The values
    before are those of the plan where nothing was read; `u` is that of the change.

    Args:
        instrument: the plan.
        stand: how the neck stood before.
        fit: the movement.
        standing: figures of the neck before, by the names of `neck_figures.FIGURES`.
    """
    found: list[Consequence | None] = []
    figures = standing or {}
    neck = neck_set_of(instrument)
    if neck is not None and neck.bridge_position is not None and stand.height is not None:
        for side in SIDES:
            found += _strings(neck, stand.height, stand, fit, side, figures.get(f"required_bearing.{side}"))
    if stand.bridge is not None:
        line = LengthSensor(stand.bridge, ACROSS, ACROSS)
        start = figures.get("centreline_offset", Estimate(0.0, 0.0, "mm"))
        found.append(_told("centreline_offset", "", start, line.change, fit, _WORST_MM))
    if stand.bridge is not None and stand.nut is not None:
        found.append(_scale_length(stand, fit))
    return tuple(each for each in found if each is not None)


def _strings(
    neck: NeckSet, height: float, stand: Stand, fit: MovementFit, side: str, before: Estimate | None
) -> list[Consequence | None]:
    """Return the bearing that a side's outer string needs, and its action with the bridge left alone."""
    place = neck.bridge_position or 0.0
    across = neck.string(side).at_bridge * (-1.0 if side == "bass" else 1.0)
    slope: Sensor = SlopeSensor(stand.along, ALONG)
    under_string = height + place * math.tan(math.radians(stand.angle_deg))
    at_saddle = LengthSensor((place, across, under_string), stand.normal, UP)
    bearing = neck.required_bearing(stand.angle_deg, height, side)

    def moved(movement: Vector) -> tuple[float, float]:
        """Return neck angle and plane height at the joint line, such that the plane is right under this string."""
        angle_deg = stand.angle_deg + math.degrees(slope.change(movement))
        plane = under_string + at_saddle.change(movement)
        return angle_deg, plane - place * math.tan(math.radians(angle_deg))

    def needed(movement: Vector) -> float:
        return neck.required_bearing(*moved(movement), side) - bearing

    def action(movement: Vector) -> float:
        angle_deg, plane = moved(movement)
        return neck.action_at_twelfth(angle_deg, plane, bearing, side) - neck.string(side).action

    return [
        _told("required_bearing", side, before or Estimate(bearing, 0.0, "mm"), needed, fit, _WORST_MM),
        _told("action", side, Estimate(neck.string(side).action, 0.0, "mm"), action, fit, _WORST_MM),
    ]


def _scale_length(stand: Stand, fit: MovementFit) -> Consequence | None:
    if stand.nut is None or stand.bridge is None:
        return None
    line = np.subtract(stand.nut, stand.bridge)
    length = float(np.linalg.norm(line))
    x, y, z = (float(part) / length for part in line)
    sensor = LengthSensor(stand.nut, (x, y, z), (x, y, z), False)

    def cents(movement: Vector) -> float:
        return 1200 * math.log2((length + sensor.change(movement)) / length)

    return _told("scale_length", "", Estimate(0.0, 0.0, "cents"), cents, fit, _WORST_CENTS)


def _told(
    name: str,
    side: str,
    before: Estimate,
    change: Callable[[Vector], float],
    fit: MovementFit,
    worst: float,
) -> Consequence | None:
    """Return one consequence, None where the movement tells it no better than was believed beforehand."""
    steps = np.diag(_STEP)
    slope = np.array([(change(step) - change(-step)) / (2 * step.max()) for step in steps])
    found = fit.of(slope, before.unit)
    if found is None or found.u > worst:
        return None
    moved = float(change(fit.movement))
    after = before.value + moved
    return Consequence(name, side, before.unit, before.value, after, moved, found.u, found.dof, before.u)
