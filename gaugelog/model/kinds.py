"""The kinds of checkpoint that a neck set knows.

Here: what each kind is by nature. Not here: one builder's checkpoints with their numbers (`model.instrument`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from gaugelog.model.quantities import Quantity

BEFORE, WET, AFTER = "before", "wet", "after"
SPOT = "spot"
"""Stage of the spot readings of a clamp session: each is a placement with its own moment."""

_STAGE_NAME = re.compile(r"[a-z0-9][a-z0-9-]*")


def is_stage_name(text: str) -> bool:
    """Return whether a text can be the name of a stage: small letters, digits and hyphens."""
    return _STAGE_NAME.fullmatch(text) is not None


@dataclass(frozen=True, slots=True)
class CheckpointKind:
    """What is true of every checkpoint of this kind.

    `slug` names it in files, `words` in sentences. `referenced`: an angle read against the body's flat spot, two
    readings a placement. `glued`: it says something about the joint after the glue, so it has a movement limit and
    counts in a comparison. `sides`: it comes as a bass and a treble one. `quantity` is None for the free kind.
    """

    slug: str
    words: str
    quantity: Quantity | None
    what: str
    referenced: bool = False
    glued: bool = True
    sides: bool = False

    @property
    def parts_alone(self) -> bool:
        """Whether it is read on the parts alone: once the joint is closed there is nothing left to read."""
        return self.quantity is Quantity.ANGLE and not self.glued


_A, _L = Quantity.ANGLE, Quantity.LENGTH

KINDS: tuple[CheckpointKind, ...] = (
    CheckpointKind(
        "pocket-wall-squareness",
        "pocket wall squareness",
        _A,
        "angle between the pocket's wall and its floor; 90 is square",
        referenced=True,
        glued=False,
    ),
    CheckpointKind(
        "pocket-floor-tilt",
        "pocket floor tilt",
        _A,
        "slope of the pocket's floor along the strings against the body top",
        referenced=True,
        glued=False,
    ),
    CheckpointKind(
        "heel-angle",
        "heel angle",
        _A,
        "angle of the heel's bearing face against the fret plane",
        referenced=True,
        glued=False,
    ),
    CheckpointKind(
        "neck-angle",
        "neck angle",
        _A,
        "slope of the fret plane against the body top, positive when it rises toward the bridge",
        referenced=True,
    ),
    CheckpointKind(
        "neck-roll",
        "neck roll",
        _A,
        "tilt of the fret plane across the strings, positive when the treble edge is higher",
        referenced=True,
    ),
    CheckpointKind(
        "fret-to-bridge-clearance",
        "fret-to-bridge clearance",
        _L,
        "gap between a straightedge laid along the frets and the bridge; negative when the straightedge lifts off",
        sides=True,
    ),
    CheckpointKind(
        "saddle-height", "saddle height over the body", _L, "top of the saddle over the body top", sides=True
    ),
    CheckpointKind(
        "fretboard-edge-height", "fretboard edge height", _L, "fretboard's edge over the body top", sides=True
    ),
    CheckpointKind("fretboard-end-rise", "fretboard-end rise", _L, "end of the fretboard over the body top"),
    CheckpointKind(
        "centreline-offset",
        "centreline offset",
        _L,
        "fretboard's centreline carried on, against the body's; positive toward the treble side",
    ),
    CheckpointKind(
        "post-to-edge",
        "post to fretboard edge",
        _L,
        "bridge post to the fretboard's edge carried on",
        sides=True,
    ),
    CheckpointKind(
        "string-to-edge",
        "string line to fretboard edge",
        _L,
        "outer string's line to the fretboard's edge at the last fret",
        sides=True,
    ),
    CheckpointKind("nut-to-saddle", "nut-to-saddle length", _L, "nut to saddle along the string line"),
    CheckpointKind("joint-gap", "joint gap", _L, "gap at the joint, by feeler gauge"),
    CheckpointKind("neck-relief", "neck relief", _L, "hollow of the fret tops under a straightedge"),
    CheckpointKind(
        "block-squareness",
        "sanding-block squareness",
        _A,
        "angle between the sanding block's face and its side; 90 is square",
        referenced=True,
        glued=False,
    ),
    CheckpointKind("temperature", "temperature", Quantity.TEMPERATURE, "air in the workshop", glued=False),
    CheckpointKind("humidity", "humidity", Quantity.HUMIDITY, "relative humidity in the workshop", glued=False),
    CheckpointKind(
        "control",
        "control",
        None,
        "a spot where glue can't move anything; if it shifts, its gauge gets no verdict that day",
    ),
    CheckpointKind("free", "free", None, "anything else that the builder wants to watch"),
)
KIND_BY_SLUG = {kind.slug: kind for kind in KINDS}
