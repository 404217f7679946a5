"""The checkpoints of a new instrument file.

Here: which are read, in which order, and the words before them. Not here: what each one says (`new_angles`,
`new_lengths`), nor the geometry that their nominal values follow from (`new_geometry`).
"""

from __future__ import annotations

from gaugelog.instruments import new_angles as angles
from gaugelog.instruments import new_lengths as lengths
from gaugelog.instruments.drafts import Draft, Kit
from gaugelog.instruments.writing import Lengths, remark


def checkpoints(length: Lengths, gauges: str, full: bool) -> list[str]:
    """Return the lines of the checkpoints.

    Args:
        length: writes lengths in the unit of the file.
        gauges: "none", "one" or "two" angle gauges connected.
        full: every kind, else at most seven checkpoints.
    """
    kit = Kit(length, gauges)
    drafts = _full(kit) if full else _short(kit)
    return [*_INTRO, *_intro_of(gauges, full), "", *(line for draft in drafts for line in draft.lines())]


def _short(kit: Kit) -> list[Draft]:
    """Return at most seven that prove what matters in six minutes."""
    first = [angles.pocket_wall(kit), angles.neck_angle(kit)]
    bridge = [*lengths.clearances(kit), _centreline_at_bridge(kit)]
    if kit.gauges == "none":
        return [*first, *bridge, lengths.end_rise(kit)]
    return [*first, angles.neck_roll(kit), *bridge, angles.control(kit)]


def _full(kit: Kit) -> list[Draft]:
    """Return every kind."""
    return [
        lengths.temperature(kit),
        lengths.humidity(kit),
        angles.control(kit),
        angles.block(kit),
        angles.pocket_wall(kit),
        angles.pocket_floor(kit),
        angles.heel(kit),
        angles.neck_angle(kit),
        angles.neck_roll(kit),
        *lengths.clearances(kit),
        *lengths.saddles(kit),
        *lengths.edge_heights(kit),
        lengths.end_rise(kit),
        _centreline_at_bridge(kit),
        lengths.centreline(kit, "centreline-pickup", "the pickup cavity", 150, 13.3),
        *lengths.posts(kit),
        *lengths.string_margins(kit),
        lengths.nut_to_saddle(kit),
        lengths.joint_gap(kit),
        lengths.relief(kit),
        lengths.free(kit),
    ]


def _centreline_at_bridge(kit: Kit) -> Draft:
    return lengths.centreline(kit, "centreline-bridge", "the saddle line", 274.5, 19.4)


_INTRO = [
    *remark("Checkpoints, in the order in which they are read. The keys of each:"),
    *remark(""),
    "#   id          its name, in tables and in the comparison",
    "#   kind        what it is by nature; docs/instrument.md lists the kinds",
    "#   side        bass or treble, for the kinds that come in pairs",
    "#   quantity    angle or length, for a control or a free checkpoint",
    "#   unit        of its bare numbers, where it isn't that of the file (or degrees)",
    "#   todo        one line of what to do",
    "#   stages      when it is read: before, wet (while the glue is open), after, or a word of your own",
    "#   placements  how often it is set down and read at each stage: 3 unless said; one while the glue is open",
    "#   nominal     what it should be",
    "#   tolerance   how far off it may be before the glue: a number is plus and minus; or {at_most = …},",
    "#               {at_least = …}, {from = …, to = …}",
    "#   limit       how far it may move from before to after",
    "#   must_prove  true if the work isn't ready while the gauges couldn't prove that limit",
    "#   gauge       short name of the gauge that reads it; body_gauge the one on the body at the same time",
    "#   step        the smallest step that a typed value is read to, where no gauge reads it",
    "#   reference   what an angle is read against, where it isn't the flat spot named at the top",
    "#   point       where it is read: x, y, z as told at the top; direction: which way it is read, or the axis",
    "#               of an angle",
]


def _intro_of(gauges: str, full: bool) -> list[str]:
    typed = "Put tape round the gauge's feet, or a pencil line, at every spot: what goes back to the same place can be"
    rest = f"{typed} compared. Lift the gauge off between two placements; leave bridge and saddles alone until the end."
    if full:
        return ["#", *remark("Every kind there is. Strike out what you don't need. " + rest)]
    readings = "six checkpoints" if gauges == "none" else "seven checkpoints"
    return ["#", *remark(f"These {readings}, three placements each, take one builder about six minutes. " + rest)]
