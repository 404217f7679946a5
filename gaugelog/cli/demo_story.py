"""The demo's story: an invented neck set, and what its simulated gauges would feel.

Here: invented numbers and movements, all in the body's frame (docs/conventions.md). Not here: any gauge, byte or
analysis: those are the real ones.

The story: a baritone of 686 mm scale, two-post bridge. Two minutes after the clamps go on the neck slips: its angle
rises by 0.20° and it turns toward the treble side. Six minutes later the clamps are eased and set again; the angle
comes back, the turn stays. It rolled by 0.06° too: less than the limit of 0.1°, but too near to it for two gauges of
0.05° to prove.
"""

from __future__ import annotations

import math
import random
import re
from collections.abc import Callable
from dataclasses import dataclass

from gaugelog.model.instrument import Checkpoint

MINUTE_S = 60.0
GLUE_ON_S = 2 * MINUTE_S
CLAMPS_ON_S = 5 * MINUTE_S
SLIP_S = 7 * MINUTE_S
RESET_S = 13 * MINUTE_S
FIRST_SITTING_S = 35 * MINUTE_S
NIGHT_S = 23 * 3600.0
CLAMPS_OFF_S = 3 * MINUTE_S
SECOND_SITTING_S = 8 * MINUTE_S

SLIP_DEG = 0.20
LEFT_DEG = 0.01
BODY_TILT_DEG = {"before": 0.62, "clamp": -1.37, "after": 1.08}


@dataclass(frozen=True, slots=True)
class Movement:
    """How the neck moved for good, a rigid body: turns in degrees, lengths in mm at the origin."""

    neck_angle_deg: float = LEFT_DEG
    yaw_deg: float = 0.15
    roll_deg: float = 0.06
    sink_mm: float = 0.02
    sideways_mm: float = 0.08

    def shift_at(self, checkpoint: Checkpoint) -> float:
        """Return how far the movement shifts what a checkpoint reads (base unit)."""
        omega_y, omega_z = math.radians(-self.neck_angle_deg), math.radians(self.yaw_deg)
        omega_x = math.radians(self.roll_deg)
        x, y, z = checkpoint.place.point_mm or (0.0, 0.0, 0.0)
        match checkpoint.kind.slug:
            case "neck-angle":
                return self.neck_angle_deg
            case "neck-roll":
                return self.roll_deg
            case "fret-to-bridge-clearance":
                return -self.sink_mm + omega_x * y - omega_y * x
            case "centreline-offset":
                return self.sideways_mm - omega_x * z + omega_z * x
        return 0.0


BEFORE = {
    "pocket-wall-squareness": 90.04,
    "neck-angle": 2.83,
    "neck-roll": 0.04,
    "clearance-bass": 0.53,
    "clearance-treble": 0.56,
    "centreline-bridge": -0.10,
    "control": 0.17,
}
SCATTER_DEG = 0.015
FEELERS_MM = (0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70, 0.75, 0.80)


def truth(checkpoint: Checkpoint, stage: str) -> float:
    """Return what a checkpoint truly is at a stage, in its base unit."""
    shift = Movement().shift_at(checkpoint) if stage == "after" else 0.0
    return BEFORE[checkpoint.id] + shift


def typed(checkpoint: Checkpoint, stage: str, chance: random.Random) -> str:
    """Return what the builder types at a typed checkpoint: the feeler pair that fits, or a ruler's tenth."""
    value = truth(checkpoint, stage) + chance.gauss(0.0, 0.01)
    if checkpoint.kind.slug == "fret-to-bridge-clearance":
        goes = max(feeler for feeler in FEELERS_MM if feeler <= value)
        return f"{goes:.2f}..{goes + 0.05:.2f}"
    return f"{value:.1f}"


def body_drift_deg(time_s: float) -> float:
    """Return how far the bench lets the body tip while the shop warms up (seconds from the session's start)."""
    return 0.06 * (1 - math.exp(-time_s / (12 * MINUTE_S)))


def neck_angle_deg(time_s: float) -> float:
    """Return the neck angle during the first sitting of the clamp session."""
    angle = BEFORE["neck-angle"]
    if time_s >= SLIP_S:
        angle += SLIP_DEG
    if time_s >= RESET_S:
        angle += LEFT_DEG - SLIP_DEG
    return angle


def clamp_motions(
    angle_deg: Callable[[float], float], chance: random.Random, began_s: float
) -> tuple[Callable[[float], float], Callable[[float], float]]:
    """Return the motions of the neck gauge and the body gauge, left lying from the clock's `began_s` on."""
    tilt = BODY_TILT_DEG["clamp"]

    def body(time_s: float) -> float:
        return tilt + body_drift_deg(time_s - began_s) + chance.gauss(0.0, 0.02)

    def neck(time_s: float) -> float:
        return tilt + body_drift_deg(time_s - began_s) + angle_deg(time_s - began_s) + chance.gauss(0.0, 0.02)

    return neck, body


def instrument_text(template: str) -> str:
    """Return the instrument file of the story: the usual one for two gauges, simulated, one limit tighter."""
    text = re.sub(r'"([\w-]+)@serial:[^"]*"', r'"\1@sim:"', template)
    head, roll, tail = text.partition('id = "neck-roll"')
    if not roll:
        raise ValueError("the plan for two gauges reads the neck's roll")
    tighter = re.sub(r"^limit = .*$", "limit = 0.1", tail, count=1, flags=re.MULTILINE)
    return "# An invented instrument, its gauges simulated: made by gaugelog demo.\n" + head + roll + tighter
