"""From results to what the pictures draw: how the neck stands, after a cut, before and after the glue.

Here: poses and wood from the figures of the analysis. Not here: drawing them (`neck_views`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from gaugelog.analysis.neck_cut import CutAdvice
from gaugelog.analysis.neck_setting import NeckSetting
from gaugelog.analysis.results import Comparison
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


def moved_poses(setting: NeckSetting, comparison: Comparison) -> tuple[Pose, ...]:
    """Return the neck as it stood at the one stage, and as it stands at the other where its movement is told.

    What the readings can't tell of the movement is drawn as none: the second neck has the change of its angle, of the
    strings' bearing and of the centreline at the bridge.
    """
    standing = poses_of(setting, None)
    movement = comparison.movement
    if not standing or movement is None:
        return standing
    before = replace(standing[0], label=comparison.from_stage)
    changes = {(each.name, each.side): each for each in movement.consequences}
    turned = movement.components["neck_angle"]
    raised = [changes.get(("required_bearing", side)) for side in ("bass", "treble")]
    if turned is None or before.bearing_mm is None or raised[0] is None or raised[1] is None:
        return (before,)
    lever = setting.figures["mm_per_degree"].value
    height = before.height_mm + (raised[0].change + raised[1].change) / 2 - lever * turned.value
    less_sure = max(raised[0], raised[1], key=lambda each: each.u_after)
    aside = changes.get(("centreline_offset", ""))
    after = Pose(
        label=comparison.to_stage,
        angle_deg=before.angle_deg + turned.value,
        height_mm=height,
        band_mm=_expanded(Estimate(0.0, less_sure.u_after, "mm", less_sure.dof)),
        bearing_mm=(raised[0].after, raised[1].after),
        offset_mm=before.offset_mm if aside is None else aside.after,
        offset_at_joint_mm=before.offset_at_joint_mm,
        offset_band_mm=before.offset_band_mm
        if aside is None
        else _expanded(Estimate(0.0, aside.u_after, "mm", aside.dof)),
    )
    return before, after


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
