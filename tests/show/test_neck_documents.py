"""The JSON of `neck` and `ready` against docs/documents.md: the page names every field, and every field is there.

The necks are invented.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typed_neck import PLAN, STAGES, Stage, stage_of, without_keys

from gaugelog.show.neck_documents import figure_fields, neck_document, ready_document
from gaugelog.show.ready_words import reason_words

PAGE = (Path(__file__).parents[2] / "docs" / "documents.md").read_text(encoding="utf-8")
QUANTITY = {"value", "u", "unit", "dof"}
NO_FIELDS = {
    *("read", "file", "taken as so", "travel.margin_low", "null"),
    *("bearing bass", "bearing treble", "fretboard over the body"),
}
"""What the page writes as code that is no field."""


def section(name: str) -> str:
    return PAGE.split(f"\n## {name}\n")[1].split("\n## ")[0]


def rows(name: str) -> dict[str, str]:
    """Fields of a section's table, each with its meaning."""
    found = {}
    for line in section(name).splitlines():
        cells = re.fullmatch(r"\| (`.*?) \| (.*) \|", line)
        if cells:
            found |= dict.fromkeys(re.findall(r"`([^`]+)`", cells[1]), cells[2])
    return found


def named_in(words: str) -> set[str]:
    return set(re.findall(r"`([^`]+)`", words)) - NO_FIELDS


def neck_of(stage: Stage) -> dict[str, Any]:
    return neck_document(stage.setting, stage.plan, stage.cut, 7, ("neck",))


def every_field(document: Any, but: tuple[str, ...] = ()) -> Iterator[str]:
    """Every name in a document, at any depth, except inside what is keyed by figures or is a quantity."""
    if isinstance(document, list):
        for each in document:
            yield from every_field(each, but)
    elif isinstance(document, dict) and set(document) != QUANTITY:
        for name, value in document.items():
            yield name
            if name not in but:
                yield from every_field(value, but)


def quantities(document: Any) -> Iterator[dict[str, Any]]:
    if isinstance(document, dict) and "value" in document and "unit" in document:
        yield document
    for value in document.values() if isinstance(document, dict) else document if isinstance(document, list) else ():
        yield from quantities(value)


# --- neck


def test_the_page_names_the_fields_of_neck_and_no_others() -> None:
    assert set(rows("neck")) | {"simulated"} == set(neck_of(STAGES["rolled"]))


def test_the_page_names_what_is_in_each_field_of_neck() -> None:
    document = neck_of(STAGES["rolled"])
    for name, meaning in rows("neck").items():
        inside = document[name]
        inner = inside[0] if isinstance(inside, list) and inside else inside
        if name == "cut" or not isinstance(inner, dict) or set(inner) == QUANTITY:
            continue
        assert set(every_field(inside, ("contributions",))) <= named_in(meaning) | QUANTITY, name
        assert named_in(meaning) <= set(every_field(inside, ("contributions",))) | {name}, name


def test_the_page_names_the_fields_of_a_cut_and_no_others() -> None:
    words = section("neck").split("\n`cut`: ")[1]
    stage = STAGES["aside"]
    cut = neck_of(stage)["cut"]
    assert cut["cheek"] is not None, "every part of it is there"
    there = set(every_field(cut, ("outcome",)))
    assert there == named_in(words)


@pytest.mark.parametrize("name", [name for name in STAGES if name != "hardly read"])
def test_a_quantity_is_an_object_of_four(name: str) -> None:
    document = neck_of(STAGES[name])
    budget = document.pop("budget")
    found = list(quantities(document))
    assert len(found) > 3
    for each in found:
        assert set(each) == QUANTITY
        assert each["unit"] in ("deg", "mm", "mm/deg")
        assert isinstance(each["value"], float)
        assert each["u"] >= 0
    assert all(each["unit"] in ("deg", "mm") for each in budget)


@pytest.mark.parametrize("name", STAGES)
def test_it_is_strict_json(name: str) -> None:
    stage = STAGES[name]
    for document in (neck_of(stage), ready_document(stage.ready, stage.plan)):
        assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_figures_are_not_rounded_and_stay_in_base_units() -> None:
    stage = STAGES["inches"]
    document = neck_of(stage)
    assert document["neck_angle"]["value"] == stage.setting.figures["neck_angle"].value
    bearing = stage.setting.figures["required_bearing.bass"]
    assert document["required_bearing"]["bass"] == {
        "value": bearing.value,
        "u": bearing.u,
        "unit": "mm",
        "dof": bearing.dof,
    }
    assert bearing.value > 10, "mm, though the file is in inches"


def test_what_can_not_be_told_is_null() -> None:
    document = neck_of(STAGES["hardly read"])
    assert document["neck_angle"] is None
    assert document["required_bearing"] is None
    assert document["cut"] is None
    assert any("neck angle" in words for words in document["missing"])
    assert figure_fields({}) == dict.fromkeys(figure_fields(STAGES["well"].setting.figures))
    half = {"travel.low": STAGES["well"].setting.figures["travel.low"]}
    assert figure_fields(half)["travel"]["margin_low"] is None
    assert figure_fields(half)["travel"]["low"]["value"] == 15.4


def test_the_stage_is_null_for_a_what_if() -> None:
    what_if = replace(STAGES["well"].setting, stage="")
    assert neck_document(what_if, PLAN, None, None)["stage"] is None
    assert neck_of(STAGES["well"])["stage"] == "before"


def test_contributions_add_up_to_the_figure_s_variance() -> None:
    """u² = Σ (c u)², JCGM 100:2008, equation 10, over the readings as adjusted together, each weighed rightly."""
    document = neck_of(STAGES["well"])
    shares = [each["contributions"].get("required_bearing.bass", 0.0) for each in document["budget"]]
    assert sum(share**2 for share in shares) == pytest.approx(document["required_bearing"]["bass"]["u"] ** 2)


def test_the_cut_says_the_rounded_depths_and_the_exact_ones() -> None:
    stage = STAGES["too flat"]
    assert stage.cut is not None
    cut = neck_of(stage)["cut"]
    for side, edge, tail in (
        ("bass", stage.cut.rounded.bass_body_edge, stage.cut.rounded.bass_tail),
        ("treble", stage.cut.rounded.treble_body_edge, stage.cut.rounded.treble_tail),
    ):
        assert cut[side]["body_edge"]["value"] == edge
        assert cut[side]["tail"]["value"] == tail
    assert cut["exact"]["bass"]["tail"]["value"] == stage.cut.exact.bass_tail
    assert cut["shim"]["value"] == max(-depth for depth in stage.cut.rounded.all())
    assert cut["cheek"] is None
    assert cut["passes"] == 7
    assert cut["step"] == 0.1
    assert cut["outcome"]["neck_angle"]["value"] == stage.cut.figures["neck_angle"].value
    assert neck_of(STAGES["too steep"])["cut"]["shim"] is None
    assert neck_of(STAGES["contradicting"])["cut"]["left_out"] == ["neck-angle"]


def test_a_taper_is_by_how_much_the_floor_falls() -> None:
    stage = STAGES["too steep"]
    assert stage.cut is not None
    cut = neck_of(stage)["cut"]
    turned = stage.setting.figures["neck_angle"].value - stage.cut.figures["neck_angle"].value
    assert cut["taper"]["value"] == pytest.approx(turned, abs=0.005)


def test_keys_left_open_that_count_as_nothing_are_listed() -> None:
    stage = stage_of(plan=without_keys(PLAN, neck=["nut_height"]))
    assert neck_of(stage)["left_open"] == ["neck.nut_height"]
    assert neck_of(STAGES["well"])["left_open"] == []


# --- ready


def test_the_page_names_the_fields_of_ready_and_no_others() -> None:
    document = ready_document(STAGES["well"].ready, PLAN, ("neck",))
    assert set(rows("ready")) | {"simulated"} == set(document)
    assert document["simulated"] == ["neck"]


def test_the_page_names_what_is_in_each_field_of_ready() -> None:
    document = ready_document(STAGES["well"].ready, PLAN)
    meanings = rows("ready")
    assert named_in(meanings["checkpoints"]) == set(document["checkpoints"][0])
    assert named_in(meanings["p_bearing"]) == set(document["p_bearing"])
    movements = document["movements"]
    assert named_in(meanings["movements"]) == set(movements) | set(movements["neck_angle"])
    assert set(document["neck"]) == set(figure_fields({}))


def test_reasons_and_warnings_are_parted_by_what_bars() -> None:
    stage = STAGES["inches"]
    document = ready_document(stage.ready, stage.plan)
    told = [reason_words(each, stage.ready, stage.plan) for each in stage.ready.reasons]
    assert document["reasons"] + document["warnings"] == told
    assert document["ready"] is False
    assert len(document["reasons"]) == sum(each.bars for each in stage.ready.reasons)
    well = ready_document(STAGES["well"].ready, PLAN)
    assert (well["ready"], well["reasons"]) == (True, [])


def test_a_checkpoint_has_its_probability_and_a_null_where_it_was_not_read() -> None:
    stage = stage_of(without=("end-rise",))
    document = ready_document(stage.ready, stage.plan)
    by_id = {each["id"]: each for each in document["checkpoints"]}
    assert list(by_id) == [each.id for each in PLAN.at_stage("before")]
    assert by_id["end-rise"]["p_conform"] is None
    assert by_id["end-rise"]["value"] is None
    assert by_id["end-rise"]["tolerance"] == {"low": pytest.approx(3.7), "high": pytest.approx(4.7)}
    assert by_id["neck-angle"]["p_conform"] == pytest.approx(1.0, abs=1e-3)
    assert by_id["neck-angle"]["unit"] == "deg"
    assert by_id["neck-angle"]["out_by"] == 0.0


def test_what_is_not_known_of_the_bearing_is_null() -> None:
    unknown = stage_of(plan=without_keys(PLAN, bridge=["bearing_low"]))
    assert ready_document(unknown.ready, unknown.plan)["p_bearing"] is None
    one_side = replace(STAGES["well"].ready, p_bearing={"bass": 0.97})
    assert ready_document(one_side, PLAN)["p_bearing"] == {"bass": 0.97, "treble": None}


def test_a_movement_that_can_not_be_told_has_its_limit_all_the_same() -> None:
    document = ready_document(STAGES["well"].ready, PLAN)
    assert document["movements"]["yaw"] == {"smallest_provable": None, "limit": 0.1, "unit": None}
    told = document["movements"]["neck_angle"]
    assert told["unit"] == "deg"
    assert 0 < told["smallest_provable"] < 1
    assert any(words.startswith("Yaw and sideways can't be told apart") for words in document["cannot_tell_apart"])
