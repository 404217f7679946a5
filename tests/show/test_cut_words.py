"""What is said of the wood to take off: how much, where, what it brings, and what stays out.

The necks are invented. A length in 1/64 in is checked by arithmetic on fractions, a taper by its tangent.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from fractions import Fraction

import pytest
from typed_neck import IN_INCHES, PLAN, STAGES, Stage, printed, spaced, stage_of, without_keys

from gaugelog.analysis.cut import Cheeks, Corners
from gaugelog.analysis.neck_cut import Aim, CutAdvice
from gaugelog.analysis.neck_setting import neck_setting
from gaugelog.instruments.written_steps import written_steps
from gaugelog.model.instrument import Instrument
from gaugelog.show.neck_view import neck_view
from gaugelog.show.neck_words import cut_sentences


def view_of(stage: Stage, width: int) -> str:
    return printed(neck_view(stage.setting, stage.plan, title="invented", cut=stage.cut), width)


def said_of_cut(cut: CutAdvice | None, plan: Instrument = PLAN, passes: int | None = None) -> dict[str, bool]:
    assert cut is not None
    return {spaced(words): warning for words, warning in cut_sentences(cut, plan, passes)}


def _a_cut() -> CutAdvice:
    cut = STAGES["too steep"].cut
    assert cut is not None
    return cut


def test_a_neck_that_sits_well_needs_nothing() -> None:
    assert said_of_cut(STAGES["well"].cut) == {
        "Nothing is to be taken off: the neck sits within the plan's tolerances and the bridge's travel.": False
    }


def test_where_the_travel_is_not_known_nothing_is_claimed_of_it() -> None:
    stage = stage_of(plan=without_keys(PLAN, bridge=["bearing_high"]))
    said = said_of_cut(stage.cut)
    assert said["Nothing is to be taken off: the neck sits within the plan's tolerances."] is False
    assert said["Where the strings bear in the bridge's travel isn't known, so nothing here looks at it."] is True


def test_the_floor_s_depths_are_those_of_the_advice() -> None:
    cut = STAGES["too steep"].cut
    assert cut is not None
    said = said_of_cut(cut)
    depth = f"{cut.rounded.tail:.1f}"
    assert f"Pocket floor: take off {depth} mm at the tail end, nothing at the body-edge end." in said
    assert cut.floor is not None
    assert f"Under the pocket {cut.floor:.1f} mm of wood is left." in said
    assert any(words.startswith("That brings every tolerance and the travel") for words in said)


def test_a_roll_asks_for_a_depth_at_each_corner() -> None:
    twisted = replace(_a_cut(), rounded=Corners(0.4, 1.0, 0.0, 0.5))
    assert (
        "Pocket floor: on the bass side take off 0.4 mm at the body-edge end and 1.0 mm at the tail end; on the treble"
        " side 0.5 mm at the tail end, nothing at the body-edge end."
    ) in said_of_cut(twisted)
    one_side = replace(_a_cut(), rounded=Corners(0.0, 0.0, 0.2, 0.2))
    assert (
        "Pocket floor: on the bass side take off nothing; on the treble side 0.2 mm at the body-edge end and 0.2 mm at"
        " the tail end."
    ) in said_of_cut(one_side)


def test_a_shim_says_how_thick_where_and_its_taper() -> None:
    cut = replace(_a_cut(), rounded=Corners(0.4, -2.5, 0.4, -2.5))
    said = said_of_cut(cut)
    # the shim alone: 2.5 mm over the floor's 90 mm, atan(2.5 / 90) = 1.591°
    taper = f"{math.degrees(math.atan(2.5 / 90)):.2f}"
    assert said["Pocket floor: take off 0.4 mm at the body-edge end, nothing at the tail end."] is False
    assert said[
        "Wood would have to be added, by a shim over the whole floor: 2.5 mm at the tail end, nothing at the body-edge"
        f" end, a taper of {taper}°."
    ]
    only_added = said_of_cut(replace(_a_cut(), rounded=Corners(-0.3, 0.0, -0.3, 0.0)))
    assert "No wood comes off the pocket floor." in only_added
    across = said_of_cut(replace(_a_cut(), rounded=Corners(0.4, 1.0, -0.1, 0.5)))
    assert any("on the bass side nothing; on the treble side 0.1 mm at the body-edge end" in words for words in across)


def test_a_cheek_names_its_side_and_what_the_other_wants() -> None:
    cut = STAGES["aside"].cut
    assert cut is not None
    depth = f"{cut.cheeks_rounded.treble_tail:.1f}"
    said = said_of_cut(cut)
    assert (
        f"Pocket cheek on the treble side: take off {depth} mm at its tail end; the bass cheek then wants a shim of the"
        " same taper."
    ) in said
    assert not any("Pocket floor" in words or "Under the pocket" in words for words in said)
    both = replace(cut, cheeks_rounded=Cheeks(bass_body_edge=0.2, bass_tail=0.1))
    assert any(
        "on the bass side: take off 0.2 mm at its body-edge end and 0.1 mm" in words for words in said_of_cut(both)
    )


@pytest.mark.parametrize(("aim", "warns"), [(aim, aim is not Aim.SURE) for aim in Aim])
def test_what_the_cut_brings_is_a_warning_unless_it_is_everything(aim: Aim, warns: bool) -> None:
    assert said_of_cut(replace(_a_cut(), aim=aim))[f"That brings {aim.value}."] is warns


def test_where_neither_wood_nor_shim_does_it_the_builder_hears_where_to_look() -> None:
    [(words, warning)] = said_of_cut(replace(_a_cut(), aim=None)).items()
    assert warning
    for place in ("tolerances", "bridge", "least floor"):
        assert place in words


def test_what_stays_out_is_named_in_words() -> None:
    said = said_of_cut(replace(_a_cut(), unmet=("neck-roll", "bearing bass", "fretboard over the body")))
    [words] = [each for each in said if each.startswith("Still out then")]
    assert words == (
        "Still out then: neck-roll, the bass string's place in the bridge's travel and the fretboard, which would come"
        " down into the body."
    )
    assert said[words] is True


def test_what_the_cut_does_not_rest_on_is_named_whether_it_is_needed_or_not() -> None:
    assert said_of_cut(STAGES["contradicting"].cut)[
        "This doesn't rest on neck-angle: it contradicts the other readings."
    ]
    two = replace(_a_cut(), left_out=("clearance-bass", "neck.plane_height"))
    assert (
        "This doesn't rest on clearance-bass and neck.plane_height in the file: they contradict the other readings."
    ) in said_of_cut(two)


def test_a_plane_that_comes_down_is_a_warning_to_look_at_the_fretboard() -> None:
    said = said_of_cut(replace(_a_cut(), sinks=0.3))
    assert said["The fret plane comes down by 0.3 mm at the joint line: see that the fretboard clears the body."]
    assert not any("comes down" in words for words in said_of_cut(replace(_a_cut(), sinks=0.0)))


@pytest.mark.parametrize(("passes", "words"), [(1, "about 1 pass."), (7, "about 7 passes.")])
def test_passes_are_counted_in_words(passes: int, words: str) -> None:
    assert any(each.endswith(words) for each in said_of_cut(_a_cut(), passes=passes))
    assert not any("passes" in each for each in said_of_cut(_a_cut(), passes=None))


def test_depths_in_inches_have_their_64ths() -> None:
    cut = STAGES["inches"].cut
    assert cut is not None
    inches = cut.rounded.tail / 25.4
    words = next(each for each in said_of_cut(cut, IN_INCHES) if each.startswith("Pocket floor"))
    assert f"{inches:.3f} in (≈{Fraction(round(inches * 64), 64)}) at the tail end" in words


def test_the_unrounded_depths_have_a_tenth_of_a_step_and_no_empty_uncertainty() -> None:
    page = spaced(view_of(STAGES["too steep"], 100))
    told = re.search(r"Unrounded: ([\d.]+) mm at the body-edge end, ([\d.]+) mm at the tail end, uncertain by", page)
    assert told is not None
    assert all(len(each.split(".")[1]) == 2 for each in told.groups())
    assert float(told[2]) == pytest.approx(STAGES["too steep"].cut.exact.tail, abs=0.006)  # type: ignore[union-attr]
    assert "Rounded to steps of 0.1 mm." in page
    exact = neck_setting(
        PLAN, {}, written_steps(PLAN.text), assumed={"slope": math.tan(math.radians(3.3)), "tilt": 0.0}
    )
    cut = replace(_a_cut(), figures=exact.figures)
    assert "uncertain by" not in printed(neck_view(exact, PLAN, title="what if", cut=cut), 100)


def test_working_on_the_pocket_comes_with_its_cautions() -> None:
    page = spaced(view_of(STAGES["too steep"], 80))
    for caution in ("guards on", "hands behind the edge", "dust drawn off", "a mask on"):
        assert caution in page
