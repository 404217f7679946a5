"""docs/schema.md, written from the schema itself: `python -m gaugelog.store.schema_page`."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from gaugelog.store.schema import APPLICATION_ID, newest_version, schema_texts

PAGE = Path(__file__).resolve().parents[2] / "docs" / "schema.md"
_TABLE = re.compile(r"((?:^--.*\n)+)CREATE TABLE (\w+) \(\n(.*?)^\);", re.MULTILINE | re.DOTALL)
_COLUMN = re.compile(r"^ +(?P<name>[a-z_0-9]+) (?P<type>[A-Z][^-]*?),? *(?:-- (?P<words>.*))?$")


def schema_page() -> str:
    """Return the page: every table with its columns."""
    lines = [
        "# Tables of a recording",
        "",
        "Written from the schema by `python -m gaugelog.store.schema_page`; a test keeps it fresh.",
        "How to read and copy a recording: [recordings.md](recordings.md).",
        "",
        f"`application_id` is {APPLICATION_ID:#x}, `user_version` is {newest_version()}.",
    ]
    for text in schema_texts().values():
        lines += ["", *_comment(text.split("\n\nCREATE")[0].split("\n\n-- One run")[0])]
        for match in _TABLE.finditer(text):
            lines += ["", f"## {match[2]}", "", *_comment(match[1]), "", *_columns(match[3])]
    return "\n".join(lines) + "\n"


def _comment(text: str) -> list[str]:
    return [line.removeprefix("--").strip() for line in text.strip().splitlines()]


def _columns(body: str) -> Iterator[str]:
    yield from ("| column | type | what |", "|---|---|---|")
    for line in body.splitlines():
        match = _COLUMN.match(line)
        if match:
            yield f"| {match['name']} | {match['type'].strip()} | {match['words'] or ''} |"


if __name__ == "__main__":
    PAGE.write_text(schema_page(), encoding="utf-8")
