"""The sentences of a comparison: what was found, and what to do about it.

Here: every reason a checkpoint may be given, with the words for it; numbers are shown in the unit the builder thinks
in. Not here: deciding which reason holds (`shift`, `comparison`, `wet`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

from gaugelog.model.instrument import Checkpoint
from gaugelog.model.kinds import AFTER, BEFORE, WET
from gaugelog.model.quantities import Quantity, find_unit


class Why(Enum):
    """Why a checkpoint has the verdict it has."""

    HELD = "held"
    MOVED = "moved"
    MORE_AFTER = "more placements after would prove it"
    BEFORE_BARS = "too few or too scattered placements before"
    STEP_BARS = "the digit is too coarse for this margin"
    LIMIT_BELOW_STEP = "the limit is below one digit"
    ACCURACY_BARS = "the accuracies of two gauges are too coarse"
    TOO_FEW = "too few placements"
    UNREAD_BEFORE = "not read before"
    UNREAD_AFTER = "not read after"
    UNREAD_BOTH = "not read at all"
    ONE_SIDED = "a value is a bound only"
    OTHER_GAUGE = "another gauge, accuracy not known"
    CONTROL_MOVED = "the control of its gauge moved"
    CONTROL_ITSELF_MOVED = "this control moved"
    NO_LIMIT = "no movement limit"
    ONLY_TOLD = "only told"


@dataclass(frozen=True, slots=True)
class Facts:
    """The numbers and names that a sentence may need; lengths and angles in the base unit.

    `scatter` is the pooled standard deviation of one placement, `noisier` the stage that scatters clearly more than
    the other (None where neither does). `other_gauge` says that more than one gauge read it and `warmer_degc` by how
    much the workshop was warmer at the second stage, None where that is too little to count; `accuracy_known` says
    whether the limits of error behind both stages are.
    """

    checkpoint: Checkpoint
    shift: float = 0.0
    step: float = 0.0
    n_before: int = 0
    n_after: int = 0
    more: int | None = None
    gauges: tuple[str | None, str | None] = (None, None)
    control: str = ""
    skipped: str = ""
    stages: tuple[str, str] = (BEFORE, AFTER)
    scatter: float = 0.0
    noisier: str | None = None
    other_gauge: bool = False
    warmer_degc: float | None = None
    accuracy_known: bool = False

    @property
    def when(self) -> tuple[str, str]:
        """The two stages as adverbs: "before", or "at stage sanded" for a stage of the builder's own."""
        first, second = self.stages
        return _when(first), _when(second)


_SYMBOLS = {"deg": "°", "degC": " °C", "degF": " °F", "%": " %"}
_FINER = {
    "neck-angle": "a clearance read at the bridge would",
    "neck-roll": "the clearances of both sides at the bridge, read with a finer gauge, may",
}


def amount(value: float, quantity: Quantity, unit: str, step: float) -> str:
    """Return a difference as words: `value` (base unit) in `unit`, with the decimals that `step` (base unit) deserves.

    A change of 0.133 read to 0.05 is shown as 0.13, one to 0.01 with three decimals: a mean is finer than a reading.
    """
    factor = float(find_unit(unit, quantity).factor)
    shown, fine = value / factor, step / factor / 2 if step > 0 else 1e-4
    decimals = min(max(-math.floor(math.log10(fine) + 1e-9), 0), 6)
    text = f"{shown:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    text = "0" if text == "-0" else text.replace("-", "\u2212")
    return f"{text}{_SYMBOLS.get(unit, ' ' + unit)}"


def _when(stage: str) -> str:
    return stage if stage in (BEFORE, WET, AFTER) else f"at stage {stage}"


def count_of(number: int, what: str) -> str:
    """Return "1 placement" or "3 placements"."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _in_unit(facts: Facts, value: float) -> str:
    checkpoint = facts.checkpoint
    return amount(value, checkpoint.quantity, checkpoint.unit, facts.step)


def _limit(facts: Facts) -> str:
    return _in_unit(facts, facts.checkpoint.limit or 0.0)


def _gauge(name: str | None) -> str:
    return name or "a tool of which the values were typed"


def _held(facts: Facts) -> str:
    return f"the shift stays within the limit of {_limit(facts)}, with the margin that this reading needs"


def _moved(facts: Facts) -> str:
    return (
        f"the shift of {_in_unit(facts, facts.shift)} is beyond the limit of {_limit(facts)}:"
        " find out why before you go on"
    )


def _who_read(facts: Facts) -> str:
    """Return which gauges read the two stages."""
    (one, other), (first, second) = facts.gauges, facts.when
    if one == other:
        return f"read by {_gauge(one)}, not one of them alone"
    return f"read {first} by {_gauge(one)} and {second} by {_gauge(other)}"


def _take_more(facts: Facts) -> str:
    """Return the command that takes the missing placements."""
    return f"`gaugelog capture {facts.stages[1]} --more {facts.more or 1} --at {facts.checkpoint.id}`"


def _position(facts: Facts) -> str:
    within = abs(facts.shift) <= (facts.checkpoint.limit or 0.0)
    return "within" if within else "beyond"


def _more_after(facts: Facts) -> str:
    _, second = facts.when
    more = facts.more or 0
    many = ", if they fall as these did (a finer gauge is the better way)" if more > 20 else ""
    return (
        f"the shift is {_position(facts)} the limit, but {count_of(more, 'more placement')} {second}"
        f" {'is' if more == 1 else 'are'} needed to prove it{many}: {_take_more(facts)}"
    )


def _before_bars(facts: Facts) -> str:
    first, second = facts.when
    few = f"{count_of(facts.n_before, 'placement')} {first} {'is' if facts.n_before == 1 else 'are'} too few"
    mostly = ""
    if facts.noisier is not None:
        loud, quiet = (first, second) if facts.noisier == facts.stages[0] else (second, first)
        mostly = f" (more {loud} than {quiet})"
    return (
        f"{few} for placements that scatter by {_in_unit(facts, facts.scatter)}{mostly}, and the stage"
        f" {facts.stages[0]} can't be read again: no number of placements {second} can prove it; judge by another"
        " checkpoint, and take more placements next time"
    )


def _finer(facts: Facts) -> str:
    return _FINER.get(facts.checkpoint.kind.slug, "a gauge with a finer step would")


def _step_bars(facts: Facts) -> str:
    return (
        f"the shift is too near the limit for a gauge that reads to {_in_unit(facts, facts.step)}: no number of"
        f" placements can prove it; {_finer(facts)}"
    )


def _limit_below_step(facts: Facts) -> str:
    typed_to = facts.checkpoint.step
    if typed_to is not None and facts.step > typed_to * 1.001:
        return (
            f"it was typed to {_in_unit(facts, facts.step)} only, which is larger than the limit ({_limit(facts)}): no"
            f" number of placements can prove that it held; type what the ruler shows, such as 12/64 for 3/16 read in"
            " sixty-fourths"
        )
    return (
        f"one digit of this gauge ({_in_unit(facts, facts.step)}) is larger than the limit ({_limit(facts)}): no number"
        f" of placements can prove that it held; {_finer(facts)}"
    )


def _accuracy_bars(facts: Facts) -> str:
    return (
        f"{_who_read(facts)}, and their accuracies are too coarse for this limit: read it {facts.when[1]} with the"
        " gauge that read it first"
    )


def _too_few(facts: Facts) -> str:
    first, second = facts.when
    return (
        f"{count_of(facts.n_before, 'placement')} {first} and {facts.n_after} {second} don't tell how much a placement"
        f" scatters: take {count_of(facts.more or 1, 'more placement')} {second} with {_take_more(facts)}"
    )


def _left_out(facts: Facts) -> str:
    return f" (left out: {facts.skipped})" if facts.skipped else ""


def _unread_before(facts: Facts) -> str:
    return (
        f"not read {facts.when[0]}{_left_out(facts)}, so there is nothing to compare with: judge by another checkpoint"
    )


def _unread_after(facts: Facts) -> str:
    return f"not read {facts.when[1]}{_left_out(facts)}: `gaugelog capture {facts.stages[1]}` takes it"


def _unread_both(facts: Facts) -> str:
    first, second = facts.when
    return f"read neither {first} nor {second}{_left_out(facts)}, so there is nothing to compare"


def _one_sided(facts: Facts) -> str:
    return (
        "a value is a bound only (such as >0.30), so there is no mean: read it with a feeler pair or a gauge; where it"
        " can't be below 0, 0..0.05 says more than <0.05"
    )


def _other_gauge(facts: Facts) -> str:
    return (
        f"{_who_read(facts)}, and how far they may disagree is not known: read both stages with one gauge, or use"
        " gauges whose datasheets give an accuracy"
    )


def _control_moved(facts: Facts) -> str:
    return (
        f'the control "{facts.control}" moved where glue can\'t move anything, so what read this changed between the'
        " stages: check its zero and its feet, then read this stage again"
    )


def _control_itself_moved(facts: Facts) -> str:
    return (
        f"glue can't move this, yet it shifted by {_in_unit(facts, facts.shift)}: the gauge or the spot changed, and"
        " whatever the gauge read gets no verdict"
    )


def _no_limit(facts: Facts) -> str:
    return "no movement limit is given: write limit into this checkpoint of the instrument file for a verdict"


def _only_told(facts: Facts) -> str:
    return "only told: it has no verdict and bars nothing"


_SENTENCES: dict[Why, Callable[[Facts], str]] = {
    Why.HELD: _held,
    Why.MOVED: _moved,
    Why.MORE_AFTER: _more_after,
    Why.BEFORE_BARS: _before_bars,
    Why.STEP_BARS: _step_bars,
    Why.LIMIT_BELOW_STEP: _limit_below_step,
    Why.ACCURACY_BARS: _accuracy_bars,
    Why.TOO_FEW: _too_few,
    Why.UNREAD_BEFORE: _unread_before,
    Why.UNREAD_AFTER: _unread_after,
    Why.UNREAD_BOTH: _unread_both,
    Why.ONE_SIDED: _one_sided,
    Why.OTHER_GAUGE: _other_gauge,
    Why.CONTROL_MOVED: _control_moved,
    Why.CONTROL_ITSELF_MOVED: _control_itself_moved,
    Why.NO_LIMIT: _no_limit,
    Why.ONLY_TOLD: _only_told,
}


def sentence(why: Why, facts: Facts) -> str:
    """Return the reason as one plain sentence: what, and what to do; with what else the verdict rests on."""
    return "; ".join([_SENTENCES[why](facts), *rests_on(why, facts)])


def rests_on(why: Why, facts: Facts) -> tuple[str, ...]:
    """Return what is told beside the reason: another gauge, another temperature, and whether that was counted."""
    told = []
    if facts.other_gauge and facts.accuracy_known and why is not Why.ACCURACY_BARS:
        told.append(f"{_who_read(facts)}: their accuracies are counted")
    if facts.warmer_degc is not None and why is not Why.OTHER_GAUGE:
        told.append(_temperature(facts, facts.warmer_degc))
    return tuple(told)


def _temperature(facts: Facts, warmer_degc: float) -> str:
    word = "warmer" if warmer_degc > 0 else "colder"
    air = f"the workshop was {amount(abs(warmer_degc), Quantity.TEMPERATURE, 'degC', 1.0)} {word} {facts.when[1]}"
    if facts.accuracy_known:
        return f"{air}, so the accuracy is counted"
    whose = "this gauge" if facts.gauges != (None, None) else "the tool of the typed values"
    return f"{air}, but the accuracy of {whose} isn't known, so that is not counted"
