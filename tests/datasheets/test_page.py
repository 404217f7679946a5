"""The page for builders: its example works, and it knows every key."""

from __future__ import annotations

import re
from pathlib import Path

from gaugelog.datasheets.meaning import Decoding
from gaugelog.model.readings import Chunk, Flag, Reading
from gaugelog.testing import check_datasheet

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "datasheets.md").read_text(encoding="utf-8")


def test_the_example_keeps_the_contract_and_reads_the_line_it_promises() -> None:
    example = re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    assert example is not None
    sheet = check_datasheet(example[1])
    (found,) = Decoding(sheet, "gauge").feed(Chunk(0, b"ANG:-002.85 H\r\n")).items
    assert isinstance(found, Reading)
    assert (found.value, found.flags) == (-2.85, Flag.HOLD)


def test_every_key_that_is_read_stands_on_the_page() -> None:
    sources = [ROOT / "gaugelog" / "datasheets" / "read.py", ROOT / "gaugelog" / "frames" / "line.py"]
    asked = re.compile(
        r'\.(?:text|choice|flag|whole|number|measure|texts|numbers|pattern|table|tables)\(\s*"(\w+)"'
        r'|_decimal\(\w+, "(\w+)"'
    )
    keys = {a or b for path in sources for a, b in asked.findall(path.read_text(encoding="utf-8"))}
    assert len(keys) > 20
    assert {key for key in keys if f"`{key}`" not in PAGE and f"[{key}]" not in PAGE} == set()
