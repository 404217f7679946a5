"""From results to the necks that are drawn: as read, after a cut, before and after the glue.

The geometry of the moved neck is worked out by setting the neck anew at its moved place, not by the movement. All
invented.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from scipy import stats
from typed_neck import PLAN, STAGES, stage_of, without_keys

from gaugelog.analysis.cut import Cheeks, Corners
from gaugelog.analysis.neck_cut import CutAdvice
from gaugelog.analysis.neck_setting import NeckSetting, neck_setting
from gaugelog.analysis.results import Comparison, Consequence, Moved, NeckMovement
from gaugelog.instruments.written_steps import written_steps
from gaugelog.model.estimate import Estimate
from gaugelog.show.poses import moved_poses, pose_of, poses_of, wood_of

WELL = STAGES["well"]
NOTHING_MOVED = dict.fromkeys(("neck_angle", "yaw", "roll", "sink", "sideways", "slide"))


def a_cut(name: str) -> CutAdvice:
    cut = STAGES[name].cut
    assert cut is not None
    return cut


def moved_to(setting: NeckSetting, turn_deg: float, sink_mm: float, aside_mm: float = 0.0) -> NeckSetting:
    """The same neck turned up and sunk, set anew there."""
    slope = math.tan(math.radians(setting.figures["neck_angle"].value + turn_deg))
    assumed = {
        "slope": slope,
        "tilt": setting.unknowns["tilt"],
        "height": setting.unknowns["height"] - sink_mm,
        "offset": setting.unknowns["offset"] + aside_mm,
        "heading": setting.unknowns["heading"],
    }
    return neck_setting(PLAN, {}, written_steps(PLAN.text), assumed=assumed)


def comparison_of(setting: NeckSetting, turn_deg: float, sink_mm: float, aside_mm: float | None) -> Comparison:
    """What a comparison says of that movement; the centreline only where `aside_mm` is given."""
    there = moved_to(setting, turn_deg, sink_mm, aside_mm or 0.0)

    def said(name: str, figure: str, side: str) -> Consequence:
        before, after = setting.figures[figure].value, there.figures[figure].value
        return Consequence(name, side, "mm", before, after, after - before, 0.02, 12.0, 0.06)

    consequences = [said("required_bearing", f"required_bearing.{side}", side) for side in ("bass", "treble")]
    if aside_mm is not None:
        consequences.append(said("centreline_offset", "centreline_offset", ""))
    components = NOTHING_MOVED | {"neck_angle": Moved(turn_deg, 0.01, 12.0, "deg", 0.2, 0.1)}
    movement = NeckMovement(components, (), 0.0, 0.0, None, (), False, tuple(consequences))
    return Comparison("before", "after", (), movement)


# --- one neck


def test_a_pose_is_the_figures_and_its_band_their_95_percent() -> None:
    figures = {
        "neck_angle": Estimate(2.8, 0.01, "deg", 9.0),
        "plane_height": Estimate(6.0, 0.03, "mm"),
        "plane_at_saddle.bass": Estimate(19.4, 0.04, "mm", 40.0),
        "plane_at_saddle.treble": Estimate(19.5, 0.05, "mm", 8.0),
        "required_bearing.bass": Estimate(22.0, 0.06, "mm"),
        "required_bearing.treble": Estimate(21.2, 0.06, "mm"),
        "centreline_offset": Estimate(-0.3, 0.1, "mm", 5.0),
    }
    pose = pose_of("as read", figures, 0.15)
    assert pose is not None
    assert (pose.label, pose.angle_deg, pose.height_mm) == ("as read", 2.8, 6.0)
    assert pose.bearing_mm == (22.0, 21.2)
    assert (pose.offset_mm, pose.offset_at_joint_mm) == (-0.3, 0.15)
    assert pose.band_mm == pytest.approx(stats.t.ppf(0.975, 8.0) * 0.05), "of the side that is less sure"
    assert pose.offset_band_mm == pytest.approx(stats.t.ppf(0.975, 5.0) * 0.1)


def test_what_is_not_told_is_not_drawn() -> None:
    figures = {"neck_angle": Estimate(2.8, 0.01, "deg"), "plane_height": Estimate(6.0, 0.03, "mm")}
    pose = pose_of("as read", figures)
    assert pose is not None
    assert (pose.band_mm, pose.bearing_mm, pose.offset_mm, pose.offset_band_mm) == (None, None, None, None)
    assert pose.offset_at_joint_mm == 0.0
    for name in figures:
        assert pose_of("as read", {name: figures[name]}) is None
    assert poses_of(STAGES["hardly read"].setting, None) == ()


def test_a_neck_as_read_and_a_what_if_are_called_so() -> None:
    assert [each.label for each in poses_of(WELL.setting, None)] == ["as read"]
    assert [each.label for each in poses_of(moved_to(WELL.setting, 0.1, 0.0), None)] == ["what if"]


def test_a_centreline_that_nobody_followed_runs_through_the_middle_of_the_joint() -> None:
    setting = stage_of(without=("centreline-bridge",)).setting
    assert "offset" in setting.untold
    [pose] = poses_of(setting, None)
    assert pose.offset_at_joint_mm == 0.0
    assert pose.offset_mm is None


# --- after a cut


def test_after_a_cut_the_neck_stands_as_the_advice_says() -> None:
    stage = STAGES["too steep"]
    now, after = poses_of(stage.setting, stage.cut)
    figures = a_cut("too steep").figures
    assert after.label == "after the cut"
    assert after.angle_deg == figures["neck_angle"].value
    assert after.angle_deg < now.angle_deg - 1
    assert after.bearing_mm == (figures["required_bearing.bass"].value, figures["required_bearing.treble"].value)


@pytest.mark.parametrize("name", ["well", "contradicting"])
def test_where_nothing_comes_off_there_is_one_neck_and_no_wood(name: str) -> None:
    stage = STAGES[name]
    assert len(poses_of(stage.setting, stage.cut)) == 1
    assert wood_of(stage.cut) is None
    assert wood_of(None) is None


def test_where_nothing_helps_there_is_one_neck_and_no_wood() -> None:
    hopeless = replace(a_cut("too steep"), aim=None)
    assert len(poses_of(STAGES["too steep"].setting, hopeless)) == 1
    assert wood_of(hopeless) is None


def test_wood_off_the_floor_is_the_rounded_depths() -> None:
    wood = wood_of(replace(a_cut("too steep"), rounded=Corners(0.1, 0.4, -0.2, 0.3)))
    assert wood is not None
    corners = (wood.bass_body_edge, wood.bass_tail, wood.treble_body_edge, wood.treble_tail)
    assert corners == (0.1, 0.4, -0.2, 0.3)
    assert wood.cheek == ""


def test_wood_off_a_cheek_has_its_side_and_both_ends() -> None:
    treble = wood_of(replace(a_cut("aside"), cheeks_rounded=Cheeks(0.0, 0.0, 0.2, 0.4)))
    bass = wood_of(replace(a_cut("aside"), cheeks_rounded=Cheeks(0.3, 0.1, 0.0, 0.0)))
    assert treble is not None
    assert bass is not None
    assert (treble.cheek, treble.cheek_body_edge, treble.cheek_tail) == ("treble", 0.2, 0.4)
    assert (bass.cheek, bass.cheek_body_edge, bass.cheek_tail) == ("bass", 0.3, 0.1)


def test_a_cheek_lets_the_neck_aside_at_the_joint_too() -> None:
    """Wood off the treble cheek's tail end alone lets the heel turn: the joint line is the pocket's body-edge end."""
    setting = replace(STAGES["aside"].setting, untold=())
    now, after = poses_of(setting, replace(a_cut("aside"), cheeks_rounded=Cheeks(0.0, 0.0, 0.3, 0.3)))
    assert now.offset_at_joint_mm == setting.unknowns["offset"]
    assert abs(after.offset_at_joint_mm - now.offset_at_joint_mm) == pytest.approx(0.3)
    turned = poses_of(setting, replace(a_cut("aside"), cheeks_rounded=Cheeks(0.0, 0.0, 0.0, 0.4)))[1]
    assert turned.offset_at_joint_mm == pytest.approx(now.offset_at_joint_mm)


# --- before and after the glue


@pytest.mark.parametrize(("turn_deg", "sink_mm"), [(0.0, 0.0), (-0.31, 0.0), (0.0, 0.42), (0.25, -0.2), (-0.4, 0.5)])
def test_the_moved_neck_stands_where_it_stands_when_set_anew(turn_deg: float, sink_mm: float) -> None:
    comparison = comparison_of(WELL.setting, turn_deg, sink_mm, 0.4)
    there = moved_to(WELL.setting, turn_deg, sink_mm, 0.4)
    before, after = moved_poses(WELL.setting, comparison)
    assert (before.label, after.label) == ("before", "after")
    assert before.angle_deg == WELL.setting.figures["neck_angle"].value
    assert after.angle_deg == pytest.approx(there.figures["neck_angle"].value)
    assert after.height_mm == pytest.approx(there.figures["plane_height"].value, abs=0.02), "linear in the turn"
    assert after.bearing_mm is not None
    assert after.bearing_mm == pytest.approx(
        [there.figures[f"required_bearing.{side}"].value for side in ("bass", "treble")]
    )
    assert after.offset_mm == pytest.approx(there.figures["centreline_offset"].value)


def test_the_bands_of_the_moved_neck_are_those_after() -> None:
    _, after = moved_poses(WELL.setting, comparison_of(WELL.setting, 0.1, 0.0, 0.2))
    u_after = math.hypot(0.06, 0.02)
    assert after.offset_band_mm == pytest.approx(stats.t.ppf(0.975, 12.0) * u_after)
    assert after.band_mm == pytest.approx(stats.t.ppf(0.975, 12.0) * u_after)


def test_a_centreline_whose_movement_is_not_told_stays_where_it_was() -> None:
    before, after = moved_poses(WELL.setting, comparison_of(WELL.setting, 0.1, 0.0, None))
    assert (after.offset_mm, after.offset_band_mm) == (before.offset_mm, before.offset_band_mm)


def test_without_a_movement_there_is_only_the_neck_as_it_stood() -> None:
    [alone] = moved_poses(WELL.setting, Comparison("before", "after", ()))
    assert alone.label == "as read"
    comparison = comparison_of(WELL.setting, 0.1, 0.0, 0.0)
    assert comparison.movement is not None
    untold = replace(comparison, movement=replace(comparison.movement, components=NOTHING_MOVED))
    assert [each.label for each in moved_poses(WELL.setting, untold)] == ["before"]
    no_bearing = replace(comparison, movement=replace(comparison.movement, consequences=()))
    assert [each.label for each in moved_poses(WELL.setting, no_bearing)] == ["before"]
    assert moved_poses(STAGES["hardly read"].setting, comparison) == ()
    open_plan = stage_of(plan=without_keys(PLAN, neck=["scale_length"])).setting
    assert [each.label for each in moved_poses(open_plan, comparison)] == ["before"]
