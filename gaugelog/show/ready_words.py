"""The gate's reasons in words, its cautions, and the list for the glue-up.

Here: sentences. Not here: whether it is ready (`analysis.readiness`), tables (`ready_view`).
"""

from __future__ import annotations

from collections.abc import Callable

from gaugelog.analysis.neck_rows import said_by
from gaugelog.analysis.readiness import CheckpointReady, Ground, Readiness, Reason
from gaugelog.model.instrument import Checkpoint, Instrument, Tolerance
from gaugelog.model.quantities import Quantity
from gaugelog.show.movement_view import MOVEMENT_WORDS
from gaugelog.show.neck_words import break_sentence, input_name
from gaugelog.show.numbers import NO_BREAK, amount_text, probability_text, rough_text, value_beside_u
from gaugelog.show.words import listed, tolerance_text

CAUTIONS = (
    "The glue's label and safety sheet come first: open time, clamp time, warmth of wood and shop, gloves, fresh air.",
    "Solvents and dust: no flame or spark near, dust drawn off, a mask and eye protection on.",
    "Clamps pinch and slip, blades cut: hands out of the way, no gauge in the work while a machine can turn.",
    "Your tools' manuals, the safety sheets, your local rules, and what they leave to licensed people hold before"
    " anything said here.",
)
_USUAL_CLAMP_H = 24.0


def reason_words(reason: Reason, ready: Readiness, instrument: Instrument) -> str:
    """Return a reason as one sentence that says what to do."""
    return _WORDS[reason.ground](reason, ready, instrument)


def tolerance_words(tolerance: Tolerance | None, quantity: Quantity, units: str) -> str:
    """Return a tolerance as "2.5° to 3.1°", "0.2 to 1.5 mm", "at most 0.15 mm", "at least 2.5 mm"; a dash for none."""
    if tolerance is None:
        return "–"
    low, high = (value_beside_u(end, None, quantity, units) for end in (tolerance.low, tolerance.high))
    if tolerance.low is None:
        return f"at most {high}"
    if tolerance.high is None:
        return f"at least {low}"
    return range_words(low, high)


def range_words(low: str, high: str) -> str:
    """Return two amounts as a range: "2.5° to 3.1°", "0.2 to 1.5 mm"."""
    number, _, unit = low.partition(NO_BREAK)
    return f"{number if unit and high.endswith(NO_BREAK + unit) else low} to {high}"


def _row(reason: Reason, ready: Readiness) -> CheckpointReady:
    return next(each for each in ready.checkpoints if each.checkpoint.id == reason.about)


def _point(reason: Reason, ready: Readiness) -> Checkpoint:
    return _row(reason, ready).checkpoint


def _wanted(point: Checkpoint, units: str) -> str:
    return tolerance_words(point.tolerance, point.quantity, units)


def _unread(reason: Reason, ready: Readiness, instrument: Instrument) -> str:
    wanted = _wanted(_point(reason, ready), instrument.units)
    return f"{reason.about} was not read: it has to be {wanted}. Read it with `gaugelog capture {ready.stage}`."


def _skipped(reason: Reason, ready: Readiness, instrument: Instrument) -> str:
    wanted = _wanted(_point(reason, ready), instrument.units)
    return (
        f"{reason.about} was skipped ({', '.join(reason.words)}): it has to be {wanted}. Read it, or take its tolerance"
        " out of the instrument file if it doesn't matter here."
    )


def _out(reason: Reason, ready: Readiness, instrument: Instrument) -> str:
    row = _row(reason, ready)
    point = row.checkpoint
    out = tolerance_text(row.out_by, point.quantity, instrument.units)
    value = ""
    if row.mean is not None:
        value = f" reads {value_beside_u(row.mean.value, row.mean.u, point.quantity, instrument.units)},"
    wanted = _wanted(point, instrument.units)
    return f"{reason.about}{value or ' is'} {out} ({wanted}): {_remedy(point, instrument)}."


def _remedy(point: Checkpoint, instrument: Instrument) -> str:
    """Return where to ask what to do: a cut reaches whatever says something of the neck, and its pocket's floor."""
    if point.kind.slug == "pocket-floor-tilt" or any(
        each.id == point.id for each in said_by(instrument, {point.id: 0.0})
    ):
        return "see `gaugelog neck --cut`"
    return "put that right, and read it again"


def _unsure(reason: Reason, ready: Readiness, instrument: Instrument) -> str:
    row = _row(reason, ready)
    p = probability_text(row.p_conform)
    return (
        f"{reason.about} is in its tolerance ({_wanted(row.checkpoint, instrument.units)}) with {p} only; 95 % is"
        " wanted. Work it nearer to the middle, or read it with a finer gauge."
    )


def _bound(reason: Reason, ready: Readiness, instrument: Instrument) -> str:
    wanted = _wanted(_point(reason, ready), instrument.units)
    return f"{reason.about} was read as a bound only, which leaves open whether it is {wanted}: read a value."


def _prove(reason: Reason, ready: Readiness, instrument: Instrument) -> str:
    moved = ready.foresight.movements.get(reason.about)
    if moved is not None:
        quantity = Quantity.ANGLE if moved.unit == "deg" else Quantity.LENGTH
        what, limit, provable = MOVEMENT_WORDS[reason.about], moved.limit, moved.smallest_provable
        return _can_prove(what, provable, limit, quantity, instrument.units)
    row = _row(reason, ready)
    point = row.checkpoint
    must = " It must be proven." if reason.ground is Ground.MUST_PROVE else ""
    if row.smallest_provable is None:
        why = "it was not read" if row.mean is None else "there are too few placements, or none is planned for after"
        remedy = f"Read it with `gaugelog capture {ready.stage}`" if row.mean is None else "Take more placements"
        return f"{point.id}: {why}, so nothing can be proven of it after the glue.{must} {remedy}."
    return _can_prove(point.id, row.smallest_provable, point.limit, point.quantity, instrument.units, must)


def _can_prove(what: str, provable: float, limit: float | None, quantity: Quantity, units: str, must: str = "") -> str:
    best, wanted = rough_text(provable, quantity, units), amount_text(limit, quantity, units)
    return (
        f"{what}: this snapshot can prove {best} at best, its limit is {wanted}.{must} More placements, a finer"
        " gauge or a larger limit would do."
    )


def _bearing_out(reason: Reason, ready: Readiness, instrument: Instrument) -> str:
    needed = ready.setting.figures[f"required_bearing.{reason.about}"]
    bridge, units = instrument.bridge, instrument.units
    reserve = bridge.travel_reserve or 0.0
    ends = [(bridge.bearing_low or 0.0) + reserve, (bridge.bearing_high or 0.0) - reserve]
    gives = range_words(*(value_beside_u(end, None, Quantity.LENGTH, units) for end in ends))
    height = value_beside_u(needed.value, needed.u, Quantity.LENGTH, units)
    return (
        f"The {reason.about} string would have to bear at {height}; the bridge less its reserve gives {gives}."
        " `gaugelog neck --cut` says where wood comes off."
    )


def _bearing_unsure(reason: Reason, ready: Readiness, _instrument: Instrument) -> str:
    p = probability_text(ready.p_bearing[reason.about])
    return (
        f"The {reason.about} string bears within the travel less the reserve with {p} only. `gaugelog"
        " neck --budget` says which reading to take more finely."
    )


def _bearing_unknown(reason: Reason, _ready: Readiness, _instrument: Instrument) -> str:
    if reason.words:
        return (
            "Where the strings must bear can't be told: the instrument file leaves open"
            f" {listed(reason.words)}. Write {'it' if len(reason.words) == 1 else 'them'} in."
        )
    return (
        "Where the strings must bear can't be told: it takes the neck angle and the plane height, or readings that"
        " tell them."
    )


def _misfit(reason: Reason, _ready: Readiness, _instrument: Instrument) -> str:
    names = [input_name(name) for name in (reason.about, *reason.words)]
    alike = f" (or {' or '.join(names[1:])}, which can't be told from it)" if names[1:] else ""
    return f"{names[0]}{alike} contradicts the other readings: read it again before you trust any of them."


def _break(_reason: Reason, ready: Readiness, instrument: Instrument) -> str:
    return break_sentence(ready.setting.figures["break_angle"], instrument.bridge.least_break_angle or 0.0)


_WORDS: dict[Ground, Callable[[Reason, Readiness, Instrument], str]] = {
    Ground.UNREAD: _unread,
    Ground.SKIPPED: _skipped,
    Ground.OUT: _out,
    Ground.UNSURE: _unsure,
    Ground.BOUND: _bound,
    Ground.MUST_PROVE: _prove,
    Ground.CANNOT_PROVE: _prove,
    Ground.BEARING_OUT: _bearing_out,
    Ground.BEARING_UNSURE: _bearing_unsure,
    Ground.BEARING_UNKNOWN: _bearing_unknown,
    Ground.MISFIT: _misfit,
    Ground.BREAK: _break,
}


def glue_up_list(instrument: Instrument) -> tuple[str, ...]:
    """Return what to have done before the glue is opened; times are the label's, as the builder entered them."""
    glue = instrument.glue
    label = f" ({glue.label})" if glue.label else ""
    if glue.open_time_min is None:
        open_time = "Open time: read it on the glue's label, and write it into the file (glue.open_time_min)."
    else:
        open_time = (
            f"Open time by the glue's label{label}: {glue.open_time_min:g} min from spreading to the last touch."
        )
    if glue.clamp_time_h is None:
        clamp_time = "Clamp time: read it on the glue's label, and write it into the file (glue.clamp_time_h)."
    else:
        clamp_time = f"Clamp time by the glue's label{label}: {glue.clamp_time_h:g} h, undisturbed."
        if glue.clamp_time_h < _USUAL_CLAMP_H:
            clamp_time += " A neck joint usually stays in clamps for a day all the same (common practice, no source)."
    return (
        "Both surfaces cleaned: no dust, no wax, no old glue, no finish; what you clean with has dried off.",
        "Cauls and clamps tried dry, in the order in which they go on; the clamp gauges lie where they will stay.",
        "For squeeze-out at hand: a scraper, a rag, and what the glue's label names to wipe it off; gauges, feelers and"
        " frets kept clear of glue.",
        open_time,
        clamp_time,
        "`gaugelog clamp` running, and `gaugelog capture wet` ready for the look while the glue is open.",
    )
