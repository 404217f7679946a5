"""The tables of an instrument file that hold plain values: neck, pocket, bridge, action, limits, wood, glue.

Here: which keys each table has and what one key may be. Not here: checkpoints, and what must agree between keys.
"""

from __future__ import annotations

from gaugelog.model.instrument import Action, Bridge, Glue, MovementLimits, Neck, Pocket, Wood
from gaugelog.model.quantities import Quantity
from gaugelog.model.section import Section

GRAINS = ("radial", "tangential")
MOST_FRETS = 60


def _length(section: Section, name: str, units: str) -> float | None:
    """Return a length in mm of either sign."""
    return section.measure(name, Quantity.LENGTH, units)


def _size(section: Section, name: str, units: str) -> float | None:
    """Return a length in mm that is more than nothing."""
    return section.measure(name, Quantity.LENGTH, units, above=0.0)


def _size_or_nothing(section: Section, name: str, units: str) -> float | None:
    """Return a length in mm that may be nothing but not less."""
    return section.measure(name, Quantity.LENGTH, units, low=0.0)


def _limit_angle(section: Section, name: str) -> float | None:
    """Return an angle in degrees that is more than nothing and at most a right angle."""
    return section.measure(name, Quantity.ANGLE, "deg", above=0.0, high=90.0, difference=True)


def read_neck(section: Section, units: str) -> Neck:
    """Return the table [neck]; lengths without a unit are in `units`."""
    neck = Neck(
        scale_length=_size(section, "scale_length", units),
        compensation_bass=_length(section, "compensation_bass", units),
        compensation_treble=_length(section, "compensation_treble", units),
        frets=section.whole("frets", 1, MOST_FRETS),
        joint_fret=section.whole("joint_fret", 1, MOST_FRETS),
        plane_height=_size(section, "plane_height", units),
        underside_height=_size_or_nothing(section, "underside_height", units),
        fretboard_radius=_size(section, "fretboard_radius", units),
        edge_width_at_joint=_size(section, "edge_width_at_joint", units),
        edge_width_at_last_fret=_size(section, "edge_width_at_last_fret", units),
        overhang=_size_or_nothing(section, "overhang", units),
        nut_height=_size_or_nothing(section, "nut_height", units),
        string_spread_at_nut=_size(section, "string_spread_at_nut", units),
        relief=_length(section, "relief", units),
    )
    section.done()
    return neck


def read_pocket(section: Section, units: str) -> Pocket:
    """Return the table [pocket]; lengths without a unit are in `units`."""
    pocket = Pocket(
        start=_length(section, "start", units),
        length=_size(section, "length", units),
        width=_size(section, "width", units),
        depth=_size(section, "depth", units),
        least_floor=_size_or_nothing(section, "least_floor", units),
        body_thickness=_size(section, "body_thickness", units),
    )
    section.done()
    return pocket


def read_bridge(section: Section, units: str) -> Bridge:
    """Return the table [bridge]; lengths without a unit are in `units`."""
    bridge = Bridge(
        position=_size(section, "position", units),
        bearing_low=_size_or_nothing(section, "bearing_low", units),
        bearing_high=_size(section, "bearing_high", units),
        travel_reserve=_size_or_nothing(section, "travel_reserve", units),
        saddle_slot_depth=_size_or_nothing(section, "saddle_slot_depth", units),
        spacer=_size_or_nothing(section, "spacer", units),
        string_spread=_size(section, "string_spread", units),
        tail_anchor_x=_size(section, "tail_anchor_x", units),
        tail_anchor_z=_length(section, "tail_anchor_z", units),
        least_break_angle=section.measure("least_break_angle", Quantity.ANGLE, "deg", low=0.0, high=90.0),
    )
    section.done()
    return bridge


def read_action(section: Section, units: str) -> Action:
    """Return the table [action]; lengths without a unit are in `units`."""
    action = Action(bass=_size(section, "bass", units), treble=_size(section, "treble", units))
    section.done()
    return action


def read_movement_limits(section: Section, units: str) -> MovementLimits:
    """Return the table [movement_limits]: three angles in degrees, three lengths."""
    limits = MovementLimits(
        neck_angle=_limit_angle(section, "neck_angle"),
        yaw=_limit_angle(section, "yaw"),
        roll=_limit_angle(section, "roll"),
        sink=_size(section, "sink", units),
        sideways=_size(section, "sideways", units),
        slide=_size(section, "slide", units),
    )
    section.done()
    return limits


def read_wood(section: Section) -> Wood:
    """Return the table [wood]."""
    wood = Wood(
        body=section.text("body"),
        neck=section.text("neck"),
        body_grain=section.choice("body_grain", GRAINS),
        neck_grain=section.choice("neck_grain", GRAINS),
    )
    section.done()
    return wood


def read_glue(section: Section) -> Glue:
    """Return the table [glue]: what the label says, in minutes and hours."""
    glue = Glue(
        label=section.text("label"),
        open_time_min=section.number("open_time_min", above=0.0),
        clamp_time_h=section.number("clamp_time_h", above=0.0),
    )
    section.done()
    return glue
