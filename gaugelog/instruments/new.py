"""A new instrument file.

Here: the text of a commented instrument file, put together. Not here: writing it to disk (the command line does).
"""

from __future__ import annotations

from gaugelog.instruments.new_checkpoints import checkpoints
from gaugelog.instruments.new_geometry import geometry
from gaugelog.instruments.read import UNITS
from gaugelog.instruments.writing import Lengths, entry, quoted, remark, table

GAUGE_PLANS = ("none", "one", "two")


def new_instrument(name: str, *, gauges: str = "one", full: bool = False, units: str = "mm") -> str:
    """Return the text of a new instrument file, filled in with an example of a set neck.

    Args:
        name: what the piece of work is called.
        gauges: how many angle gauges are connected: "none" (everything is typed), "one" or "two".
        full: every kind of checkpoint, else at most seven that one builder reads in six minutes.
        units: "mm" or "in", the unit of lengths that don't name their own.

    Raises:
        ValueError: an empty name, or a plan or unit that there isn't.
    """
    if not name.strip():
        raise ValueError("an instrument needs a name")
    if gauges not in GAUGE_PLANS:
        raise ValueError(f"gauges is one of {', '.join(GAUGE_PLANS)}, not {gauges!r}")
    if units not in UNITS:
        raise ValueError(f"units is one of {', '.join(UNITS)}, not {units!r}")
    length = Lengths(units)
    lines = [
        *_head(name, units),
        *_gauges(gauges),
        *geometry(length),
        *checkpoints(length, gauges, full),
    ]
    return "\n".join(lines).rstrip() + "\n"


def _head(name: str, units: str) -> list[str]:
    other = '"1/16 in"' if units == "mm" else '"1.6 mm"'
    return [
        *remark(
            "Instrument file of gaugelog: one piece of work, where it is read, how far it may move under the glue."
        ),
        "#",
        *remark(
            "The numbers are an invented example to be replaced by your own: a set-neck baritone, 686 mm scale, bridge"
            " on two posts. What you don't know yet, put a # in front of it: a command that needs it asks for it by"
            " name."
        ),
        "#",
        *remark(
            f"A bare length is in {'millimetres' if units == 'mm' else 'inches'} (see units below); one in quotes may"
            f' have its own unit, or be a fraction: {other} or "1 1/8 in". Angles are in degrees.'
        ),
        *remark(
            "Directions: x along the strings toward the tail, y toward the treble side, z up out of the body top, from"
            " the point on the centreline where the fretboard crosses the body's edge (the joint line)."
        ),
        "",
        *entry("name", quoted(name), ""),
        *entry("units", quoted(units), "mm or in: the unit of a bare length in this file"),
        *entry("handedness", quoted("right"), "right or left"),
        *remark(
            "The flat spot on the body that angles are read against. The body is carried about between the readings,"
            " so it is the reference: choose a spot that no clamp, caul or glue touches, and mark it with tape."
        ),
        *entry("flat_spot", quoted("tape mark on the body top, bass side, behind the bridge"), ""),
        "",
    ]


_GAUGES_INTRO = {
    "none": "No gauge is connected: every value is typed in. To connect one, name it here as in the line below, give a"
    ' checkpoint gauge = "angle" in place of its step, and it is read by itself.',
    "one": "Short name = DATASHEET@ADDRESS. One angle gauge reads each angle twice: on the body, then on the neck."
    " Put your own port in place of PORT (`gaugelog gauges` lists what is plugged in), and the speed of your gauge's"
    " manual behind baud. A gauge whose number you know goes in as the table below.",
    "two": "Short name = DATASHEET@ADDRESS. The body gauge lies on the flat spot while the neck gauge is read, both at"
    " once. Put your own ports in place of the two PORTs (`gaugelog gauges` lists what is plugged in), and the speed of"
    " your gauges' manual behind baud. A gauge whose number you know goes in as the table below.",
}


def _gauges(plan: str) -> list[str]:
    written = {
        "none": [],
        "one": [("angle", quoted("angle-line@serial:PORT?baud=9600"), "")],
        "two": [
            ("neck", quoted("angle-line@serial:PORT-NECK?baud=9600"), ""),
            ("body", quoted("angle-line@serial:PORT-BODY?baud=9600"), ""),
        ],
    }[plan]
    name = "neck" if plan == "two" else "angle"
    example = f'# {name} = {{gauge = "angle-line@serial:PORT?baud=9600", identity = "number on its back"}}'
    lines = table("[gauges]", _GAUGES_INTRO[plan], written)
    return [*lines[:-1], example, ""]
