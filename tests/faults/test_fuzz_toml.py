"""Damaged datasheets and instrument files: refused in words with every fault, or taken and then good for all work."""

from __future__ import annotations

import contextlib
import io
import os
import tempfile
from collections.abc import Iterator
from importlib.resources import files as resources
from pathlib import Path

import fuzz_inputs as fuzz
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.cli.main import main
from gaugelog.datasheets.catalogue import read_datasheet_file
from gaugelog.datasheets.meaning import Decoding, Encoding
from gaugelog.datasheets.read import read_datasheet
from gaugelog.errors import Fault, FaultyDatasheetError, FaultyFileError, FaultyInstrumentError, GaugelogError
from gaugelog.instruments.find import read_instrument_file
from gaugelog.instruments.gauge_entry import with_gauge
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.written_steps import written_steps
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.readings import Chunk, Flag, Reading, Reject

BUNDLED = tuple(
    entry.read_text(encoding="utf-8")
    for entry in sorted(resources("gaugelog.datasheets").joinpath("bundled").iterdir(), key=lambda e: e.name)
    if entry.name.endswith(".toml")
)
PLANS = tuple(new_instrument("baritone", gauges=each) for each in ("none", "one", "two"))
COMMANDS = (["checkpoints"], ["checkpoints", "--json"], ["neck", "--angle", "2.8"], ["ready"], ["neck", "--cut"])

telling = pytest.fixture(autouse=True, scope="module")(fuzz.tell)


def faults_named(error: FaultyFileError) -> None:
    """Every fault says where it is, what was found and what is wanted, and the error shows each."""
    assert error.faults
    assert all(isinstance(fault, Fault) and fault.key and fault.wanted for fault in error.faults)
    assert all(str(fault) in str(error) for fault in error.faults)


def works(sheet: Datasheet, pieces: list[bytes]) -> None:
    """A datasheet that was taken decodes whatever comes, and encodes what it can show."""
    decoding, sent = Decoding(sheet, "neck"), []
    for value in (0.0, 2.85, -0.35, sheet.resolution, 1e6):
        with contextlib.suppress(ValueError):  # a unit or a number that this gauge can't show
            sent.append(Encoding(sheet).encode(value, flags=Flag.HOLD))
    heard = [decoding.feed(Chunk(place * 10**8, piece)) for place, piece in enumerate([*pieces, *sent, b""])]
    heard.append(decoding.finish(10**10))
    items = [item for each in heard for item in each.items]
    assert all(isinstance(item, Reading | Reject) for item in items)
    assert sheet.longest_silence_s is None or sheet.longest_silence_s > 0


@fuzz.few(400)
@given(written=fuzz.files(BUNDLED), pieces=st.lists(st.binary(max_size=40), max_size=4))
def test_a_damaged_datasheet_is_refused_in_words_or_works(written: bytes, pieces: list[bytes]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "gauge.toml")
        path.write_bytes(written)
        try:
            sheet = read_datasheet_file(path)
        except FaultyDatasheetError as error:
            faults_named(error)
            fuzz.count("datasheet", "refused, with its faults")
        except GaugelogError as error:
            fuzz.refused("datasheet", error)
        else:
            works(sheet, pieces)
            fuzz.count("datasheet", "taken, and worked")


@contextlib.contextmanager
def standing_in(folder: str) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def carried_through(path: Path) -> None:
    """What was taken goes through the commands that work from an instrument file alone: no fault of gaugelog's."""
    for command in COMMANDS:
        said = io.StringIO()
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            status = main([*command, "--instrument", str(path)])
        assert status in (0, 1, 2, 3), f"{command}: {said.getvalue()[-2000:]}"


@fuzz.few(100)
@given(written=fuzz.files(PLANS))
def test_a_damaged_instrument_file_is_refused_in_words_or_works(written: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder, standing_in(folder):
        path = Path(folder, "baritone.toml")
        path.write_bytes(written)
        try:
            instrument = read_instrument_file(path)
        except FaultyInstrumentError as error:
            faults_named(error)
            fuzz.count("instrument file", "refused, with its faults")
        except GaugelogError as error:
            fuzz.refused("instrument file", error)
        else:
            written_steps(instrument.text)
            with contextlib.suppress(GaugelogError):
                with_gauge(instrument.text, "another", "ruler@typed:", "a test")
            carried_through(path)
            fuzz.count("instrument file", "taken, and carried through")


@fuzz.few(60)
@given(data=st.data())
def test_all_faults_are_told_at_once_with_their_keys(data: st.DataObject) -> None:
    """Each of several keys gets a value of a type that it can't have: each is named, whatever the others are."""
    import tomlkit

    for texts, read in ((BUNDLED, read_datasheet), (PLANS, read_instrument)):
        document = tomlkit.parse(data.draw(st.sampled_from(texts))).unwrap()
        keys = [way for way in fuzz.places(document) if len(way) == 1 and way[0] != "checkpoint"]
        chosen = data.draw(st.lists(st.sampled_from(keys), min_size=1, max_size=4, unique=True))
        for (key,) in chosen:
            document[key] = [[True]]
        document["unheard-of"] = 1
        with pytest.raises(FaultyFileError) as refused:
            read(tomlkit.dumps(document), "a test")
        named = {fault.key for fault in refused.value.faults}
        assert {"unheard-of", *(key for (key,) in chosen)} <= named
        faults_named(refused.value)
        fuzz.count("several faults", "all named")
