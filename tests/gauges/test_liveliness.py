"""Silence, sleep and loss told apart; a link that went deaf opened anew; what a device says of itself."""

from __future__ import annotations

import asyncio
from contextlib import aclosing
from pathlib import Path

import pytest

from gaugelog.datasheets.meaning import Encoding
from gaugelog.datasheets.read import read_datasheet
from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.gauges import stream
from gaugelog.gauges.liveliness import Liveliness
from gaugelog.gauges.stream import GaugeStream
from gaugelog.links.pair import MemoryEnd, memory_pair
from gaugelog.model.device import Device
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Flag, Heard, LinkChange, LinkState, Reading, Reject, RejectReason

NS = 1_000_000_000
TEXT = Path(__file__).with_name("sleepy.toml").read_text(encoding="utf-8")
SHEET = read_datasheet(TEXT, "sleepy")
RESTLESS = read_datasheet(TEXT.replace("awake_s = 60\n", ""), "restless")


def heard(seconds: float, value: float | None = None) -> Heard:
    time_ns = round(seconds * NS)
    if value is None:
        return Heard("g", Chunk(time_ns, b""))
    reading = Reading(time_ns, "g", Quantity.ANGLE, value, f"{value:.2f}", "deg", 0.05)
    return Heard("g", Chunk(time_ns, b"x"), (reading,))


def states(liveliness: Liveliness, *heards: Heard) -> list[tuple[float, LinkState]]:
    found = [(each.chunk.time_ns / NS, liveliness.hear(each)) for each in heards]
    return [(seconds, state) for seconds, state in found if state is not None]


def test_a_steady_gauge_that_says_nothing_is_silent_until_it_speaks() -> None:
    liveliness = Liveliness(RESTLESS)
    liveliness.opened(0)
    beats = [heard(1, 2.0), heard(2.9), heard(3.1), heard(9.0), heard(9.5, 2.0)]
    assert states(liveliness, *beats) == [(3.1, LinkState.SILENT), (9.5, LinkState.OPEN)]


def rejected(seconds: float, reason: RejectReason) -> Heard:
    time_ns = round(seconds * NS)
    return Heard("g", Chunk(time_ns, b"?"), (Reject(time_ns, b"?", reason),))


def test_bytes_that_are_no_message_are_silence_and_what_the_gauge_says_of_itself_is_none() -> None:
    liveliness = Liveliness(RESTLESS)
    liveliness.opened(0)
    bad = [rejected(second / 2, RejectReason.NO_MATCH) for second in range(2, 8)]
    assert states(liveliness, heard(0.5, 2.0), *bad) == [(3.0, LinkState.SILENT)]
    assert liveliness.babbles
    assert (liveliness.silent_s(4 * NS), liveliness.no_bytes_s(4 * NS)) == (3.5, 0.5)
    assert states(liveliness, rejected(5, RejectReason.RANGE)) == [(5, LinkState.OPEN)]
    assert not liveliness.babbles


def test_one_that_babbles_is_not_asleep() -> None:
    liveliness = Liveliness(SHEET)
    liveliness.opened(0)
    still = [heard(s / 2, 2.0) for s in range(1, 125)]
    assert states(liveliness, *still, rejected(64, RejectReason.CHECKSUM), heard(70)) == [(70, LinkState.SILENT)]


def test_one_that_never_spoke_is_silent_too() -> None:
    liveliness = Liveliness(RESTLESS)
    liveliness.opened(5 * NS)
    assert states(liveliness, heard(6.9), heard(7.1)) == [(7.1, LinkState.SILENT)]


@pytest.mark.parametrize(
    ("moved_last_s", "wanted"), [(2.0, LinkState.ASLEEP), (40.0, LinkState.SILENT)], ids=["left alone", "just moved"]
)
def test_sleep_is_the_silence_of_one_that_was_left_alone(moved_last_s: float, wanted: LinkState) -> None:
    liveliness = Liveliness(SHEET)
    liveliness.opened(0)
    readings = [heard(s / 2, (2.0 if s / 2 < moved_last_s else 3.0) + 0.05 * (s % 2)) for s in range(1, 125)]
    assert states(liveliness, *readings, heard(70)) == [(70, wanted)]
    assert liveliness.lost() is (LinkState.ASLEEP if wanted is LinkState.ASLEEP else LinkState.LOST)


def test_silence_says_nothing_of_a_gauge_that_sends_on_change() -> None:
    text = TEXT.replace('"steadily"\nrate_hz = 10', '"on change"')
    liveliness = Liveliness(read_datasheet(text, "on-change"))
    liveliness.opened(0)
    assert states(liveliness, heard(1, 2.0), heard(4000)) == []
    assert liveliness.lost() is LinkState.LOST


class DeafLink(MemoryEnd):
    """A pair's end that may go deaf, to a device that tells of itself."""

    goes_deaf = True
    device = Device(name="bench gauge", serial_number="A17", battery_percent=9)

    async def receive(self) -> Chunk:
        await asyncio.sleep(0)
        self.now_ns = getattr(self, "now_ns", 0) + NS
        return Chunk(self.now_ns, b"")


async def test_a_link_that_goes_deaf_is_given_up_and_opened_anew() -> None:
    near, _ = memory_pair()
    deaf = DeafLink(near.address)
    gauge = GaugeStream(parse_gauge("restless@pair:near"), RESTLESS, deaf, reconnect=True, clock=lambda: 0)
    changes: list[LinkChange] = []
    async with asyncio.timeout(10), aclosing(gauge.events()) as events:
        async for event in events:
            if isinstance(event, LinkChange):
                changes.append(event)
                if len(changes) == 4:
                    break
    assert [change.state for change in changes] == [LinkState.OPEN, LinkState.SILENT, LinkState.LOST, LinkState.OPEN]
    assert changes[2].detail == "nothing came for 10 s"
    assert changes[0].device == DeafLink.device
    assert changes[0].words == "bench gauge, serial number A17, battery 9 %"


async def test_readings_of_a_device_with_a_low_battery_say_so() -> None:
    near, far = memory_pair()
    await far.open()
    near.device = Device(battery_percent=9)  # type: ignore[attr-defined]
    gauge = GaugeStream(parse_gauge("restless@pair:near"), RESTLESS, near)
    async with asyncio.timeout(10), aclosing(gauge.events()) as events:
        async for event in events:
            if isinstance(event, LinkChange):
                await far.send(Encoding(RESTLESS).encode(2.85))
            elif event.items:
                break
    (reading,) = event.items
    assert isinstance(reading, Reading)
    assert (reading.value, reading.flags) == (2.85, Flag.LOW_BATTERY)


class Moody(MemoryEnd):
    """A pair's end that can't be opened again for one reason after the other."""

    opened = 0

    async def open(self) -> None:
        self.opened += 1
        reasons = {2: LinkReason.NOT_FOUND, 3: LinkReason.RADIO_OFF, 4: LinkReason.RADIO_OFF, 5: LinkReason.NOT_FOUND}
        if self.opened in reasons:
            raise LinkFailedError(self.address.text, reasons[self.opened])
        await super().open()

    async def receive(self) -> Chunk:
        if self.opened == 1:
            raise LinkFailedError(self.address.text, LinkReason.LOST, "pulled out")
        return await super().receive()


async def test_each_new_reason_why_it_stays_away_is_told_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stream, "FIRST_PAUSE_S", 0.001)
    near, _ = memory_pair()
    gauge = GaugeStream(parse_gauge("restless@pair:near"), RESTLESS, Moody(near.address), reconnect=True)
    told: list[tuple[LinkState, str]] = []
    async with asyncio.timeout(10), aclosing(gauge.events()) as events:
        async for event in events:
            if isinstance(event, LinkChange):
                told.append((event.state, event.detail))
                if event.state is LinkState.OPEN and len(told) > 1:
                    break
    assert told == [
        (LinkState.OPEN, ""),
        (LinkState.LOST, "pulled out"),
        (LinkState.LOST, "Bluetooth is off"),
        (LinkState.LOST, "not found"),
        (LinkState.OPEN, ""),
    ]
