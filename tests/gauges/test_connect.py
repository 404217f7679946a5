"""From a gauge's name to its stream."""

from __future__ import annotations

from pathlib import Path

import pytest

from gaugelog.errors import AddressError, UnknownDatasheetError, UnknownPluginError
from gaugelog.gauges.connect import open_gauge
from gaugelog.gauges.simulated import SimulatedLink
from gaugelog.links.ble import BleLink
from gaugelog.links.faults import FaultLink
from gaugelog.links.serial_port import SerialLink
from gaugelog.links.tap import TapLink
from gaugelog.links.tcp import TcpLink
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.readings import Heard


def test_a_gauge_goes_by_the_name_given_else_its_own() -> None:
    text = "angle-line@serial:/dev/ttyUSB0?baud=4800"
    named = NamedGauge("neck", parse_gauge(text), "no. 7")
    assert open_gauge(text).name == "angle-line"
    assert open_gauge(named).name == "neck"
    assert open_gauge(named, name="body").name == "body"
    assert open_gauge(parse_gauge(text, "n")).name == "n"
    assert isinstance(open_gauge(text).link, SerialLink)
    assert isinstance(open_gauge("angle-line@sim:").link, SimulatedLink)


def test_what_is_not_known() -> None:
    with pytest.raises(UnknownDatasheetError):
        open_gauge("angle-lime@sim:")
    with pytest.raises(UnknownPluginError) as unknown:
        open_gauge("angle-line@seriel:/dev/ttyUSB0")
    assert unknown.value.nearest[0] == "serial"
    assert {"sim", "tcp", "ble"} <= set(unknown.value.known)
    with pytest.raises(AddressError):
        open_gauge("angle-line")


async def test_a_plain_file_is_replayed_at_the_datasheets_rate(tmp_path: Path) -> None:
    (tmp_path / "bytes.txt").write_bytes(b"+2.85\r\n" * 3)
    gauge = open_gauge(f"angle-line@replay:{tmp_path}/bytes.txt?speed=max")
    times = [e.chunk.time_ns async for e in gauge.events() if isinstance(e, Heard) and e.chunk.data]
    assert gauge.datasheet.rate_hz
    assert times[1] - times[0] == round(1e9 / gauge.datasheet.rate_hz)


def test_what_the_address_leaves_open_the_datasheet_fills_in(tmp_path: Path) -> None:
    text = """
name = "in-the-air"
title = "invented angle gauge that describes its value"
quantity = "angle"
sends = "steadily"
rate_hz = 8
resolution = 0.01
[framing]
kind = "described"
[value]
unit = "deg"
unit_field = "unit"
units = {degree = "deg"}
[radio]
service = "a5c10000-0b1e-4d2f-9a63-6e75616765a1"
notify = "2a6e"
"""
    (tmp_path / "in-the-air.toml").write_text(text, encoding="utf-8")
    link = open_gauge("in-the-air@ble:bench?find=3", [tmp_path]).link
    assert isinstance(link, BleLink)
    assert link.address.options == {
        "find": "3",
        "service": "a5c10000-0b1e-4d2f-9a63-6e75616765a1",
        "notify": "2a6e",
        "described": "yes",
    }


def test_taps_and_faults_stand_around_any_link(tmp_path: Path) -> None:
    link = open_gauge(f"angle-line@tcp:bench:4001?within=2&faults=cut:0.5&tap={tmp_path}/a.log").link
    assert isinstance(link, TapLink)
    assert isinstance(link.inner, FaultLink)
    assert isinstance(link.inner.inner, TcpLink)
    assert "faults=cut:0.5" in link.address.text, "the recording keeps that the link was spoilt on purpose"
    with pytest.raises(AddressError):
        open_gauge("angle-line@sim:?faults=cat:1")
