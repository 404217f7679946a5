"""The checkpoints of a new instrument file that an angle gauge reads.

Here: what each says and where it is read. Not here: which of them a file gets (`new_checkpoints`).
"""

from __future__ import annotations

from gaugelog.instruments.drafts import EVERY_STAGE, Draft, Kit
from gaugelog.instruments.writing import quoted


def pocket_wall(kit: Kit) -> Draft:
    """Pocket wall against pocket floor."""
    why = (
        "Before the glue only: a wall out of square pushes the neck aside when the clamps come on. It has a"
        " tolerance; there is nothing to read once the joint is closed."
    )
    todo = kit.on("the pocket floor", "the bass wall at the tape mark")
    values = (*kit.angle_gauge(), ("reference", quoted("pocket floor")), ("nominal", "90"), ("tolerance", "0.3"))
    return Draft("pocket-wall-squareness", "pocket-wall-squareness", why, todo, values)


def pocket_floor(kit: Kit) -> Draft:
    """Slope of the pocket floor."""
    why = "Before the glue only: with a heel cut square, the floor's slope is the neck angle to come."
    todo = kit.on("the flat spot", "the pocket floor, along the strings")
    values = (*kit.angle_gauge(), ("nominal", "2.8"), ("tolerance", "0.3"))
    return Draft("pocket-floor-tilt", "pocket-floor-tilt", why, todo, values)


def heel(kit: Kit) -> Draft:
    """Heel's bearing face against the fret plane."""
    why = "Before the glue only: 0 where the heel's bearing face runs along the fret plane."
    todo = kit.on("a straightedge on the frets", "the heel's bearing face")
    values = (*kit.angle_gauge(), ("reference", quoted("fret plane")), ("nominal", "0"), ("tolerance", "0.3"))
    return Draft("heel-angle", "heel-angle", why, todo, values)


def block(kit: Kit) -> Draft:
    """Sanding block's face against its side."""
    why = "Before the glue only: a block out of square sands the pocket wall out of square. Mind dust and edges."
    todo = kit.on("the block's side", "its sanding face")
    values = (
        *kit.angle_gauge(),
        ("reference", quoted("side of the block")),
        ("nominal", "90"),
        ("tolerance", "0.2"),
    )
    return Draft("block-squareness", "block-squareness", why, todo, values)


def neck_angle(kit: Kit) -> Draft:
    """Slope of the fret plane."""
    step, provable = ("0.1", "0.21, 1 mm") if kit.gauges == "none" else ("0.05", "0.11, 0.5 mm")
    why = (
        "Slope of the fret plane against the body top. One degree is 4.8 mm at the bridge, so a gauge of"
        f" {step} proves about {provable} there: the clearances below are finer, this one says how it came about."
        " Its tolerance keeps the bearing inside the travel."
    )
    todo = kit.on("the flat spot", "a straightedge on the frets between the tape marks")
    values = (
        *kit.angle_gauge(),
        ("nominal", "2.8"),
        ("tolerance", "0.3"),
        kit.angle_limit,
        ("direction", "[0, -1, 0]"),
    )
    return Draft("neck-angle", "neck-angle", why, todo, values, stages=EVERY_STAGE)


def neck_roll(kit: Kit) -> Draft:
    """Tilt of the fret plane across the strings."""
    why = (
        "Tilt across the strings, positive when the treble edge is higher. A gauge two degrees out of square to"
        " the strings reads 0.1 of false roll: lay a square against it."
    )
    todo = kit.on("the flat spot, across", "the fret at the tape, square to the strings")
    values = (
        *kit.angle_gauge(),
        ("nominal", "0"),
        ("tolerance", "0.3"),
        kit.angle_limit,
        ("direction", "[1, 0, 0]"),
    )
    return Draft("neck-roll", "neck-roll", why, todo, values)


def control(kit: Kit) -> Draft:
    """Two flat spots of the body against each other."""
    why = (
        "A spot where glue can't move anything: two flat spots of the body against each other. If this one"
        " shifts, it was the gauge, and the gauge gets no verdict that day."
    )
    todo = kit.on("the flat spot", "the second tape mark on the body, behind the bridge")
    values = (
        ("quantity", quoted("angle")),
        *kit.angle_gauge(),
        ("reference", quoted("tape mark on the body top, bass side, behind the bridge")),
        kit.angle_limit,
    )
    return Draft("control", "control", why, todo, values)
