"""An invented neck in an invented pocket, set down in three dimensions and read with scatter and digits.

All of it is synthetic. The neck's place is worked out from the pocket's floor and cheeks with scipy's Rotation; nothing
of the geometry of `gaugelog.analysis` is used for it. Loaded by the tests beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property

import numpy as np
from scipy.spatial.transform import Rotation

from gaugelog.analysis.cut import Cheeks, Corners
from gaugelog.analysis.neck_cut import CutAdvice, cut_advice
from gaugelog.analysis.neck_setting import NeckSetting, neck_setting
from gaugelog.analysis.readiness import p_conform
from gaugelog.analysis.stage_means import StageMean, stage_means
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.written_steps import written_steps
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.kinds import BEFORE
from gaugelog.model.placement import KeptPlacement, Placement, Settled, Snapshot
from gaugelog.model.quantities import Quantity

STEP_MM = 0.1
ANGLE_DEG, LENGTH_MM, WIDTH_MM, FLOOR_MM = 2.8, 90.0, 50.0, -16.0
BRIDGE_MM, HALF_SPREAD_MM, RADIUS_MM, TOP_MM = 274.5, 26.0, 305.0, 17.8
DIGIT = {Quantity.ANGLE: 0.05, Quantity.LENGTH: 0.1, Quantity.TEMPERATURE: 0.5, Quantity.HUMIDITY: 1.0}
SCATTER = {Quantity.ANGLE: 0.02, Quantity.LENGTH: 0.03, Quantity.TEMPERATURE: 0.1, Quantity.HUMIDITY: 0.3}


@cache
def plan() -> Instrument:
    """The example instrument of a new file, with every kind of checkpoint."""
    return read_instrument(new_instrument("synthetic", gauges="two", full=True), "new")


@dataclass(frozen=True)
class Work:
    """The true pocket, mm: how much too high its floor is at four corners, how far aside its cheeks let the neck."""

    floor: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    aside: tuple[float, float] = (0.0, 0.0)
    relief: float = 0.2

    def cut(self, floor: Corners, cheeks: Cheeks) -> Work:
        """The pocket with wood taken off."""
        left = np.subtract(self.floor, floor.all())
        edge = self.aside[0] + cheeks.treble_body_edge - cheeks.bass_body_edge
        tail = self.aside[1] + cheeks.treble_tail - cheeks.bass_tail
        return Work((left[0], left[1], left[2], left[3]), (edge, tail), self.relief)


def wrong_by(angle_deg: float = 0.0, roll_deg: float = 0.0, yaw_deg: float = 0.0, height: float = 0.0) -> Work:
    """A pocket whose floor slopes, leans and stands too high, and whose cheeks point aside, by so much."""
    up = LENGTH_MM * (math.tan(math.radians(ANGLE_DEG + angle_deg)) - math.tan(math.radians(ANGLE_DEG)))
    lean = WIDTH_MM / 2 * math.tan(math.radians(roll_deg))
    aside = LENGTH_MM * math.tan(math.radians(yaw_deg))
    return Work((height - lean, height + up - lean, height + lean, height + up + lean), (0.0, aside))


@dataclass(frozen=True)
class Neck:
    """A neck as it lies: the plane of its fret tops z = height + slope x + tilt y, its underside, its centreline."""

    slope: float
    tilt: float
    height: float
    underside: float
    floor_slope: float
    offset: float
    heading: float

    def plane(self, x: float, y: float) -> float:
        return self.height + self.slope * x + self.tilt * y

    def aside(self, x: float) -> float:
        return self.offset + self.heading * x


def set_down(work: Work) -> Neck:
    """Lay the rigid neck on the floor, its shoulder against the body, and turn it as the cheeks let it."""
    bass_edge, bass_tail, treble_edge, treble_tail = work.floor
    along = ((bass_tail + treble_tail) - (bass_edge + treble_edge)) / 2 / LENGTH_MM
    across = (treble_edge - bass_edge) / WIDTH_MM
    as_planned = math.tan(math.radians(ANGLE_DEG))
    planned, made = np.array([-as_planned, 0.0, 1.0]), np.array([-as_planned - along, -across, 1.0])
    planned, made = planned / np.linalg.norm(planned), made / np.linalg.norm(made)
    axis = np.cross(planned, made)
    size = float(np.linalg.norm(axis))
    lean = Rotation.from_rotvec(axis / size * math.asin(size) if size > 0 else np.zeros(3))
    turn = Rotation.from_euler("z", math.atan((work.aside[1] - work.aside[0]) / LENGTH_MM)) * lean
    shoulder = np.array([0.0, 0.0, FLOOR_MM])
    shift = np.array([0.0, work.aside[0], (bass_edge + treble_edge) / 2])

    def placed(point: Sequence[float]) -> np.ndarray:
        return np.asarray(turn.apply(np.array(point) - shoulder) + shoulder + shift)

    normal = turn.apply([-as_planned, 0.0, 1.0])
    top, under = placed([0.0, 0.0, 6.0]), placed([0.0, 0.0, 0.0])
    ends = placed([-400.0, 0.0, 6.0 - 400 * as_planned]), placed([86.0, 0.0, 6.0 + 86 * as_planned])
    heading = (ends[1][1] - ends[0][1]) / (ends[1][0] - ends[0][0])
    slope, tilt = -normal[0] / normal[2], -normal[1] / normal[2]
    return Neck(
        slope,
        tilt,
        top[2] - slope * top[0] - tilt * top[1],
        under[2] - slope * under[0] - tilt * under[1],
        as_planned + along,
        ends[1][1] - heading * ends[1][0],
        heading,
    )


def sag_at(across: float) -> float:
    return RADIUS_MM - math.sqrt(RADIUS_MM**2 - across**2)


def true_reading(checkpoint: Checkpoint, neck: Neck, relief: float) -> float:
    """What a perfect gauge would read."""
    side = -1.0 if checkpoint.side == "bass" else 1.0
    x, y, _ = checkpoint.place.point_mm or (BRIDGE_MM, side * HALF_SPREAD_MM, 0.0)
    by_kind: Mapping[str, Callable[[], float]] = {
        "neck-angle": lambda: math.degrees(math.atan(neck.slope)),
        "neck-roll": lambda: math.degrees(math.atan(neck.tilt)),
        "pocket-floor-tilt": lambda: math.degrees(math.atan(neck.floor_slope)),
        "fret-to-bridge-clearance": lambda: neck.plane(x, y) - sag_at(y) - TOP_MM,
        "saddle-height": lambda: TOP_MM,
        "fretboard-edge-height": lambda: neck.underside + neck.slope * x + neck.tilt * y,
        "fretboard-end-rise": lambda: neck.underside + neck.slope * x,
        "centreline-offset": lambda: neck.aside(x),
        "post-to-edge": lambda: 7.7 - side * neck.aside(x),
        "string-to-edge": lambda: 3.2 + side * neck.aside(BRIDGE_MM) * 686 * (1 - 2 ** (-22 / 12)) / 688.8,
        "neck-relief": lambda: relief,
        "joint-gap": lambda: 0.0,
    }
    found = by_kind.get(checkpoint.kind.slug)
    return found() if found is not None else checkpoint.nominal or 0.0


@dataclass(frozen=True)
class Read:
    """One round of readings: the instrument with its plane's height as measured, the means, the file's steps."""

    instrument: Instrument
    means: Mapping[str, StageMean]
    steps: Mapping[str, float]
    snapshot: Snapshot

    @cached_property
    def setting(self) -> NeckSetting:
        """How the neck stands by them."""
        return neck_setting(self.instrument, self.means, self.steps, stage=BEFORE)


@dataclass(frozen=True)
class Hand:
    """Who reads: scatter and digits as shares of the usual, and misreadings by checkpoint."""

    rng: np.random.Generator
    fine: float = 1.0
    errors: Mapping[str, float] = field(default_factory=dict)

    def placement(self, checkpoint: Checkpoint, value: float) -> Placement:
        """One placement: scattered, and rounded to a digit; a difference of two readings to the digit of both."""
        quantity = checkpoint.quantity
        digit = (checkpoint.step or DIGIT[quantity]) * self.fine
        shown = value + self.errors.get(checkpoint.id, 0.0) + self.rng.normal(0.0, SCATTER[quantity] * self.fine)
        body = self.rng.uniform(-0.5, 0.5) if checkpoint.readings_per_placement == 2 else 0.0
        read = (round(shown / digit + body) - round(body)) * digit
        return Placement(
            checkpoint.id, quantity, read, f"{read:.2f}", checkpoint.unit, digit, Settled.STEADY, 0, checkpoint.gauge
        )

    def read(self, work: Work, instrument: Instrument | None = None) -> Read:
        """All checkpoints read before the glue, three placements each, and the plane's height to a tenth."""
        asked, neck = instrument or plan(), set_down(work)
        height = round(neck.height / (0.1 * self.fine)) * 0.1 * self.fine
        under = asked.neck.underside_height
        if under is not None:
            under = max(round(neck.underside / (0.1 * self.fine)) * 0.1 * self.fine, 0.0)
        asked = replace(asked, neck=replace(asked.neck, plane_height=height, underside_height=under))
        placements = [
            self.placement(each, true_reading(each, neck, work.relief))
            for each in asked.at_stage(BEFORE)
            for _ in range(each.placements)
        ]
        kept = tuple(KeptPlacement(number, 1, BEFORE, 0, each) for number, each in enumerate(placements))
        snapshot = Snapshot(1, BEFORE, 1, 0, None, kept)
        means = stage_means(asked, snapshot)
        steps = {key: step * self.fine for key, step in written_steps(asked.text).items()}
        return Read(asked, means, steps, snapshot)


def advise(read: Read, step: float = STEP_MM) -> CutAdvice:
    advice = cut_advice(read.instrument, read.setting, read.means, step)
    assert advice is not None
    return advice


def all_conform(read: Read) -> bool:
    """Whether every tolerance is met with 95 %."""
    for mean in read.means.values():
        tolerance = mean.checkpoint.tolerance
        if tolerance is not None:
            p = p_conform(Estimate(mean.value, mean.u, "", mean.dof), tolerance.low, tolerance.high)
            if p < 0.95:
                return False
    return True


def hand(seed: int, **more) -> Hand:
    return Hand(np.random.default_rng(seed), **more)


def bearing_height(neck: Neck, side: float, compensation: float, action: float, relief: float) -> float:
    """Where the string must bear, by drawing: 12th fret's top and nut in the plane's own frame, carried on.

    Relief is a parabola between nut and last fret (22), the spread grows evenly from nut to saddle.
    """
    normal = np.array([-neck.slope, -neck.tilt, 1.0])
    square = float(np.linalg.norm(normal))
    octave, last = 343.0, 686 * (1 - 2 ** (-22 / 12))
    at_twelfth = 18 + (26 - 18) * octave / (686 + compensation)
    top = -sag_at(at_twelfth) - 4 * relief * (octave / last) * (1 - octave / last)
    nut = 0.5 - sag_at(18.0)
    over = nut + (top + action - nut) / octave * (686 + compensation)
    return neck.plane(BRIDGE_MM, side * HALF_SPREAD_MM) + over * square
