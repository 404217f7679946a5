"""From a gauge's name to its stream."""

from __future__ import annotations

from pathlib import Path

import pytest

from gaugelog.errors import AddressError, UnknownDatasheetError, UnknownPluginError
from gaugelog.gauges.connect import open_gauge
from gaugelog.gauges.simulated import SimulatedLink
from gaugelog.links.serial_port import SerialLink
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
    with pytest.raises(AddressError):
        open_gauge("angle-line")


async def test_a_plain_file_is_replayed_at_the_datasheets_rate(tmp_path: Path) -> None:
    (tmp_path / "bytes.txt").write_bytes(b"+2.85\r\n" * 3)
    gauge = open_gauge(f"angle-line@replay:{tmp_path}/bytes.txt?speed=max")
    times = [e.chunk.time_ns async for e in gauge.events() if isinstance(e, Heard) and e.chunk.data]
    assert gauge.datasheet.rate_hz
    assert times[1] - times[0] == round(1e9 / gauge.datasheet.rate_hz)
