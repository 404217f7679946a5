"""The geometry of a neck set, exact.

Here: from the numbers of neck, bridge and strings to the height at which the strings must bear, both ways, and what it
leaves of the bridge's travel. Not here: readings (`neck_rows`), uncertainty (`neck_setting`), wood (`cut`).

Frame, signs and words: docs/conventions.md. Heights are over the body top, distances along the body from the joint
line. No small angles anywhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gaugelog.model.instrument import Instrument

BASS, TREBLE = "bass", "treble"
SIDES = (BASS, TREBLE)


def fret_distance(scale_length: float, fret: float) -> float:
    """Return how far a fret lies from the nut, mm.

    Formula: S (1 - 2^(-n/12)): equal temperament; the octave at half the scale length.

    Args:
        scale_length: S, mm, above 0.
        fret: n, 0 at the nut.
    """
    return scale_length * (1 - 2 ** (-fret / 12))


def sag(radius: float, across: float) -> float:
    """Return how much lower a fret's top is at `across` from the centreline than on it, mm.

    Formula: R - sqrt(R² - y²). An infinite radius is a flat fretboard.

    Raises:
        ValueError: the place lies farther out than the radius.
    """
    if math.isinf(radius):
        return 0.0
    if abs(across) > radius:
        raise ValueError("a place on the fretboard lies within its radius")
    return across * across / (radius + math.sqrt(radius * radius - across * across))


def relief_at(relief: float, scale_length: float, frets: int, fret: float) -> float:
    """Return how far a fret's top lies under the straight line from the nut to the last fret, mm.

    Formula: 4 ρ s (1 - s) with s the fret's place between nut and last fret: a parabola of depth ρ.

    When this is wrong: a neck whose hollow isn't in the middle; the deepest place is then elsewhere.

    Args:
        relief: ρ, the hollow's depth, minus for a hump, mm.
        scale_length: mm.
        frets: how many there are.
        fret: which one.
    """
    share = fret_distance(scale_length, fret) / fret_distance(scale_length, frets)
    return 4 * relief * share * (1 - share)


@dataclass(frozen=True, slots=True)
class StringLine:
    """One outer string: bass or treble.

    All in mm: `compensation` behind the scale length, wanted `action` over the 12th fret's top, `at_nut` and
    `at_bridge` its distance from the centreline (positive on either side).
    """

    compensation: float
    action: float
    at_nut: float
    at_bridge: float


@dataclass(frozen=True, slots=True)
class NeckSet:
    """The numbers that a neck set is computed from, mm.

    `bridge_position` is x of the saddle line, None before it is drilled; `nut_height` the strings' underside over the
    fret tops carried on, at the nut; `radius` the fretboard's, infinite where it is flat.
    """

    scale_length: float
    joint_fret: float
    frets: int
    bass: StringLine
    treble: StringLine
    nut_height: float = 0.0
    relief: float = 0.0
    radius: float = math.inf
    bridge_position: float | None = None

    def string(self, side: str) -> StringLine:
        """Return the outer string of a side."""
        return self.bass if side == BASS else self.treble

    def joint_to_bearing(self, side: str) -> float:
        """Return D, the distance along the fret plane from the joint line to where the string bears, mm.

        Formula: D = S 2^(-j/12) + c.
        """
        left_of_scale: float = self.scale_length * 2 ** (-self.joint_fret / 12)
        return left_of_scale + self.string(side).compensation

    def height_at_bearing(self, side: str) -> float:
        """Return a_s, the string's underside over the fret plane where it bears, square to the plane, mm.

        Formula: a_s = a_n + 2 (A - a_n)(S + c)/S: the string is straight, and the 12th fret lies at S/2. A and a_n are
        heights over the plane through the fret tops of the centreline: less the sag of the radius where the string
        runs, and at the 12th fret less the relief there.
        """
        string = self.string(side)
        length = self.scale_length + string.compensation
        at_twelfth = string.at_nut + (string.at_bridge - string.at_nut) * self.scale_length / 2 / length
        hollow = relief_at(self.relief, self.scale_length, self.frets, 12)
        wanted = string.action - sag(self.radius, at_twelfth) - hollow
        nut = self.nut_height - sag(self.radius, string.at_nut)
        return nut + 2 * (wanted - nut) * length / self.scale_length

    def across(self, side: str) -> float:
        """Return y of the string at the saddle line, mm: minus on the bass side."""
        return self.string(side).at_bridge * (-1.0 if side == BASS else 1.0)

    def bearing_place(self, angle_deg: float, side: str) -> float:
        """Return x of the bearing point along the body, mm: as drilled, else D cos θ - a_s sin θ."""
        if self.bridge_position is not None:
            return self.bridge_position
        angle = math.radians(angle_deg)
        return self.joint_to_bearing(side) * math.cos(angle) - self.height_at_bearing(side) * math.sin(angle)

    def plane_at_saddle(self, angle_deg: float, plane_height: float, side: str, roll_deg: float = 0.0) -> float:
        """Return how high the fret plane carried on passes over the body under the string, at the saddle line, mm.

        Formula: h + x_b tan θ + y tan φ, on the plane through the fret tops of the centreline.
        """
        across = self.across(side) * math.tan(math.radians(roll_deg))
        return plane_height + self.bearing_place(angle_deg, side) * math.tan(math.radians(angle_deg)) + across

    def required_bearing(self, angle_deg: float, plane_height: float, side: str, roll_deg: float = 0.0) -> float:
        """Return z_req, the height at which the string must bear for the wanted action, mm.

        Formula: z = h + x_b tan θ + y tan φ + a_s sqrt(1 + tan² θ + tan² φ); without roll h + x_b tan θ + a_s / cos θ.
        Where the bridge isn't drilled x_b = D cos θ - a_s sin θ, which makes it h + D sin θ + a_s cos θ.

        When this is wrong: strings that don't run over the fretboard's middle; half a millimetre aside is about 0.04 mm
        of height on a radius of 305 mm.

        Args:
            angle_deg: θ, the neck angle.
            plane_height: h, fret plane over the body top at the joint line, on the centreline, mm.
            side: bass or treble.
            roll_deg: φ, tilt across, positive with the treble edge higher.
        """
        steepness = math.hypot(1.0, math.tan(math.radians(angle_deg)), math.tan(math.radians(roll_deg)))
        plane = self.plane_at_saddle(angle_deg, plane_height, side, roll_deg)
        return plane + self.height_at_bearing(side) * steepness

    def mm_per_degree(self, angle_deg: float, side: str, roll_deg: float = 0.0) -> float:
        """Return how much the required bearing rises for a degree of neck angle, the bridge staying where it is.

        Formula: dz/dθ = (x_b + a_s T/sqrt(1 + T² + Q²))(1 + T²), T = tan θ, Q = tan φ, times π/180.
        """
        slope, tilt = math.tan(math.radians(angle_deg)), math.tan(math.radians(roll_deg))
        place, height = self.bearing_place(angle_deg, side), self.height_at_bearing(side)
        return math.radians((place + height * slope / math.hypot(1.0, slope, tilt)) * (1 + slope * slope))

    def angle_for(self, bearing: float, plane_height: float, side: str, roll_deg: float = 0.0) -> float | None:
        """Return the neck angle at which the string bears at a height, degrees; None where no angle does.

        Formula: with T = tan θ, Q = tan φ and Z = z - h - y Q: x_b T + a_s sqrt(1 + Q² + T²) = Z, squared a quadratic
        in T. Where the bridge isn't drilled: D sin θ + a_s cos θ = Z, so θ = asin(Z / sqrt(D² + a_s²)) - atan2(a_s, D),
        with a_s sqrt(1 + Q²) for a_s (good to a micrometre up to 2 degrees of roll).
        """
        tilt = math.tan(math.radians(roll_deg))
        height, lift = self.height_at_bearing(side), bearing - plane_height - self.across(side) * tilt
        flat = 1 + tilt * tilt
        if self.bridge_position is None:
            height *= math.sqrt(flat)
            along = self.joint_to_bearing(side)
            reach = math.hypot(along, height)
            if abs(lift) > reach:
                return None
            return math.degrees(math.asin(lift / reach) - math.atan2(height, along))
        place = self.bridge_position
        square = place * place - height * height
        under_root = place * place * lift * lift - square * (lift * lift - height * height * flat)
        if square <= 0 or under_root < 0:
            return None
        root = math.sqrt(under_root)
        for tangent in ((place * lift - root) / square, (place * lift + root) / square):
            if abs(place * tangent + height * math.sqrt(flat + tangent * tangent) - lift) < 1e-6 * max(1.0, abs(lift)):
                return math.degrees(math.atan(tangent))
        return None

    def nut_place(self, angle_deg: float, plane_height: float) -> tuple[float, float]:
        """Return x and z of the strings' underside at the nut, mm, on the centreline."""
        angle = math.radians(angle_deg)
        behind = fret_distance(self.scale_length, self.joint_fret)
        return (
            -behind * math.cos(angle) - self.nut_height * math.sin(angle),
            plane_height - behind * math.sin(angle) + self.nut_height * math.cos(angle),
        )

    def string_margin(self, width: float, offset: float, side: str) -> float:
        """Return what the outer string keeps to the fretboard's edge at the last fret, mm.

        Formula: W/2 - (n + (b ∓ δ - n) f/(S + c)): the string runs straight from nut to saddle, n and b from the
        centreline; the fretboard's centreline carried on misses the bridge's middle by δ toward the treble side.

        Args:
            width: W, the fretboard's width at the last fret.
            offset: δ, mm.
            side: bass or treble.
        """
        string = self.string(side)
        share = fret_distance(self.scale_length, self.frets) / (self.scale_length + string.compensation)
        at_bridge = string.at_bridge - (offset if side == TREBLE else -offset)
        return width / 2 - string.at_nut - (at_bridge - string.at_nut) * share

    def action_at_twelfth(self, angle_deg: float, plane_height: float, bearing: float, side: str) -> float:
        """Return the string's height over the 12th fret's top with the string bearing at a height, mm.

        The inverse of `required_bearing`: a_s = (z - h - x_b tan θ) cos θ, then the string's straight line.
        """
        angle = math.radians(angle_deg)
        string = self.string(side)
        length = self.scale_length + string.compensation
        at_twelfth = string.at_nut + (string.at_bridge - string.at_nut) * self.scale_length / 2 / length
        if self.bridge_position is None:
            height = (bearing - plane_height - self.joint_to_bearing(side) * math.sin(angle)) / math.cos(angle)
        else:
            height = (bearing - plane_height - self.bridge_position * math.tan(angle)) * math.cos(angle)
        nut = self.nut_height - sag(self.radius, string.at_nut)
        over_plane = nut + (height - nut) * self.scale_length / 2 / length
        return over_plane + sag(self.radius, at_twelfth) + relief_at(self.relief, self.scale_length, self.frets, 12)


def neck_set_of(instrument: Instrument) -> NeckSet | None:
    """Return the numbers of an instrument's neck set, None where one that is needed is left open.

    What only makes it finer counts as nothing where it is left open: compensation, nut height, relief, a radius.
    """
    neck, bridge, action = instrument.neck, instrument.bridge, instrument.action
    if neck.scale_length is None or neck.joint_fret is None or action.bass is None or action.treble is None:
        return None
    at_bridge = (bridge.string_spread or 0.0) / 2
    at_nut = (neck.string_spread_at_nut or 0.0) / 2
    return NeckSet(
        scale_length=neck.scale_length,
        joint_fret=neck.joint_fret,
        frets=neck.frets or 24,
        bass=StringLine(neck.compensation_bass or 0.0, action.bass, at_nut, at_bridge),
        treble=StringLine(neck.compensation_treble or 0.0, action.treble, at_nut, at_bridge),
        nut_height=neck.nut_height or 0.0,
        relief=neck.relief or 0.0,
        radius=neck.fretboard_radius if neck.fretboard_radius is not None else math.inf,
        bridge_position=bridge.position,
    )


def break_angle(nut_place: tuple[float, float], bearing: tuple[float, float], anchor: tuple[float, float]) -> float:
    """Return by how much a string bends over its saddle, degrees; positive when it goes down behind it.

    Args:
        nut_place: x, z of the string at the nut, mm.
        bearing: x, z where it bears on the saddle.
        anchor: x, z where it leaves the tail.
    """
    before = math.atan2(bearing[1] - nut_place[1], bearing[0] - nut_place[0])
    behind = math.atan2(anchor[1] - bearing[1], anchor[0] - bearing[0])
    return math.degrees(before - behind)
