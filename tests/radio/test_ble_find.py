"""Looking around: who is heard, and where in it readings may come from."""

from __future__ import annotations

import pytest
from radio_bench.gauge import ANGLE, ANGLE_SERVICE, SERIAL_IN, SERIAL_OUT, SERIAL_SERVICE
from radio_bench.radio import Radio

from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.model.device import Sighting

WAIT_S = 0.4


async def around(radio: Radio) -> list[Sighting]:
    seen: list[Sighting] = []
    await radio.link_class.find(WAIT_S, seen.append)
    return seen


async def test_everyone_is_seen_once_and_again_when_the_name_comes(radio: Radio) -> None:
    gauges = {
        f"{radio.scheme}:{gauge.address}": gauge.build.name
        for gauge in (await radio.gauge(name="one"), await radio.gauge(name="other"))
    }
    seen = await around(radio)
    assert {each.address for each in seen} == set(gauges)
    assert len(seen) <= 2 * len(gauges)
    last = {each.address: each for each in seen}
    assert {address: each.name for address, each in last.items()} == gauges
    assert all(each.services == (ANGLE_SERVICE,) for each in last.values())
    assert all(each.strength_dbm is not None and -127 <= each.strength_dbm <= 20 for each in last.values())


async def test_a_gauge_that_is_connected_already_is_seen_too(radio: Radio) -> None:
    gauge = await radio.gauge()
    left = await radio.other_program(gauge)
    seen = await around(radio)
    await left.disconnect()
    assert [each.address for each in seen] == [f"{radio.scheme}:{gauge.address}"]
    assert seen[0].detail == "connected to this computer already"


async def test_the_ways_into_a_gauge_begin_with_what_describes_itself_and_all_of_them_open(radio: Radio) -> None:
    gauge = await radio.gauge()
    sighting = (await around(radio))[-1]
    ways = await radio.link_class.ways(sighting)
    assert [way.text for way in ways] == [
        f"{sighting.address}?service={ANGLE_SERVICE}&notify={ANGLE}&described=yes",
        f"{sighting.address}?service={SERIAL_SERVICE}&notify={SERIAL_OUT}&write={SERIAL_IN}",
    ]
    for way, sends in zip(ways, (gauge.shows(285), gauge.says(b"line\r\n")), strict=True):
        link = radio.link_class(way)
        await link.open()
        await sends
        assert (await link.receive()).data
        await link.close()


async def test_there_is_nothing_to_be_seen_while_bluetooth_is_off(radio: Radio) -> None:
    await radio.power(False)
    with pytest.raises(LinkFailedError) as failed:
        await around(radio)
    await radio.power(True)
    assert failed.value.reason is LinkReason.RADIO_OFF


async def test_a_gauge_that_went_away_has_no_ways(radio: Radio, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gaugelog.links.ble_address.FIND_S", 0.3)
    with pytest.raises(LinkFailedError) as failed:
        await radio.link_class.ways(Sighting(f"{radio.scheme}:C0:11:22:33:44:55"))
    assert failed.value.reason is LinkReason.NOT_FOUND
