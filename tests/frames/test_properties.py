"""What holds of every framing, whatever the bytes and however they are cut; on the samples of the contract."""

from __future__ import annotations

import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelog.frames import Framing
from gaugelog.model.readings import Chunk, Frame, Reject
from gaugelog.model.section import Section
from gaugelog.plugins import FRAMINGS, load

PATHS = sorted(Path(__file__).parents[1].joinpath("contracts", "samples").glob("*.toml"))
every_framing = pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
few = settings(max_examples=60)


def samples(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def made(path: Path) -> Framing:
    framing: Framing = load(FRAMINGS, path.stem.partition("-")[0])(Section(samples(path)["options"]))
    return framing


def as_bytes(text: str) -> bytes:
    return bytes.fromhex(text[2:]) if text.startswith("0x") else text.encode("latin-1")


def run(framing: Framing, pieces: list[bytes]) -> list[Frame | Reject]:
    decoder = framing.decoder()
    found = [item for place, piece in enumerate(pieces) for item in decoder.feed(Chunk(place, piece))]
    return [*found, *decoder.finish(len(pieces))]


def cut(stream: bytes, places: list[int]) -> list[bytes]:
    ends = [0, *sorted(places), len(stream)]
    return [stream[begin:end] for begin, end in pairwise(ends)]


def places_of(stream: bytes, frames: list[bytes], whole_pieces: bool) -> st.SearchStrategy[list[int]]:
    """Where a stream may be cut: anywhere, or only between frames where nothing marks them."""
    between = [sum(map(len, frames[:count])) for count in range(len(frames) + 1)]
    place = st.sampled_from(between) if whole_pieces else st.integers(0, len(stream))
    return st.lists(place, max_size=12)


@every_framing
@few
@given(data=st.data())
def test_glued_frames_cut_anywhere_are_the_same_frames(path: Path, data: st.DataObject) -> None:
    given_samples = samples(path)
    frames = [as_bytes(each["bytes"]) for each in given_samples["sample"]]
    order = data.draw(st.lists(st.sampled_from(range(len(frames))), min_size=1, max_size=8))
    stream = b"".join(frames[i] for i in order)
    places = data.draw(places_of(stream, [frames[i] for i in order], given_samples.get("whole_pieces", False)))
    found = run(made(path), cut(stream, places))
    assert all(isinstance(item, Frame) for item in found)
    assert [dict(item.fields) for item in found if isinstance(item, Frame)] == [
        given_samples["sample"][i]["fields"] for i in order
    ]


@every_framing
@few
@given(data=st.data())
def test_whatever_comes_no_byte_is_told_twice_and_none_raises(path: Path, data: st.DataObject) -> None:
    given_samples = samples(path)
    frames = [as_bytes(each["bytes"]) for each in given_samples["sample"]]
    parts = st.one_of(st.binary(max_size=40), st.sampled_from(frames), st.sampled_from(frames).map(lambda f: f[:-3]))
    pieces = data.draw(st.lists(parts, max_size=10))
    found = run(made(path), pieces)
    assert sum(len(item.raw) for item in found) <= sum(map(len, pieces))
    assert all(isinstance(item, Frame | Reject) for item in found)
