"""The geometry of a new instrument file: neck, pocket, bridge, action, limits, wood, glue.

Here: each key of those tables with an example number and what it is to a builder. Not here: checkpoints.

The numbers are invented and fit one another: a set-neck baritone of 686 mm scale, joint line at the 16th fret, neck
angle 2.8 degrees, bridge on two posts. At that angle the outer strings want to bear 22.0 mm (bass) and 21.2 mm
(treble) over the body top, inside the travel of 15.4 to 25.2 mm less its reserve, and with the bridge down on its
spacer a straightedge along the frets passes 0.5 mm over the saddles.
"""

from __future__ import annotations

from gaugelog.instruments.writing import Entry, Lengths, quoted, table


def geometry(length: Lengths) -> list[str]:
    """Return the lines of the geometry, lengths in the unit of the file."""
    return [
        *table("[neck]", "The neck as it is, frets in.", _neck(length)),
        *table("[pocket]", _POCKET_INTRO, _pocket(length)),
        *table("[bridge]", "Bridge and tail. Heights are over the body top.", _bridge(length)),
        *table(
            "[action]",
            "Wanted string height over the 12th fret: top of the fret to the string's underside.",
            (("bass", length(2.2), "lowest string"), ("treble", length(1.8), "highest string")),
        ),
        *table("[movement_limits]", _LIMITS_INTRO, _limits(length)),
        *table("[wood]", _WOOD_INTRO, _WOOD),
        *table("[glue]", _GLUE_INTRO, _GLUE),
    ]


def _neck(length: Lengths) -> tuple[Entry, ...]:
    return (
        ("scale_length", length(686), "nut to bridge without compensation; twice the nut to the 12th fret"),
        ("compensation_bass", length(4), "how much farther back than the scale length the lowest string bears"),
        ("compensation_treble", length(1.5), "the same for the highest string"),
        ("frets", "22", "how many there are"),
        ("joint_fret", "16", "the fret over the joint line, where the fretboard crosses the edge"),
        (
            "plane_height",
            length(6, places=1),
            "fret tops over the body top at the joint line: straightedge along the middle of the frets, depth gauge",
        ),
        (
            "# underside_height",
            length(0, places=1),
            "fretboard's underside over the body top at the joint line; left open, its edge touches there as far as a"
            " feeler tells. Take the # away and no cut will let the fretboard down into the body",
        ),
        ("fretboard_radius", length(305, "12.0"), "radius across the fretboard, by radius gauge"),
        ("edge_width_at_joint", length(52), "width of the fretboard at the joint line, by caliper"),
        ("edge_width_at_last_fret", length(53.9), "width of the fretboard at the last fret, by caliper"),
        ("overhang", length(86), "joint line to the fretboard's end over the body"),
        ("nut_height", length(0.5), "underside of the strings over the fret tops carried on, at the nut"),
        ("string_spread_at_nut", length(36), "outer string to outer string, centres, at the nut"),
        ("relief", length(0.15), "hollow of the fret tops under a straightedge, by feeler"),
    )


_POCKET_INTRO = (
    "The pocket in the body. Cutting or sanding it: guards on, hands out of the line of the blade, dust drawn off and"
    " a mask worn, no gauge in the pocket while a machine can turn. Follow the tool's manual and your local rules."
)


def _pocket(length: Lengths) -> tuple[Entry, ...]:
    return (
        ("start", length(0), "joint line to the pocket's end at the body's edge; 0 if they are one"),
        ("length", length(90), "along the strings"),
        ("width", length(50), "across, at the joint line"),
        ("depth", length(16), "body top to pocket floor, by depth gauge"),
        ("least_floor", length(12), "least wood to keep under the pocket floor, whatever has to come off"),
        ("body_thickness", length(44.5, "1.75"), "of the body where the pocket is"),
    )


def _bridge(length: Lengths) -> tuple[Entry, ...]:
    return (
        (
            "position",
            length(274.5),
            "joint line to saddle line along the body top; once the posts are drilled, as drilled",
        ),
        (
            "bearing_low",
            length(15.4),
            "height of the strings' bearing, bridge all the way down: saddle top less the slot",
        ),
        ("bearing_high", length(25.2), "the same, bridge as far up as its posts hold it safely"),
        ("travel_reserve", length(1), "travel to keep free at both ends, for seasons and taste"),
        ("saddle_slot_depth", length(0.8), "from the saddle's top down to where the string lies"),
        (
            "spacer",
            length(1.6),
            "what the bridge stands on while clearances are read, thin enough that the straightedge touches on"
            " neither side; the same piece every time",
        ),
        ("string_spread", length(52), "outer string to outer string, centres, at the saddles"),
        ("tail_anchor_x", length(322), "joint line to where the strings leave the tail, along the body top"),
        ("tail_anchor_z", length(8), "height of that point over the body top; minus when it lies below"),
        ("least_break_angle", "8", "least bend of a string over its saddle, in degrees"),
    )


_LIMITS_INTRO = (
    "What the neck as a whole may move under the glue: three turns in degrees, three lengths at the joint line. A"
    " limit below what your gauges can prove is no use: `gaugelog checkpoints` says what they can."
)


def _limits(length: Lengths) -> tuple[Entry, ...]:
    return (
        ("neck_angle", "0.2", "fret plane against the body top; 0.2 is about 1 mm at the bridge"),
        ("yaw", "0.1", "turned toward bass or treble; 0.1 is about 0.5 mm at the bridge"),
        ("roll", "0.2", "one fretboard edge up, the other down"),
        ("sink", length(0.3, "0.012"), "neck down into the pocket, or up out of it"),
        ("sideways", length(0.3, "0.012"), "neck toward bass or treble"),
        ("slide", length(0.3, "0.012"), "neck toward the tail, or out of the pocket"),
    )


_WOOD_INTRO = (
    "Species as the tables of dimensional change name them, and which way the growth rings lie through the thickness:"
    " radial for a flat-sawn board, tangential for a quarter-sawn one. Used to tell what the weather can explain."
)
_WOOD: tuple[Entry, ...] = (
    ("body", quoted("Walnut, black"), "species of the body"),
    ("body_grain", quoted("radial"), "radial or tangential"),
    ("neck", quoted("Maple, sugar"), "species of the neck"),
    ("neck_grain", quoted("tangential"), "radial or tangential"),
)

_GLUE_INTRO = (
    "What the label of your own glue says; nothing about a glue is assumed. The label and its safety sheet come first"
    " in everything: open time, clamp time, warmth of wood and shop, gloves, fresh air. These two are examples."
)
_GLUE: tuple[Entry, ...] = (
    ("label", quoted(""), "name and batch, as on the bottle, for the record"),
    ("open_time_min", "5", "minutes from spreading to the last touch, by the label"),
    ("clamp_time_h", "24", "hours in clamps; not less than the label says"),
)
