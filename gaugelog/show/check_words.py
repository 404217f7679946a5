"""What a check of a gauge found, in a builder's sentences.

Here: from a check's document (docs/documents.md) to words. Not here: tables (`check_view`), the numbers (`analysis`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from gaugelog.analysis.gauge_allan import NOISE_NAMES
from gaugelog.analysis.gauge_hysteresis import UNPROVEN
from gaugelog.analysis.gauge_repeat import ALL_EQUAL, FINER_SEEN
from gaugelog.analysis.gauge_reversal import WITHIN
from gaugelog.model.quantities import Quantity
from gaugelog.review.checked import Checked
from gaugelog.show.numbers import count_text, date_text, display_unit, duration_text, rough_text, uncertain_text
from gaugelog.store.records import RecordedGauge

Found = Mapping[str, Any]
_SAID_ANYWAY = (UNPROVEN, WITHIN, ALL_EQUAL, FINER_SEEN)
"""What the sentences say; and that placements, each a median, may lie between two digits."""
_PARTS = ("repeat", "reversal", "linearity", "hysteresis", "rest", "study")


def whose_words(gauge: RecordedGauge) -> str:
    """Return which gauge, in words: its short name, datasheet and identity or address."""
    return f"{gauge.name} ({gauge.datasheet}, {gauge.identity or gauge.address})"


def check_sentences(found: Found) -> list[str]:
    """Return what each part of a check says, a sentence each."""
    says = {
        "repeat": _repeat,
        "reversal": _reversal,
        "linearity": _linearity,
        "hysteresis": _hysteresis,
        "rest": _rest,
        "study": _study,
    }
    quantity = Quantity(found["quantity"])
    return [says[name](part, quantity) for name in _PARTS if (part := found.get(name)) is not None]


def check_cautions(found: Found) -> list[str]:
    """Return what is to be kept in mind of a check, once each, without what its sentences say anyway."""
    every = [warning for name in _PARTS if (part := found.get(name)) is not None for warning in part["warnings"]]
    kept = [warning for warning in dict.fromkeys(every) if warning not in _SAID_ANYWAY]
    return [f"{warning[:1].upper()}{warning[1:]}." for warning in kept]


def unknown_sentences(found: Found) -> list[str]:
    """Return what isn't known because it wasn't checked, and what is taken from the check from now on."""
    sentences = []
    unknown = found["budget"]["unknown"]
    if unknown:
        sentences.append(f"Not known, since it wasn't checked: {'; '.join(unknown)}.")
    pooled, quantity = found["pooled"], Quantity(found["quantity"])
    if pooled is None:
        sentences.append("How it repeats isn't known, so verdicts go by each day's placements alone.")
    else:
        sentences.append(
            f"Verdicts pool each day's placements with its scatter of {rough_text(pooled['sd'], quantity)} "
            f"({pooled['dof']:.0f} degrees of freedom)."
        )
    limit = found["limit_of_error"]
    if limit is not None:
        beside = "" if limit["complete"] else ", or what its maker states where that is more"
        right_to = rough_text(limit["half_width"], quantity)
        sentences.append(f"Where errors don't drop out it is taken to be right to ± {right_to}{beside}.")
    return sentences


def check_note(checked: Checked, now_utc_us: int) -> str:
    """Return in a sentence what of a check counts in a result, and that it is overdue."""
    found, quantity = checked.found, Quantity(checked.found["quantity"])
    says = []
    if found["pooled"] is not None:
        says.append(f"its scatter of {rough_text(found['pooled']['sd'], quantity)} is pooled")
    if found["limit_of_error"] is not None:
        says.append(f"right to ± {rough_text(found['limit_of_error']['half_width'], quantity)}")
    days = checked.overdue_days(now_utc_us)
    late = "" if days is None else f" It is {days} days old; you wanted one every {found['every_days']}."
    words = ", ".join(says) or "which tells neither how it repeats nor how right it is"
    return f"{checked.gauge.name}: check of {date_text(checked.utc_us)}, {words}.{late}"


def _figure(figure: Found, quantity: Quantity) -> str:
    """Return a figure with its 95 % half-width."""
    if figure["half_95"] is None:
        return rough_text(figure["value"], quantity)
    return uncertain_text(figure["value"], figure["half_95"], quantity)


def _repeat(part: Found, quantity: Quantity) -> str:
    times = count_text(part["n"], "time")
    if part["sd"] == 0:
        most = rough_text(part["high_95"], quantity)
        return f"Set down {times} it read the same each time; its scatter is below {most}."
    return (
        f"Set down {times} it scatters by {rough_text(part['sd'], quantity)} (standard deviation; with 95 % between "
        f"{rough_text(part['low_95'], quantity)} and {rough_text(part['high_95'], quantity)})."
    )


def _reversal(part: Found, quantity: Quantity) -> str:
    zero = part["zero"]
    way = "high" if zero["value"] > 0 else "low"
    size = _figure(zero | {"value": abs(zero["value"])}, quantity)
    if part["proven"]:
        return f"On a level it reads {size} too {way}: set its zero, or take that off what it shows."
    return f"Its zero is right as far as turning it can tell: {_figure(zero, quantity)}."


def _linearity(part: Found, quantity: Quantity) -> str:
    scale = part["scale"]
    low, high = (rough_text(part[end], quantity) for end in ("low", "high"))
    percent, half = 100 * scale["value"], scale["half_95"]
    within = "" if half is None else f" ± {100 * half:.2g} %"
    way = "too much" if percent > 0 else "too little"
    proven = half is not None and abs(scale["value"]) > half
    said = (
        f"reads {abs(percent):.2g} %{within} {way}"
        if proven
        else f"has no scale error that shows ({percent:+.2g} %{within})"
    )
    largest = part["largest"]
    return (
        f"From {low} to {high} it {said}; furthest off the line at {rough_text(largest['reference'], quantity)}, by "
        f"{rough_text(abs(largest['departure']), quantity)}."
    )


def _hysteresis(part: Found, quantity: Quantity) -> str:
    difference = part["difference"]
    if part["proven"]:
        return (
            f"Coming from the larger side it reads {_figure(difference, quantity)} differently: always come from the "
            "same side."
        )
    return f"From which side it comes makes no difference that shows: {_figure(difference, quantity)}."


def _rest(part: Found, quantity: Quantity) -> str:
    words = [f"Left alone for {duration_text(part['span_s'])}"]
    if part["warm_up_s"] is None:
        words.append("it had not settled by the end")
    elif part["warm_up_s"] > 0:
        words.append(
            f"it warmed up for {duration_text(part['warm_up_s'])}, by {rough_text(abs(part['warm_up_rise']), quantity)}"
        )
    else:
        words.append("it was within a digit from the start")
    hours = min(1.0, (part["span_s"] - part["settled_s"]) / 3600)
    if part["wander_per_root_hour"] is not None and part["rate_per_hour"] is not None:
        wander = math.hypot(part["wander_per_root_hour"] * math.sqrt(hours), part["rate_per_hour"]["value"] * hours)
        words.append(f"wanders by {rough_text(wander, quantity)} over {duration_text(hours * 3600)}")
    if part["best_tau_s"] is not None and part["best"]:
        kinds = [each["alpha"] for each in part["allan"] if each["tau_s"] == part["best_tau_s"]]
        noise = NOISE_NAMES.get(kinds[0], "") if kinds and kinds[0] is not None else ""
        beside = f" ({noise})" if noise else ""
        down_to = rough_text(part["best"], quantity)
        words.append(f"averaging helps up to {duration_text(part['best_tau_s'])}, down to {down_to}{beside}")
    seen = part["seen"]["common"]
    if seen is not None:
        words.append(f"moves in steps of {rough_text(seen, quantity)}")
    return ", ".join(words) + "."


def _study(part: Found, quantity: Quantity) -> str:
    shown = display_unit(quantity)
    levels = []
    if part["repeat"] is not None:
        levels.append(f"within a day by {rough_text(part['repeat']['sd'], quantity)}")
    if part["sd_days"] is not None:
        levels.append(f"from day to day or hand to hand by {rough_text(part['sd_days'], quantity)}")
    if part["sd_runs"] is not None:
        levels.append(f"from run to run by {rough_text(part['sd_runs'], quantity)}")
    return (
        f"Over {count_text(part['n'], 'placement')} it scatters {', '.join(levels)} (standard deviations, "
        f"{shown.symbol.strip()})."
    )
