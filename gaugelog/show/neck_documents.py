"""JSON fields of how a neck stands, what to take off, and whether the glue may be opened.

Here: the neck setting and the gate as data, in base units, nothing rounded. Not here: what other commands print
(`documents`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from gaugelog.analysis.cut import Cheeks, Corners
from gaugelog.analysis.neck_cut import CutAdvice
from gaugelog.analysis.neck_setting import Input, NeckSetting
from gaugelog.analysis.neckset import SIDES
from gaugelog.analysis.readiness import CheckpointReady, Readiness
from gaugelog.analysis.results import Moved
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Instrument
from gaugelog.show.gauge_documents import Document, finite
from gaugelog.show.movement_view import untold_words
from gaugelog.show.neck_words import left_open, missing_sentences
from gaugelog.show.ready_words import reason_words

_SINGLE = ("neck_angle", "roll", "plane_height", "mm_per_degree", "centreline_offset", "break_angle")
_PAIRED = {
    "plane_at_saddle": ("bass", "treble"),
    "required_bearing": ("bass", "treble"),
    "travel": ("low", "high", "margin_low", "margin_high"),
    "angle_window": ("low", "high"),
    "string_margin": ("bass", "treble"),
}


def figure_fields(figures: Mapping[str, Estimate]) -> Document:
    """Return the figures of a neck set, each an object with value, u and unit, null where it can't be told."""
    fields: Document = {name: _quantity(figures.get(name)) for name in _SINGLE}
    for name, parts in _PAIRED.items():
        told = {part: _quantity(figures.get(f"{name}.{part}")) for part in parts}
        fields[name] = told if any(part is not None for part in told.values()) else None
    return fields


def neck_document(
    setting: NeckSetting,
    instrument: Instrument,
    cut: CutAdvice | None,
    passes: int | None,
    simulated: Sequence[str] = (),
) -> Document:
    """Return how a neck stands and what to take off; `simulated` names the simulated gauges."""
    return {
        "simulated": list(simulated),
        "stage": setting.stage or None,
        **figure_fields(setting.figures),
        "reserve": finite(instrument.bridge.travel_reserve),
        "cut": None if cut is None else _cut(cut, passes),
        "budget": [_input(each, setting) for each in setting.inputs],
        "fit": {"p": finite(setting.p)},
        "residuals": [
            {
                "id": each.id,
                "w": finite(each.w),
                "redundancy": finite(each.redundancy),
                "misfit": each.misfit,
                "alike": list(each.alike),
            }
            for each in setting.residuals
        ],
        "missing": list(missing_sentences(setting)),
        "left_open": list(left_open(setting, instrument)),
    }


def _quantity(estimate: Estimate | None) -> Document | None:
    if estimate is None:
        return None
    return {
        "value": finite(estimate.value),
        "u": finite(estimate.u),
        "unit": estimate.unit,
        "dof": finite(estimate.dof),
    }


def _input(each: Input, setting: NeckSetting) -> Document:
    return {
        "input": each.name,
        "origin": each.origin.value,
        "value": finite(each.estimate.value),
        "u": finite(each.estimate.u),
        "unit": each.estimate.unit,
        "digit": finite(each.digit),
        "digit_at_bridge_mm": finite(each.worth_mm),
        "contributions": {
            name: finite(shares[each.name]) for name, shares in setting.budget.items() if each.name in shares
        },
    }


def _cut(cut: CutAdvice, passes: int | None) -> Document:
    """Return what to take off: at the top the rounded depths, which are what to do."""
    return {
        "needed": cut.needed,
        "aim": None if cut.aim is None else cut.aim.value,
        **_depths(cut.rounded, cut),
        "exact": _depths(cut.exact, cut),
        "step": finite(cut.step),
        "shim": _depth(cut.rounded.shim, cut) if cut.rounded.shim > 0 else None,
        "taper": _quantity(Estimate(cut.taper_deg, cut.u_taper_deg, "deg", cut.figures["neck_angle"].dof)),
        "cheek": None
        if cut.cheeks.nothing
        else {**_depths(cut.cheeks_rounded, cut), "exact": _depths(cut.cheeks, cut)},
        "outcome": figure_fields(cut.figures),
        "unmet": list(cut.unmet),
        "left_out": list(cut.left_out),
        "floor_left": finite(cut.floor),
        "passes": passes,
    }


def _depths(wood: Corners | Cheeks, cut: CutAdvice) -> Document:
    return {
        "bass": {"body_edge": _depth(wood.bass_body_edge, cut), "tail": _depth(wood.bass_tail, cut)},
        "treble": {"body_edge": _depth(wood.treble_body_edge, cut), "tail": _depth(wood.treble_tail, cut)},
    }


def _depth(depth_mm: float, cut: CutAdvice) -> Document | None:
    return _quantity(Estimate(depth_mm, cut.u_depth, "mm", cut.figures["neck_angle"].dof))


def ready_document(ready: Readiness, instrument: Instrument, simulated: Sequence[str] = ()) -> Document:
    """Return whether the glue may be opened, and why; `simulated` names the simulated gauges."""
    return {
        "simulated": list(simulated),
        "stage": ready.stage,
        "ready": ready.ready,
        "reasons": [reason_words(each, ready, instrument) for each in ready.reasons if each.bars],
        "warnings": [reason_words(each, ready, instrument) for each in ready.reasons if not each.bars],
        "checkpoints": [_checkpoint(each) for each in ready.checkpoints],
        "neck": figure_fields(ready.setting.figures),
        "p_bearing": {side: finite(ready.p_bearing.get(side)) for side in SIDES} if ready.p_bearing else None,
        "movements": {
            name: _movement(moved, getattr(instrument.movement_limits, name))
            for name, moved in ready.foresight.movements.items()
        },
        "cannot_tell_apart": [untold_words(untold) for untold in ready.foresight.untold],
    }


def _checkpoint(row: CheckpointReady) -> Document:
    point = row.checkpoint
    return {
        "id": point.id,
        "unit": point.quantity.base_unit,
        "value": None if row.mean is None else finite(row.mean.value),
        "u": None if row.mean is None else finite(row.mean.u),
        "tolerance": None
        if point.tolerance is None
        else {"low": finite(point.tolerance.low), "high": finite(point.tolerance.high)},
        "out_by": finite(row.out_by),
        "p_conform": finite(row.p_conform),
        "smallest_provable": finite(row.smallest_provable),
        "limit": finite(point.limit),
        "must_prove": point.must_prove,
    }


def _movement(moved: Moved | None, limit: float | None) -> Document:
    return {
        "smallest_provable": None if moved is None else finite(moved.smallest_provable),
        "limit": finite(limit),
        "unit": None if moved is None else moved.unit,
    }
