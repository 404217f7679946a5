"""Where everything of a neck set lies, in mm, for the two views of it.

Here: what the views are given (a pose of the neck, the wood to take off) and the places that follow from it and from
the instrument's numbers: nut, frets, fretboard, strings, saddle line. Not here: paper, lines, words.

Axes and signs: docs/conventions.md. A place in the side view is (x, z), in the top view (x, y).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from gaugelog.analysis.neckset import fret_distance
from gaugelog.model.instrument import Instrument

Point = tuple[float, float]

BASS, TREBLE = 0, 1
SIDES = ("bass", "treble")
_BEHIND_LAST_FRET_MM = 8.0
_NUT_EDGE_MM = 3.5
_USUAL_SPREAD_AT_NUT_MM = 36.0
_USUAL_SPREAD_AT_BRIDGE_MM = 52.0
_USUAL_EDGE_WIDTH_MM = 52.0
_BEHIND_SADDLE_MM = 40.0


@dataclass(frozen=True, slots=True)
class Pose:
    """How the neck stands at one moment, for drawing.

    `label` says which moment. `angle_deg` is the slope of the fret plane, `height_mm` its height over the body top at
    the joint line, `band_mm` the half width of the 95 % interval of its height at the saddle line. `bearing_mm` is the
    height over the body top at which the strings must bear, bass and treble. `offset_mm` is where the fretboard's
    centreline, carried on, crosses the saddle line, plus toward treble, `offset_at_joint_mm` the same at the joint
    line, `offset_band_mm` the half width of its 95 % interval at the saddle line.
    """

    label: str
    angle_deg: float
    height_mm: float
    band_mm: float | None = None
    bearing_mm: tuple[float, float] | None = None
    offset_mm: float | None = None
    offset_at_joint_mm: float = 0.0
    offset_band_mm: float | None = None


@dataclass(frozen=True, slots=True)
class WoodOff:
    """Wood to take off the pocket, mm at its corners; minus is a shim's thickness there.

    `cheek` is "bass" or "treble", the cheek to take wood off, and empty for none.
    """

    bass_body_edge: float
    bass_tail: float
    treble_body_edge: float
    treble_tail: float
    cheek: str = ""
    cheek_body_edge: float = 0.0
    cheek_tail: float = 0.0


@dataclass(frozen=True, slots=True)
class Layout:
    """The instrument's own places, whatever the neck does: all that both views share.

    `frets_mm` are distances from the joint line along the fret plane, the nut first; `saddle_mm` is x of the saddle
    line for bass and treble, `right_mm` x of the last thing that is drawn.
    """

    instrument: Instrument
    frets_mm: tuple[float, ...]
    board_end_mm: float
    saddle_mm: tuple[float, float]
    right_mm: float

    @property
    def nut_mm(self) -> float:
        """Distance of the nut from the joint line along the fret plane, mm, below 0."""
        return self.frets_mm[0]

    @property
    def saddle_line_mm(self) -> float:
        """Return x of the saddle line midway between bass and treble, mm."""
        return sum(self.saddle_mm) / 2

    def on_plane(self, pose: Pose, along_mm: float, over_mm: float = 0.0) -> Point:
        """Return (x, z) of a place on the fret plane, or square over it.

        Args:
            pose: how the neck stands.
            along_mm: along the plane from the joint line, plus toward the bridge.
            over_mm: over the plane; minus is under it.
        """
        angle = math.radians(pose.angle_deg)
        x = along_mm * math.cos(angle) - over_mm * math.sin(angle)
        return x, pose.height_mm + along_mm * math.sin(angle) + over_mm * math.cos(angle)

    def plane_at(self, pose: Pose, x_mm: float) -> float:
        """Return the fret plane's height over the body top at x: h + x tan θ, mm."""
        return pose.height_mm + x_mm * math.tan(math.radians(pose.angle_deg))

    def string_at_nut(self, pose: Pose) -> Point:
        """Return (x, z) where the strings leave the nut."""
        return self.on_plane(pose, self.nut_mm, self.instrument.neck.nut_height or 0.0)

    def string_side(self, pose: Pose, side: int) -> tuple[Point, ...]:
        """Return the string from the side: nut, bearing, tail anchor where it is known; empty without a bearing."""
        if pose.bearing_mm is None:
            return ()
        drawn = (self.string_at_nut(pose), (self.saddle_mm[side], pose.bearing_mm[side]))
        bridge = self.instrument.bridge
        if bridge.tail_anchor_x is None or bridge.tail_anchor_z is None:
            return drawn
        return (*drawn, (bridge.tail_anchor_x, bridge.tail_anchor_z))

    def offset_at(self, pose: Pose, x_mm: float) -> float:
        """Return how far the fretboard's centreline lies from the body's at x, plus toward treble, mm."""
        at_joint = pose.offset_at_joint_mm
        at_saddle = at_joint if pose.offset_mm is None else pose.offset_mm
        return at_joint + (at_saddle - at_joint) * x_mm / self.saddle_line_mm

    def half_board_at(self, along_mm: float) -> float:
        """Return half the fretboard's width at a place along it, mm: straight edges through the widths known."""
        neck = self.instrument.neck
        spread = neck.string_spread_at_nut or _USUAL_SPREAD_AT_NUT_MM
        if neck.edge_width_at_joint is not None and neck.edge_width_at_last_fret is not None and self.frets_mm[-1] > 0:
            slope = (neck.edge_width_at_last_fret - neck.edge_width_at_joint) / self.frets_mm[-1]
            return (neck.edge_width_at_joint + slope * along_mm) / 2
        half_nut = spread / 2 + _NUT_EDGE_MM
        half_joint = (neck.edge_width_at_joint or _USUAL_EDGE_WIDTH_MM) / 2
        return half_joint + (half_nut - half_joint) * along_mm / self.nut_mm

    def half_spread_at_nut(self) -> float:
        """Return half the outer strings' spread at the nut, mm."""
        return (self.instrument.neck.string_spread_at_nut or _USUAL_SPREAD_AT_NUT_MM) / 2

    def half_spread_at_bridge(self) -> float:
        """Return half the outer strings' spread at the saddles, mm."""
        return (self.instrument.bridge.string_spread or _USUAL_SPREAD_AT_BRIDGE_MM) / 2


def layout(instrument: Instrument) -> Layout | None:
    """Return the instrument's places, None where scale length or joint fret is open.

    Fret n lies at S (1 - 2^(-n/12)) from the nut (equal temperament), S being the scale length. The saddle line is
    where the bridge stands, else S 2^(-j/12) and the compensation behind the joint line, j being the fret over it.
    """
    neck, bridge = instrument.neck, instrument.bridge
    if neck.scale_length is None or neck.joint_fret is None:
        return None
    joint = fret_distance(neck.scale_length, neck.joint_fret)
    count = max(neck.frets or 0, neck.joint_fret)
    frets = tuple(fret_distance(neck.scale_length, number) - joint for number in range(count + 1))
    end = neck.overhang if neck.overhang is not None else frets[-1] + _BEHIND_LAST_FRET_MM
    left_of_scale = neck.scale_length - joint
    behind = (neck.compensation_bass or 0.0, neck.compensation_treble or 0.0)
    saddles = (left_of_scale + behind[BASS], left_of_scale + behind[TREBLE])
    if bridge.position is not None:
        saddles = (bridge.position, bridge.position)
    return Layout(instrument, frets, end, saddles, max(bridge.tail_anchor_x or 0.0, max(saddles) + _BEHIND_SADDLE_MM))


def leftmost_mm(places: Layout, poses: Sequence[Pose]) -> float:
    """Return x of the nut, the farthest of all poses."""
    return min(places.on_plane(pose, places.nut_mm)[0] for pose in poses)
