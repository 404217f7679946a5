"""Damaged tables given to `capture --from` and `clamp --from`, and addresses: refused in words, or taken whole."""

from __future__ import annotations

import contextlib
import io
import os
import tempfile
from pathlib import Path

import fuzz_inputs as fuzz
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.cli.main import main
from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.errors import GaugelogError
from gaugelog.gauges.connect import open_link
from gaugelog.instruments.new import new_instrument
from gaugelog.model.gauges import parse_gauge
from gaugelog.store.reader import open_recording

telling = pytest.fixture(autouse=True, scope="module")(fuzz.tell)
PLAN = new_instrument("baritone", gauges="none")
PLACEMENTS = (
    "checkpoint,value,unit\nneck-angle,2.85,deg\nneck-angle,2.80,\nclearance-bass,0.50..0.55,mm\n# said twice\n"
)
SESSION = (
    "time,gauge,value,unit\n0.0,neck,2.80,deg\n0.5,body,-1.40,deg\n1.0,neck,2.85,deg\n1.0,mark,glue on\n"
    "1.5,body,-1.40\n2.0,neck,2.80,deg\n"
    "3.0,neck,2.80,deg\n3.1,mark,cauls warmed\n4.0,neck,2.85,deg\n5.0,depth,0.42,mm\n"
)
DATED = SESSION.replace("\n", "\n2026-03-14T14:25:0").removesuffix("2026-03-14T14:25:0")
cells = st.one_of(
    st.sampled_from(fuzz.STRANGE_TEXTS),
    st.sampled_from(
        (
            "neck",
            "mark",
            "glue on",
            "2.85",
            "2,85",
            "-0",
            "1e20",
            "1e99",
            "9" * 40,
            "0001-01-01",
            "9999-12-31T23:59:59",
            "2026-03-14T14:25:09+25:00",
            "2026-03-14",
            "20260314",
            "1e6",
            "31622400",
            "-31622400",
            "neck - body",
        )
    ),
    st.text(max_size=8),
    st.floats().map(str),
)
encodings = st.sampled_from(("utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1", "cp1252"))


@st.composite
def tables(draw: st.DrawFn, texts: tuple[str, ...]) -> bytes:
    """Return a table as bytes: edited as text or cell by cell, with other separators, line ends and encodings."""
    text = draw(st.sampled_from(texts))
    if draw(st.booleans()):
        text = draw(fuzz.text_edits(text))
    else:
        rows = [row.split(",") for row in text.splitlines()]
        for _ in range(draw(st.integers(1, 6))):
            row = draw(st.sampled_from(rows))
            place = draw(st.integers(0, len(row) - 1)) if row else 0
            row[place : place + draw(st.integers(0, 1))] = draw(st.lists(cells, max_size=2))
        text = "\n".join(draw(st.sampled_from((",", ",", ";", "\t", "|"))).join(row) for row in rows)
    text = draw(
        st.sampled_from((str, lambda t: t.replace("\n", "\r\n"), lambda t: t.replace("\n", "\r"), lambda t: t * 30))
    )(text)
    return text.encode(draw(encodings), "replace")


def asked(folder: str, *arguments: str) -> tuple[int, str]:
    """Run a command in a folder; return its status and what it said."""
    said, before = io.StringIO(), Path.cwd()
    os.chdir(folder)
    try:
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            return main(arguments), said.getvalue()
    finally:
        os.chdir(before)


@fuzz.few(45)
@given(written=tables((PLACEMENTS,)))
def test_a_damaged_table_of_placements_is_taken_whole_or_not_at_all(written: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "baritone.toml").write_text(PLAN, encoding="utf-8")
        Path(folder, "table.csv").write_bytes(written)
        status, said = asked(folder, "capture", "before", "--from", "table.csv")
        assert status in (0, 2, 3), said
        file = Path(folder, "baritone.gaugelog")
        kept = (
            [each for snapshot in open_recording(file).snapshots() for each in snapshot.placements]
            if file.exists()
            else []
        )
        assert bool(kept) == (status != 2), said
        if kept:
            open_recording(file).check()
            assert asked(folder, "ready")[0] in (0, 1, 2, 3)
        fuzz.count("table of placements", "taken" if kept else "refused")


@fuzz.few(45)
@given(written=tables((SESSION, DATED)))
def test_a_damaged_session_table_is_taken_with_what_can_be_read(written: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "baritone.toml").write_text(PLAN, encoding="utf-8")
        Path(folder, "table.csv").write_bytes(written)
        status, said = asked(folder, "clamp", "--from", "table.csv")
        assert status in (0, 2), said
        file = Path(folder, "baritone.gaugelog")
        if status == 0:
            recording = open_recording(file)
            recording.check()
            assert len(recording.readings()) > 0
            assert asked(folder, "drift", "--json")[0] in (0, 1, 2, 3)
        fuzz.count("session table", "refused" if status else "taken")


schemes = ("serial", "tcp", "ble", "typed", "replay", "sim", "SIM", "http", "")
options = (
    "baud",
    "bits",
    "parity",
    "stop",
    "rate",
    "value",
    "noise",
    "at",
    "speed",
    "faults",
    "tap",
    "seed",
    "drift",
    "x",
    "hand",
    "service",
    "notify",
    "timeout",
    "step",
    "slip",
    "latency",
    "gap",
    "loss",
)
option_values = st.one_of(
    st.sampled_from(
        (
            *fuzz.STRANGE_TEXTS[:40],
            "1",
            "8",
            "9600",
            "N",
            "nan",
            "inf",
            "1e400",
            "-1",
            "0",
            "drop=0.5",
            "flip=2",
            "split,drop=1e9",
            "cut@3",
            "%zz",
            "%00",
            "2.8,3",
            "1;2",
        )
    ),
    st.text(max_size=10),
)
addresses = st.one_of(
    st.text(max_size=40),
    st.builds(
        lambda sheet, scheme, target, pairs: (
            f"{sheet}@{scheme}:{target}" + ("?" + "&".join(f"{key}={value}" for key, value in pairs) if pairs else "")
        ),
        st.sampled_from(("angle-line", "caliper-polled", "feeler", "described-angle", "nothing", "")),
        st.sampled_from(schemes),
        st.one_of(
            st.sampled_from(("", "/dev/none", "127.0.0.1:1", "[::1]:1", "[", "host:99999999", "%2F", "%ff", "a:b:c")),
            st.text(max_size=8),
        ),
        st.lists(st.tuples(st.sampled_from(options), option_values), max_size=4),
    ),
)


@fuzz.few(600)
@given(text=addresses)
def test_an_address_names_a_link_or_is_refused_in_words(text: str) -> None:
    try:
        name = parse_gauge(text, "neck")
        open_link(name.address, find_datasheet(name.datasheet))
    except GaugelogError as error:
        fuzz.refused("address", error)
    else:
        fuzz.count("address", "taken")
