"""Published values of gauge checks, and whether a result can be kept as JSON."""

from __future__ import annotations

import json
import tomllib
from dataclasses import asdict
from pathlib import Path
from typing import Any

WANTED = tomllib.loads((Path(__file__).parents[1] / "oracles" / "gauge_checks.toml").read_text(encoding="utf-8"))
PLAIN = (float, int, bool, str, type(None))


def assert_plain(result: Any) -> None:
    """Assert that a result is made of plain numbers, words and tuples, and comes back from JSON as it went."""

    def walk(thing: Any) -> None:
        if isinstance(thing, dict):
            for each in thing.values():
                walk(each)
        elif isinstance(thing, tuple | list):
            for each in thing:
                walk(each)
        else:
            assert type(thing) in PLAIN, f"{thing!r} of {type(thing)}"

    def lists(thing: Any) -> Any:
        if isinstance(thing, dict):
            return {key: lists(each) for key, each in thing.items()}
        return [lists(each) for each in thing] if isinstance(thing, tuple) else thing

    whole = asdict(result)
    walk(whole)
    assert json.loads(json.dumps(whole, allow_nan=False)) == lists(whole)
