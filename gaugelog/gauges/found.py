"""What a search for gauges is about, and what it found.

Here: the wish, the steps on the way, places with what was heard there, and the choices that follow. Not here: searching
(`finding`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from gaugelog.errors import GaugelogError
from gaugelog.gauges.guessing import Fit, alike_first
from gaugelog.model.device import Sighting
from gaugelog.model.gauges import Address
from gaugelog.model.readings import Chunk

NOT_NAMED = "not connected to: it advertises no service that a known datasheet names"
NO_WAY = "it offers nothing that could be listened to"


class Doing(Enum):
    """What the search is about."""

    LOOKING = "looking around"
    FAILED = "can't look there"
    SEEN = "seen"
    LISTENING = "listening"
    ASKING = "asking"
    DONE = "listened"


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a search as it happens: where it is (a scheme or an address), and for how many seconds at most."""

    doing: Doing
    where: str
    seconds: float = 0.0
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Wish:
    """What to look for, and how.

    `look_s` is how long radios are listened to for devices, `listen_s` how long each place is listened to for readings.
    `speeds` replaces the common speeds of serial ports. With `places`, only these addresses are listened to. `ask`
    sends the questions of the datasheets to what is silent.
    """

    look_s: float = 6.0
    listen_s: float = 3.0
    speeds: tuple[int, ...] = ()
    places: tuple[str, ...] = ()
    ask: bool = False


@dataclass(frozen=True, slots=True)
class HeardAt:
    """What came from one address: its bytes, and the datasheets that fit them, best first.

    `question` is what was asked, empty where it came by itself.
    """

    address: Address
    chunks: tuple[Chunk, ...]
    fits: tuple[Fit, ...] = ()
    question: bytes = b""


@dataclass(frozen=True, slots=True)
class Place:
    """A port or a device: what is known of it, what was heard there, and why it wasn't listened to, in words."""

    sighting: Sighting
    heard: tuple[HeardAt, ...] = ()
    failure: GaugelogError | None = None
    passed_over: str = ""


@dataclass(frozen=True, slots=True)
class Blind:
    """A kind of link with which nothing could be looked for, and why."""

    scheme: str
    reason: GaugelogError


@dataclass(frozen=True, slots=True)
class Choice:
    """A datasheet at an address, to be chosen by its number; `alike` says that it fits as well as the best there."""

    number: int
    address: Address
    fit: Fit
    alike: bool

    @property
    def gauge(self) -> str:
        """The gauge as it would be named: `DATASHEET@ADDRESS`."""
        return f"{self.fit.datasheet.name}@{self.address.text}"


@dataclass(frozen=True, slots=True)
class Found:
    """Everything that a search found."""

    places: tuple[Place, ...]
    blind: tuple[Blind, ...] = ()

    @property
    def choices(self) -> tuple[Choice, ...]:
        """Everything that could be chosen, numbered from 1 in the order in which it was found."""
        every = [(heard, fit) for place in self.places for heard in place.heard for fit in heard.fits]
        return tuple(
            Choice(number, heard.address, fit, fit in alike_first(heard.fits))
            for number, (heard, fit) in enumerate(every, 1)
        )
