"""Which ports are there, under which name, and at which speeds they are listened to."""

from __future__ import annotations

from pathlib import Path

import pytest

from gaugelog.links import Finds
from gaugelog.links.ports import SPEEDS, SerialPort, lasting_path, path_in_address, port_at
from gaugelog.links.serial_port import SerialLink
from gaugelog.model.device import Sighting
from gaugelog.model.gauges import parse_address


def test_the_lasting_name_of_a_port_is_the_link_by_its_hardware(tmp_path: Path) -> None:
    port = tmp_path / "ttyUSB7"
    port.touch()
    (tmp_path / "by-id").mkdir()
    link = tmp_path / "by-id" / "usb-adapter-if00"
    link.symlink_to(port)
    assert lasting_path(str(port), tmp_path / "by-id") == str(link)
    assert lasting_path(str(tmp_path / "ttyUSB8"), tmp_path / "by-id") == str(tmp_path / "ttyUSB8")
    assert lasting_path("COM4", tmp_path / "no such folder") == "COM4"


def test_a_port_is_known_by_its_own_path_and_by_a_link_to_it(tmp_path: Path) -> None:
    port = tmp_path / "ttyUSB7"
    port.touch()
    link = tmp_path / "usb-adapter-if00"
    link.symlink_to(port)
    ports = (SerialPort("/dev/ttyX1"), SerialPort(str(port), identity="1/2/A17/"))
    assert port_at(str(port), ports) == port_at(str(link), ports) == ports[1]
    assert port_at(str(tmp_path / "ttyUSB8"), ports) is None


@pytest.mark.parametrize("path", ["/dev/ttyUSB0", "COM4", "/dev/odd?name", "/dev/100%"])
def test_a_path_comes_back_out_of_an_address(path: str) -> None:
    assert parse_address(f"serial:{path_in_address(path)}?baud=9600").target == path


async def test_ports_are_found_at_once_and_tried_at_each_speed(monkeypatch: pytest.MonkeyPatch) -> None:
    there = (SerialPort("/dev/ttyX1", "an adapter", "USB 1:2"), SerialPort("/dev/ttyX2"))
    monkeypatch.setattr("gaugelog.links.serial_port.serial_ports", lambda: there)
    monkeypatch.setattr("gaugelog.links.serial_port.lasting_path", lambda path: path.replace("ttyX2", "lasting"))
    assert issubclass(SerialLink, Finds)
    seen: list[Sighting] = []
    await SerialLink.find(60.0, seen.append)
    assert seen == [
        Sighting("serial:/dev/ttyX1", "an adapter", "USB 1:2"),
        Sighting("serial:/dev/lasting", "", "/dev/ttyX2"),
    ]
    ways = await SerialLink.ways(seen[0])
    assert [SerialLink(way).address.options["baud"] for way in ways] == [str(speed) for speed in SPEEDS]
    assert ways[0].text == "serial:/dev/ttyX1?baud=9600"
