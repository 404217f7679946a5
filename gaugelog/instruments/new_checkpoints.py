"""The checkpoints of a new instrument file.

Here: what is read, where, with what, and how far it may move, as an example that the gauges at hand can prove.
Not here: the geometry that the nominal values follow from (`new_geometry`).

A limit is worth writing only if the reading can prove it. With three placements before and three after whose spread is
one step r, the smallest provable shift is 3.4 r where one reading makes a placement and 3.7 r where two do (body, then
neck). Hence 0.2 degrees with a gauge of 0.05, 0.25 mm with feelers 0.05 mm apart, 0.5 mm with a caliper read to 0.1.
"""

from __future__ import annotations

from dataclasses import dataclass

from gaugelog.instruments.writing import Lengths, listed, quoted, remark
from gaugelog.model.kinds import AFTER, BEFORE, KIND_BY_SLUG, WET

_EVERY_STAGE = (BEFORE, WET, AFTER)
_BASS, _TREBLE = "bass", "treble"


@dataclass(frozen=True, slots=True)
class _Draft:
    """One checkpoint as it will be written: `why` is the remark above it, `values` its remaining keys in order."""

    id: str
    kind: str
    why: str
    todo: str
    values: tuple[tuple[str, str], ...] = ()
    side: str = ""
    stages: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """Return its TOML lines."""
        kind = KIND_BY_SLUG[self.kind]
        stages = self.stages or ((BEFORE,) if kind.parts_alone else (BEFORE, AFTER))
        written = [("id", quoted(self.id)), ("kind", quoted(self.kind))]
        written += [("side", quoted(self.side))] if self.side else []
        written += [("todo", quoted(self.todo)), ("stages", listed(stages)), *self.values]
        remarks = remark(self.why) if self.why else []
        return ["[[checkpoint]]", *remarks, *(f"{key} = {value}" for key, value in written), ""]


def checkpoints(length: Lengths, gauges: str, full: bool) -> list[str]:
    """Return the lines of the checkpoints.

    Args:
        length: writes lengths in the unit of the file.
        gauges: "none", "one" or "two" angle gauges connected.
        full: every kind, else at most seven checkpoints.
    """
    drafts = _Drafts(length, gauges)
    chosen = drafts.full() if full else drafts.short()
    return [*_INTRO, *_intro_of(gauges, full), "", *(line for draft in chosen for line in draft.lines())]


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


class _Drafts:
    """The example's checkpoints, for one unit and one set of gauges."""

    def __init__(self, length: Lengths, gauges: str) -> None:
        self.length = length
        self.gauges = gauges
        self.feeler = ("step", length(0.05, "0.002"))
        self.caliper = ("step", length(0.1, "0.005"))
        self.ruler = ("step", length(0.5, '"1/64 in"'))
        self.feeler_limit = ("limit", length(0.25, "0.010"))
        self.caliper_limit = ("limit", length(0.5, "0.020"))
        self.angle_limit = ("limit", "0.4" if gauges == "none" else "0.2")

    def short(self) -> list[_Draft]:
        """Return at most seven that prove what matters in six minutes."""
        first = [self._pocket_wall(), self._neck_angle()]
        bridge = [*self._clearances(), self._centreline("centreline-bridge", "the saddle line", 274.5, 19.4)]
        if self.gauges == "none":
            return [*first, *bridge, self._end_rise()]
        return [*first, self._neck_roll(), *bridge, self._control()]

    def full(self) -> list[_Draft]:
        """Return every kind."""
        return [
            self._temperature(),
            self._humidity(),
            self._control(),
            self._block(),
            self._pocket_wall(),
            self._pocket_floor(),
            self._heel(),
            self._neck_angle(),
            self._neck_roll(),
            *self._clearances(),
            *self._saddles(),
            *self._edge_heights(),
            self._end_rise(),
            self._centreline("centreline-bridge", "the saddle line", 274.5, 19.4),
            self._centreline("centreline-pickup", "the pickup cavity", 150, 13.3),
            *self._posts(),
            *self._string_margins(),
            self._nut_to_saddle(),
            self._joint_gap(),
            self._relief(),
            self._free(),
        ]

    def _angle_gauge(self) -> tuple[tuple[str, str], ...]:
        """Return the keys that say what reads an angle."""
        if self.gauges == "none":
            return (("step", "0.1"),)
        if self.gauges == "one":
            return (("gauge", quoted("angle")),)
        return (("gauge", quoted("neck")), ("body_gauge", quoted("body")))

    def _on(self, body: str, neck: str) -> str:
        """Return in words how an angle is read with the gauges at hand."""
        if self.gauges == "two":
            return f"Body gauge on {body}, neck gauge on {neck}, both at once"
        if self.gauges == "one":
            return f"Gauge on {body}, then on {neck}"
        return f"Zero the gauge on {body}; type what it shows on {neck}"

    def _pocket_wall(self) -> _Draft:
        why = (
            "Before the glue only: a wall out of square pushes the neck aside when the clamps come on. It has a"
            " tolerance; there is nothing to read once the joint is closed."
        )
        todo = self._on("the pocket floor", "the bass wall at the tape mark")
        values = (*self._angle_gauge(), ("reference", quoted("pocket floor")), ("nominal", "90"), ("tolerance", "0.3"))
        return _Draft("pocket-wall-squareness", "pocket-wall-squareness", why, todo, values)

    def _pocket_floor(self) -> _Draft:
        why = "Before the glue only: with a heel cut square, the floor's slope is the neck angle to come."
        todo = self._on("the flat spot", "the pocket floor, along the strings")
        values = (*self._angle_gauge(), ("nominal", "2.8"), ("tolerance", "0.3"))
        return _Draft("pocket-floor-tilt", "pocket-floor-tilt", why, todo, values)

    def _heel(self) -> _Draft:
        why = "Before the glue only: 0 where the heel's bearing face runs along the fret plane."
        todo = self._on("a straightedge on the frets", "the heel's bearing face")
        values = (*self._angle_gauge(), ("reference", quoted("fret plane")), ("nominal", "0"), ("tolerance", "0.3"))
        return _Draft("heel-angle", "heel-angle", why, todo, values)

    def _block(self) -> _Draft:
        why = "Before the glue only: a block out of square sands the pocket wall out of square. Mind dust and edges."
        todo = self._on("the block's side", "its sanding face")
        values = (
            *self._angle_gauge(),
            ("reference", quoted("side of the block")),
            ("nominal", "90"),
            ("tolerance", "0.2"),
        )
        return _Draft("block-squareness", "block-squareness", why, todo, values)

    def _neck_angle(self) -> _Draft:
        coarse = self.gauges == "none"
        why = (
            "Slope of the fret plane against the body top. One degree is 4.8 mm at the bridge, so a gauge of"
            f" {'0.1' if coarse else '0.05'} proves about {'1.8' if coarse else '0.9'} mm there: the clearances below"
            " are finer, this one says how it came about. Its tolerance keeps the bearing inside the travel."
        )
        todo = self._on("the flat spot", "a straightedge on the frets between the tape marks")
        values = (
            *self._angle_gauge(),
            ("nominal", "2.8"),
            ("tolerance", "0.3"),
            self.angle_limit,
            ("direction", "[0, -1, 0]"),
        )
        return _Draft("neck-angle", "neck-angle", why, todo, values, stages=_EVERY_STAGE)

    def _neck_roll(self) -> _Draft:
        why = (
            "Tilt across the strings, positive when the treble edge is higher. A gauge two degrees out of square to"
            " the strings reads 0.1 of false roll: lay a square against it."
        )
        todo = self._on("the flat spot, across", "the fret at the tape, square to the strings")
        values = (
            *self._angle_gauge(),
            ("nominal", "0"),
            ("tolerance", "0.3"),
            self.angle_limit,
            ("direction", "[1, 0, 0]"),
        )
        return _Draft("neck-roll", "neck-roll", why, todo, values)

    def _clearances(self) -> list[_Draft]:
        return [self._clearance(_BASS, -26), self._clearance(_TREBLE, 26)]

    def _clearance(self, side: str, y_mm: float) -> _Draft:
        pair = f"{self.length(0.5)}..{self.length(0.55)}"
        why = (
            "The best proof of all: feelers at the bridge show a twentieth of a degree of neck angle, and the"
            " difference of the two sides shows roll. Bridge down on its spacer, and both clearances above 0: a"
            f" straightedge that touches says nothing about how hard. {pair} says that the first feeler goes and"
            " the next doesn't. Quick enough while the glue is open (keep glue off feelers and frets)."
        )
        todo = f"Straightedge along the frets under the {side} string line; feelers over the saddle, such as {pair}"
        values = (
            self.feeler,
            ("nominal", self.length(0.5)),
            ("tolerance", f"{{from = {self.length(0.2)}, to = {self.length(1.5)}}}"),
            self.feeler_limit,
            ("point", self.length.place(274.5, y_mm, 17.8)),
            ("direction", "[0, 0, 1]"),
        )
        shown = why if side == _BASS else ""
        return _Draft(f"clearance-{side}", "fret-to-bridge-clearance", shown, todo, values, side, _EVERY_STAGE)

    def _centreline(self, draft_id: str, spot: str, x_mm: float, z_mm: float) -> _Draft:
        why = (
            "Where the neck points: straightedges along both fretboard edges down to a line across the body, then"
            " half the difference of their distances from the body's centreline, plus toward the treble side. A"
            " second one nearer the neck tells yaw from sideways."
        )
        todo = f"Straightedge along each fretboard edge to {spot}; half the difference to the centreline"
        values = (
            self.caliper,
            ("nominal", "0"),
            ("tolerance", self.length(0.5)),
            self.caliper_limit,
            ("point", self.length.place(x_mm, 0, z_mm)),
            ("direction", "[0, 1, 0]"),
        )
        return _Draft(draft_id, "centreline-offset", why if draft_id == "centreline-bridge" else "", todo, values)

    def _end_rise(self) -> _Draft:
        why = "The fretboard's underside over the body top at its end, the edge touching at the joint: the angle again."
        values = (
            self.caliper,
            ("nominal", self.length(4.2)),
            ("tolerance", self.length(0.5)),
            self.caliper_limit,
            ("point", self.length.place(86, 0, 4.2)),
            ("direction", "[0, 0, 1]"),
        )
        todo = "Depth rod of the caliper between body top and the fretboard's end, on the centreline"
        return _Draft("end-rise", "fretboard-end-rise", why, todo, values)

    def _control(self) -> _Draft:
        why = (
            "A spot where glue can't move anything: two flat spots of the body against each other. If this one"
            " shifts, it was the gauge, and the gauge gets no verdict that day."
        )
        todo = self._on("the flat spot", "the second tape mark on the body, behind the bridge")
        values = (
            ("quantity", quoted("angle")),
            *self._angle_gauge(),
            ("reference", quoted("tape mark on the body top, bass side, behind the bridge")),
            self.angle_limit,
        )
        return _Draft("control", "control", why, todo, values)

    def _saddles(self) -> list[_Draft]:
        why = "Top of the saddle over the body top, bridge on its spacer: shows that nobody has touched the bridge."
        return [
            _Draft(
                f"saddle-height-{side}",
                "saddle-height",
                why if side == _BASS else "",
                f"Depth gauge from the outer {side} saddle's top to the body top",
                (
                    self.caliper,
                    ("nominal", self.length(17.8)),
                    self.caliper_limit,
                    ("point", self.length.place(274.5, y_mm, 17.8)),
                ),
                side,
            )
            for side, y_mm in ((_BASS, -26), (_TREBLE, 26))
        ]

    def _edge_heights(self) -> list[_Draft]:
        why = "Underside of the fretboard's edge over the body top, near its end. Equal on both sides means no roll."
        return [
            _Draft(
                f"edge-height-{side}",
                "fretboard-edge-height",
                why if side == _BASS else "",
                f"Caliper between body top and fretboard at the tape mark on the {side} edge",
                (
                    self.caliper,
                    ("nominal", self.length(3.9)),
                    ("tolerance", self.length(0.5)),
                    self.caliper_limit,
                    ("point", self.length.place(80, y_mm, 3.9)),
                    ("direction", "[0, 0, 1]"),
                ),
                side,
            )
            for side, y_mm in ((_BASS, -27), (_TREBLE, 27))
        ]

    def _posts(self) -> list[_Draft]:
        why = "From each bridge post to the fretboard's edge carried on: where the neck points, without a drawn line."
        return [
            _Draft(
                f"post-to-edge-{side}",
                "post-to-edge",
                why if side == _BASS else "",
                f"Straightedge along the {side} edge of the fretboard; caliper from it to the bridge post",
                (
                    self.caliper,
                    ("nominal", self.length(7.7)),
                    self.caliper_limit,
                    ("point", self.length.place(274.5, y_mm, 19.4)),
                    ("direction", f"[0, {direction}, 0]"),
                ),
                side,
            )
            for side, y_mm, direction in ((_BASS, -29.3, 1), (_TREBLE, 29.3, -1))
        ]

    def _string_margins(self) -> list[_Draft]:
        why = (
            "What the outer strings keep to the fretboard's edge at the last fret: thread or string from nut to saddle."
        )
        return [
            _Draft(
                f"string-to-edge-{side}",
                "string-to-edge",
                why if side == _BASS else "",
                f"Caliper from the outer {side} string line to the fretboard's edge at the last fret",
                (
                    self.caliper,
                    ("nominal", self.length(3.2)),
                    ("tolerance", f"{{at_least = {self.length(2.5)}}}"),
                    self.caliper_limit,
                    ("point", self.length.place(79.7, y_mm, 9.9)),
                ),
                side,
            )
            for side, y_mm in ((_BASS, -26.9), (_TREBLE, 26.9))
        ]

    def _nut_to_saddle(self) -> _Draft:
        why = "Coarse, but it shows a neck that slid out of its pocket: 2 mm is what a rule can prove."
        values = (
            self.ruler,
            ("nominal", self.length(688.8)),
            ("tolerance", self.length(2)),
            ("limit", self.length(2)),
            ("point", self.length.place(-413.3, 0, -14.2)),
            ("direction", "[-0.9987, 0, -0.0518]"),
        )
        return _Draft("nut-to-saddle", "nut-to-saddle", why, "Rule from nut to saddle along the middle", values)

    def _joint_gap(self) -> _Draft:
        why = "The gap at the shoulder of the joint. <0.05 is kept as it is: less than the thinnest feeler."
        values = (
            self.feeler,
            ("tolerance", f"{{at_most = {self.length(0.15)}}}"),
            self.feeler_limit,
            ("point", self.length.place(0, 0, -8)),
            ("direction", "[-1, 0, 0]"),
        )
        return _Draft(
            "joint-gap", "joint-gap", why, "Feeler into the joint at the shoulder: one goes, next not", values
        )

    def _relief(self) -> _Draft:
        why = "Moves with strings and weather rather than with the joint; it enters the height of the bearing."
        values = (
            self.feeler,
            ("nominal", self.length(0.15)),
            ("tolerance", f"{{from = {self.length(0.05)}, to = {self.length(0.4)}}}"),
            self.feeler_limit,
        )
        todo = "Straightedge along the middle of the frets; feeler over the deepest fret"
        return _Draft("neck-relief", "neck-relief", why, todo, values)

    def _temperature(self) -> _Draft:
        unit = ("unit", quoted("degC" if self.length.units == "mm" else "degF"))
        values = (unit, ("step", "0.5" if self.length.units == "mm" else "1"), ("placements", "1"))
        why = "The weather of the day: wood and gauges follow it."
        return _Draft("temperature", "temperature", why, "Thermometer beside the work, out of the sun", values)

    def _humidity(self) -> _Draft:
        values = (("unit", quoted("%")), ("step", "1"), ("placements", "1"))
        return _Draft("humidity", "humidity", "", "Hygrometer beside the work", values)

    def _free(self) -> _Draft:
        why = (
            "A free checkpoint is anything else that you want to watch. Here: body on its back on a flat bench, the"
            " nut's height over the bench; far from the joint a small turn shows large."
        )
        values = (
            ("quantity", quoted("length")),
            self.ruler,
            ("limit", self.length(2)),
            ("point", self.length.place(-413.3, 0, -14.2)),
            ("direction", "[0, 0, 1]"),
        )
        return _Draft("nut-height-over-bench", "free", why, "Square and rule from bench to fret plane at nut", values)
