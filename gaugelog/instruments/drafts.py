"""What the example checkpoints of a new instrument file are made of.

Here: a checkpoint as it will be written, and what the builder has to read it with. Not here: any one checkpoint.

A limit is worth writing only if the reading can prove it. With three placements before and three after that scatter by
half a step r, the smallest provable limit is 1.8 r where one reading makes a placement and 2.1 r where two do (body,
then neck); where they scatter by a whole step it is 3.1 r and 3.2 r. The limits here leave room for the latter: 0.2
degrees with a gauge of 0.05, 0.25 mm with feelers 0.05 mm apart, 0.5 mm with a caliper read to 0.1.
"""

from __future__ import annotations

from dataclasses import dataclass

from gaugelog.instruments.writing import Lengths, listed, quoted, remark
from gaugelog.model.kinds import AFTER, BEFORE, KIND_BY_SLUG, WET

EVERY_STAGE = (BEFORE, WET, AFTER)
BASS, TREBLE = "bass", "treble"


@dataclass(frozen=True, slots=True)
class Draft:
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


class Kit:
    """What is at hand: the file's unit, the angle gauges connected, and the steps and limits that follow."""

    def __init__(self, length: Lengths, gauges: str) -> None:
        self.length = length
        self.gauges = gauges
        self.feeler = ("step", length(0.05, "0.002"))
        self.caliper = ("step", length(0.1, "0.005"))
        self.ruler = ("step", length(0.5, '"1/64 in"'))
        self.feeler_limit = ("limit", length(0.25, "0.010"))
        self.caliper_limit = ("limit", length(0.5, "0.020"))
        self.angle_limit = ("limit", "0.4" if gauges == "none" else "0.2")

    def angle_gauge(self) -> tuple[tuple[str, str], ...]:
        """Return the keys that say what reads an angle."""
        if self.gauges == "none":
            return (("step", "0.1"),)
        if self.gauges == "one":
            return (("gauge", quoted("angle")),)
        return (("gauge", quoted("neck")), ("body_gauge", quoted("body")))

    def on(self, body: str, neck: str) -> str:
        """Return in words how an angle is read with the gauges at hand."""
        if self.gauges == "two":
            return f"Body gauge on {body}, neck gauge on {neck}, both at once"
        if self.gauges == "one":
            return f"Gauge on {body}, then on {neck}"
        return f"Zero the gauge on {body}; type what it shows on {neck}"
