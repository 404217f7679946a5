"""A small share of `python tests/faults/damage.py`: damaged recordings give what went in, or say that they don't."""

from __future__ import annotations

import random

import pytest
from damage import (
    KINDS,
    PAGE,
    Figures,
    Subject,
    ask,
    damage_rounds,
    damaged,
    page_kind,
    put,
    read_outcome,
    rescue_outcome,
    subjects,
)

from gaugelog.errors import GaugelogError
from gaugelog.store.connect import log_path
from gaugelog.store.reader import open_recording


@pytest.fixture(scope="module")
def found() -> list[Subject]:
    return subjects()


def test_damaged_recordings_are_read_rightly_or_refused_and_rescued_with_their_losses_told(found) -> None:
    figures: Figures = damage_rounds(686, 40, found)
    assert figures.faults == []
    assert figures.cases == 40
    assert figures.outcomes["refused"] + figures.outcomes["refused in part"] > 10
    assert figures.rescues["part got out, and told"] > 5
    assert figures.rescues["all got out"] > 5


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_of_damage_truly_damages(found, kind) -> None:
    [whole] = [each for each in found if each.name == "unfinished"]
    data, log = damaged(random.Random(1), whole, kind, 5000)
    assert (data, log) != (whole.data, whole.log)


def test_a_judge_that_is_shown_a_wrong_value_says_so(found, tmp_path) -> None:
    """The sweep finds nothing only because there is nothing: shown another recording's values it does."""
    [whole, other] = [each for each in found if each.name in ("finished", "unfinished")]
    told = Subject(whole.name, 2, whole.data, b"", other.told, other.frames)
    path = put(tmp_path, whole.data, b"")
    assert read_outcome(path, told).startswith("WRONG VALUE")
    assert rescue_outcome(path, told).startswith("LOSS NOT TOLD")


def test_a_row_that_says_a_size_that_it_cant_have_is_damage(found, tmp_path) -> None:
    """SQLite answers some of these with an error of memory, which is none of gaugelog's."""
    [whole] = [each for each in found if each.name == "finished"]
    [first, *_] = [at for at in range(0, len(whole.data), PAGE) if page_kind(whole.data, at) == "rows of 19 columns"]
    said = ""
    for place in range(first + 16, first + PAGE, 16):
        path = put(tmp_path, whole.data[:place] + b"\xff" * 16 + whole.data[place + 16 :], b"")
        try:
            answers, refusals = ask(path)
        except GaugelogError as error:
            refusals, answers = [error], {}
        assert all(answers[name] == whole.told[name] for name in answers if name in whole.told)
        said += "; ".join(str(each) for each in refusals)
    assert "a size that it can't have" in said


def test_the_log_of_another_recording_gives_no_mixture(found, tmp_path) -> None:
    """SQLite takes whatever log lies beside a file. Either a checksum fails, or it is the other recording, whole."""
    [whole] = [each for each in found if each.name == "finished"]
    [other] = [each for each in found if each.name == "unfinished"]
    path = put(tmp_path, whole.data, other.log)
    try:
        recording = open_recording(path)
        recording.check()
    except GaugelogError:
        return
    assert log_path(path).exists()
    assert read_outcome(path, other) in ("whole", "refused in part")
