"""Looking around: what is listened to, what is left alone, what is asked, what can't be looked at."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, ClassVar

import pytest

from gaugelog import plugins
from gaugelog.datasheets.catalogue import find_datasheet, known_datasheets
from gaugelog.errors import AddressError, LinkFailedError, LinkReason, UnknownPluginError
from gaugelog.gauges.finding import find_gauges, may_come
from gaugelog.gauges.found import NO_WAY, NOT_NAMED, Doing, Step, Wish
from gaugelog.links import Finds
from gaugelog.links.pty_pair import PtyFarEnd, has_pty
from gaugelog.links.serial_port import SerialLink
from gaugelog.model.datasheet import Radio
from gaugelog.model.device import Sighting
from gaugelog.model.gauges import Address, parse_address
from gaugelog.model.readings import Chunk

LINES = b"+  2.85 deg\r\n" * 4
SERVICE = "7a1e0001-5c3b-4b0a-9c55-6d2b1f0e0a01"
QUICK = Wish(look_s=0.05, listen_s=0.05)


class MadeUpLink:
    """A link to what the test puts there: by target, the bytes that come at each speed, or the failure."""

    there: ClassVar[dict[str, dict[str, bytes] | LinkFailedError]] = {}
    answers: ClassVar[dict[bytes, bytes]] = {}
    sightings: ClassVar[Sequence[Sighting]] = ()
    blind: ClassVar[LinkFailedError | None] = None
    opened: ClassVar[list[str]] = []
    sent: ClassVar[list[bytes]] = []

    def __init__(self, address: Address) -> None:
        self.address = address
        self._left: list[bytes] = []

    async def open(self) -> None:
        self.opened.append(self.address.text)
        there = self.there.get(self.address.target, {})
        if isinstance(there, LinkFailedError):
            raise there
        self._left = [there.get(self.address.options.get("baud", ""), b"")]

    async def receive(self) -> Chunk:
        if self._left and self._left[0]:
            return Chunk(1, self._left.pop(0))
        await asyncio.sleep(0.005)
        return Chunk(1, b"")

    async def send(self, data: bytes) -> None:
        self.sent.append(data)
        self._left = [self.answers.get(data, b"")]

    async def close(self) -> None:
        pass

    @classmethod
    async def find(cls, wait_s: float, seen: Callable[[Sighting], None]) -> None:
        if cls.blind is not None:
            raise cls.blind
        for sighting in cls.sightings:
            seen(sighting)

    @classmethod
    async def ways(cls, sighting: Sighting) -> Sequence[Address]:
        return [parse_address(f"{sighting.address}?baud={speed}") for speed in (9600, 19200, 4800)]


class MadeUpRadio(MadeUpLink):
    """The same by radio, with one way into each device."""

    goes_deaf = True

    @classmethod
    async def ways(cls, sighting: Sighting) -> Sequence[Address]:
        return [parse_address(f"{sighting.address}?notify=a001")]


@pytest.fixture
def made_up(monkeypatch: pytest.MonkeyPatch) -> Callable[..., type[MadeUpLink]]:
    """Make the made-up links the only ones that there are."""

    def make(kind: type[MadeUpLink] = MadeUpLink, **what: Any) -> type[MadeUpLink]:
        fresh = type("Fresh", (kind,), {"opened": [], "sent": [], **what})
        monkeypatch.setattr("gaugelog.gauges.finding.providers", lambda group: {"made-up": ""})
        monkeypatch.setattr(
            "gaugelog.gauges.finding.load",
            lambda group, scheme: fresh if scheme == "made-up" else plugins.load(group, scheme),
        )
        return fresh

    return make


def seen(*targets: str, **what: Any) -> tuple[Sighting, ...]:
    return tuple(Sighting(f"made-up:{target}", **what) for target in targets)


async def test_a_gauge_at_the_usual_speed_is_heard_and_no_other_speed_is_tried(made_up) -> None:
    link = made_up(sightings=seen("a"), there={"a": {"9600": LINES}})
    steps: list[Step] = []
    found = await find_gauges(QUICK, known_datasheets(), steps.append)
    (choice,) = found.choices
    assert (choice.number, choice.gauge, choice.alike) == (1, "angle-line@made-up:a?baud=9600", True)
    assert link.opened == ["made-up:a?baud=9600"]
    assert [step.doing for step in steps] == [Doing.LOOKING, Doing.SEEN, Doing.DONE, Doing.LISTENING, Doing.DONE]


async def test_other_speeds_are_tried_where_bytes_came_and_never_where_nothing_came(made_up) -> None:
    link = made_up(sightings=seen("a", "b"), there={"a": {"9600": b"\xf0\x80\xf0", "19200": LINES}})
    found = await find_gauges(QUICK, known_datasheets())
    assert [each.gauge for each in found.choices] == ["angle-line@made-up:a?baud=19200"]
    assert sorted(link.opened) == ["made-up:a?baud=19200", "made-up:a?baud=9600", "made-up:b?baud=9600"]
    assert [len(heard.chunks) for heard in found.places[1].heard] == [0]


async def test_speeds_that_are_wished_for_replace_the_common_ones(made_up) -> None:
    link = made_up(sightings=seen("a"), there={"a": {"300": LINES}})
    found = await find_gauges(replace(QUICK, speeds=(300,)), known_datasheets())
    assert link.opened == ["made-up:a?baud=300"]
    assert found.choices


async def test_a_port_that_is_busy_is_told_and_the_others_are_heard(made_up) -> None:
    busy = LinkFailedError("made-up:a", LinkReason.BUSY)
    made_up(sightings=seen("a", "b"), there={"a": busy, "b": {"9600": LINES}})
    found = await find_gauges(QUICK, known_datasheets())
    assert found.places[0].failure is busy
    assert [each.gauge for each in found.choices] == ["angle-line@made-up:b?baud=9600"]


async def test_what_cannot_look_around_is_told_with_its_reason(made_up) -> None:
    off = LinkFailedError("made-up:", LinkReason.RADIO_OFF)
    made_up(blind=off)
    found = await find_gauges(QUICK, known_datasheets())
    assert found.places == ()
    assert [(each.scheme, each.reason) for each in found.blind] == [("made-up", off)]


async def test_a_radio_device_is_left_alone_unless_a_datasheet_names_its_service_or_it_is_pointed_at(made_up) -> None:
    named = replace(find_datasheet("angle-line"), name="by-air", radio=Radio(service=SERVICE))
    sightings = (*seen("stranger", services=("0000180f-0000-1000-8000-00805f9b34fb",)), *seen("g", services=(SERVICE,)))
    link = made_up(MadeUpRadio, sightings=sightings, there={"g": {"": LINES}, "stranger": {"": LINES}})
    found = await find_gauges(QUICK, [*known_datasheets(), named])
    assert {place.sighting.address: place.passed_over for place in found.places} == {
        "made-up:stranger": NOT_NAMED,
        "made-up:g": "",
    }
    assert link.opened == ["made-up:g?notify=a001"]
    assert found.choices[0].fit.datasheet.name == "by-air"
    assert found.choices[0].fit.radio_named
    pointed = await find_gauges(replace(QUICK, places=("made-up:stranger",)), known_datasheets())
    assert [each.gauge for each in pointed.choices] == ["angle-line@made-up:stranger?notify=a001"]


async def test_nothing_is_sent_unless_it_is_asked_for(made_up) -> None:
    sheet = find_datasheet("caliper-polled")
    answer = b"L=12.34\r\n"
    link = made_up(sightings=seen("a"), answers={sheet.poll.data: answer})
    silent = await find_gauges(QUICK, known_datasheets())
    assert (silent.choices, link.sent) == ((), [])
    asked = await find_gauges(replace(QUICK, ask=True), [sheet])
    assert link.sent == [sheet.poll.data]
    (heard,) = [each for each in asked.places[0].heard if each.question]
    assert (heard.question, heard.chunks[0].data) == (sheet.poll.data, answer)
    assert [each.gauge for each in asked.choices] == ["caliper-polled@made-up:a?baud=9600"]


async def test_a_gauge_that_sends_by_itself_is_never_asked(made_up) -> None:
    link = made_up(sightings=seen("a"), there={"a": {"9600": LINES}})
    await find_gauges(replace(QUICK, ask=True), known_datasheets())
    assert link.sent == []


async def test_a_device_without_a_way_into_it_is_told(made_up) -> None:
    class Closed(MadeUpRadio):
        @classmethod
        async def ways(cls, sighting: Sighting) -> Sequence[Address]:
            return []

    made_up(Closed)
    found = await find_gauges(replace(QUICK, places=("made-up:a",)), known_datasheets())
    assert found.places[0].passed_over == NO_WAY


async def test_places_that_cannot_be_understood_are_refused_before_anything_is_opened() -> None:
    with pytest.raises(AddressError):
        await find_gauges(replace(QUICK, places=("nonsense",)), ())
    with pytest.raises(UnknownPluginError):
        await find_gauges(replace(QUICK, places=("no-such-link:a",)), ())


async def test_an_option_that_a_link_does_not_have_is_told_at_its_place() -> None:
    found = await find_gauges(replace(QUICK, places=("serial:/dev/ttyX?bauds=9600",)), ())
    assert isinstance(found.places[0].failure, AddressError)


def test_a_datasheet_that_names_another_characteristic_cannot_come_from_this_one() -> None:
    link_class = plugins.load(plugins.LINKS, "ble")
    assert issubclass(link_class, Finds)
    way = parse_address(f"ble:C0:11:22:33:44:55?service={SERVICE}&notify=2a6e")
    plain = find_datasheet("angle-line")
    assert may_come(plain, way, link_class)
    assert may_come(replace(plain, radio=Radio(notify="00002a6e-0000-1000-8000-00805f9b34fb")), way, link_class)
    assert not may_come(replace(plain, radio=Radio(notify="2a6f")), way, link_class)
    assert not may_come(find_datasheet("described-angle"), way, link_class)
    assert may_come(find_datasheet("described-angle"), parse_address(f"{way}&described=yes"), link_class)
    assert may_come(plain, parse_address("serial:/dev/ttyUSB0?baud=9600"), SerialLink)


async def test_a_gauge_in_another_process_is_heard_through_a_real_port(paced_gauge) -> None:
    path, go_on = paced_gauge(b"".join(b"+%6.2f deg\r\n" % (2 + place / 20) for place in range(40)))
    wish = Wish(listen_s=0.6, places=(f"serial:{path}",))
    told: list[Step] = []

    def tell(step: Step) -> None:
        told.append(step)
        if step.doing is Doing.LISTENING:
            go_on()

    found = await find_gauges(wish, known_datasheets(), tell)
    assert [each.gauge for each in found.choices if each.alike] == [f"angle-line@serial:{path}?baud=9600"]
    fit = found.choices[0].fit
    assert fit.readings == fit.messages > 5


async def test_a_gauge_that_answers_when_asked_is_found_at_a_real_port() -> None:
    if not has_pty():
        pytest.skip("there are no ptys on this system")
    far = PtyFarEnd()
    await far.open()

    async def answer() -> None:
        while True:
            if (await far.receive()).data == b"?\r":
                await far.send(b"L=12.34\r\n")

    answering = asyncio.create_task(answer())
    wish = Wish(listen_s=0.1, places=(far.near_address.text,), ask=True)
    found = await find_gauges(wish, [find_datasheet("caliper-polled")])
    answering.cancel()
    await asyncio.gather(answering, return_exceptions=True)
    await far.close()
    (choice,) = found.choices
    assert choice.fit.datasheet.name == "caliper-polled"
    assert found.places[0].heard[-1].question == b"?\r"


async def test_a_plain_file_of_bytes_is_looked_at_with_every_datasheet(tmp_path: Path) -> None:
    (tmp_path / "bytes.txt").write_bytes(b"+  2.85\r\n" * 20)
    wish = Wish(places=(f"replay:{tmp_path}/bytes.txt?speed=max",), listen_s=1.0)
    found = await find_gauges(wish, [find_datasheet("angle-line")])
    assert [fit.datasheet.name for fit in found.places[0].heard[0].fits] == ["angle-line"]
