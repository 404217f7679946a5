"""From results to what the pictures draw: how the neck stands, after a cut, before and after the glue.

Here: poses and wood from the figures of the analysis. Not here: drawing them (`neck_views`).
"""

from __future__ import annotations

from collections.abc import Mapping

from gaugelog.analysis.neck_cut import CutAdvice
from gaugelog.analysis.neck_setting import NeckSetting
from gaugelog.analysis.student import t_quantile
from gaugelog.model.estimate import Estimate
from gaugelog.show.neck_views import Pose, WoodOff


def pose_of(label: str, figures: Mapping[str, Estimate], at_joint_mm: float | None = None) -> Pose | None:
    """Return a neck for drawing, None where its angle or height isn't told.

    Args:
        label: what it is called in the picture.
        figures: by the names of `neck_figures.FIGURES`.
        at_joint_mm: where the fretboard's centreline crosses the joint line, plus toward the treble side,
            None where that isn't told: it is then drawn through the middle of the joint line.
    """
    angle, height = figures.get("neck_angle"), figures.get("plane_height")
    if angle is None or height is None:
        return None
    bearings = [figures.get(f"required_bearing.{side}") for side in ("bass", "treble")]
    bass, treble = bearings
    planes = [figures.get(f"plane_at_saddle.{side}") for side in ("bass", "treble")]
    offset = figures.get("centreline_offset")
    return Pose(
        label=label,
        angle_deg=angle.value,
        height_mm=height.value,
        band_mm=_expanded(max((each for each in planes if each is not None), key=lambda each: each.u, default=None)),
        bearing_mm=None if bass is None or treble is None else (bass.value, treble.value),
        offset_mm=None if offset is None else offset.value,
        offset_at_joint_mm=at_joint_mm or 0.0,
        offset_band_mm=_expanded(offset),
    )


def _expanded(estimate: Estimate | None) -> float | None:
    """Return half the width of the interval that covers it with 95 %."""
    return None if estimate is None else float(t_quantile(0.975, estimate.dof)) * estimate.u


def poses_of(setting: NeckSetting, cut: CutAdvice | None) -> tuple[Pose, ...]:
    """Return the neck as it stands, and after the cut where one is advised."""
    at_joint = None if {"offset", "heading"} & set(setting.untold) else setting.unknowns["offset"]
    now = pose_of("as read" if setting.stage else "what if", setting.figures, at_joint)
    if now is None:
        return ()
    if cut is None or not cut.needed or cut.aim is None:
        return (now,)
    aside = cut.cheeks_rounded.aside(cut.pocket, 0.0)
    after = pose_of("after the cut", cut.figures, None if at_joint is None else at_joint + aside)
    return (now,) if after is None else (now, after)


def wood_of(cut: CutAdvice | None) -> WoodOff | None:
    """Return the wood to take off for drawing, None where there is none."""
    if cut is None or not cut.needed or cut.aim is None:
        return None
    cheeks, corners = cut.cheeks_rounded, cut.rounded
    bass = max(cheeks.bass_body_edge, cheeks.bass_tail)
    treble = max(cheeks.treble_body_edge, cheeks.treble_tail)
    side = "" if cheeks.nothing else "bass" if bass >= treble else "treble"
    edge, tail = (
        (cheeks.bass_body_edge, cheeks.bass_tail) if side == "bass" else (cheeks.treble_body_edge, cheeks.treble_tail)
    )
    return WoodOff(*corners.all(), cheek=side, cheek_body_edge=edge, cheek_tail=tail)
