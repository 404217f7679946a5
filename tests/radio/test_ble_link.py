"""The Bluetooth LE link against gauges that are made of software: real packets on either radio."""

from __future__ import annotations

import asyncio

import pytest
from radio_bench.gauge import (
    ANGLE,
    ANGLE_SERVICE,
    FORBIDDEN,
    HUNDREDTHS_OF_A_DEGREE,
    QUESTION,
    SERIAL_IN,
    SERIAL_OUT,
    SERIAL_SERVICE,
    line_of,
)
from radio_bench.on_bluez import BluezRadio
from radio_bench.radio import Radio

from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.links import Finds, GoesDeaf, Suits, TellsDevice
from gaugelog.links.ble import BleLink
from gaugelog.model.readings import Chunk
from gaugelog.testing import check_link

WITHIN_S = 5.0
ANGLES = f"notify={ANGLE}"
LINES = f"service={SERIAL_SERVICE}&notify={SERIAL_OUT}"


async def chunks(link: BleLink, count: int) -> list[Chunk]:
    """Return the next chunks that are no ticks."""
    got: list[Chunk] = []
    async with asyncio.timeout(WITHIN_S):
        while len(got) < count:
            chunk = await link.receive()
            got += [chunk] if chunk.data else []
    return got


async def values(link: BleLink, count: int) -> list[int]:
    """Return the next notifications as 16 bits signed, little-endian."""
    return [int.from_bytes(chunk.data, "little", signed=True) for chunk in await chunks(link, count)]


async def nothing_more(link: BleLink, radio: Radio) -> None:
    """See that nothing is on its way any more."""
    await asyncio.sleep(radio.settle_s)
    assert (await link.receive()).data == b"", "something was delivered that nobody sent"


async def loss(link: BleLink) -> LinkFailedError:
    """Receive until the link is lost."""
    async with asyncio.timeout(WITHIN_S):
        while True:
            try:
                await link.receive()
            except LinkFailedError as lost:
                return lost


async def failure(link: BleLink) -> LinkFailedError:
    """Open a link that can't be opened."""
    with pytest.raises(LinkFailedError) as failed:
        await link.open()
    await link.close()
    assert failed.value.hint
    return failed.value


async def test_the_contract_of_a_link(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = radio.link(gauge.address, LINES)
    assert isinstance(link, TellsDevice)
    assert isinstance(link, GoesDeaf)
    assert isinstance(link, Suits)
    assert isinstance(link, Finds)
    await check_link(link, gauge.says, gauge.stop)


async def test_found_by_its_address_and_by_its_name_among_others(radio: Radio) -> None:
    await radio.gauge(name="another")
    gauge = await radio.gauge(name="bench-angle")
    for target in (gauge.address, gauge.address.lower(), "bench-angle"):
        link = radio.link(target, ANGLES)
        await link.open()
        await gauge.shows(285)
        assert await values(link, 1) == [285]
        await link.close()


async def test_two_of_one_name_are_not_guessed_between(radio: Radio) -> None:
    first, second = await radio.gauge(name="twin"), await radio.gauge(name="twin")
    failed = await failure(radio.link("twin", ANGLES))
    assert failed.reason is LinkReason.AMBIGUOUS
    assert first.address in failed.detail
    assert second.address in failed.detail


async def test_a_hundred_notifications_once_each_in_order_and_stamped_as_they_came(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = radio.link(gauge.address, ANGLES)
    await link.open()
    for count in range(100):
        await gauge.shows(count - 50)
    got = await chunks(link, 100)
    assert [int.from_bytes(each.data, "little", signed=True) for each in got] == list(range(-50, 50))
    assert [each.time_ns for each in got] == sorted(each.time_ns for each in got)
    await nothing_more(link, radio)
    await link.close()


async def test_a_value_that_repeats_arrives_as_often_as_it_was_sent(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = radio.link(gauge.address, ANGLES)
    await link.open()
    for _ in range(20):
        await gauge.shows(285)
    assert await values(link, 20) == [285] * 20
    await nothing_more(link, radio)
    await link.close()


async def test_hung_up_by_the_gauge_is_lost_at_once_and_opens_again_without_doubles(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = radio.link(gauge.address, ANGLES)
    for round_ in range(3):
        await link.open()
        for count in range(5):
            await gauge.shows(10 * round_ + count)
        assert await values(link, 5) == [10 * round_ + count for count in range(5)]
        await nothing_more(link, radio)
        await gauge.hang_up()
        lost = await loss(link)
        assert lost.reason is LinkReason.LOST
        with pytest.raises(LinkFailedError):
            await link.send(b"?")
        await link.close()


async def test_each_value_brings_its_description_when_asked_for(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = radio.link(gauge.address, f"{ANGLES}&described=yes")
    await link.open()
    await gauge.shows(-1234)
    assert (await chunks(link, 1))[0].data == HUNDREDTHS_OF_A_DEGREE + b"\x2e\xfb"
    await nothing_more(link, radio)
    await link.close()


async def test_a_line_split_over_notifications_is_asked_for_and_arrives_whole(radio: Radio) -> None:
    gauge = await radio.gauge(piece=5)
    gauge.hundredths = -35
    link = radio.link(gauge.address, LINES)
    await link.open()
    await link.send(QUESTION)
    got = await chunks(link, 3)
    assert b"".join(chunk.data for chunk in got) == line_of(-35)
    assert [len(chunk.data) for chunk in got] == [5, 5, 3]
    await link.close()


@pytest.mark.parametrize("question", [b"x" * 19 + b"\r", b"x" * 99 + b"READ?\r"])
async def test_small_packets_cut_what_is_sent_and_what_comes(radio: Radio, question: bytes) -> None:
    """23 bytes is the least a packet may hold (Bluetooth Core Specification, volume 3, part G, 5.2.1): 20 of value."""
    gauge = await radio.gauge(mtu=23, piece=100)
    link = radio.link(gauge.address, f"{LINES}&write={SERIAL_IN}")
    await link.open()
    await link.send(question)
    async with asyncio.timeout(WITHIN_S):
        while gauge.written != question:
            await asyncio.sleep(0.01)
    await gauge.says(b"0123456789" * 4)
    cut = await chunks(link, 2 if question.endswith(QUESTION) else 1)
    assert cut[-1].data == b"0123456789" * 2, "a gauge that sends more than fits has it cut off by its own radio"
    await link.close()


async def test_what_the_gauge_rejects_fails_and_the_link_goes_on(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = radio.link(gauge.address, LINES)
    await link.open()
    with pytest.raises(LinkFailedError) as rejected:
        await link.send(FORBIDDEN)
    assert rejected.value.reason is LinkReason.FAILED
    assert "Value Not Allowed" in rejected.value.detail
    await gauge.says(b"still here\r\n")
    assert (await chunks(link, 1))[0].data == b"still here\r\n"
    await link.close()


async def test_there_may_be_nothing_to_send_to(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = radio.link(gauge.address, ANGLES)
    await link.open()
    with pytest.raises(LinkFailedError) as missing:
        await link.send(QUESTION)
    assert missing.value.reason is LinkReason.NOT_OFFERED
    assert SERIAL_IN in missing.value.detail
    await link.close()


async def test_bluetooth_off_before_and_after_the_gauge_is_found(radio: Radio, monkeypatch: pytest.MonkeyPatch) -> None:
    from bleak import BleakClient

    connect = BleakClient.connect

    async def connect_too_late(client: BleakClient) -> None:
        await radio.power(False)
        await connect(client)

    gauge = await radio.gauge()
    link = radio.link(gauge.address, ANGLES)
    monkeypatch.setattr(BleakClient, "connect", connect_too_late)
    assert (await failure(link)).reason is LinkReason.RADIO_OFF
    assert (await failure(link)).reason is LinkReason.RADIO_OFF
    monkeypatch.setattr(BleakClient, "connect", connect)
    await radio.power(True)
    await link.open()
    await gauge.shows(1)
    assert await values(link, 1) == [1]
    await link.close()


async def test_bluetooth_switched_off_while_reading_is_a_loss(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = radio.link(gauge.address, ANGLES)
    await link.open()
    await radio.power(False)
    assert (await loss(link)).reason is LinkReason.LOST
    await link.close()
    assert (await failure(link)).reason is LinkReason.RADIO_OFF
    await radio.power(True)


@pytest.mark.quick_radio_only
async def test_no_adapter(radio: Radio, monkeypatch: pytest.MonkeyPatch) -> None:
    gauge = await radio.gauge()
    monkeypatch.delenv("VIRTUAL_RADIO_PORT")
    assert (await failure(radio.link(gauge.address, ANGLES))).reason is LinkReason.NO_ADAPTER


@pytest.mark.quick_radio_only
async def test_a_gauge_that_wants_to_be_paired_refuses(radio: Radio) -> None:
    """Only here: a whole system would pair by itself, or ask whoever sits before it."""
    gauge = await radio.gauge(wants_pairing=True)
    failed = await failure(radio.link(gauge.address, f"{ANGLES}&described=yes"))
    assert failed.reason is LinkReason.REFUSED
    assert failed.detail == "it wants to be paired"


@pytest.mark.parametrize("target", ["C0:11:22:33:44:55", "nobody-is-called-so"])
async def test_not_found(radio: Radio, target: str) -> None:
    await radio.gauge()
    failed = await failure(radio.link(target, f"{ANGLES}&find=0.3"))
    assert failed.reason is LinkReason.NOT_FOUND
    assert failed.detail == "out of range, switched off, or held by another program"


async def test_found_but_gone_before_it_is_connected_to(radio: Radio, monkeypatch: pytest.MonkeyPatch) -> None:
    from bleak import BleakClient

    connect = BleakClient.connect

    async def connect_too_late(client: BleakClient) -> None:
        await gauge.device.stop_advertising()
        await connect(client)

    gauge = await radio.gauge()
    monkeypatch.setattr(BleakClient, "connect", connect_too_late)
    monkeypatch.setattr("gaugelog.links.ble_connection.CONNECT_S", 0.3)
    failed = await failure(radio.link(gauge.address, ANGLES))
    assert failed.reason is LinkReason.NOT_FOUND
    await gauge.device.start_advertising()
    monkeypatch.undo()


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ("service=180d", "no service 180d; it has "),
        ("notify=2a37", "no characteristic 2a37; it has "),
        (f"notify={SERIAL_IN}", "does not notify"),
        (f"service={ANGLE_SERVICE}&notify={SERIAL_OUT}", "no characteristic"),
        (f"{LINES}&write={ANGLE}", "can't be written to"),
        ("", "2 that could be meant, notify= has to say which"),
        (f"notify={SERIAL_OUT}&described=yes", "does not describe its value"),
    ],
)
async def test_what_is_not_offered_is_told_with_what_is(radio: Radio, options: str, told: str) -> None:
    gauge = await radio.gauge()
    failed = await failure(radio.link(gauge.address, options))
    assert failed.reason is LinkReason.NOT_OFFERED
    assert told in failed.detail
    await asyncio.sleep(radio.settle_s)
    assert not gauge.device.connections, "what can't be used is let go"


async def test_the_only_one_that_notifies_needs_no_name(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = radio.link(gauge.address, f"service={ANGLE_SERVICE}")
    await link.open()
    await gauge.shows(285)
    assert await values(link, 1) == [285]
    await link.close()


async def test_the_only_one_that_describes_itself_needs_no_name(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = radio.link(gauge.address, "described=yes")
    await link.open()
    await gauge.shows(285)
    assert (await chunks(link, 1))[0].data[7:] == b"\x1d\x01"
    await link.close()


async def test_two_gauges_at_once_the_second_found_while_the_first_sends(radio: Radio) -> None:
    one, other = await radio.gauge(name="one"), await radio.gauge(name="other")
    first, second = radio.link(one.address, ANGLES), radio.link(other.address, ANGLES)
    await first.open()
    await one.shows(0)
    await second.open()
    for count in range(1, 20):
        await one.shows(count)
        await other.shows(-count)
    assert await values(first, 20) == list(range(20))
    assert await values(second, 19) == [-count for count in range(1, 20)]
    await first.close()
    await other.shows(-20)
    assert await values(second, 1) == [-20]
    await second.close()


async def test_two_gauges_looked_for_at_the_same_time(radio: Radio) -> None:
    one, other = await radio.gauge(name="one"), await radio.gauge(name="other")
    links = [radio.link(one.address, ANGLES), radio.link(other.address, ANGLES)]
    await asyncio.gather(*(link.open() for link in links))
    await one.shows(1)
    await other.shows(2)
    assert [await values(link, 1) for link in links] == [[1], [2]]
    for link in links:
        await link.close()


async def test_two_values_of_one_device_are_two_gauges_on_one_connection(radio: Radio) -> None:
    gauge = await radio.gauge()
    angles, lines = radio.link(gauge.address, ANGLES), radio.link(gauge.address, LINES)
    await angles.open()
    await lines.open()
    await gauge.shows(285)
    await gauge.says(b"2.85\r\n")
    assert await values(angles, 1) == [285]
    assert [each.data for each in await chunks(lines, 1)] == [b"2.85\r\n"]
    await nothing_more(angles, radio)
    await nothing_more(lines, radio)
    await lines.close()
    assert (await loss(angles)).reason is LinkReason.LOST, "who hangs up does so for both"
    await angles.close()


async def test_a_gauge_that_a_killed_program_left_connected_is_found(radio: Radio) -> None:
    gauge = await radio.gauge()
    left = await radio.other_program(gauge)
    link = radio.link(gauge.address, f"{ANGLES}&find=0.3")
    await link.open()
    await gauge.shows(285)
    assert await values(link, 1) == [285]
    await nothing_more(link, radio)
    await link.close()
    await left.disconnect()


async def test_opening_can_be_called_off_at_any_moment(radio: Radio) -> None:
    gauge = await radio.gauge()
    link = radio.link(gauge.address, ANGLES)
    for pause_s in (0.0, 0.02, 0.05, 0.1):
        opening = asyncio.create_task(link.open())
        await asyncio.sleep(pause_s)
        opening.cancel()
        await asyncio.gather(opening, return_exceptions=True)
        await link.close()
    await link.open()
    await gauge.shows(285)
    assert await values(link, 1) == [285]
    await nothing_more(link, radio)
    await link.close()
    await asyncio.sleep(radio.settle_s)
    assert not gauge.device.connections


async def test_a_gauge_that_hangs_is_lost_though_nobody_hung_up(radio: Radio, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gaugelog.links.ble_connection.LOOK_S", 0.2)
    gauge = await radio.gauge()
    link = radio.link(gauge.address, ANGLES)
    await link.open()
    await asyncio.sleep(0.5)
    await gauge.shows(285)
    assert await values(link, 1) == [285], "a silent gauge that answers is not lost"
    await nothing_more(link, radio)
    gauge.hang()
    assert (await loss(link)).reason is LinkReason.LOST
    await link.close()


@pytest.mark.whole_radio_only
async def test_a_bluetooth_service_that_dies_is_a_loss_though_nothing_tells_of_it(
    radio: BluezRadio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """That it opens again is not shown: a new bluetoothd gets no connection through the same controller here."""
    monkeypatch.setattr("gaugelog.links.ble_connection.LOOK_S", 0.5)
    gauge = await radio.gauge()
    link = radio.link(gauge.address, ANGLES)
    await link.open()
    async with radio.without_bluetoothd():
        assert (await loss(link)).reason is LinkReason.LOST
        await link.close()
        assert (await failure(link)).reason is LinkReason.NO_ADAPTER


async def test_what_nobody_takes_ends_the_link_rather_than_leave_a_hole(
    radio: Radio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("gaugelog.links.inbox.FULL", 16)
    gauge = await radio.gauge()
    link = radio.link(gauge.address, ANGLES)
    await link.open()
    for count in range(30):
        await gauge.shows(count)
    await asyncio.sleep(radio.settle_s + 0.1)
    assert await values(link, 16) == list(range(16))
    assert (await loss(link)).reason is LinkReason.LOST
    await link.close()
