"""docs/schema.md, written from the schema itself: `python -m gaugelog.store.schema_page`."""

from __future__ import annotations

import re
from pathlib import Path

from gaugelog.store.schema import APPLICATION_ID, newest_version, schema_texts

PAGE = Path(__file__).resolve().parents[2] / "docs" / "schema.md"
_TABLE = re.compile(r"CREATE TABLE (?P<name>\w+) \(\n(?P<body>.*?)\n\);", re.DOTALL)
_COLUMN = re.compile(r"(?P<name>[a-z]\w*) (?P<type>[A-Z].*?),?(?: -- (?P<words>.*))?")
_ADDED = re.compile(r"ALTER TABLE (?P<table>\w+) ADD COLUMN (?P<column>[^;]*);(?P<words> -- .*)?")
_RULE = re.compile(r"(?P<rule>(?:PRIMARY KEY|UNIQUE) \(.*\)),?")


def schema_page() -> str:
    """Return the page: every table with its columns, in the order of the schema."""
    pieces = [
        "# Tables of a recording",
        "Written from the schema by `python -m gaugelog.store.schema_page`; a test keeps it fresh. What a recording is,"
        " and how to read and copy one: [recordings.md](recordings.md).",
        f"In the head of the file SQLite's `application_id` is {APPLICATION_ID:#x} and `user_version` is"
        f" {newest_version()}.",
    ]
    for text in schema_texts().values():
        for paragraph in _paragraphs(text):
            pieces += _piece(paragraph)
    return "\n\n".join(pieces) + "\n"


def _paragraphs(text: str) -> list[str]:
    """Return the pieces between blank lines; a comment line without words ends one as well."""
    return [piece.strip() for piece in re.split(r"\n(?:--)?\n", text) if piece.strip()]


def _piece(paragraph: str) -> list[str]:
    """Return the heading, the words and all columns of a table, the words alone of a comment, nothing of an index."""
    words = [line.removeprefix("--").strip() for line in paragraph.splitlines() if line.startswith("--")]
    said = [" ".join(words)] if words else []
    table = _TABLE.search(paragraph)
    if table is None:
        return said
    added = [
        match for text in schema_texts().values() for match in _ADDED.finditer(text) if match["table"] == table["name"]
    ]
    body = "\n".join([table["body"], *(f"{each['column']}{each['words'] or ''}" for each in added)])
    return [f"## {table['name']}", *said, "\n".join(_columns(body))]


def _columns(body: str) -> list[str]:
    rows = ["| column | type | what |", "|---|---|---|"]
    rules = []
    for line in body.splitlines():
        rule = _RULE.fullmatch(line.strip())
        column = _COLUMN.fullmatch(line.strip())
        if rule:
            rules.append(rule["rule"])
        elif column:
            rows.append(f"| `{column['name']}` | {column['type']} | {column['words'] or ''}".rstrip() + " |")
        else:
            raise ValueError(f"the schema has a line that is neither a column nor a rule: {line}")
    return [*rows, "", *rules] if rules else rows


if __name__ == "__main__":
    PAGE.write_text(schema_page(), encoding="utf-8")
