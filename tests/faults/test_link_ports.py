"""A serial port that goes and comes: under its name, under another, and with another gauge under its name.

The bytes go through real ptys that are closed and made anew. Which ports the system names, and with which serial
numbers, is put in by hand, in pyserial's own words: a pty has no hardware.
"""

from __future__ import annotations

import asyncio
import os
import tty
from collections.abc import AsyncIterator, Callable
from contextlib import aclosing
from pathlib import Path

import pytest
from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.datasheets.meaning import Encoding
from gaugelog.gauges import stream
from gaugelog.gauges.connect import open_gauge
from gaugelog.gauges.stream import GaugeEvent
from gaugelog.model.readings import Heard, LinkChange, LinkState, Reading

LINE = Encoding(find_datasheet("angle-line"))


class Hub:
    """A hub with adapters: each a pty at a path, with a serial number or none."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._far: dict[str, tuple[int, int]] = {}
        self._numbers: dict[str, str | None] = {}

    def path(self, name: str) -> str:
        return str(self._folder / name)

    def plug(self, name: str, number: str | None) -> None:
        """Let an adapter appear under a name."""
        far, near = os.openpty()
        tty.setraw(near)
        os.symlink(os.ttyname(near), self.path(name))
        self._far[name], self._numbers[name] = (far, near), number

    def unplug(self, name: str) -> None:
        """Let it go."""
        os.unlink(self.path(name))
        for end in self._far.pop(name):
            os.close(end)

    def says(self, name: str, value: float) -> None:
        os.write(self._far[name][0], LINE.encode(value))

    def ports(self) -> list[ListPortInfo]:
        """The ports as pyserial would tell of them."""
        found = []
        for name in self._far:
            port = ListPortInfo(self.path(name))
            port.vid, port.pid, port.serial_number, port.location = 0x1234, 0x5678, self._numbers[name], "1-2"
            found.append(port)
        return found

    def close(self) -> None:
        for name in tuple(self._far):
            self.unplug(name)


@pytest.fixture
def hub(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    hub = Hub(tmp_path)
    monkeypatch.setattr(list_ports, "comports", hub.ports)
    monkeypatch.setattr("gaugelog.links.ports.os.path.realpath", lambda path: path)  # the links stand for the ports
    monkeypatch.setattr(stream, "FIRST_PAUSE_S", 0.02)
    monkeypatch.setattr(stream, "LONGEST_PAUSE_S", 0.1)
    yield hub
    hub.close()


async def until(events: AsyncIterator[GaugeEvent], true: Callable[[GaugeEvent], bool], seen: list[GaugeEvent]) -> None:
    async with asyncio.timeout(10):
        while True:
            seen.append(await anext(events))
            if true(seen[-1]):
                return


def shows(value: float) -> Callable[[GaugeEvent], bool]:
    return lambda event: (
        isinstance(event, Heard) and any(isinstance(item, Reading) and item.value == value for item in event.items)
    )


def is_change(state: LinkState, words: str = "") -> Callable[[GaugeEvent], bool]:
    return lambda event: isinstance(event, LinkChange) and event.state is state and words in event.detail


def values(seen: list[GaugeEvent]) -> list[float]:
    return [item.value for event in seen if isinstance(event, Heard) for item in event.items]


async def opened(hub: Hub, seen: list[GaugeEvent]) -> AsyncIterator[GaugeEvent]:
    """Open the gauge at ttyA and hear it once."""
    events = open_gauge(f"angle-line@serial:{hub.path('ttyA')}", reconnect=True).events()
    await until(events, is_change(LinkState.OPEN), seen)
    hub.says("ttyA", 2.85)
    await until(events, shows(2.85), seen)
    return events


async def test_an_adapter_that_comes_back_under_another_name_is_followed_and_told(hub: Hub) -> None:
    hub.plug("ttyA", "A17")
    seen: list[GaugeEvent] = []
    async with aclosing(await opened(hub, seen)) as events:
        hub.unplug("ttyA")
        hub.plug("ttyB", "A17")
        await until(events, is_change(LinkState.LOST), seen)
        await until(events, is_change(LinkState.OPEN), seen)
        hub.says("ttyB", 3.10)
        await until(events, is_change(LinkState.OPEN, f"it has come back as {hub.path('ttyB')}"), seen)
        hub.unplug("ttyB")
        hub.plug("ttyA", "A17")
        await until(events, is_change(LinkState.OPEN), seen)
        hub.says("ttyA", 3.20)
        await until(events, shows(3.20), seen)
    assert values(seen) == [2.85, 3.10, 3.20]


async def test_another_gauge_at_the_old_name_is_never_taken_for_it(hub: Hub) -> None:
    hub.plug("ttyA", "A17")
    hub.plug("ttyB", "B42")
    seen: list[GaugeEvent] = []
    async with aclosing(await opened(hub, seen)) as events:
        hub.unplug("ttyA")
        hub.unplug("ttyB")
        hub.plug("ttyA", "B42")
        await until(events, is_change(LinkState.LOST, "another device is at"), seen)
        hub.says("ttyA", 9.90)
        hub.plug("ttyB", "A17")  # the two have changed their names
        await until(events, is_change(LinkState.OPEN), seen)
        hub.says("ttyB", 3.10)
        await until(events, shows(3.10), seen)
    assert values(seen) == [2.85, 3.10]


@pytest.mark.parametrize("numbers", [(None, None), ("0001", "0001")], ids=["no number", "all the same number"])
async def test_what_can_not_be_told_apart_is_not_guessed_but_named(hub: Hub, numbers) -> None:
    hub.plug("ttyA", numbers[0])
    hub.plug("ttyZ", numbers[1])
    seen: list[GaugeEvent] = []
    async with aclosing(await opened(hub, seen)) as events:
        hub.unplug("ttyA")
        await until(events, is_change(LinkState.LOST), seen)
        hub.plug("ttyB", numbers[0])
        told = f"{hub.path('ttyA')} is not there any more; {hub.path('ttyB')} has come since"
        await until(events, is_change(LinkState.LOST, told), seen)
        assert "name that one in the instrument file" in seen[-1].detail
        hub.unplug("ttyB")
        hub.plug("ttyA", numbers[0])
        await until(events, is_change(LinkState.OPEN), seen)
        hub.says("ttyA", 3.10)
        await until(events, shows(3.10), seen)
    assert values(seen) == [2.85, 3.10]


async def test_a_port_that_goes_and_comes_twenty_times_gives_every_reading_once(hub: Hub) -> None:
    seen: list[GaugeEvent] = []
    hub.plug("ttyA", None)
    async with aclosing(await opened(hub, seen)) as events:
        for turn in range(20):
            hub.unplug("ttyA")
            await until(events, is_change(LinkState.LOST), seen)
            hub.plug("ttyA", None)
            await until(events, is_change(LinkState.OPEN), seen)
            hub.says("ttyA", turn / 20)
            await until(events, shows(turn / 20), seen)
    assert values(seen) == [2.85, *(turn / 20 for turn in range(20))]
