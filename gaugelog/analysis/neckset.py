"""The geometry of a neck set, exact.

Here: from the numbers of neck, bridge and strings to the height at which the strings must bear, both ways, and what it
leaves of the bridge's travel. Not here: uncertainty (`neckset_estimates`), readings (`plane`), wood (`cut`).

Frame, signs and words: docs/conventions.md. Heights are over the body top, distances along the body from the joint
line. No small angles anywhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

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

    def bearing_place(self, angle_deg: float, side: str) -> float:
        """Return x of the bearing point along the body, mm: as drilled, else D cos θ - a_s sin θ."""
        if self.bridge_position is not None:
            return self.bridge_position
        angle = math.radians(angle_deg)
        return self.joint_to_bearing(side) * math.cos(angle) - self.height_at_bearing(side) * math.sin(angle)

    def required_bearing(self, angle_deg: float, plane_height: float, side: str) -> float:
        """Return z_req, the height at which the string must bear for the wanted action, mm.

        Formula: z = h + x_b tan θ + a_s / cos θ; where the bridge isn't drilled x_b = D cos θ - a_s sin θ, which
        makes it h + D sin θ + a_s cos θ.

        Args:
            angle_deg: θ, the neck angle.
            plane_height: h, fret plane over the body top at the joint line, mm.
            side: bass or treble.
        """
        angle = math.radians(angle_deg)
        place = self.bearing_place(angle_deg, side)
        return plane_height + place * math.tan(angle) + self.height_at_bearing(side) / math.cos(angle)

    def mm_per_degree(self, angle_deg: float, side: str) -> float:
        """Return how much the required bearing rises for a degree of neck angle, the bridge staying where it is.

        Formula: dz/dθ = (x_b + a_s sin θ)/cos² θ, times π/180.
        """
        angle = math.radians(angle_deg)
        place, height = self.bearing_place(angle_deg, side), self.height_at_bearing(side)
        return math.radians((place + height * math.sin(angle)) / math.cos(angle) ** 2)

    def angle_for(self, bearing: float, plane_height: float, side: str) -> float | None:
        """Return the neck angle at which the string bears at a height, degrees; None where no angle does.

        Formula: with T = tan θ and Z = z - h: x_b T + a_s sqrt(1 + T²) = Z, squared a quadratic in T. Where the bridge
        isn't drilled: D sin θ + a_s cos θ = Z, so θ = asin(Z / sqrt(D² + a_s²)) - atan2(a_s, D).
        """
        height, lift = self.height_at_bearing(side), bearing - plane_height
        if self.bridge_position is None:
            along = self.joint_to_bearing(side)
            reach = math.hypot(along, height)
            if abs(lift) > reach:
                return None
            return math.degrees(math.asin(lift / reach) - math.atan2(height, along))
        place = self.bridge_position
        square = place * place - height * height
        under_root = place * place * lift * lift - square * (lift * lift - height * height)
        if square <= 0 or under_root < 0:
            return None
        root = math.sqrt(under_root)
        for tangent in ((place * lift - root) / square, (place * lift + root) / square):
            if abs(place * tangent + height * math.sqrt(1 + tangent * tangent) - lift) < 1e-6 * max(1.0, abs(lift)):
                return math.degrees(math.atan(tangent))
        return None

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
