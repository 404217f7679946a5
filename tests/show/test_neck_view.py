"""How a neck is told in a terminal: what each sentence holds, and that every view fits the width there is.

The necks are invented. A length in 1/64 in is checked by arithmetic on fractions; the budget against the law of
propagation of uncertainty (JCGM 100:2008, 5.1.2, equation 10), by the numbers as printed.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from fractions import Fraction

import pytest
from rich.cells import cell_len
from typed_neck import (
    FULL_PLAN,
    IN_INCHES,
    INCHES,
    PLAN,
    STAGES,
    WIDTHS,
    Stage,
    broken_words,
    printed,
    spaced,
    stage_of,
    without_keys,
)

from gaugelog.analysis.neck_setting import Origin, neck_setting
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Instrument
from gaugelog.show.neck_budget_view import input_words
from gaugelog.show.neck_view import figure_rows, figure_text, neck_view
from gaugelog.show.neck_words import (
    FIGURE_WORDS,
    break_sentence,
    cut_sentences,
    left_open_sentences,
    misfit_sentences,
    missing_sentences,
    taken_sentences,
    travel_sentence,
)

MINUS = "\u2212"


def view_of(stage: Stage, width: int, passes: int | None = 7, *, cut: bool = True) -> str:
    view = neck_view(
        stage.setting,
        stage.plan,
        title="invented baritone: the neck by the readings before",
        budget=True,
        cut=stage.cut if cut else None,
        passes=passes,
    )
    return printed(view, width)


# --- every view at every width


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", STAGES)
def test_no_line_is_wider_than_the_terminal(name: str, width: int) -> None:
    lines = view_of(STAGES[name], width).splitlines()
    assert len(lines) > 8
    assert max(map(cell_len, lines)) <= width


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", STAGES)
def test_no_word_is_broken_that_fits(name: str, width: int) -> None:
    stage = STAGES[name]
    page = view_of(stage, width)
    said = [*missing_sentences(stage.setting), *left_open_sentences(stage.setting, stage.plan)]
    said += taken_sentences(stage.setting, stage.plan.units)
    said += [*misfit_sentences(stage.setting), *(each.name for each in stage.setting.inputs if each.worth_mm)]
    if stage.cut is not None:
        said += [words for words, _ in cut_sentences(stage.cut, stage.plan, 7)]
    said += [words for row in figure_rows(_singles(stage), stage.plan.units) for words in row]
    assert sum(len(words.split()) for words in said) > 20
    assert [words for line in said for words in broken_words(line, page, width)] == []


def _singles(stage: Stage) -> dict[str, Estimate]:
    return {name: each for name, each in stage.setting.figures.items() if "." not in name or "angle_window" in name}


def test_a_number_stays_with_its_unit() -> None:
    for width in range(60, 100):
        for line in view_of(STAGES["too steep"], width).splitlines():
            assert not re.match(r"\s*(mm|in|%)\b(?! the)", line), (width, line)


# --- figures


def test_a_figure_has_its_standard_uncertainty_with_two_digits() -> None:
    assert figure_text("neck_angle", Estimate(2.8314, 0.0123, "deg"), "mm") == "2.831° ± 0.012°"
    assert spaced(figure_text("plane_height", Estimate(6.0012, 0.0289, "mm"), "mm")) == "6.001 ± 0.029 mm"
    assert spaced(figure_text("roll", Estimate(0.054, 0.022, "deg"), "mm", signed=True)) == "+0.054° ± 0.022°"
    assert figure_text("roll", None, "mm") == "–"


def test_what_is_exact_has_no_uncertainty_beside_it_and_keeps_its_sign() -> None:
    assert figure_text("neck_angle", Estimate(3.3, 0.0, "deg"), "mm") == "3.3°"
    assert figure_text("roll", Estimate(0.5, 0.0, "deg"), "mm", signed=True) == "+0.5°"
    assert figure_text("roll", Estimate(-0.5, 0.0, "deg"), "mm", signed=True) == f"{MINUS}0.5°"
    assert figure_text("roll", Estimate(0.0, 0.0, "deg"), "mm", signed=True) == "0°"


def test_the_worth_of_a_degree_is_said_in_the_units_of_the_file() -> None:
    worth = Estimate(4.8046, 0.01, "mm/deg")
    assert figure_text("mm_per_degree", worth, "mm") == "4.80 mm a degree"
    assert figure_text("mm_per_degree", worth, "in") == "0.189 in a degree"


def test_every_figure_that_is_told_has_a_row_with_its_name() -> None:
    figures = STAGES["well"].setting.figures
    rows = {words: (shown, remark) for words, shown, remark in figure_rows(figures, "mm")}
    for name in figures:
        base, _, side = name.partition(".")
        if base in ("travel", "angle_window"):
            continue
        assert (f"{FIGURE_WORDS[base]}, {side}" if side else FIGURE_WORDS[base]) in rows
    low, high = (figures[f"angle_window.{end}"].value for end in ("low", "high"))
    told = re.fullmatch(r"works from ([\d.]+)° to ([\d.]+)°", rows["neck angle"][1])
    assert told is not None
    assert [float(each) for each in told.groups()] == pytest.approx([low, high], abs=5e-4)


def test_which_way_is_said_only_where_it_is_known() -> None:
    rows = {words: remark for words, _, remark in figure_rows(STAGES["aside"].setting.figures, "mm")}
    assert rows["centreline at the bridge"] == "to bass"
    rows = {words: remark for words, _, remark in figure_rows(STAGES["rolled"].setting.figures, "mm")}
    assert rows["roll"] == "bass edge higher"
    assert rows["centreline at the bridge"] == "", "0.03 mm give or take 0.04 is neither side"


def test_an_angle_that_suits_no_bridge_is_said_to() -> None:
    figures = dict(STAGES["well"].setting.figures)
    figures["angle_window.low"], figures["angle_window.high"] = Estimate(3.1, 0.1, "deg"), Estimate(2.9, 0.1, "deg")
    remarks = {words: remark for words, _, remark in figure_rows(figures, "mm")}
    assert remarks["neck angle"] == "no neck angle works on both sides"


def test_lengths_in_inches_have_the_nearest_64th_beside_them() -> None:
    figures = STAGES["inches"].setting.figures
    told = {words: (shown, remark) for words, shown, remark in figure_rows(figures, "in")}
    for name in ("required_bearing.bass", "required_bearing.treble", "plane_height", "string_margin.treble"):
        base, _, side = name.partition(".")
        shown, remark = told[f"{FIGURE_WORDS[base]}, {side}" if side else FIGURE_WORDS[base]]
        inches = figures[name].value / 25.4
        assert float(shown.split(" ±")[0]) == pytest.approx(inches, abs=1e-4)
        fraction = re.search(r"(?:(\d+) )?(\d+)/(\d+)\sin", remark)
        assert fraction is not None, name
        whole, over, under = (int(part or 0) for part in fraction.groups())
        assert whole + Fraction(over, under) == Fraction(round(inches * 64), 64)
        assert ("≈" in remark) == (abs(round(inches * 64) / 64 - inches) > 5e-5)
    assert all("in" not in remark.split() for _, _, remark in figure_rows(figures, "mm"))


def test_next_to_nothing_has_no_fraction() -> None:
    nothing = {"centreline_offset": Estimate(0.1, 0.3, "mm")}
    assert [remark for _, _, remark in figure_rows(nothing, "in")] == [""]
    assert "0/" not in view_of(STAGES["inches"], 80)


# --- the bridge's travel


def _line(page: str) -> str:
    return next(line for line in page.splitlines() if "──" in line and line[0].isdigit())


@pytest.mark.parametrize("width", WIDTHS)
def test_the_line_shows_where_the_sides_bear_true_to_the_travel(width: int) -> None:
    stage = STAGES["well"]
    line = _line(view_of(stage, width))
    drawn = spaced(line).split(" ")[2]
    for side in ("bass", "treble"):
        share = (stage.setting.figures[f"required_bearing.{side}"].value - 15.4) / (25.2 - 15.4)
        assert drawn.index(side[0].upper()) == pytest.approx(share * (len(drawn) - 1), abs=0.51)
    assert drawn.count("░") / len(drawn) == pytest.approx(2 * 1.0 / (25.2 - 15.4), abs=0.05)
    assert line.startswith("15.4")
    assert line.endswith("25.2\N{NO-BREAK SPACE}mm")


def test_two_sides_beyond_the_same_end_share_a_mark() -> None:
    page = view_of(STAGES["too steep"], 80)
    assert _line(page).count("◆") == 1
    assert "◆: where both sides must bear" in page
    assert "B and T" not in page


def test_a_builder_without_a_reserve_hears_of_none() -> None:
    stage = stage_of(plan=replace(PLAN, bridge=replace(PLAN.bridge, travel_reserve=None)))
    page = view_of(stage, 80)
    assert "reserve" not in page
    assert travel_sentence(stage.setting, stage.plan) == ("The bridge can hold the strings there.", False)


def test_the_travel_is_judged_by_the_smaller_margin() -> None:
    figures = STAGES["well"].setting.figures

    def judged(low_mm: float, high_mm: float, u_mm: float = 0.01, reserve_mm: float = 1.0) -> tuple[str, bool]:
        margins = {f"travel.margin_{end}": Estimate(mm, u_mm, "mm") for end, mm in (("low", low_mm), ("high", high_mm))}
        setting = replace(STAGES["well"].setting, figures={**figures, **margins})
        plan = replace(PLAN, bridge=replace(PLAN.bridge, travel_reserve=reserve_mm))
        found = travel_sentence(setting, plan)
        assert found is not None
        return spaced(found[0]), found[1]

    assert judged(4.0, 3.0) == (
        "The bridge can hold the strings there, with the reserve of 1 mm kept at both ends.",
        False,
    )
    assert judged(8.0, 0.6) == (
        "The strings would have to bear too high for the bridge: 0.4 mm inside its reserve.",
        True,
    )
    assert judged(-2.5, 9.0) == (
        "The strings would have to bear too low for the bridge: 2.5 mm outside its travel.",
        True,
    )
    # 1.645 u is the one-sided 95 % of a normal distribution (any table of it)
    assert judged(8.0, 1.0 + 1.66 * 0.1, u_mm=0.1)[1] is False
    words, warning = judged(8.0, 1.0 + 1.63 * 0.1, u_mm=0.1)
    assert warning
    assert words.endswith("but only just: with less than 95 %.")


def test_without_travel_there_is_no_line_and_no_judgement() -> None:
    stage = STAGES["keys open"]
    assert travel_sentence(stage.setting, stage.plan) is None
    assert "bridge travel," not in view_of(stage, 80)


def test_outside_its_travel_the_view_says_where_to_ask_unless_it_was_asked() -> None:
    stage = STAGES["too steep"]
    assert "`gaugelog neck --cut` says where wood comes off" in spaced(view_of(stage, 80, cut=False))
    assert "neck --cut" not in view_of(stage, 80)


# --- what is missing, taken as so, or contradicts


def test_what_can_not_be_told_names_the_keys_of_the_file() -> None:
    plan = without_keys(PLAN, bridge=["bearing_high"], neck=["nut_height", "relief"])
    said = list(missing_sentences(stage_of(plan=plan).setting))
    assert "Not told: place in the bridge's travel. The instrument file leaves open bridge.bearing_high." in said
    no_scale = without_keys(PLAN, neck=["scale_length", "joint_fret"])
    assert (
        "Not told: where the strings must bear. The instrument file leaves open neck.scale_length and neck.joint_fret."
    ) in list(missing_sentences(stage_of(plan=no_scale).setting))


def test_what_counts_as_nothing_because_it_is_left_open_is_named() -> None:
    plan = without_keys(PLAN, bridge=["spacer"], neck=["nut_height", "relief"])
    [words] = left_open_sentences(stage_of(plan=plan).setting, plan)
    assert words == (
        "Left open in the file, neck.nut_height, neck.relief and bridge.spacer count as nothing: write what you know."
    )
    assert words in spaced(view_of(stage_of(plan=plan), 80))
    assert list(left_open_sentences(STAGES["well"].setting, PLAN)) == []
    flat = without_keys(PLAN, neck=["fretboard_radius"])
    [words] = left_open_sentences(stage_of(plan=flat).setting, flat)
    assert "neck.fretboard_radius counts as nothing, which is a flat fretboard" in words


def test_what_refines_nothing_that_was_read_is_not_asked_for() -> None:
    plan = without_keys(PLAN, bridge=["spacer", "saddle_slot_depth"])
    stage = stage_of(plan=plan, without=("clearance-bass", "clearance-treble"))
    assert list(left_open_sentences(stage.setting, plan)) == []
    relieved = without_keys(FULL_PLAN, neck=["relief"])
    read = stage_of({"neck-relief": ("0.2", "0.2", "0.2")}, relieved)
    assert list(left_open_sentences(read.setting, relieved)) == []


def test_what_can_not_be_told_names_the_reading() -> None:
    setting = stage_of(without=("neck-angle", "clearance-bass", "clearance-treble", "end-rise", "centreline-bridge"))
    said = list(missing_sentences(setting.setting))
    assert "Not told: neck angle. It takes a neck angle, or clearances and the plane height." in said
    assert "Not told: centreline at the bridge. It takes a centreline offset at the bridge." in said
    assert list(missing_sentences(STAGES["well"].setting)) == []


def test_what_is_taken_as_so_says_how_far_it_may_be_off() -> None:
    said = [
        spaced(words) for words in taken_sentences(stage_of(without=("clearance-bass", "clearance-treble")).setting)
    ]
    assert "Nobody read the roll: taken as none, give or take 0.5°." in said
    assert any(words.startswith("The fretboard's edge is taken to touch") and "0.05 mm" in words for words in said)
    inches = [spaced(words) for words in taken_sentences(STAGES["inches"].setting, "in")]
    assert any("0.0020 in" in words or "0.002 in" in words for words in inches)


def test_a_contradiction_is_said_once_the_worst_first_and_what_to_do() -> None:
    said = list(misfit_sentences(STAGES["contradicting"].setting))
    assert said[0] == ("neck-angle contradicts the others: read it again, or see whether the file's lengths are right.")
    assert said[1:] == [
        "clearance-bass or clearance-treble or neck.plane_height in the file doesn't fit either; that may be all"
        " neck-angle's fault."
    ]
    assert list(misfit_sentences(STAGES["well"].setting)) == []


def test_too_flat_a_break_over_the_saddle_says_what_would_mend_it() -> None:
    words = break_sentence(Estimate(6.637, 0.19, "deg"), 8.0)
    assert words.startswith("The strings bend over the saddle by 6.64°, less than the 8° wanted:")
    assert "lower at the tail" in words
    assert "steeper" in words
    assert words in spaced(view_of(STAGES["too flat"], 80))
    assert "bend over the saddle by" not in view_of(STAGES["well"], 80)


# --- the budget


@pytest.mark.parametrize("width", [60, 100])
def test_together_is_the_root_of_the_sum_of_the_squares_above_it(width: int) -> None:
    page = view_of(STAGES["well"], width)
    table = page[page.index("What the uncertainties") :].splitlines()
    end = next(place for place, line in enumerate(table) if line.startswith("together"))
    for unit, column in (("°", 0), ("mm", 1)):
        number = rf"([\d.]+)(?:\s{unit}|{unit})"
        head = table[:end]
        low, high = _columns(head, "neck angle" if unit == "°" else "bearing")
        shares = [float(each[1]) for line in head if (each := re.search(number, line[low:high]))]
        together = float(re.search(number, table[end][low:high])[1])  # type: ignore[index]
        assert len(shares) > 4, column
        assert math.sqrt(sum(share**2 for share in shares)) == pytest.approx(together, rel=0.05)


def _columns(table: list[str], head: str) -> tuple[int, int]:
    """Where a right-justified column stands: from eleven columns before its head's end to there."""
    line = next(each for each in table if head in each)
    end = line.index(head) + len(head)
    return end - 10, end


def test_an_input_is_called_as_the_builder_knows_it() -> None:
    names = {each.origin: input_words(each) for each in STAGES["keys open"].setting.inputs}
    assert "." not in names[Origin.FILE]
    assert "_" not in names[Origin.FILE]
    assert names[Origin.TAKEN].endswith(", not read")
    assert names[Origin.READ] in STAGES["keys open"].means


def test_what_is_exact_alone_has_no_table_of_nothing() -> None:
    setting = neck_setting(Instrument("invented", ()), {}, {}, assumed={"slope": 0.05, "tilt": 0.0})
    page = spaced(printed(neck_view(setting, PLAN, title="what if", budget=True), 80))
    assert "Everything here is taken as exact" in page
    assert "together" not in page
    assert "Behind each ±" not in page


def test_inputs_left_out_are_counted_in_words() -> None:
    page = spaced(view_of(stage_of(INCHES, IN_INCHES), 80))
    assert re.search(r"Left out: (1 input|\d+ inputs) with less than a thousandth", page)
    assert "1 inputs" not in re.sub(r"\d1 inputs", "", page)
