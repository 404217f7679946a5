"""Sentences about how a neck stands, the same in the terminal, in JSON and in pictures.

Here: what is missing, what contradicts, where the bearing lies, what to take off, in a builder's words. Not here:
tables (`neck_view`), the gate's reasons (`ready_words`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from gaugelog.analysis.cut import Cheeks, Corners
from gaugelog.analysis.neck_cut import Aim, CutAdvice
from gaugelog.analysis.neck_setting import NO_ROLL, TOUCHING, NeckSetting, Origin
from gaugelog.analysis.student import t_quantile
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Instrument
from gaugelog.model.quantities import Quantity
from gaugelog.show.numbers import amount_text, length_text, value_beside_u
from gaugelog.show.words import listed

FIGURE_WORDS = {
    "neck_angle": "neck angle",
    "roll": "roll",
    "plane_height": "fret plane at the joint line",
    "plane_at_saddle": "fret plane at the saddle line",
    "required_bearing": "strings must bear at",
    "travel": "place in the bridge's travel",
    "angle_window": "neck angles that work",
    "mm_per_degree": "worth at the bridge",
    "centreline_offset": "centreline at the bridge",
    "string_margin": "outer strings to the edges, last fret",
    "break_angle": "break angle at the saddle",
}
_WAITS = FIGURE_WORDS | {
    "required_bearing": "where the strings must bear",
    "string_margin": "the outer strings' margins",
}
_TOLD_BY = {
    "slope": "a neck angle, or clearances and the plane height",
    "height": "the plane height in the file (neck.plane_height), or clearances and a neck angle",
    "offset": "a centreline offset at the bridge",
}
_NEEDS_READING = {"neck_angle": "slope", "plane_height": "height", "centreline_offset": "offset"}
_UNMET = {
    "bearing bass": "the bass string's place in the bridge's travel",
    "bearing treble": "the treble string's place in the bridge's travel",
    "fretboard over the body": "the fretboard, which would come down into the body",
}
_REFINES_BEARING = (
    "neck.compensation_bass",
    "neck.compensation_treble",
    "neck.nut_height",
    "neck.relief",
    "neck.fretboard_radius",
    "neck.string_spread_at_nut",
    "bridge.string_spread",
)
_REFINES_CLEARANCE = ("bridge.saddle_slot_depth", "bridge.spacer")
_SURE = 0.95
_NOTHING = "nothing"
CENTRELINE_MEANS = ("to treble", "to bass")


def missing_sentences(setting: NeckSetting) -> Iterator[str]:
    """Yield what can't be told and what it waits for."""
    for name, keys in setting.missing.items():
        yield f"Not told: {_WAITS[name]}. The instrument file leaves open {listed(keys)}."
    for figure, unknown in _NEEDS_READING.items():
        if figure not in setting.figures and figure not in setting.missing:
            yield f"Not told: {_WAITS[figure]}. It takes {_TOLD_BY[unknown]}."


def taken_sentences(setting: NeckSetting, units: str = "mm") -> Iterator[str]:
    """Yield what was taken as so because nobody read it."""
    for each in setting.inputs:
        if each.origin is not Origin.TAKEN:
            continue
        if each.name == NO_ROLL:
            u = amount_text(each.estimate.u, Quantity.ANGLE, units)
            yield f"Nobody read the roll: taken as none, give or take {u}."
        elif each.name == TOUCHING:
            u = amount_text(each.estimate.u, Quantity.LENGTH, units)
            yield f"The fretboard's edge is taken to touch the body at the joint line, give or take {u}."


def left_open(setting: NeckSetting, instrument: Instrument) -> tuple[str, ...]:
    """Return the keys of the file that would refine what is told, are left open, and so count as nothing."""
    read = {each.name for each in setting.inputs if each.origin is Origin.READ}
    kinds = {point.kind.slug for point in instrument.checkpoints if point.id in read}
    keys: tuple[str, ...] = _REFINES_BEARING if "required_bearing.bass" in setting.figures else ()
    if "fret-to-bridge-clearance" in kinds and "saddle-height" not in kinds:
        keys += _REFINES_CLEARANCE
    return tuple(
        key
        for key in keys
        if _length(instrument, key) is None and not (key == "neck.relief" and "neck-relief" in kinds)
    )


def _length(instrument: Instrument, key: str) -> float | None:
    table, _, name = key.partition(".")
    value: float | None = getattr(getattr(instrument, table), name)
    return value


def left_open_sentences(setting: NeckSetting, instrument: Instrument) -> Iterator[str]:
    """Yield which lengths of the file are left open and count as nothing, where there are any."""
    keys = left_open(setting, instrument)
    if keys:
        count = "counts" if len(keys) == 1 else "count"
        flat = ", which is a flat fretboard" if keys == ("neck.fretboard_radius",) else ""
        yield f"Left open in the file, {listed(keys)} {count} as nothing{flat}: write what you know."


def misfit_sentences(setting: NeckSetting) -> Iterator[str]:
    """Yield which reading contradicts the others, the worst first; those that can't be told apart in one sentence."""
    groups = dict.fromkeys(tuple(sorted({each.id, *each.alike})) for each in setting.misfits)
    said = [" or ".join(input_name(name) for name in group) for group in groups]
    for place, names in enumerate(said):
        if place == 0:
            yield f"{names} contradicts the others: read it again, or see whether the file's lengths are right."
        else:
            yield f"{names} doesn't fit either; that may be all {said[0]}'s fault."


def input_name(name: str) -> str:
    """Return what a reading or a length of the file is called: a checkpoint's id, or the key and where it stands."""
    return f"{name} in the file" if "." in name else name


def travel_sentence(setting: NeckSetting, instrument: Instrument) -> tuple[str, bool] | None:
    """Return whether the bridge can hold the strings where they must bear, and whether it can't; None if unknown."""
    low, high = setting.figure("travel.margin_low"), setting.figure("travel.margin_high")
    if low is None or high is None:
        return None
    reserve = instrument.bridge.travel_reserve or 0.0
    units = instrument.units
    if min(low.value, high.value) >= reserve:
        room = amount_text(reserve, Quantity.LENGTH, units)
        kept = f", with the reserve of {room} kept at both ends" if reserve else ""
        if all(_is_sure(margin, reserve) for margin in (low, high)):
            return f"The bridge can hold the strings there{kept}.", False
        return (
            f"The bridge can hold the strings there{kept}, but only just: with less than 95\N{NO-BREAK SPACE}%.",
            True,
        )
    too = "low" if low.value < high.value else "high"
    margin = min(low.value, high.value)
    by, beyond = (-margin, "outside its travel") if margin < 0 else (reserve - margin, "inside its reserve")
    amount = amount_text(by, Quantity.LENGTH, units)
    return f"The strings would have to bear too {too} for the bridge: {amount} {beyond}.", True


def _is_sure(margin: Estimate, reserve_mm: float) -> bool:
    """Return whether a margin is the reserve or more with 95 %."""
    return margin.value - float(t_quantile(_SURE, margin.dof)) * margin.u >= reserve_mm


def break_sentences(setting: NeckSetting, instrument: Instrument) -> Iterator[str]:
    """Yield that the strings bend too little over the saddle, where they do."""
    bend, least_deg = setting.figure("break_angle"), instrument.bridge.least_break_angle
    if bend is not None and least_deg is not None and bend.value < least_deg:
        yield break_sentence(bend, least_deg)


def break_sentence(bend: Estimate, least_deg: float) -> str:
    """Return that the strings bend too little over the saddle, and what would make them bend more."""
    shown = value_beside_u(bend.value, bend.u, Quantity.ANGLE)
    wanted = amount_text(least_deg, Quantity.ANGLE)
    return (
        f"The strings bend over the saddle by {shown}, less than the {wanted} wanted: lead them lower at the tail, or"
        " let the neck stand steeper."
    )


def cut_sentences(cut: CutAdvice, instrument: Instrument, passes: int | None) -> Iterator[tuple[str, bool]]:
    """Yield what to do about the pocket, and whether it is a warning."""
    units = instrument.units
    if cut.left_out:
        it = "it contradicts" if len(cut.left_out) == 1 else "they contradict"
        yield (
            f"This doesn't rest on {listed([input_name(name) for name in cut.left_out])}: {it} the other readings.",
            True,
        )
    knows_travel = "travel.margin_low" in cut.figures
    if not knows_travel:
        yield "Where the strings bear in the bridge's travel isn't known, so nothing here looks at it.", True
    if not cut.needed:
        travel = " and the bridge's travel" if knows_travel else ""
        yield f"Nothing is to be taken off: the neck sits within the plan's tolerances{travel}.", False
        return
    if cut.aim is None:
        yield (
            "Neither wood nor a shim brings every tolerance and the bridge's travel together: look at the tolerances,"
            " the bridge and the least floor.",
            True,
        )
        return
    if not cut.rounded.nothing:
        yield _floor_words(cut.rounded, cut.step, units), False
    if cut.rounded.shim > 0:
        yield _shim_words(cut, units), True
    if not cut.cheeks_rounded.nothing:
        yield from ((words, False) for words in _cheek_words(cut.cheeks_rounded, cut.step, units))
    yield f"That brings {cut.aim.value}.", cut.aim is not Aim.SURE
    if cut.unmet:
        yield f"Still out then: {listed([_UNMET.get(name, name) for name in cut.unmet])}.", True
    if cut.sinks > cut.step / 2:
        down = length_text(cut.sinks, cut.step, units)
        yield f"The fret plane comes down by {down} at the joint line: see that the fretboard clears the body.", True
    if cut.floor is not None and not cut.rounded.nothing:
        yield f"Under the pocket {length_text(cut.floor, cut.step, units)} of wood is left.", False
    if passes:
        yield f"At the rate of the passes in this recording that is about {_passes(passes)}.", False


def _passes(number: int) -> str:
    return f"{number} pass" if number == 1 else f"{number} passes"


def _floor_words(cut: Corners, step: float, units: str) -> str:
    """Return what comes off the pocket floor; a corner where a shim is wanted has nothing to take off."""
    bass, treble = (
        _ends_words(max(edge, 0.0), max(tail, 0.0), step, units)
        for edge, tail in ((cut.bass_body_edge, cut.bass_tail), (cut.treble_body_edge, cut.treble_tail))
    )
    if bass == treble:
        return f"Pocket floor: take off {bass}." if bass != _NOTHING else "No wood comes off the pocket floor."
    return f"Pocket floor: on the bass side take off {bass}; on the treble side {treble}."


def _ends_words(edge: float, tail: float, step: float, units: str) -> str:
    """Return how much there is at the two ends: "0.5 mm at the tail end, nothing at the body-edge end"."""
    ends = {"body-edge": edge, "tail": tail}
    there = [f"{length_text(depth, step, units)} at the {end} end" for end, depth in ends.items() if depth > step / 2]
    nothing = [f", nothing at the {end} end" for end, depth in ends.items() if depth <= step / 2]
    if not there:
        return _NOTHING
    return " and ".join(there) + "".join(nothing)


def _shim_words(cut: CutAdvice, units: str) -> str:
    corners = cut.rounded
    sides = ((corners.bass_body_edge, corners.bass_tail), (corners.treble_body_edge, corners.treble_tail))
    thick = [(max(-edge, 0.0), max(-tail, 0.0)) for edge, tail in sides]
    bass, treble = (_ends_words(edge, tail, cut.step, units) for edge, tail in thick)
    begun = "Wood would have to be added, by a shim over the whole floor:"
    if bass != treble:
        return f"{begun} on the bass side {bass}; on the treble side {treble}."
    taper_deg = math.degrees(math.atan((thick[0][1] - thick[0][0]) / cut.pocket.length))
    taper = amount_text(round(abs(taper_deg), 2), Quantity.ANGLE, units)
    return f"{begun} {bass}, a taper of {taper}."


def _cheek_words(cheeks: Cheeks, step: float, units: str) -> Iterator[str]:
    for side, other, edge, tail in (
        ("bass", "treble", cheeks.bass_body_edge, cheeks.bass_tail),
        ("treble", "bass", cheeks.treble_body_edge, cheeks.treble_tail),
    ):
        off = [
            f"{length_text(depth, step, units)} at its {end} end"
            for end, depth in (("body-edge", edge), ("tail", tail))
            if depth > step / 2
        ]
        if off:
            yield (
                f"Pocket cheek on the {side} side: take off {' and '.join(off)}; the {other} cheek then wants a shim"
                " of the same taper."
            )
