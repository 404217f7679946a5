"""The page for builders: its example works, and it knows every key."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from gaugelog.datasheets.meaning import Decoding
from gaugelog.errors import UnitMismatchError
from gaugelog.model.quantities import Quantity, find_unit
from gaugelog.model.readings import Chunk, Flag, Reading
from gaugelog.plugins import BUILT_IN, FRAMINGS
from gaugelog.testing import check_datasheet

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "datasheets.md").read_text(encoding="utf-8")
FRAMINGS_PAGE = (ROOT / "docs" / "framings.md").read_text(encoding="utf-8")
FRAMES = sorted((ROOT / "gaugelog" / "frames").glob("*.py"))
_ASKED = re.compile(
    r'\.(?:text|choice|flag|whole|number|measure|texts|numbers|pattern|table|tables)\(\s*"(\w+)"'
    r'|_decimal\(\w+, "(\w+)"'
)


def test_the_example_keeps_the_contract_and_reads_the_line_it_promises() -> None:
    example = re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    assert example is not None
    sheet = check_datasheet(example[1])
    (found,) = Decoding(sheet, "gauge").feed(Chunk(0, b"ANG:-002.85 H\r\n")).items
    assert isinstance(found, Reading)
    assert (found.value, found.flags) == (-2.85, Flag.HOLD)


def keys_asked_for(*paths: Path) -> set[str]:
    return {a or b for path in paths for a, b in _ASKED.findall(path.read_text(encoding="utf-8"))}


def missing(keys: set[str], page: str) -> set[str]:
    return {key for key in keys if f"`{key}`" not in page and f"[{key}]" not in page and f".{key}]" not in page}


def test_every_key_that_is_read_stands_on_the_page() -> None:
    keys = keys_asked_for(ROOT / "gaugelog" / "datasheets" / "read.py", ROOT / "gaugelog" / "frames" / "line.py")
    assert len(keys) > 20
    assert missing(keys, PAGE) == set()


@pytest.mark.parametrize("path", FRAMES, ids=lambda path: path.stem)
def test_every_option_of_a_framing_stands_on_a_page(path: Path) -> None:
    assert missing(keys_asked_for(path), PAGE + FRAMINGS_PAGE) == set()


def sections() -> dict[str, str]:
    """The page of framings by its headings."""
    parts = re.split(r"^## (.+)$", FRAMINGS_PAGE, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


HEAD = 'name = "page"\ntitle = "of the page"\nquantity = "{quantity}"\nsends = "{sends}"\nresolution = 0.01\n{reach}\n'


def completed(example: str) -> str:
    """Return an example as a whole datasheet: one that shows its framing and value alone gets the rest."""
    if example.startswith("name"):
        return example
    unit = re.search(r'^unit = "(.+)"', example[example.index("[value]") :], re.MULTILINE)
    assert unit is not None
    (quantity,) = [each.value for each in Quantity if is_unit_of(unit[1], each)]
    sends = "when asked" if "[poll]" in example else "steadily"
    return HEAD.format(quantity=quantity, sends=sends, reach="range = [0, 100]") + example


def is_unit_of(name: str, quantity: Quantity) -> bool:
    try:
        return find_unit(name, quantity).quantity is quantity
    except UnitMismatchError:
        return False


@pytest.mark.parametrize("name", sorted(sections()))
def test_the_example_of_a_framing_is_one_that_works(name: str) -> None:
    example = re.search(r"```toml\n(.*?)```", sections()[name], re.DOTALL)
    assert example is not None
    assert check_datasheet(completed(example[1])).framing == name


def test_every_framing_but_the_line_has_its_section() -> None:
    assert set(sections()) == set(BUILT_IN[FRAMINGS]) - {"line"}
