"""The checkpoints of a new instrument file that are read by feeler, caliper or rule, and the weather.

Here: what each says and where it is read. Not here: which of them a file gets (`new_checkpoints`).
"""

from __future__ import annotations

from gaugelog.instruments.drafts import BASS, EVERY_STAGE, TREBLE, Draft, Kit
from gaugelog.instruments.writing import quoted


def clearances(kit: Kit) -> list[Draft]:
    """Straightedge along the frets to the bridge, both sides."""
    return [_clearance(kit, BASS, -26), _clearance(kit, TREBLE, 26)]


def _clearance(kit: Kit, side: str, y_mm: float) -> Draft:
    pair = f"{kit.length(0.5)}..{kit.length(0.55)}"
    why = (
        "The best proof of all: feelers at the bridge prove a fiftieth of a degree of neck angle, and the"
        " difference of the two sides shows roll. Bridge down on its spacer, and both clearances above 0: a"
        f" straightedge that touches says nothing about how hard. {pair} says that the first feeler goes and"
        " the next doesn't. Quick enough while the glue is open (keep glue off feelers and frets)."
    )
    todo = f"Straightedge along the frets under the {side} string line; feelers over the saddle, such as {pair}"
    values = (
        kit.feeler,
        ("nominal", kit.length(0.5)),
        ("tolerance", f"{{from = {kit.length(0.2)}, to = {kit.length(1.5)}}}"),
        kit.feeler_limit,
        ("point", kit.length.place(274.5, y_mm, 17.8)),
        ("direction", "[0, 0, 1]"),
    )
    shown = why if side == BASS else ""
    return Draft(f"clearance-{side}", "fret-to-bridge-clearance", shown, todo, values, side, EVERY_STAGE)


def centreline(kit: Kit, draft_id: str, spot: str, x_mm: float, z_mm: float) -> Draft:
    """Centreline offset at a line across the body, at `x_mm` and the height `z_mm` of the line carried on."""
    why = (
        "Where the neck points: straightedges along both fretboard edges down to a line across the body, then"
        " half the difference of their distances from the body's centreline, plus toward the treble side. A"
        " second one nearer the neck tells yaw from sideways."
    )
    todo = f"Straightedge along each fretboard edge to {spot}; half the difference to the centreline"
    values = (
        kit.caliper,
        ("nominal", "0"),
        ("tolerance", kit.length(0.5)),
        kit.caliper_limit,
        ("point", kit.length.place(x_mm, 0, z_mm)),
        ("direction", "[0, 1, 0]"),
    )
    return Draft(draft_id, "centreline-offset", why if draft_id == "centreline-bridge" else "", todo, values)


def end_rise(kit: Kit) -> Draft:
    """Fretboard's end over the body."""
    why = "The fretboard's underside over the body top at its end, the edge touching at the joint: the angle again."
    values = (
        kit.caliper,
        ("nominal", kit.length(4.2)),
        ("tolerance", kit.length(0.5)),
        kit.caliper_limit,
        ("point", kit.length.place(86, 0, 4.2)),
        ("direction", "[0, 0, 1]"),
    )
    todo = "Depth rod of the caliper between body top and the fretboard's end, on the centreline"
    return Draft("end-rise", "fretboard-end-rise", why, todo, values)


def saddles(kit: Kit) -> list[Draft]:
    """Saddle heights, both sides."""
    why = "Top of the saddle over the body top, bridge on its spacer: shows that nobody has touched the bridge."
    return [
        Draft(
            f"saddle-height-{side}",
            "saddle-height",
            why if side == BASS else "",
            f"Depth gauge from the outer {side} saddle's top to the body top",
            (
                kit.caliper,
                ("nominal", kit.length(17.8)),
                kit.caliper_limit,
                ("point", kit.length.place(274.5, y_mm, 17.8)),
            ),
            side,
        )
        for side, y_mm in ((BASS, -26), (TREBLE, 26))
    ]


def edge_heights(kit: Kit) -> list[Draft]:
    """Fretboard edge heights, both sides."""
    why = "Underside of the fretboard's edge over the body top, near its end. Equal on both sides means no roll."
    return [
        Draft(
            f"edge-height-{side}",
            "fretboard-edge-height",
            why if side == BASS else "",
            f"Caliper between body top and fretboard at the tape mark on the {side} edge",
            (
                kit.caliper,
                ("nominal", kit.length(3.9)),
                ("tolerance", kit.length(0.5)),
                kit.caliper_limit,
                ("point", kit.length.place(80, y_mm, 3.9)),
                ("direction", "[0, 0, 1]"),
            ),
            side,
        )
        for side, y_mm in ((BASS, -27), (TREBLE, 27))
    ]


def posts(kit: Kit) -> list[Draft]:
    """Bridge posts to the fretboard's edges, both sides."""
    why = "From each bridge post to the fretboard's edge carried on: where the neck points, without a drawn line."
    return [
        Draft(
            f"post-to-edge-{side}",
            "post-to-edge",
            why if side == BASS else "",
            f"Straightedge along the {side} edge of the fretboard; caliper from it to the bridge post",
            (
                kit.caliper,
                ("nominal", kit.length(7.7)),
                kit.caliper_limit,
                ("point", kit.length.place(274.5, y_mm, 19.4)),
                ("direction", f"[0, {direction}, 0]"),
            ),
            side,
        )
        for side, y_mm, direction in ((BASS, -29.3, 1), (TREBLE, 29.3, -1))
    ]


def string_margins(kit: Kit) -> list[Draft]:
    """Outer strings to the fretboard's edges, both sides."""
    why = "What the outer strings keep to the fretboard's edge at the last fret: thread or string from nut to saddle."
    return [
        Draft(
            f"string-to-edge-{side}",
            "string-to-edge",
            why if side == BASS else "",
            f"Caliper from the outer {side} string line to the fretboard's edge at the last fret",
            (
                kit.caliper,
                ("nominal", kit.length(3.2)),
                ("tolerance", f"{{at_least = {kit.length(2.5)}}}"),
                kit.caliper_limit,
                ("point", kit.length.place(79.7, y_mm, 9.9)),
            ),
            side,
        )
        for side, y_mm in ((BASS, -26.9), (TREBLE, 26.9))
    ]


def nut_to_saddle(kit: Kit) -> Draft:
    """Length along the strings."""
    why = (
        "Coarse, but it shows a neck that slid out of its pocket: a rule proves about"
        f" {kit.length(0.9, '0.028')}, and the limit leaves room for a less steady hand."
    )
    values = (
        kit.ruler,
        ("nominal", kit.length(688.8)),
        ("tolerance", kit.length(2)),
        ("limit", kit.length(2)),
        ("point", kit.length.place(-413.3, 0, -14.2)),
        ("direction", "[-0.9987, 0, -0.0518]"),
    )
    return Draft("nut-to-saddle", "nut-to-saddle", why, "Rule from nut to saddle along the middle", values)


def joint_gap(kit: Kit) -> Draft:
    """Gap at the shoulder."""
    why = "The gap at the shoulder of the joint. Where the thinnest feeler doesn't go, write 0..0.05: it can't be less."
    values = (
        kit.feeler,
        ("tolerance", f"{{at_most = {kit.length(0.15)}}}"),
        kit.feeler_limit,
        ("point", kit.length.place(0, 0, -8)),
        ("direction", "[-1, 0, 0]"),
    )
    return Draft("joint-gap", "joint-gap", why, "Feeler into the joint at the shoulder: one goes, next not", values)


def relief(kit: Kit) -> Draft:
    """Hollow of the frets."""
    why = "Moves with strings and weather rather than with the joint; it enters the height of the bearing."
    values = (
        kit.feeler,
        ("nominal", kit.length(0.15)),
        ("tolerance", f"{{from = {kit.length(0.05)}, to = {kit.length(0.4)}}}"),
        kit.feeler_limit,
    )
    todo = "Straightedge along the middle of the frets; feeler over the deepest fret"
    return Draft("neck-relief", "neck-relief", why, todo, values)


def free(kit: Kit) -> Draft:
    """A free checkpoint: the nut over the bench."""
    why = (
        "A free checkpoint is anything else that you want to watch. Here: body on its back on a flat bench, the"
        " nut's height over the bench; far from the joint a small turn shows large."
    )
    values = (
        ("quantity", quoted("length")),
        kit.ruler,
        ("limit", kit.length(2)),
        ("point", kit.length.place(-413.3, 0, -14.2)),
        ("direction", "[0, 0, 1]"),
    )
    return Draft("nut-height-over-bench", "free", why, "Square and rule from bench to fret plane at nut", values)


def temperature(kit: Kit) -> Draft:
    """Air in the workshop."""
    unit = ("unit", quoted("degC" if kit.length.units == "mm" else "degF"))
    values = (unit, ("step", "0.5" if kit.length.units == "mm" else "1"), ("placements", "1"))
    why = "The weather of the day: wood and gauges follow it."
    return Draft("temperature", "temperature", why, "Thermometer beside the work, out of the sun", values)


def humidity(kit: Kit) -> Draft:
    """Relative humidity in the workshop."""
    values = (("unit", quoted("%")), ("step", "1"), ("placements", "1"))
    return Draft("humidity", "humidity", "", "Hygrometer beside the work", values)
