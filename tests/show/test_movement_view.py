"""How the neck moved, in a terminal, in words and as JSON. All values invented."""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace

import pytest
from rich.cells import cell_len
from rich.console import Console

from gaugelog.analysis.least_squares import Residual
from gaugelog.analysis.results import Comparison, Consequence, Moved, NeckMovement, Untold
from gaugelog.show.documents import comparison_document
from gaugelog.show.movement_view import movement_sentences, movement_view, plain_sentence
from gaugelog.show.report import report_html

MOVED = NeckMovement(
    components={
        "neck_angle": Moved(-0.31, 0.04, math.inf, "deg", 0.2, 0.12),
        "yaw": None,
        "roll": Moved(0.01, 0.04, 20.0, "deg", 0.2, 0.12),
        "sink": Moved(0.42, 0.05, 20.0, "mm", 0.25, 0.15),
        "sideways": None,
        "slide": None,
    },
    untold=(
        Untold(("yaw", "sideways"), ("the centreline offset at the fretboard's end",)),
        Untold(("slide",), ()),
    ),
    chi2=9.3,
    dof=1.0,
    p=0.003,
    residuals=(
        Residual("neck-roll", 0.3, 4.1, 0.5, ("clearance-bass",)),
        Residual("neck-angle", 0.0, None, 0.01),
    ),
    iterated=True,
    consequences=(
        Consequence("required_bearing", "bass", "mm", 22.3, 20.9, -1.4, 0.1, 20.0),
        Consequence("required_bearing", "treble", "mm", 21.5, 21.45, -0.05, 0.1, 20.0),
        Consequence("action", "bass", "mm", 2.4, 3.1, 0.7, 0.05, 20.0),
        Consequence("centreline_offset", "", "mm", 0.0, -0.6, -0.6, 0.1, 20.0),
        Consequence("scale_length", "", "cents", 0.0, -1.2, -1.2, 0.2, 20.0),
    ),
)
STILL = replace(
    MOVED,
    components={**dict.fromkeys(MOVED.components), "roll": MOVED.components["roll"]},
    p=None,
    residuals=(),
    consequences=(),
    iterated=False,
)


def printed(movement: NeckMovement, width: int, units: str = "mm") -> str:
    screen = Console(file=io.StringIO(), width=width)
    screen.print(movement_view(movement, units))
    return screen.file.getvalue()  # type: ignore[attr-defined]


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("movement", [MOVED, STILL], ids=["moved", "still"])
def test_no_line_is_wider_than_the_terminal(movement: NeckMovement, width: int) -> None:
    lines = printed(movement, width).splitlines()
    assert any(line.strip() for line in lines)
    assert max(map(cell_len, lines)) <= width


def test_what_moved_is_said_as_a_builder_would() -> None:
    assert plain_sentence(MOVED).replace("\N{NO-BREAK SPACE}", " ") == (
        "The neck moved: neck angle down by 0.31°, sink into the body by 0.42 mm, centreline at the bridge to bass by"
        " 0.6 mm, scale shorter by 1.2 cents; the same action now needs the bass string's bearing lower by 1.4 mm."
    )
    assert plain_sentence(STILL) == "As far as these readings tell, the neck is where it was."
    assert "\N{NO-BREAK SPACE}in" in plain_sentence(MOVED, "in")


def test_what_can_not_be_told_and_what_contradicts_is_said_in_words() -> None:
    said = [words for words, _ in movement_sentences(MOVED)]
    assert said == [
        "Yaw and sideways can't be told apart: read the centreline offset at the fretboard's end too.",
        "Slide can't be told by the usual checkpoints.",
        "neck-roll (or clearance-bass, which can't be told from it) contradicts the others: read it again, or find out"
        " what was touched.",
        "The readings don't fit one rigid movement well (p = 0.003): a reading is wrong, or neck or body bent.",
        "Unchecked by the others: neck-angle.",
        "The movement is large: exact readings were fitted, not straight lines.",
    ]
    assert any("Nothing checks these readings" in words for words, _ in movement_sentences(STILL))


def test_the_document_is_strict_json_with_null_for_what_can_not_be_told() -> None:
    document = comparison_document(Comparison("before", "after", (), MOVED))
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert document["movement"]["yaw"] is None
    assert document["movement"]["sink"]["value"] == 0.42
    assert document["movement"]["neck_angle"]["dof"] is None, "infinite"
    assert len(document["movement"]["cannot_tell_apart"]) == 2
    assert document["fit"] == {"chi2": 9.3, "dof": 1.0, "p": 0.003}
    assert document["residuals"][0]["misfit"] is True
    assert document["consequences"][0]["before"] == 22.3
    empty = comparison_document(Comparison("before", "after", ()))
    assert (empty["movement"], empty["fit"], empty["residuals"], empty["consequences"]) == (None, None, [], [])


def test_the_report_has_it_too(report) -> None:
    page = report_html(replace(report, comparison=replace(report.comparison, movement=MOVED)))
    for words in ("The neck as a whole", "neck angle down by", "can&#39;t be told", "contradicts the others"):
        assert words in page, words
    assert "The neck as a whole" not in report_html(report)
