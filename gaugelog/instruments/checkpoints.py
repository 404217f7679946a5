"""The [[checkpoint]] tables of an instrument file.

Here: what one checkpoint may say, and which kinds may not say it. Not here: taking or judging a placement.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping, Sequence

from gaugelog.errors import UnitMismatchError
from gaugelog.model.instrument import Checkpoint, NamedGauge, Place, Tolerance, ToleranceSide
from gaugelog.model.kinds import AFTER, BEFORE, KIND_BY_SLUG, SPOT, WET, CheckpointKind, is_stage_name
from gaugelog.model.quantities import Quantity, find_unit
from gaugelog.model.section import Section

SIDES = ("bass", "treble")
MOST_PLACEMENTS = 1000
_WORD = re.compile(r"\w[\w-]*")
_FREE = KIND_BY_SLUG["free"]


def read_checkpoints(
    top: Section, units: str, flat_spot: str, gauges: Mapping[str, NamedGauge]
) -> tuple[Checkpoint, ...]:
    """Return the checkpoints in order; every fault is noted in `top`.

    Args:
        top: the whole instrument file.
        units: unit of a length without one, mm or in.
        flat_spot: the flat spot on the body that angles are read against unless a checkpoint names another.
        gauges: the gauges that the file names.
    """
    sections = top.tables("checkpoint")
    if not sections and not top.faults:
        top.fault("checkpoint", None, "at least one checkpoint, written [[checkpoint]]")
    checkpoints = tuple(_read_checkpoint(section, units, flat_spot, gauges) for section in sections)
    _note_repeated_ids(sections, checkpoints)
    return checkpoints


def _note_repeated_ids(sections: Sequence[Section], checkpoints: Sequence[Checkpoint]) -> None:
    seen: set[str] = set()
    for section, checkpoint in zip(sections, checkpoints, strict=True):
        if checkpoint.id and checkpoint.id.casefold() in seen:
            section.fault("id", checkpoint.id, "an id that no other checkpoint has")
        seen.add(checkpoint.id.casefold())


def _read_checkpoint(section: Section, units: str, flat_spot: str, gauges: Mapping[str, NamedGauge]) -> Checkpoint:
    """Return one checkpoint."""
    checkpoint_id = _word(section, "id", _WORD, "a word of letters, digits and hyphens")
    kind = _kind(section)
    quantity = _quantity(section, kind)
    unit = _unit(section, quantity, units)
    gauge, body_gauge = _gauge(section, "gauge", gauges), _gauge(section, "body_gauge", gauges)
    nominal = section.measure("nominal", quantity, unit)
    checkpoint = Checkpoint(
        id=checkpoint_id,
        kind=kind,
        quantity=quantity,
        unit=unit,
        todo=section.text("todo", f"Read the {kind.words}: {kind.what}."),
        stages=_stages(section, kind),
        placements=section.whole("placements", 1, MOST_PLACEMENTS) or 3,
        nominal=nominal,
        tolerance=_tolerance(section, quantity, unit, nominal),
        limit=section.measure("limit", quantity, unit, above=0.0, difference=True),
        must_prove=section.flag("must_prove"),
        gauge=gauge,
        body_gauge=body_gauge,
        step=section.measure("step", quantity, unit, above=0.0, difference=True),
        reference=section.text("reference", flat_spot if kind.referenced else ""),
        place=_place(section, units),
        side=_side(section, kind),
    )
    section.done()
    _note_limit_faults(section, checkpoint)
    _note_gauge_faults(section, checkpoint)
    return checkpoint


def _word(section: Section, name: str, pattern: re.Pattern[str], wanted: str) -> str:
    """Return a required word of the given form, empty where it is absent or at fault."""
    text = section.text(name, required=True, wanted=wanted)
    if text and pattern.fullmatch(text) is None:
        section.fault(name, text, wanted)
        return ""
    return text


def _kind(section: Section) -> CheckpointKind:
    """Return the kind; where it is at fault the nearest stands in, so that reading goes on."""
    slug = section.text("kind", required=True, wanted="the kind of checkpoint, such as " + ", ".join(KIND_BY_SLUG))
    if not slug or slug in KIND_BY_SLUG:
        return KIND_BY_SLUG.get(slug, _FREE)
    near = difflib.get_close_matches(slug, KIND_BY_SLUG, 1, 0.5)
    section.fault("kind", slug, f"a kind (perhaps {near[0]})" if near else "one of " + ", ".join(KIND_BY_SLUG))
    return KIND_BY_SLUG[near[0]] if near else _FREE


def _quantity(section: Section, kind: CheckpointKind) -> Quantity:
    """Return what is measured: the kind's own, else the file's, else what the unit tells."""
    named = section.choice("quantity", [quantity.value for quantity in Quantity])
    if kind.quantity is not None:
        if named and named != kind.quantity.value:
            section.fault("quantity", named, f"{kind.quantity.value}, which is what {kind.words} is")
        return kind.quantity
    if named:
        return Quantity(named)
    told = [quantity for quantity in Quantity if _unit_name(section.data.get("unit"), quantity)]
    if told:
        return told[0]
    if section.data.get("kind") == kind.slug and not section.has("quantity") and not section.has("unit"):
        section.fault("quantity", None, f"angle or length: a {kind.words} checkpoint may be either")
    return Quantity.LENGTH


def _unit_name(written: object, quantity: Quantity) -> str:
    """Return the unit's own name, empty where it isn't one of the quantity."""
    if not isinstance(written, str):
        return ""
    try:
        return find_unit(written, quantity).name
    except UnitMismatchError:
        return ""


def _unit(section: Section, quantity: Quantity, units: str) -> str:
    """Return the checkpoint's unit; unless said it is the file's for a length, else the base unit."""
    usual = units if quantity is Quantity.LENGTH else quantity.base_unit
    written = section.text("unit")
    if not written:
        return usual
    try:
        return find_unit(written, quantity).name
    except UnitMismatchError as mismatch:
        section.fault("unit", written, f"a unit of {mismatch.quantity}: {' or '.join(mismatch.wanted)}")
        return usual


def _stages(section: Section, kind: CheckpointKind) -> tuple[str, ...]:
    """Return the stages at which it is read."""
    usual = (BEFORE,) if kind.parts_alone else (BEFORE, AFTER)
    stages = section.texts("stages", usual)
    wanted = "stages in small letters, such as before, wet, after, or a word of your own (not spot)"
    if not stages or len(set(stages)) != len(stages):
        section.fault("stages", list(stages), "at least one stage, each once")
        return usual
    if SPOT in stages or not all(is_stage_name(stage) for stage in stages):
        section.fault("stages", list(stages), wanted)
        return usual
    late = [stage for stage in stages if stage in (WET, AFTER)]
    if kind.parts_alone and late:
        reason = f"before only: {kind.words} is read on the parts alone, and the glue has closed the joint by then"
        section.fault("stages", ", ".join(late), reason)
    return stages


def _tolerance(section: Section, quantity: Quantity, unit: str, nominal: float | None) -> Tolerance | None:
    """Return the tolerance: a number is plus and minus around the nominal value, a table says its ends."""
    if not isinstance(section.data.get("tolerance"), Mapping):
        width = section.measure("tolerance", quantity, unit, above=0.0, difference=True)
        if width is None:
            return None
        if nominal is None:
            section.fault("nominal", None, "the value that the tolerance is plus and minus around")
            return None
        return Tolerance(ToleranceSide.BOTH, nominal - width, nominal + width)
    ends = section.table("tolerance")
    at_most, at_least = ends.measure("at_most", quantity, unit), ends.measure("at_least", quantity, unit)
    low, high = ends.measure("from", quantity, unit), ends.measure("to", quantity, unit)
    ends.done()
    given = {name for name in ("at_most", "at_least", "from", "to") if name in ends.data}
    if given not in ({"at_most"}, {"at_least"}, {"from", "to"}):
        section.fault("tolerance", ", ".join(sorted(given)) or None, "at_most, or at_least, or both from and to")
        return None
    if low is not None and high is not None and low >= high:
        section.fault("tolerance", f"from {low:g} to {high:g}", "a from that is less than its to")
    if given == {"at_most"}:
        return Tolerance(ToleranceSide.AT_MOST, None, at_most)
    if given == {"at_least"}:
        return Tolerance(ToleranceSide.AT_LEAST, at_least, None)
    return Tolerance(ToleranceSide.BOTH, low, high)


def _gauge(section: Section, name: str, gauges: Mapping[str, NamedGauge]) -> str | None:
    """Return a short gauge name that the file has under [gauges], None where the key is absent or at fault."""
    written = section.text(name)
    if not written:
        return None
    if written not in gauges:
        near = difflib.get_close_matches(written, gauges, 1, 0.5)
        section.fault(name, written, "a short name given under [gauges]" + (f" (perhaps {near[0]})" if near else ""))
    return written


def _place(section: Section, units: str) -> Place:
    """Return point in mm and unit direction; a point's numbers are in `units`."""
    point = section.numbers("point", 3)
    direction = section.numbers("direction", 3)
    factor = float(find_unit(units, Quantity.LENGTH).factor)
    if direction is not None:
        length = math.hypot(*direction)
        if not 0 < length < math.inf:
            section.fault("direction", list(direction), "three numbers, not all of them 0")
            direction = None
        else:
            direction = (direction[0] / length, direction[1] / length, direction[2] / length)
    return Place(
        None if point is None else (point[0] * factor, point[1] * factor, point[2] * factor),
        None if direction is None else (direction[0], direction[1], direction[2]),
    )


def _side(section: Section, kind: CheckpointKind) -> str:
    """Return bass or treble for a kind that has sides, empty for others."""
    side = section.choice("side", SIDES, required=kind.sides)
    if side and not kind.sides and kind is not _FREE:
        section.fault("side", side, f"no side: {kind.words} has none")
    return side


def _note_limit_faults(section: Section, checkpoint: Checkpoint) -> None:
    """Note a movement limit where nothing can be compared, and a proof wanted without a limit."""
    kind = checkpoint.kind
    if section.has("limit") and not kind.glued:
        why = (
            f"{kind.words} is read before the glue only, so it has a tolerance and nothing to compare after"
            if kind.parts_alone
            else f"{kind.words} is the weather's, not the joint's"
        )
        section.fault("limit", section.data["limit"], f"no movement limit: {why}")
    elif checkpoint.must_prove and not section.has("limit"):
        section.fault("limit", None, "the movement limit that must_prove speaks of")


def _note_gauge_faults(section: Section, checkpoint: Checkpoint) -> None:
    """Note what doesn't go together about gauge, body gauge, step and reference."""
    if checkpoint.gauge is None and not section.has("step") and not section.has("gauge"):
        section.fault("step", None, "the smallest step that a typed value is read to, or a gauge")
    if checkpoint.gauge is not None and section.has("step"):
        section.fault("step", section.data["step"], "either a gauge or a step: a gauge brings its own resolution")
    if checkpoint.reference and checkpoint.quantity is not Quantity.ANGLE:
        section.fault("reference", checkpoint.reference, "no reference: only an angle is read against a flat spot")
    if checkpoint.body_gauge is None:
        return
    if checkpoint.gauge is None:
        section.fault("gauge", None, "the gauge on the neck, beside the body_gauge")
    elif checkpoint.gauge == checkpoint.body_gauge:
        section.fault(
            "body_gauge", checkpoint.body_gauge, "a second gauge; leave it out and one gauge reads body, then neck"
        )
    elif not checkpoint.referenced:
        section.fault("body_gauge", checkpoint.body_gauge, "an angle read against the body; here nothing refers to it")
