"""One contract over every framing in the plug-in table and every bundled datasheet; and the contract itself held."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from gaugelog.frames import Decoder
from gaugelog.frames.line import LineDecoder, LineFraming
from gaugelog.model.readings import Chunk, Frame, Reject
from gaugelog.model.section import Section
from gaugelog.plugins import BUILT_IN, FRAMINGS, load
from gaugelog.testing import Sample, check_datasheet, check_decoder

SAMPLES = Path(__file__).with_name("samples")
DATASHEETS = sorted(
    (entry for entry in files("gaugelog.datasheets").joinpath("bundled").iterdir() if entry.name.endswith(".toml")),
    key=lambda entry: entry.name,
)


@dataclass(frozen=True)
class Case:
    """One file of samples: a framing's options, whole frames of it, and noise that it must get past."""

    options: dict[str, Any]
    frames: list[Sample]
    noise: bytes
    whole_pieces: bool


def _bytes(text: str) -> bytes:
    """Return bytes written as hexadecimal pairs behind 0x, else as text."""
    return bytes.fromhex(text[2:]) if text.startswith("0x") else text.encode("latin-1")


def case(path: Path) -> Case:
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    frames = [(_bytes(each["bytes"]), each["fields"]) for each in data["sample"]]
    return Case(data["options"], frames, _bytes(data["noise"]), data.get("whole_pieces", False))


def test_every_framing_brings_samples() -> None:
    """A framing has one file of samples, or several named `NAME-WHAT.toml` where it has several forms."""
    names = {path.stem.partition("-")[0] for path in SAMPLES.glob("*.toml")}
    assert names == set(BUILT_IN[FRAMINGS])


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_every_framing_keeps_the_contract(path: Path) -> None:
    wanted = case(path)
    section = Section(wanted.options)
    framing = load(FRAMINGS, path.stem.partition("-")[0])(section)
    section.done()
    assert section.faults == []
    assert all(set(fields) <= framing.fields for _, fields in wanted.frames)
    check_decoder(framing.decoder, wanted.frames, wanted.noise, whole_pieces=wanted.whole_pieces)
    for _, fields in wanted.frames:
        (frame,) = framing.decoder().feed(Chunk(0, framing.encode(fields)))
        assert isinstance(frame, Frame)
        assert frame.fields == fields, "what encode writes decodes to the same fields"


@pytest.mark.parametrize("entry", DATASHEETS, ids=lambda entry: entry.name)
def test_every_bundled_datasheet_keeps_the_contract(entry) -> None:
    datasheet = check_datasheet(entry.read_text(encoding="utf-8"))
    assert f"{datasheet.name}.toml" == entry.name


def line() -> LineFraming:
    return LineFraming(Section(case(SAMPLES / "line.toml").options))


class LosesTheSecond(LineDecoder):
    """Gives only the first of the frames that came glued."""

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        return super().feed(chunk)[:1]


class ForgetsTheRest(LineDecoder):
    """Keeps nothing from one chunk to the next."""

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        found = super().feed(chunk)
        self._lines.take_back()
        return found


class RaisesOnNoise(LineDecoder):
    """Takes whatever comes for text."""

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        chunk.data.decode("ascii")
        return super().feed(chunk)


class HidesWhatIsLeft(LineDecoder):
    """Says nothing of a frame that the end of the connection cut off."""

    def finish(self, time_ns: int) -> list[Frame | Reject]:
        return []


@pytest.mark.parametrize(
    ("wrong", "rule"),
    [
        (LosesTheSecond, "glued"),
        (ForgetsTheRest, "byte by byte"),
        (RaisesOnNoise, "never raise"),
        (HidesWhatIsLeft, "left over"),
    ],
)
def test_the_contract_finds_decoders_that_break_it(wrong: type[LineDecoder], rule: str) -> None:
    lines = case(SAMPLES / "line.toml")

    def make() -> Decoder:
        return wrong(line())

    with pytest.raises(AssertionError, match=rule):
        check_decoder(make, lines.frames, lines.noise)


def test_the_datasheet_contract_finds_a_template_that_says_something_else() -> None:
    text = next(entry for entry in DATASHEETS if entry.name == "caliper-polled.toml").read_text(encoding="utf-8")
    with pytest.raises(AssertionError, match="is one reading"):
        check_datasheet(text.replace('template = "L={number}"', 'template = "M={number}"'))
