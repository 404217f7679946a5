"""What hostile input is made of, for the tests with random input beside this file, and what came of it.

Here: TOML damaged in its structure and in its text, numbers and texts that nobody expects, how many examples are
tried. Not here: what is to come of them (`test_fuzz_*.py`).

`FUZZ=50 python -m pytest tests/faults -k "fuzz or stateful" --timeout=0 -s` tries fifty times as many, other ones each
time, and says how many there were; the short form tries the same ones always.
"""

from __future__ import annotations

import copy
import os
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

import tomlkit
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from gaugelog.errors import GaugelogError

TIMES = int(os.environ.get("FUZZ", "1"))
COUNTS: Counter[tuple[str, str]] = Counter()
"""How often what came of which kind of input."""

STRANGE_TEXTS = (
    "", " ", "\x00", "\x1b[2J", "é", "𝄞", "‮", "ａ", "१२", "−1", "0x10", "1e999", "nan", "-inf", "3/0", "1 1/8 in", "'",
    '"', "{0}", "{}", "{a.b}", "{a[b]}", "{number:>99999999}", "{number!r:{x}}", "%s", "\\", "(", "(?P<number>", "[a",
    "(?P<number>a|b)*", "../../etc/hosts", "typed:", "x@y:z", "@", "a" * 5000, "\n", "\r\n", "\ufeff", "mm", "in",
    "deg", "(?P<number>\\d+)", "(?P<number>.*)", "before", "after", "spot", "neck-angle",
)  # fmt: skip
STRANGE_NUMBERS = (
    0, -1, 1, 2**31, 2**63, 2**64, -(2**63), 10**40, 0.0, -0.0, 1e-320, 1e-9, 1e9, 1e308, -1e308, 0.1,
    float("nan"), float("inf"), float("-inf"),
)  # fmt: skip


def few(examples: int) -> settings:
    """Return settings for so many examples in the short form, the same ones each time."""
    return settings(
        max_examples=examples * TIMES,
        derandomize=TIMES == 1,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )


def count(kind: str, outcome: str) -> None:
    """Count what came of an example."""
    COUNTS[kind, outcome] += 1


def refused(kind: str, error: GaugelogError) -> None:
    """Count a refusal by its slug; it says something, and what to do next."""
    assert str(error)
    assert error.hint
    count(kind, f"refused: {error.slug}")


def tell() -> Iterator[None]:
    """A fixture's body: in the long form, say what was counted in this file."""
    COUNTS.clear()
    yield
    if TIMES > 1:
        print()
        for (kind, outcome), number in sorted(COUNTS.items()):
            print(f"{kind}: {outcome}: {number}")


def deep(levels: int) -> dict[str, Any]:
    """Return tables in tables."""
    found: dict[str, Any] = {"a": 1}
    for _ in range(levels):
        found = {"a": found}
    return found


scalars = st.one_of(
    st.sampled_from(STRANGE_TEXTS),
    st.sampled_from(STRANGE_NUMBERS),
    st.booleans(),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    st.floats(),
    st.integers(-(2**64), 2**64),
)
values = st.one_of(
    scalars,
    st.lists(scalars, max_size=4),
    st.dictionaries(st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=8), scalars, max_size=3),
    st.just([]),
    st.just({}),
    st.lists(st.dictionaries(st.sampled_from(("id", "kind", "field", "texts", "means")), scalars), max_size=3),
    st.integers(1, 40).map(deep),
)


def places(data: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the way to everything in a document: keys and places in lists."""
    found = [path] if path else []
    inside = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in inside:
        found += places(value, (*path, key))
    return found


def at(data: Any, path: tuple[Any, ...]) -> Any:
    """Return what stands there."""
    for key in path:
        data = data[key]
    return data


@st.composite
def damaged(draw: st.DrawFn, document: dict[str, Any]) -> dict[str, Any]:
    """Return a document with one to four places dropped, renamed, retyped, doubled, or put elsewhere."""
    found = copy.deepcopy(document)
    for _ in range(draw(st.integers(1, 4))):
        ways = places(found)
        if not ways:
            break
        way = draw(st.sampled_from(ways))
        holder, key = at(found, way[:-1]), way[-1]
        kind = draw(st.sampled_from(("drop", "retype", "retype", "near", "rename", "add", "move", "double")))
        if kind == "drop":
            del holder[key]
        elif kind == "retype":
            holder[key] = draw(values)
        elif kind == "near":
            holder[key] = _near(draw, holder[key])
        elif kind == "rename" and isinstance(holder, dict):
            holder[draw(st.sampled_from((key + "s", key.upper(), "x", "", "a.b", "kind", "field")))] = holder.pop(key)
        elif kind == "add" and isinstance(holder, dict):
            holder[draw(st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=10))] = draw(values)
        elif kind == "move":
            holder[key] = copy.deepcopy(at(found, draw(st.sampled_from(ways[:1] + ways))) if way in ways[:1] else key)
        elif kind == "double" and isinstance(holder, list):
            holder.insert(0, copy.deepcopy(holder[key]))
    return found


def _near(draw: st.DrawFn, value: Any) -> Any:
    """Return something of the same type, but another."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return draw(st.one_of(st.sampled_from(STRANGE_NUMBERS), st.floats(-1000, 1000), st.integers(-10, 10)))
    if isinstance(value, str):
        return draw(text_edits(value))
    if isinstance(value, list):
        return value[::-1] + value[:1]
    return value


@st.composite
def text_edits(draw: st.DrawFn, text: str) -> str:
    """Return a text in which one to three stretches were cut out, doubled, turned, or filled with something strange."""
    for _ in range(draw(st.integers(1, 3))):
        begin = draw(st.integers(0, len(text)))
        end = draw(st.integers(begin, min(len(text), begin + draw(st.sampled_from((1, 3, 40, 400))))))
        kind = draw(st.sampled_from(("cut", "double", "strange", "characters", "turn")))
        piece = text[begin:end]
        if kind == "cut":
            piece = ""
        elif kind == "double":
            piece += piece
        elif kind == "strange":
            piece = draw(st.sampled_from(STRANGE_TEXTS))
        elif kind == "characters":
            piece = draw(st.text(st.characters(exclude_categories=["Cs"]), max_size=6))
        else:
            piece = piece[::-1]
        text = text[:begin] + piece + text[end:]
    return text


@st.composite
def files(draw: st.DrawFn, texts: tuple[str, ...]) -> bytes:
    """Return a TOML file as bytes, made of one of `texts` damaged in structure or in text, in some encoding."""
    text = draw(st.sampled_from(texts))
    structural = draw(st.booleans())
    if structural:
        try:
            text = tomlkit.dumps(draw(damaged(tomlkit.parse(text).unwrap())))
        except (tomlkit.exceptions.TOMLKitError, ValueError, TypeError):  # what TOML itself can't say
            text = "x = 1"
    else:
        text = draw(text_edits(text))
    if draw(st.integers(0, 4)) == 0:
        text = draw(
            st.sampled_from((lambda t: t.replace("\n", "\r\n"), lambda t: t.replace("\n", "\r"), lambda t: t * 2))
        )(text)
    written = text.encode("utf-8", "surrogatepass")
    ways: list[Callable[[bytes], bytes]] = [
        lambda b: b, lambda b: b, lambda b: b, lambda b: b"\xef\xbb\xbf" + b, lambda b: b"\xff\xfe" + b,
        lambda b: b[: len(b) // 2] + b"\xff" + b[len(b) // 2 :], lambda b: b + b"\x00",
        lambda b: b.decode("utf-8", "replace").encode("utf-16"),
    ]  # fmt: skip
    return draw(st.sampled_from(ways))(written)
