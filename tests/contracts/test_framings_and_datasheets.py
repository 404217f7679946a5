"""One contract over every framing in the plug-in table and every bundled datasheet; and the contract itself held."""

from __future__ import annotations

from importlib.resources import files

import pytest

from gaugelog.frames import Decoder
from gaugelog.frames.line import LineDecoder, LineFraming
from gaugelog.model.readings import Chunk, Frame, Reject
from gaugelog.model.section import Section
from gaugelog.plugins import BUILT_IN, FRAMINGS, load
from gaugelog.testing import Sample, check_datasheet, check_decoder

LINE_OPTIONS = {
    "pattern": r"(?P<number>[+-]?\d+\.\d+) (?P<unit>mm|in)(?: (?P<mark>L))?",
    "template": "{number} {unit} {mark}",
}
SAMPLES: dict[str, tuple[dict[str, str], list[Sample], bytes]] = {
    "line": (
        LINE_OPTIONS,
        [
            (b"+2.85 mm\r\n", {"number": "+2.85", "unit": "mm"}),
            (b"-0.35 in L\r\n", {"number": "-0.35", "unit": "in", "mark": "L"}),
            (b"+2.85 mm\r\n", {"number": "+2.85", "unit": "mm"}),
        ],
        b"\x00\xff 12 furlongs\r\n",
    ),
}
DATASHEETS = sorted(
    (entry for entry in files("gaugelog.datasheets").joinpath("bundled").iterdir() if entry.name.endswith(".toml")),
    key=lambda entry: entry.name,
)


@pytest.mark.parametrize("name", sorted(BUILT_IN[FRAMINGS]))
def test_every_framing_keeps_the_contract(name: str) -> None:
    assert name in SAMPLES, "a new framing brings samples of its frames"
    options, samples, noise = SAMPLES[name]
    section = Section(options)
    framing = load(FRAMINGS, name)(section)
    assert section.faults == []
    check_decoder(framing.decoder, samples, noise)


@pytest.mark.parametrize("entry", DATASHEETS, ids=lambda entry: entry.name)
def test_every_bundled_datasheet_keeps_the_contract(entry) -> None:
    datasheet = check_datasheet(entry.read_text(encoding="utf-8"))
    assert f"{datasheet.name}.toml" == entry.name


def line() -> LineFraming:
    return LineFraming(Section(LINE_OPTIONS))


class LosesTheSecond(LineDecoder):
    """Gives only the first of the frames that came glued."""

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        return super().feed(chunk)[:1]


class ForgetsTheRest(LineDecoder):
    """Keeps nothing from one chunk to the next."""

    def feed(self, chunk: Chunk) -> list[Frame | Reject]:
        found = super().feed(chunk)
        self._kept = b""
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
    _, samples, noise = SAMPLES["line"]

    def make() -> Decoder:
        return wrong(line())

    with pytest.raises(AssertionError, match=rule):
        check_decoder(make, samples, noise)


def test_the_datasheet_contract_finds_a_template_that_says_something_else() -> None:
    text = next(entry for entry in DATASHEETS if entry.name == "caliper-polled.toml").read_text(encoding="utf-8")
    with pytest.raises(AssertionError, match="is one reading"):
        check_datasheet(text.replace('template = "L={number}"', 'template = "M={number}"'))
