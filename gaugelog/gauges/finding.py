"""Looking around for gauges, and listening to what is there.

Here: where to look and what to listen to. Not here: what came of it as data (`found`), which datasheet fits
(`guessing`), how to look around with one kind of link (`gaugelog.links.Finds`), nor writing a gauge down
(`instruments.gauge_entry`).

Only listening is harmless. A port is opened and read; a radio device is connected to only if it advertises a service
that a known datasheet names, or if it was pointed at; and nothing is sent unless it was asked for, since what is behind
a port may be a machine that moves.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from gaugelog.errors import GaugelogError, LinkFailedError
from gaugelog.gauges.found import NO_WAY, NOT_NAMED, Blind, Doing, Found, HeardAt, Place, Step, Wish
from gaugelog.gauges.guessing import fits
from gaugelog.gauges.polling import ANSWER_S
from gaugelog.links import Finds, Link, LinkEnded, Suits
from gaugelog.links.ble_address import whole_uuid
from gaugelog.model.datasheet import Datasheet, Sends
from gaugelog.model.device import Sighting
from gaugelog.model.gauges import Address, parse_address
from gaugelog.model.readings import Chunk
from gaugelog.plugins import LINKS, load, providers

SPEED = "baud"
"""The option of an address that only says how fast the same wire is listened to."""

Told = Callable[[Step], None]


async def find_gauges(wish: Wish, datasheets: Iterable[Datasheet], told: Told = lambda step: None) -> Found:
    """Look around with every kind of link that can, listen to what is there, and try every datasheet on what comes.

    Places on wires are listened to all at once, radio devices one after the other.

    Args:
        wish: what to look for.
        datasheets: those that are known.
        told: is called with each step as it happens.

    Raises:
        AddressError: one of the places can't be understood.
        UnknownPluginError: no link has the scheme of one of the places.
    """
    search = _Search(wish, tuple(datasheets), told)
    if wish.places:
        sightings = [Sighting(parse_address(each).text) for each in wish.places]
        for sighting in sightings:
            _link_class(sighting)
        return Found(await search.listen_to_all(sightings))
    sightings, blind = await search.look_around()
    return Found(await search.listen_to_all(sightings), blind)


def _link_class(sighting: Sighting) -> Any:
    return load(LINKS, parse_address(sighting.address).scheme)


def _is_radio(link_class: object) -> bool:
    """Return whether a kind of link reaches strangers' devices: those that go deaf are no wires."""
    return bool(getattr(link_class, "goes_deaf", False))


class _Search:
    """One search."""

    def __init__(self, wish: Wish, datasheets: tuple[Datasheet, ...], told: Told) -> None:
        self._wish = wish
        self._datasheets = tuple(sheet for sheet in datasheets if sheet.sends is not Sends.WHEN_TYPED)
        self._told = told
        self._services = {whole_uuid(sheet.radio.service) for sheet in datasheets if sheet.radio.service}

    async def look_around(self) -> tuple[list[Sighting], tuple[Blind, ...]]:
        """Return what was seen with every kind of link that can look, and those that couldn't."""
        seen: dict[str, Sighting] = {}
        looks = [self._look(scheme, seen) for scheme in sorted(providers(LINKS))]
        blind = [each for each in await asyncio.gather(*looks) if each is not None]
        return [seen[address] for address in sorted(seen)], tuple(blind)

    async def _look(self, scheme: str, seen: dict[str, Sighting]) -> Blind | None:
        def notice(sighting: Sighting) -> None:
            if sighting.address not in seen:
                self._told(Step(Doing.SEEN, sighting.address, detail=sighting.name))
            seen[sighting.address] = sighting

        try:
            link_class = load(LINKS, scheme)
            if not (isinstance(link_class, type) and issubclass(link_class, Finds)):
                return None
            self._told(Step(Doing.LOOKING, scheme, self._wish.look_s if _is_radio(link_class) else 0.0))
            await link_class.find(self._wish.look_s, notice)
        except GaugelogError as reason:
            words = reason.reason.value if isinstance(reason, LinkFailedError) else str(reason)
            self._told(Step(Doing.FAILED, scheme, detail=words))
            return Blind(scheme, reason)
        self._told(Step(Doing.DONE, scheme))
        return None

    async def listen_to_all(self, sightings: Sequence[Sighting]) -> tuple[Place, ...]:
        """Return what was heard at each place, in their order."""
        radio = asyncio.Lock()

        async def one(sighting: Sighting) -> Place:
            if not _is_radio(_link_class(sighting)):
                return await self._place(sighting)
            async with radio:
                return await self._place(sighting)

        return tuple(await asyncio.gather(*(one(sighting) for sighting in sightings)))

    async def _place(self, sighting: Sighting) -> Place:
        """Return what was heard at one place."""
        link_class = _link_class(sighting)
        if self._is_a_stranger(sighting, link_class):
            return Place(sighting, passed_over=NOT_NAMED)
        heard: list[HeardAt] = []
        failure: GaugelogError | None = None
        try:
            ways = await self._ways(sighting, link_class)
            silent: Address | None = None
            for way in ways:
                if silent is not None and _is_the_same_wire(way, silent):
                    continue
                heard.append(await self._listen(way, sighting, link_class))
                if heard[-1].fits:
                    break
                silent = None if heard[-1].chunks else way
            if self._wish.ask and not any(each.chunks for each in heard):
                heard += await self._ask(ways, sighting, link_class)
        except GaugelogError as reason:
            failure = reason
        self._told(Step(Doing.DONE, sighting.address))
        return Place(sighting, tuple(heard), failure, "" if heard or failure else NO_WAY)

    def _is_a_stranger(self, sighting: Sighting, link_class: object) -> bool:
        """Return whether a device has to be left alone: a radio device that nothing speaks for."""
        pointed_at = bool(self._wish.places)
        return _is_radio(link_class) and not pointed_at and not self._services & set(map(whole_uuid, sighting.services))

    async def _ways(self, sighting: Sighting, link_class: Any) -> Sequence[Address]:
        """Return the addresses to try, likeliest first; the place's own where it says more than where it is."""
        own = parse_address(sighting.address)
        if own.options or not issubclass(link_class, Finds):
            return [own]
        ways: Sequence[Address] = await link_class.ways(sighting)
        if self._wish.speeds and any(SPEED in way.options for way in ways):
            return [parse_address(f"{sighting.address}?{SPEED}={speed}") for speed in self._wish.speeds]
        return ways

    async def _listen(self, way: Address, sighting: Sighting, link_class: Any) -> HeardAt:
        """Return what comes by itself from one address."""
        self._told(Step(Doing.LISTENING, way.text, self._wish.listen_s))
        chunks = await _hear(link_class(way), self._wish.listen_s)
        return HeardAt(way, chunks, fits(chunks, self._possible(way, link_class), sighting.services))

    async def _ask(self, ways: Sequence[Address], sighting: Sighting, link_class: Any) -> list[HeardAt]:
        """Return what answers came to the questions of the datasheets: at the speeds wished for, else the likeliest."""
        asked_at = ways if self._wish.speeds else ways[:1]
        answers: list[HeardAt] = []
        for way in asked_at:
            for question, sheets in self._questions(self._possible(way, link_class)).items():
                self._told(Step(Doing.ASKING, way.text, ANSWER_S, sheets[0].name))
                chunks = await _hear(link_class(way), ANSWER_S, question)
                if chunks:
                    answers.append(HeardAt(way, chunks, fits(chunks, sheets, sighting.services), question))
        return answers

    def _possible(self, way: Address, link_class: Any) -> tuple[Datasheet, ...]:
        return tuple(sheet for sheet in self._datasheets if may_come(sheet, way, link_class))

    @staticmethod
    def _questions(datasheets: Iterable[Datasheet]) -> Mapping[bytes, list[Datasheet]]:
        """Return each question with the datasheets of the gauges that answer it."""
        questions: dict[bytes, list[Datasheet]] = {}
        for sheet in datasheets:
            if sheet.poll is not None:
                questions.setdefault(sheet.poll.data, []).append(sheet)
        return questions


def may_come(datasheet: Datasheet, way: Address, link_class: Any) -> bool:
    """Return whether a gauge of this kind could be at an address: what its datasheet knows of it has to agree."""
    if not (_is_radio(link_class) and issubclass(link_class, Suits)):
        return True
    known = link_class.suit(replace(way, options={}), datasheet).options
    return all(name in way.options and _same(way.options[name], value) for name, value in known.items())


def _same(one: str, other: str) -> bool:
    """Return whether two options say the same; UUIDs may be short or whole."""
    try:
        return whole_uuid(one) == whole_uuid(other)
    except ValueError:
        return one == other


def _is_the_same_wire(way: Address, silent: Address) -> bool:
    """Return whether a way differs only in its speed from one where nothing came: then nothing comes there either."""
    return SPEED in way.options and (way.scheme, way.target) == (silent.scheme, silent.target)


async def _hear(link: Link, listen_s: float, question: bytes = b"") -> tuple[Chunk, ...]:
    """Return what comes from a link within a time, ticks left out.

    Raises:
        LinkFailedError: it can't be opened, or was lost before anything came.
    """
    chunks: list[Chunk] = []
    try:
        await link.open()
        if question:
            await link.send(question)
        until_s = time.monotonic() + listen_s
        async with asyncio.timeout(listen_s):
            while time.monotonic() < until_s:
                chunk = await link.receive()
                if chunk.data:
                    chunks.append(chunk)
    except (TimeoutError, LinkEnded):
        pass
    except LinkFailedError:
        if not chunks:
            raise
    finally:
        await link.close()
    return tuple(chunks)
