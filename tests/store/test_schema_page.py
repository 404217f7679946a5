"""The page of tables is what the schema says, and the schema is what a recording has."""

from __future__ import annotations

import re
import sqlite3

from gaugelog.store.schema import schema_texts
from gaugelog.store.schema_page import PAGE, schema_page


def test_the_page_is_fresh() -> None:
    assert PAGE.read_text(encoding="utf-8") == schema_page()


def test_the_page_names_every_table_and_column_of_a_recording() -> None:
    connection = sqlite3.connect(":memory:")
    for text in schema_texts().values():
        connection.executescript(text)
    query = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    tables = [row[0] for row in connection.execute(query)]
    columns = {table: [row[1] for row in connection.execute(f"PRAGMA table_info({table})")] for table in tables}
    connection.close()
    sections = re.split(r"^## ", schema_page(), flags=re.MULTILINE)[1:]
    on_page = {part.split("\n", 1)[0]: re.findall(r"^\| `(\w+)` \|", part, re.MULTILINE) for part in sections}
    assert on_page == columns
