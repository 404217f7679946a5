"""An invented neck of which every reading is typed: its plan, its readings, how it stands, what comes off, the gate."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from rich.console import Console, RenderableType

from gaugelog.analysis.neck_cut import CutAdvice, cut_advice
from gaugelog.analysis.neck_setting import NeckSetting, neck_setting
from gaugelog.analysis.readiness import Readiness, readiness
from gaugelog.analysis.stage_means import StageMean, stage_means
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.typed_placement import typed_placement
from gaugelog.instruments.written_steps import written_steps
from gaugelog.model.instrument import Instrument
from gaugelog.model.placement import KeptPlacement, Settled, Skip, Snapshot

WIDTHS = (60, 80, 100)
PLAN = read_instrument(new_instrument("invented baritone", gauges="none"), "invented.toml")
IN_INCHES = read_instrument(new_instrument("invented baritone", gauges="none", units="in"), "invented.toml")
FULL_PLAN = read_instrument(new_instrument("invented baritone", gauges="none", full=True), "invented.toml")

Texts = Mapping[str, Sequence[str]]
WELL: Texts = {
    "pocket-wall-squareness": ("90.1", "90.0", "90.1"),
    "neck-angle": ("2.8", "2.8", "2.9"),
    "clearance-bass": ("0.5..0.55", "0.5..0.55", "0.55..0.6"),
    "clearance-treble": ("0.5..0.55", "0.5..0.55", "0.5..0.55"),
    "centreline-bridge": ("0.0", "0.1", "0.0"),
    "end-rise": ("4.2", "4.2", "4.3"),
}
"""A neck that sits within the plan."""
TOO_STEEP: Texts = {
    "neck-angle": ("4.2", "4.2", "4.2"),
    "clearance-bass": ("7.2", "7.2", "7.2"),
    "clearance-treble": ("7.2", "7.2", "7.2"),
    "end-rise": ("6.3", "6.3", "6.3"),
}
TOO_FLAT: Texts = {
    "neck-angle": ("1.0", "1.0", "1.0"),
    "clearance-bass": ("-8.1", "-8.1", "-8.1"),
    "clearance-treble": ("-8.1", "-8.1", "-8.1"),
    "end-rise": ("1.5", "1.5", "1.5"),
}
ROLLED: Texts = {
    "neck-angle": ("3.3", "3.3", "3.3"),
    "clearance-bass": ("3.6", "3.6", "3.6"),
    "clearance-treble": ("2.0", "2.0", "2.0"),
    "end-rise": ("5.0", "5.0", "5.0"),
}
ASIDE: Texts = {"centreline-bridge": ("-1.4", "-1.5", "-1.4")}
CONTRADICTING: Texts = {"neck-angle": ("4.5", "4.5", "4.6")}
INCHES: Texts = {
    "neck-angle": ("3.2", "3.3", "3.2"),
    "clearance-bass": ("0.092", "3/32", "0.094"),
    "clearance-treble": ("0.080", "0.080", "0.082"),
    "centreline-bridge": ("0.040", "0.045", "0.040"),
    "end-rise": ("0.190", "0.190", "0.195"),
}


@dataclass(frozen=True)
class Stage:
    """One stage of the invented work, with all that is worked out of it."""

    plan: Instrument
    snapshot: Snapshot
    means: Mapping[str, StageMean]
    setting: NeckSetting
    cut: CutAdvice | None
    ready: Readiness


def stage_of(
    texts: Texts | None = None,
    plan: Instrument = PLAN,
    *,
    without: Sequence[str] = (),
    skips: Mapping[str, str] | None = None,
    step_mm: float = 0.1,
) -> Stage:
    """The stage before the glue: a neck that sits well, with these readings in the place of its own."""
    kept: list[KeptPlacement] = []
    for name, values in (WELL | (texts or {})).items():
        if name in without or name in (skips or {}):
            continue
        point = plan.checkpoint(name)
        for text in values:
            placement = typed_placement(point, text, len(kept), Settled.TYPED, point.step or 0.1)
            kept.append(KeptPlacement(len(kept) + 1, 1, "before", len(kept), placement))
    skipped = tuple(Skip(name, reason) for name, reason in (skips or {}).items())
    snapshot = Snapshot(1, "before", 1, 0, 1, tuple(kept), skipped)
    means = stage_means(plan, snapshot)
    setting = neck_setting(plan, means, written_steps(plan.text), stage="before")
    ready = readiness(plan, snapshot, means, setting)
    return Stage(plan, snapshot, means, setting, cut_advice(plan, setting, means, step_mm), ready)


def without_keys(plan: Instrument, **keys: Sequence[str]) -> Instrument:
    """The plan with keys left open: bridge=["spacer"]."""
    for table, names in keys.items():
        plan = replace(plan, **{table: replace(getattr(plan, table), **dict.fromkeys(names))})
    return plan


STAGES = {
    "well": stage_of(),
    "too steep": stage_of(TOO_STEEP),
    "too flat": stage_of(TOO_FLAT),
    "rolled": stage_of(ROLLED),
    "aside": stage_of(ASIDE),
    "contradicting": stage_of(CONTRADICTING),
    "left-handed": stage_of(ASIDE, replace(PLAN, handedness="left")),
    "keys open": stage_of(
        plan=without_keys(PLAN, bridge=["bearing_low", "string_spread"], neck=["nut_height", "plane_height"])
    ),
    "hardly read": stage_of(without=("neck-angle", "clearance-bass", "clearance-treble", "end-rise")),
    "inches": stage_of(INCHES, IN_INCHES, step_mm=0.127),
}
"""The neck in every state that its views have to tell."""


def printed(view: RenderableType, width: int) -> str:
    """What a view prints on a terminal so wide."""
    screen = Console(file=io.StringIO(), width=width, highlight=False, markup=False, emoji=False)
    screen.print(view)
    return screen.file.getvalue()  # type: ignore[attr-defined]


def spaced(words: str) -> str:
    """Words with plain spaces, for comparing."""
    return re.sub(r"\s+", " ", words)


def broken_words(words: str, page: str, width: int) -> list[str]:
    """Those of some words, parted by plain spaces alone, that would fit a line and stand on none as a whole."""
    return [word for word in words.split(" ") if word and len(word) < width / 2 and word not in page]
