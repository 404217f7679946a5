"""The gate's reasons, list and cautions: each says which checkpoint, which numbers, and what to do.

The work is invented. That a neck joint stays in clamps for a day even where a label says less is common practice, no
source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from rich.cells import cell_len
from typed_neck import (
    ASIDE,
    CONTRADICTING,
    PLAN,
    STAGES,
    TOO_FLAT,
    TOO_STEEP,
    WIDTHS,
    Stage,
    broken_words,
    printed,
    spaced,
    stage_of,
    without_keys,
)

from gaugelog.analysis.readiness import Ground, Reason
from gaugelog.model.instrument import Glue, Instrument, Tolerance, ToleranceSide
from gaugelog.model.quantities import Quantity
from gaugelog.show.ready_view import ready_view
from gaugelog.show.ready_words import CAUTIONS, glue_up_list, range_words, reason_words, tolerance_words

MINUS = "\u2212"


def said(stage: Stage, ground: Ground, about: str = "") -> str:
    """The one sentence of a ground that a stage really has."""
    found = [each for each in stage.ready.reasons if each.ground is ground and about in ("", each.about)]
    assert len(found) == 1, [each.about for each in stage.ready.reasons if each.ground is ground]
    return spaced(reason_words(found[0], stage.ready, stage.plan))


def with_point(name: str, plan: Instrument = PLAN, **changes: object) -> Instrument:
    points = tuple(replace(each, **changes) if each.id == name else each for each in plan.checkpoints)  # type: ignore[arg-type]
    return replace(plan, checkpoints=points)


# --- one sentence for each ground


def test_every_ground_has_words() -> None:
    """Said of the stage in which every figure and every row is there; each ends as a sentence does."""
    for ground in Ground:
        about = {"BEARING": "bass", "BREAK": "break_angle"}.get(ground.name.split("_")[0], "neck-angle")
        words = reason_words(Reason(ground, about, True, ("no gauge at hand",)), STAGES["well"].ready, PLAN)
        assert words.endswith(".")
        assert len(words) > 40


def test_what_was_not_read_says_what_it_has_to_be_and_how_to_read_it() -> None:
    stage = stage_of(without=("neck-angle",))
    assert said(stage, Ground.UNREAD) == (
        "neck-angle was not read: it has to be 2.5° to 3.1°. Read it with `gaugelog capture before`."
    )


def test_what_was_skipped_says_why_and_the_two_ways_out() -> None:
    words = said(stage_of(skips={"neck-angle": "the straightedge is lent"}), Ground.SKIPPED)
    assert words.startswith("neck-angle was skipped (the straightedge is lent): it has to be 2.5° to 3.1°. Read it, or")
    assert "take its tolerance out" in words


def test_what_is_out_says_by_how_much_and_where_to_ask() -> None:
    stage = stage_of(TOO_STEEP)
    assert said(stage, Ground.OUT, "clearance-bass") == (
        "clearance-bass reads 7.200 mm, 5.7 mm over (0.2 to 1.5 mm): see `gaugelog neck --cut`."
    )
    flat = said(stage_of(TOO_FLAT), Ground.OUT, "neck-angle")
    assert flat == "neck-angle reads 1.000°, 1.5° under (2.5° to 3.1°): see `gaugelog neck --cut`."


def test_what_no_cut_reaches_is_to_be_put_right_by_hand() -> None:
    stage = stage_of({"pocket-wall-squareness": ("91.0", "91.0", "91.0")})
    words = said(stage, Ground.OUT)
    assert words.endswith("0.7° over (89.7° to 90.3°): put that right, and read it again.")
    assert "--cut" not in words


def test_what_is_unsure_says_how_sure_and_what_is_wanted() -> None:
    stage = stage_of({"centreline-bridge": ("0.4", "0.5", "0.4")})
    words = said(stage, Ground.UNSURE)
    row = next(each for each in stage.ready.checkpoints if each.checkpoint.id == "centreline-bridge")
    assert row.p_conform is not None
    assert f"with {100 * row.p_conform:.0f} % only; 95 % is wanted" in words
    assert f"centreline-bridge is in its tolerance ({MINUS}0.5 to 0.5 mm)" in words
    assert "nearer to the middle" in words
    assert "finer gauge" in words


def test_a_bound_asks_for_a_value() -> None:
    stage = stage_of({"clearance-bass": (">0.1", ">0.1", ">0.1")})
    assert said(stage, Ground.BOUND) == (
        "clearance-bass was read as a bound only, which leaves open whether it is 0.2 to 1.5 mm: read a value."
    )


def test_what_can_not_be_proven_says_what_can_and_what_would_help() -> None:
    plan = with_point("neck-angle", limit=0.05)
    words = said(stage_of(plan=plan), Ground.CANNOT_PROVE, "neck-angle")
    assert words.startswith("neck-angle: this snapshot can prove 0.")
    assert "at best, its limit is 0.05°. More placements, a finer gauge or a larger limit would do." in words
    assert "must" not in words
    must = said(stage_of(plan=with_point("neck-angle", limit=0.05, must_prove=True)), Ground.MUST_PROVE, "neck-angle")
    assert must == words.replace("0.05°. More", "0.05°. It must be proven. More")


def test_a_movement_that_can_not_be_proven_is_said_in_its_own_unit() -> None:
    plan = replace(PLAN, movement_limits=replace(PLAN.movement_limits, neck_angle=0.15, sink=0.25))
    stage = stage_of(plan=plan)
    assert "neck angle: this snapshot can prove" in said(stage, Ground.CANNOT_PROVE, "neck_angle")
    assert "its limit is 0.15°." in said(stage, Ground.CANNOT_PROVE, "neck_angle")
    assert "its limit is 0.25 mm." in said(stage, Ground.CANNOT_PROVE, "sink")


def test_where_nothing_can_be_proven_the_reason_is_told() -> None:
    untolerated = with_point("end-rise", tolerance=None)
    unread = said(stage_of(plan=untolerated, without=("end-rise",)), Ground.CANNOT_PROVE, "end-rise")
    assert unread == (
        "end-rise: it was not read, so nothing can be proven of it after the glue. Read it with"
        " `gaugelog capture before`."
    )
    grounds = [each.ground for each in stage_of(without=("end-rise",)).ready.reasons if each.about == "end-rise"]
    assert grounds == [Ground.UNREAD], "what bars already is not said twice"
    reason = Reason(Ground.CANNOT_PROVE, "end-rise", False)
    ready = STAGES["well"].ready
    rows = tuple(
        replace(row, smallest_provable=None) if row.checkpoint.id == "end-rise" else row for row in ready.checkpoints
    )
    words = reason_words(reason, replace(ready, checkpoints=rows), PLAN)
    assert "too few placements" in words
    assert words.endswith("Take more placements.")


def test_a_bearing_out_of_the_travel_says_where_and_what_the_bridge_gives() -> None:
    stage = stage_of(TOO_STEEP)
    height = stage.setting.figures["required_bearing.bass"].value
    words = said(stage, Ground.BEARING_OUT, "bass")
    # 15.4 to 25.2 of the plan, less 1 at both ends
    assert words == (
        f"The bass string would have to bear at {height:.3f} mm; the bridge less its reserve gives 16.4 to 24.2 mm."
        " `gaugelog neck --cut` says where wood comes off."
    )


def test_a_bearing_that_is_unsure_says_how_sure_and_where_to_look() -> None:
    stage = STAGES["inches"]
    p = stage.ready.p_bearing["bass"]
    words = said(stage, Ground.BEARING_UNSURE)
    assert words.startswith(f"The bass string bears within the travel less the reserve with {100 * p:.0f} % only.")
    assert "`gaugelog neck --budget`" in words


def test_a_bearing_that_is_not_known_names_the_keys_or_the_readings() -> None:
    plan = without_keys(PLAN, bridge=["bearing_low", "bearing_high"])
    assert said(stage_of(plan=plan), Ground.BEARING_UNKNOWN) == (
        "Where the strings must bear can't be told: the instrument file leaves open bridge.bearing_low and"
        " bridge.bearing_high. Write them in."
    )
    one = without_keys(PLAN, bridge=["bearing_low"])
    assert said(stage_of(plan=one), Ground.BEARING_UNKNOWN).endswith("bridge.bearing_low. Write it in.")
    hardly = said(STAGES["hardly read"], Ground.BEARING_UNKNOWN)
    assert "it takes the neck angle and the plane height, or readings that tell them" in hardly


def test_a_contradiction_is_to_be_read_again() -> None:
    assert said(stage_of(CONTRADICTING), Ground.MISFIT) == (
        "neck-angle contradicts the other readings: read it again before you trust any of them."
    )
    alike = Reason(Ground.MISFIT, "clearance-bass", False, ("neck.plane_height",))
    assert "(or neck.plane_height in the file, which can't be told from it)" in reason_words(
        alike, STAGES["well"].ready, PLAN
    )


def test_a_string_that_bends_too_little_says_by_how_much() -> None:
    stage = stage_of(TOO_FLAT)
    bend = stage.setting.figures["break_angle"].value
    words = said(stage, Ground.BREAK)
    assert words.startswith(f"The strings bend over the saddle by {bend:.2f}°, less than the 8° wanted:")


# --- ranges


def test_a_tolerance_is_said_as_a_builder_writes_it() -> None:
    def words(low: float | None, high: float | None, quantity: Quantity, units: str = "mm") -> str:
        return spaced(tolerance_words(Tolerance(ToleranceSide.BOTH, low, high), quantity, units))

    assert words(2.5, 3.1, Quantity.ANGLE) == "2.5° to 3.1°"
    assert words(0.2, 1.5, Quantity.LENGTH) == "0.2 to 1.5 mm"
    assert words(None, 0.15, Quantity.LENGTH) == "at most 0.15 mm"
    assert words(2.5, None, Quantity.LENGTH) == "at least 2.5 mm"
    assert tolerance_words(None, Quantity.LENGTH, "mm") == "–"
    assert words(0.145 * 25.4, 0.185 * 25.4, Quantity.LENGTH, "in") == "0.145 to 0.185 in", "as written in the file"


def test_a_range_keeps_the_unit_of_both_ends_where_they_differ() -> None:
    assert (
        range_words("2\N{NO-BREAK SPACE}mm", "3\N{NO-BREAK SPACE}in")
        == "2\N{NO-BREAK SPACE}mm to 3\N{NO-BREAK SPACE}in"
    )


# --- the view


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", STAGES)
def test_no_line_is_wider_than_the_terminal_and_no_word_is_broken(name: str, width: int) -> None:
    stage = STAGES[name]
    page = printed(ready_view(stage.ready, stage.plan), width)
    assert max(map(cell_len, page.splitlines())) <= width
    words = [reason_words(each, stage.ready, stage.plan) for each in stage.ready.reasons]
    words += [*CAUTIONS, *glue_up_list(stage.plan), *(row.checkpoint.id for row in stage.ready.checkpoints)]
    assert len(words) > 12
    assert [broken for line in words for broken in broken_words(line, page, width)] == []


@pytest.mark.parametrize("name", STAGES)
def test_the_answer_stands_alone_on_a_line_with_what_bars_under_it(name: str) -> None:
    stage = STAGES[name]
    lines = [line.rstrip() for line in printed(ready_view(stage.ready, stage.plan), 100).splitlines()]
    answer = "ready" if stage.ready.ready else "not ready"
    assert lines.count("ready") + lines.count("not ready") == 1
    after = lines[lines.index(answer) + 1 :]
    assert sum(line.startswith("✗ ") for line in after) == sum(each.bars for each in stage.ready.reasons)
    assert sum(line.startswith("! ") for line in after) == sum(not each.bars for each in stage.ready.reasons)


def test_further_lines_of_a_reason_stand_under_its_first() -> None:
    page = printed(ready_view(STAGES["too steep"].ready, PLAN), 60).splitlines()
    start = next(place for place, line in enumerate(page) if line.startswith("✗ The bass string"))
    assert page[start + 1].startswith("  ")


@pytest.mark.parametrize("width", WIDTHS)
def test_the_table_has_each_checkpoint_with_its_numbers(width: int) -> None:
    stage = stage_of(ASIDE)
    page = spaced(printed(ready_view(stage.ready, PLAN), width))
    assert "✗ centreline-bridge" in page
    assert "✓ neck-angle" in page
    for number in (f"{MINUS}1.433 mm", "<0.1 %", "0.5 mm", f"{MINUS}0.5 to 0.5 mm"):
        assert number in page
    row = next(each for each in stage.ready.checkpoints if each.checkpoint.id == "centreline-bridge")
    assert row.smallest_provable is not None
    assert f"{row.smallest_provable:.2f} mm" in page


def test_what_has_no_tolerance_has_neither_mark() -> None:
    stage = stage_of(plan=with_point("end-rise", tolerance=None))
    page = spaced(printed(ready_view(stage.ready, stage.plan), 80))
    assert "· end-rise" in page
    assert "no tolerance" in page


def test_a_limit_that_can_not_be_proven_is_marked() -> None:
    page = printed(ready_view(stage_of(plan=with_point("neck-angle", limit=0.05)).ready, PLAN), 80)
    row = next(line for line in page.splitlines() if "neck-angle" in line)
    assert row.rstrip().endswith("° !")


def test_a_bearing_of_which_nothing_is_known_has_no_empty_probability() -> None:
    stage = stage_of(plan=without_keys(PLAN, bridge=["bearing_low"]))
    page = printed(ready_view(stage.ready, stage.plan), 80)
    assert "strings must bear at, bass" in page
    assert "inside with" not in page
    assert "inside with" in printed(ready_view(STAGES["well"].ready, PLAN), 80)


def test_a_snapshot_that_is_not_complete_is_called_so() -> None:
    assert "not complete yet" in spaced(printed(ready_view(STAGES["well"].ready, PLAN, complete=False), 100))
    assert "not complete" not in printed(ready_view(STAGES["well"].ready, PLAN), 100)


# --- the list and the cautions


def test_nothing_about_a_glue_is_assumed() -> None:
    nothing_said = replace(PLAN, glue=Glue())
    words = " ".join(glue_up_list(nothing_said))
    assert "Open time: read it on the glue's label" in words
    assert "Clamp time: read it on the glue's label" in words
    assert not any(figure.isdigit() for figure in words)
    for kind in ("water", "damp", "hide", "epoxy", "PVA", "white glue", "yellow", "warm the"):
        assert kind not in words


def test_times_are_those_that_the_builder_took_from_the_label() -> None:
    plan = replace(PLAN, glue=Glue(label="invented batch 7", open_time_min=4.5, clamp_time_h=0.75))
    words = glue_up_list(plan)
    assert "Open time by the glue's label (invented batch 7): 4.5 min from spreading to the last touch." in words
    clamp = next(each for each in words if each.startswith("Clamp time"))
    assert clamp.startswith("Clamp time by the glue's label (invented batch 7): 0.75 h, undisturbed.")
    assert "a day all the same (common practice, no source)" in clamp
    long = glue_up_list(replace(PLAN, glue=Glue(clamp_time_h=24.0)))
    assert "Clamp time by the glue's label: 24 h, undisturbed." in long


def test_the_list_has_what_an_open_glue_leaves_no_time_for() -> None:
    words = " ".join(glue_up_list(PLAN))
    for thing in ("cleaned", "Cauls and clamps tried dry", "squeeze-out", "`gaugelog clamp`", "`gaugelog capture wet`"):
        assert thing in words


def test_the_cautions_name_what_hurts_and_whose_word_goes_first() -> None:
    words = " ".join(CAUTIONS)
    for danger in ("Solvents", "dust", "Clamps", "blades", "flame", "eye protection", "mask", "gloves", "fresh air"):
        assert danger in words
    for first in ("label", "safety sheet", "manuals", "local rules", "licensed"):
        assert first in words
    page = spaced(printed(ready_view(STAGES["well"].ready, PLAN), 60))
    assert all(spaced(each) in page for each in CAUTIONS)
