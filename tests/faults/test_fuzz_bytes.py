"""Bytes meant to mislead the decoders, from the contract's samples: near-frames, heads without ends, long runs.

What holds of any bytes cut anywhere, and of whole frames, is in `tests/frames/test_properties.py` and in the contract.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import fuzz_inputs as fuzz
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.frames import Framing
from gaugelog.model.readings import Chunk, Frame, Reject
from gaugelog.model.section import Section
from gaugelog.plugins import FRAMINGS, load

telling = pytest.fixture(autouse=True, scope="module")(fuzz.tell)
PATHS = sorted(Path(__file__).parents[1].joinpath("contracts", "samples").glob("*.toml"))
every_framing = pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
RUN = 30_000
NO_BEGINNING = "binary-digits"
"""A frame without a sync whose check is a sum: repeated without change it fits from any byte (docs/framings.md)."""


def samples(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def framing_of(path: Path) -> Framing:
    framing: Framing = load(FRAMINGS, path.stem.partition("-")[0])(Section(samples(path)["options"]))
    return framing


def frames_of(path: Path) -> list[bytes]:
    texts = [each["bytes"] for each in samples(path)["sample"]]
    return [bytes.fromhex(text[2:]) if text.startswith("0x") else text.encode("latin-1") for text in texts]


def run(framing: Framing, pieces: list[bytes]) -> list[Frame | Reject]:
    decoder = framing.decoder()
    found = [item for place, piece in enumerate(pieces) for item in decoder.feed(Chunk(place * 10**8, piece))]
    return [*found, *decoder.finish(len(pieces) * 10**8)]


@st.composite
def misleading(draw: st.DrawFn, frames: list[bytes]) -> list[bytes]:
    """Return pieces of a stream: frames cut short, with bytes changed, put in or taken out, one within another."""
    pieces = []
    for _ in range(draw(st.integers(1, 12))):
        frame = bytearray(draw(st.sampled_from(frames)))
        place = draw(st.integers(0, len(frame) - 1))
        kind = draw(st.sampled_from(("whole", "head", "tail", "flip", "put in", "take out", "nested", "run", "noise")))
        if kind == "head":
            del frame[place:]
        elif kind == "tail":
            del frame[:place]
        elif kind == "flip":
            frame[place] ^= 1 << draw(st.integers(0, 7))
        elif kind == "put in":
            frame[place:place] = draw(st.binary(min_size=1, max_size=3))
        elif kind == "take out":
            del frame[place]
        elif kind == "nested":
            frame[place:place] = draw(st.sampled_from(frames))
        elif kind == "run":
            frame[place:place] = bytes([frame[place]]) * draw(st.integers(1, 300))
        elif kind == "noise":
            frame = bytearray(draw(st.binary(max_size=40)))
        pieces.append(bytes(frame))
    return pieces


@every_framing
@fuzz.few(60)
@given(data=st.data())
def test_what_misleads_is_told_once_and_a_good_frame_is_found_again(path: Path, data: st.DataObject) -> None:
    frames = frames_of(path)
    pieces = data.draw(misleading(frames))
    good = data.draw(st.sampled_from(frames))
    found = run(framing_of(path), [*pieces, *[good] * 40])
    assert all(isinstance(item, Frame | Reject) for item in found)
    assert sum(len(item.raw) for item in found) <= sum(map(len, pieces)) + 40 * len(good)
    (wanted,) = run(framing_of(path), [good])
    assert isinstance(wanted, Frame)
    if path.stem != NO_BEGINNING:
        assert [item for item in found[-30:] if isinstance(item, Frame) and item.fields == wanted.fields]
    fuzz.count(
        "misleading bytes", "readings" if any(isinstance(item, Frame) for item in found[:-40]) else "rejects only"
    )


@every_framing
def test_long_runs_end_in_rejects_and_a_good_frame_is_found_again(path: Path) -> None:
    """Nothing is kept for ever: a run of one byte, or of a frame's head, is told as it comes and hides nothing."""
    frames = frames_of(path)
    heads = [
        frame[:length] for frame in frames[:2] for length in (1, 2, len(frame) // 2, len(frame) - 1) if frame[:length]
    ]
    for pattern in {b"\x00", b"\xff", b"0", b" ", b"-", b"$", b"\x10", b"\x55", *heads}:
        stream = (pattern * (RUN // len(pattern) + 1))[:RUN]
        pieces = [stream[begin : begin + 97] for begin in range(0, RUN, 97)] + [frames[0]] * 40
        decoder = framing_of(path).decoder()
        told = found = 0
        for place, piece in enumerate(pieces):
            for item in decoder.feed(Chunk(place * 10**8, piece)):
                told += len(item.raw)
                found += isinstance(item, Frame) and place > len(pieces) - 40
        assert told <= RUN + 40 * len(frames[0])
        assert found > 0, f"no frame was found after a run of {pattern!r}"
