"""What a gauge tells of itself over the air: device information and battery."""

from __future__ import annotations

import asyncio

import pytest
from bumble.att import ATT_Error, ErrorCode
from radio_bench.gauge import ANGLE, VirtualGauge
from radio_bench.radio import Radio

from gaugelog.errors import LinkFailedError
from gaugelog.links.ble import BleLink
from gaugelog.model.device import Device

WHOLE = Device("bench-angle", "Synthetic Workshop", "invented angle gauge", "A-000123", "0.1", 87)
WITHIN_S = 5.0


async def opened(radio: Radio, gauge: VirtualGauge) -> BleLink:
    link = radio.link(gauge.address, f"notify={ANGLE}")
    await link.open()
    return link


async def battery_is(link: BleLink, percent: int) -> None:
    """Wait until the battery is told to be at `percent`."""
    async with asyncio.timeout(WITHIN_S):
        while link.device is None or link.device.battery_percent != percent:
            await link.receive()


async def test_everything_that_is_offered_is_known_once_it_is_open(radio: Radio) -> None:
    link = await opened(radio, await radio.gauge())
    assert link.device == WHOLE
    await link.close()


async def test_a_battery_that_tells_keeps_the_device_up_to_date(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = await opened(radio, gauge)
    await gauge.battery_falls_to(9)
    await battery_is(link, 9)
    assert (await link.receive()).data == b"", "the battery is no reading"
    await link.close()


async def test_a_battery_that_does_not_tell_is_read_again(radio: Radio, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gaugelog.links.ble_device.BATTERY_AGAIN_S", 0.1)
    gauge = await radio.gauge(battery_tells=False)
    link = await opened(radio, gauge)
    assert link.device is not None
    assert link.device.battery_percent == 87
    gauge.battery = 12
    await battery_is(link, 12)
    await link.close()


async def test_what_is_not_offered_is_empty_and_a_battery_above_100_percent_means_nothing(radio: Radio) -> None:
    bare = await opened(radio, await radio.gauge(name="bare", informs=False))
    assert bare.device == Device("bare")
    odd_gauge = await radio.gauge(name="odd")
    odd_gauge.battery = 255
    odd = await opened(radio, odd_gauge)
    assert odd.device is not None
    assert odd.device.battery_percent is None
    await bare.close()
    await odd.close()


async def test_what_can_not_be_read_is_left_out_and_the_gauge_is_read_all_the_same(radio: Radio) -> None:
    def refuse() -> bytes:
        raise ATT_Error(ErrorCode.READ_NOT_PERMITTED)

    gauge = await radio.gauge()
    gauge.battery_answer = refuse
    link = await opened(radio, gauge)
    assert link.device is not None
    assert (link.device.maker, link.device.battery_percent) == (WHOLE.maker, None)
    await gauge.shows(285)
    assert (await link.receive()).data == b"\x1d\x01"
    await link.close()


async def test_a_gauge_that_hangs_up_while_it_is_asked_fails_in_words(radio: Radio) -> None:
    gauge = await radio.gauge()
    hanging_up: list[asyncio.Task[None]] = []

    def hang_up() -> bytes:
        hanging_up.append(asyncio.create_task(gauge.hang_up()))
        return b""

    gauge.battery_answer = hang_up
    with pytest.raises(LinkFailedError) as failed:
        await opened(radio, gauge)
    assert "the gauge hung up" in failed.value.detail
    await hanging_up[0]
