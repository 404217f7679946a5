"""Simulated gauges: true bytes of every bundled datasheet, and motions that do what they say."""

from __future__ import annotations

import sys
from decimal import ROUND_HALF_EVEN, Decimal

import pytest

from gaugelog.datasheets.catalogue import find_datasheet, known_datasheets
from gaugelog.errors import AddressError
from gaugelog.gauges.bench import BenchGauge, SimulatedBench, VirtualClock
from gaugelog.gauges.connect import open_gauge
from gaugelog.gauges.motions import LIFTED_S, RESTING_S, Hand, Round, Sand, SetDownMotion, Still
from gaugelog.gauges.read_once import read_once
from gaugelog.gauges.simulated import SimulatedLink, motion_of
from gaugelog.gauges.simulated_gauge import SimulatedGauge
from gaugelog.model.datasheet import Datasheet, Sends
from gaugelog.model.gauges import parse_address, parse_gauge
from gaugelog.model.readings import Heard, LinkChange, LinkState, Reading

SHEETS = known_datasheets()
SENDING_BY_THEMSELVES = [sheet for sheet in SHEETS if sheet.sends not in (Sends.ON_BUTTON, Sends.WHEN_TYPED)]
BY_NAME = pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
WITH_PORT = pytest.mark.parametrize(
    "pty", [False, pytest.param(True, marks=pytest.mark.skipif(sys.platform == "win32", reason="no ptys here"))]
)


def on_the_digit(value: float, sheet: Datasheet) -> float:
    """Return a value as a display of this resolution shows it, in exact decimals."""
    digit = Decimal(repr(sheet.resolution))
    return float((Decimal(repr(value)) / digit).quantize(Decimal(1), ROUND_HALF_EVEN) * digit)


def truths_of(sheet: Datasheet) -> list[float]:
    """Return true values over the gauge's range, off the digits by amounts that never fall in the middle."""
    low = -10.0 if sheet.range_low is None else sheet.range_low
    high = 60.0 if sheet.range_high is None else sheet.range_high
    span = min(high - low, 200.0)
    start = max(low, -span / 2)
    steps = [round(span * part / sheet.resolution) * sheet.resolution for part in (0.11, 0.32, 0.48, 0.57, 0.83)]
    offsets = (0.0, 0.31, -0.37, 0.44, -0.2)
    first = on_the_digit(start, sheet)
    return [first + step + part * sheet.resolution for step, part in zip(steps, offsets, strict=True)]


async def readings(bench: SimulatedBench) -> list[Reading]:
    heard = [event async for event in bench.events() if isinstance(event, Heard)]
    items = [item for event in heard for item in event.items]
    assert all(isinstance(item, Reading) for item in items), items
    return items


@WITH_PORT
@BY_NAME
async def test_readings_of_every_bundled_datasheet_equal_the_truth_on_its_digit(sheet: Datasheet, pty: bool) -> None:
    truths = truths_of(sheet)

    def motion(time_s: float) -> float | None:
        turn, silent = divmod(round(time_s * 2), 2)
        return None if silent else truths[turn]

    gauge = BenchGauge(parse_gauge(f"{sheet.name}@sim:"), sheet, motion)
    heard = await readings(SimulatedBench([gauge], VirtualClock(), len(truths), pty=pty))
    wanted = [on_the_digit(truth, sheet) for truth in truths]
    assert [reading.value for reading in heard] == pytest.approx(wanted, abs=1e-6 * sheet.resolution)


@pytest.mark.parametrize("sheet", SENDING_BY_THEMSELVES, ids=lambda sheet: sheet.name)
async def test_every_datasheet_that_needs_no_hand_can_be_tried_in_real_time(sheet: Datasheet) -> None:
    heard = await read_once(open_gauge(f"{sheet.name}@sim:?noise=0&rate=50"), 5.0, 1)
    assert heard.rejects == []
    assert heard.readings[0].quantity is sheet.quantity


async def test_a_polled_gauge_is_silent_until_it_is_asked() -> None:
    link = SimulatedLink(parse_address("sim:?value=12.34&noise=0"), find_datasheet("caliper-polled"))
    await link.open()
    assert (await link.receive()).data == b""
    assert link._datasheet.poll is not None
    question = link._datasheet.poll.data
    await link.send(question[:1])
    await link.send(question[1:] + question)
    got = b""
    while got.count(b"12.34") < 2:
        got += (await link.receive()).data
    await link.close()


def sent_in(sheet_name: str, motion, seconds: float, rate_hz: float = 10.0) -> list[bytes]:
    gauge = SimulatedGauge(find_datasheet(sheet_name), motion)
    lines = [gauge.sends(count / rate_hz) for count in range(round(seconds * rate_hz))]
    return [line for line in lines if line]


def test_a_gauge_with_a_button_sends_once_for_each_setting_down() -> None:
    assert len(sent_in("caliper-button", Hand(12.5), 4 * (LIFTED_S + RESTING_S))) == 4


def test_a_gauge_that_sends_on_change_is_silent_while_its_digits_stand_still() -> None:
    sheet = find_datasheet("angle-on-change")
    digit = sheet.resolution
    assert len(sent_in("angle-on-change", lambda time_s: 2.8 + 0.2 * digit * (time_s % 1), 5.0)) == 1
    assert len(sent_in("angle-on-change", lambda time_s: 2.8 + digit * int(time_s), 5.0)) == 5
    assert len(sent_in("angle-line", lambda _time_s: 2.8, 5.0)) == 50


@pytest.mark.parametrize("options", ["", "rest=hand", "rest=hand&body=0.35", "rest=sand&value=89&to=90"])
def test_chance_is_settled_by_the_seed(options: str) -> None:
    def lines(seed: int) -> list[bytes]:
        sheet = find_datasheet("angle-line")
        address = parse_address(f"sim:?{options}{'&' if options else ''}noise=0.1&seed={seed}")
        return sent_in("angle-line", motion_of(address, sheet), 20.0)

    assert lines(1) == lines(1)
    assert lines(1) != lines(2)


def test_a_hand_lifts_the_gauge_and_sets_it_down_steady() -> None:
    hand = Hand(2.8, scatter=0.03, swing=3.0, seed=4)
    turn_s = LIFTED_S + RESTING_S
    rests = []
    for turn in range(6):
        at_rest = {hand(turn * turn_s + LIFTED_S + 0.1 * step) for step in range(29)}
        assert at_rest == {hand.resting_at(turn)}
        lifted = [hand(turn * turn_s + 0.1 * step) for step in range(15)]
        assert max(lifted) - min(lifted) > 2.0
        rests.append(hand.resting_at(turn))
    assert len(set(rests)) == 6
    assert all(abs(rest - 2.8) < 5 * 0.03 for rest in rests)


def test_a_hand_carries_the_gauge_from_body_to_neck_and_their_difference_is_the_value() -> None:
    hand = Hand(2.8, body=0.35)
    assert [hand.resting_at(turn) for turn in range(4)] == pytest.approx([0.35, 3.15, 0.35, 3.15])


def test_sanding_comes_nearer_with_each_pass_and_never_beyond() -> None:
    sand = Sand(88.0, 90.0)
    rests = [sand(4.0 * count + 3.0) for count in range(12)]
    assert rests[0] == 88.0
    assert rests == sorted(rests)
    assert 89.8 < rests[-1] < 90.0


def test_a_gauge_at_rest_has_the_noise_it_was_given() -> None:
    still = Still(2.8, 0.02, seed=1)
    values = [still(0.1 * count) for count in range(4000)]
    mean = sum(values) / 4000
    sd = (sum((value - mean) ** 2 for value in values) / 3999) ** 0.5
    assert abs(mean - 2.8) < 4 * 0.02 / 4000**0.5
    assert abs(sd / 0.02 - 1) < 4 / (2 * 4000) ** 0.5


def test_a_value_beyond_the_range_is_held_at_its_end() -> None:
    sheet = next(sheet for sheet in SHEETS if sheet.range_high is not None)
    gauge = SimulatedGauge(sheet, lambda _time_s: sheet.range_high + 1e3)
    assert gauge.answers(0.0) == SimulatedGauge(sheet, lambda _time_s: sheet.range_high).answers(0.0)


@pytest.mark.parametrize(
    "address",
    ["sim:bench", "sim:?rest=sand", "sim:?rest=sand&body=1&to=2", "sim:?rest=fall", "sim:?noise=-1", "sim:?port=usb",
     "sim:?values=3", "sim:?rate=0", "sim:?seed=x"],
)  # fmt: skip
def test_addresses_that_cannot_be_understood(address: str) -> None:
    with pytest.raises(AddressError):
        SimulatedLink(parse_address(address), find_datasheet("angle-line"))


async def test_a_simulated_gauge_without_a_pty_does_the_same() -> None:
    heard = [
        await read_once(open_gauge(f"angle-line@sim:?noise=0.1&seed=3&rate=200{port}"), 5.0, 20)
        for port in ("", "&port=pair")
    ]
    assert [reading.text for reading in heard[0].readings[:20]] == [reading.text for reading in heard[1].readings[:20]]


async def test_it_begins_anew_each_time_it_is_opened() -> None:
    gauge = open_gauge("angle-line@sim:?noise=0.1&rate=200")
    first, second = await read_once(gauge, 5.0, 10), await read_once(gauge, 5.0, 10)
    assert [reading.text for reading in first.readings[:10]] == [reading.text for reading in second.readings[:10]]
    change = [event.state async for event in _first(gauge) if isinstance(event, LinkChange)]
    assert change == [LinkState.OPEN]


async def _first(gauge):
    async for event in gauge.events():
        yield event
        return


def test_a_round_waits_then_sets_down_at_one_value_after_another() -> None:
    motion = Round((1.0, -1.0, 2.0), wait_s=10.0, swing=30.0)
    turn_s = LIFTED_S + RESTING_S
    assert [motion(time_s) for time_s in (0.0, 9.9)] == [1.0, 1.0]
    assert abs(motion(10.2) - 1.0) > 5.0, "it is lifted"
    rests = [10.0 + turn * turn_s + LIFTED_S + 1.0 for turn in range(5)]
    assert [motion(time_s) for time_s in rests] == [1.0, -1.0, 2.0, 2.0, 2.0]
    pressed = (0.0, 9.0, *(each + 0.1 for each in rests))
    assert [motion.settings_down(time_s) for time_s in pressed] == [0, 0, 1, 2, 3, 4, 5]


def test_a_gauge_with_errors_of_its_own_shows_them() -> None:
    sheet = find_datasheet("angle-line")
    motion = motion_of(parse_address("sim:?value=10&noise=0&zero=0.5&scale=1.02"), sheet)
    assert motion(0.0) == pytest.approx(0.5 + 1.02 * 10)
    walk = motion_of(parse_address("sim:?visits=1,2&noise=0&scatter=0&zero=0.5&scale=2&wait=1"), sheet)
    assert walk(0.5) == pytest.approx(2.5)
    assert isinstance(walk, SetDownMotion), "a button is pressed for it too"
    assert walk(1.0 + 2 * LIFTED_S + RESTING_S + 1.0) == pytest.approx(4.5)


@pytest.mark.parametrize("options", ["visits=1,x", "visits=inf", "visits=1&rest=hand", "visits=1&body=2", "zero=x"])
def test_a_round_that_makes_no_sense_is_refused(options: str) -> None:
    with pytest.raises(AddressError):
        motion_of(parse_address(f"sim:?{options}"), find_datasheet("angle-line"))
