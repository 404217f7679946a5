"""Checks against the catalogue, an independent library, and published frames."""

from __future__ import annotations

import csv
from pathlib import Path

import crccheck.crc
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.frames.checks import crc, crc_names, read_check
from gaugelog.model.section import Section

CATALOGUE = Path(__file__).parents[1] / "oracles" / "crc_catalogue.csv"
CHECK_INPUT = b"123456789"
SECOND_INPUT = b"\x01\x02\x03"


def models() -> list[dict[str, str]]:
    lines = [line for line in CATALOGUE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


MODELS = models()


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model["name"])
def test_a_crc_by_name_has_the_check_value_of_the_catalogue(model: dict[str, str]) -> None:
    found = crc(model["name"])
    assert found.compute(CHECK_INPUT) == int(model["check"], 16)
    assert 8 * found.size >= int(model["width"])


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model["name"])
def test_a_crc_by_its_parameters_is_the_same(model: dict[str, str]) -> None:
    numbers = {name: int(model[name], 0) for name in ("width", "poly", "init", "xorout")}
    section = Section({"kind": "crc", **numbers, "refin": model["refin"] == "1", "refout": model["refout"] == "1"})
    found = read_check(section)
    section.done()
    assert section.faults == []
    assert found is not None
    for data in (CHECK_INPUT, SECOND_INPUT, b"\x00", b"\xff" * 40):
        assert found.compute(data) == crc(model["name"]).compute(data)


def test_two_of_the_catalogue_share_a_check_value_and_differ_on_other_bytes() -> None:
    """CRC-8/MAXIM-DOW and CRC-8/I-432-1 both give A1; 01 02 03 gives D8 and 1D (computed bit by bit)."""
    dow, itu = crc("CRC-8/MAXIM-DOW"), crc("CRC-8/I-432-1")
    assert dow.compute(CHECK_INPUT) == itu.compute(CHECK_INPUT) == 0xA1
    assert (dow.compute(SECOND_INPUT), itu.compute(SECOND_INPUT)) == (0xD8, 0x1D)


def independent() -> dict[tuple[int, ...], type]:
    """The algorithms of crccheck by their parameters."""
    known = crccheck.crc.ALLCRCCLASSES
    return {
        (each._width, each._poly, each._initvalue, each._reflect_input, each._reflect_output, each._xor_output): each
        for each in known
    }


@given(data=st.binary(min_size=1, max_size=60))
@pytest.mark.parametrize("model", MODELS, ids=lambda model: model["name"])
def test_an_independent_library_agrees_on_any_bytes(model: dict[str, str], data: bytes) -> None:
    names = ("width", "poly", "init", "refin", "refout", "xorout")
    other = independent()[tuple(int(model[name], 0) for name in names)]
    assert crc(model["name"]).compute(data) == other.calc(data)


@pytest.mark.parametrize("name", ["CRC-16/MODBUS", "crc16_modbus", "Crc-16 Modbus", "MODBUS"])
def test_a_name_may_be_written_loosely(name: str) -> None:
    assert crc(name).compute(CHECK_INPUT) == 0x4B37
    assert crc(name).name == "CRC-16/MODBUS"


def test_no_two_names_become_one_when_written_loosely() -> None:
    loose = {crc(name).name for name in crc_names()}
    assert len(loose) == len(crc_names()) > 80


@pytest.mark.parametrize(
    ("kind", "data", "wanted"),
    [
        # MODBUS over Serial Line V1.02 (LRC): the sum of all bytes and the check is nought; worked by hand.
        ("lrc", bytes.fromhex("11 03 00 6B 00 03"), 0x7E),
        ("sum8", b"\xff\x02", 0x01),
        ("sum16", b"\xff" * 300, 300 * 255 % 65536),
        ("xor8", b"\xaa\x55\x0f", 0xF0),
    ],
)
def test_simple_checks_worked_by_hand(kind: str, data: bytes, wanted: int) -> None:
    found = read_check(Section({"kind": kind}))
    assert found is not None
    assert found.compute(data) == wanted
    assert wanted < 256**found.size


def test_a_wrong_name_is_a_fault_that_offers_near_ones() -> None:
    section = Section({"kind": "CRC-16/MODBUZ"}, "framing.check")
    assert read_check(section) is None
    (fault,) = section.faults
    assert fault.key == "framing.check.kind"
    assert "CRC-16/MODBUS" in fault.wanted


def test_a_crc_narrower_than_a_byte_is_refused() -> None:
    with pytest.raises(ValueError, match="CRC-4"):
        crc("CRC-4/G-704")


def test_all_faults_of_the_parameters_come_at_once() -> None:
    section = Section({"kind": "crc", "width": 70, "poly": 0, "xorout": -1}, "check")
    assert read_check(section) is None
    assert {fault.key for fault in section.faults} == {"check.width", "check.poly", "check.init", "check.xorout"}
