"""The page on placements: its numbers are the program's, its table can be taken, its keys are the desks'."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from gaugelog.capture import steady
from gaugelog.cli import capture_desk, clamp_desk
from gaugelog.model.quantities import Quantity

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "placements.md").read_text(encoding="utf-8")


def test_the_numbers_of_the_page_are_those_of_the_program() -> None:
    assert f"for {steady.WINDOW_S:g} s" in PAGE
    assert (steady.SPAN_STEPS, steady.LIFT_STEPS) == (2, 10)
    least = steady._LEAST_LIFT
    assert f"at least {least[Quantity.ANGLE]:g}°, or {least[Quantity.LENGTH]:g} mm" in PAGE


@pytest.mark.parametrize(("desk", "column"), [(capture_desk, 1), (clamp_desk, 4)])
def test_every_key_of_a_desk_stands_in_its_own_column(desk, column: int) -> None:
    rows = [row.split("|") for row in PAGE.splitlines() if row.count("|") == 6]
    keys = {key for row in rows for key in re.split(r"[, ]+", row[column].strip())}
    letters = re.search(r'__init__\("([a-z ]+)"', Path(desk.__file__).read_text(encoding="utf-8"))
    assert letters is not None
    unsaid = {"l"}  # another key for what space does
    assert set(letters[1].strip()) - unsaid - keys == set()


def test_its_table_can_be_taken(run, tmp_path: Path) -> None:
    table = re.search(r"```\n(checkpoint,value,unit\n.*?)```", PAGE, re.DOTALL)
    assert table is not None
    (tmp_path / "before.csv").write_text(table[1], encoding="utf-8")
    run("new", "baritone", "--gauges", "none")
    assert run("capture", "before", "--from", "before.csv").status == 0
