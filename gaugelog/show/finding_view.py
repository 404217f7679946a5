"""Views of finding gauges: what is there, what was heard, which datasheets fit and why.

Here: the result of a search as text. Not here: its progress (`finding_progress`), trying a datasheet (`trying_view`),
its JSON documents (`finding_documents`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from gaugelog.errors import GaugelogError, LinkFailedError
from gaugelog.gauges.found import NOT_NAMED, Choice, Found, HeardAt, Place
from gaugelog.gauges.trying import Message
from gaugelog.links.rawlog import bytes_to_text
from gaugelog.model.readings import Reading
from gaugelog.show.look import QUIET, STRONG, WARN
from gaugelog.show.numbers import count_text
from gaugelog.show.words import sentence

MOST_BYTES = 60
_MOST_AT_A_SPEED = 12
_BESIDE = 24
"""Options of an address up to this length stand beside the bytes, longer ones above them."""


def finding_view(found: Found, asked: bool) -> RenderableType:
    """Return what a search found: each place with what fits there, then what was left alone or couldn't be looked at.

    Args:
        found: by the search.
        asked: whether questions were sent.
    """
    choices = iter(found.choices)
    strangers = [place for place in found.places if place.passed_over == NOT_NAMED]
    lines: list[RenderableType] = []
    for place in found.places:
        if place not in strangers:
            lines += [*_place(place, choices, asked), Text()]
    if not lines:
        lines += [Text("No port is there, and no device that could be a gauge."), Text()]
    if strangers:
        lines += [*_strangers(strangers), Text()]
    for blind in found.blind:
        lines += [_folded(f"{blind.scheme}: {failure_words(blind.reason)}", WARN), _indented(blind.reason.hint)]
    return Group(*(lines if found.blind else lines[:-1]))


def _place(place: Place, choices: Iterator[Choice], asked: bool) -> Iterator[RenderableType]:
    yield _folded(place.sighting.address, STRONG)
    about = _about(place)
    if about:
        yield _indented(about, QUIET)
    for heard in place.heard:
        if heard.fits:
            yield from _fitting(heard, [next(choices) for _ in heard.fits])
    if place.failure is not None:
        yield _indented(sentence(failure_words(place.failure)), WARN)
        yield _indented(place.failure.hint)
    elif place.passed_over:
        yield _indented(sentence(place.passed_over))
    elif not any(heard.fits for heard in place.heard):
        yield from _nothing_fits(place.heard, asked)


def _about(place: Place) -> str:
    """Return what is known of a place beside its address."""
    sighting = place.sighting
    parts = [sighting.name, sighting.detail]
    parts += [f"{sighting.strength_dbm} dBm"] if sighting.strength_dbm is not None else []
    return ", ".join(part for part in parts if part)


def _fitting(heard: HeardAt, choices: Sequence[Choice]) -> Iterator[RenderableType]:
    """Return the datasheets that fit what was heard at one address, with the evidence of each."""
    options = _options(heard)
    how = f" when asked {quoted(heard.question)}" if heard.question else ""
    yield _indented(f"At {options}{how}:" if options else f"Heard{how}:", QUIET)
    alike = [choice for choice in choices if choice.alike]
    for choice in choices:
        fit = choice.fit
        head = Text(f"{choice.number:>3}  ").append(fit.datasheet.name, style=STRONG)
        yield head.append(f"  {fit.datasheet.title}", style=QUIET)
        yield _indented(", ".join(_evidence(choice)), indent=5)
        yield _indented(_example(fit.example), indent=5)
    if len(alike) > 1:
        numbers = ", ".join(str(choice.number) for choice in alike)
        yield _indented(f"{numbers} fit equally well: only you can tell which of them your gauge is.", WARN)


def _evidence(choice: Choice) -> Iterator[str]:
    fit = choice.fit
    yield f"read {fit.readings} of {count_text(fit.messages, 'message')}"
    if fit.share < 0.85:
        yield f"{fit.share:.0%} of the bytes"
    if fit.rate_hz is not None:
        yield f"{fit.rate_hz:.3g} a second"
    if fit.guarded:
        yield "damage would be noticed"
    if fit.radio_named:
        yield "the service is the one that it names"


def _example(message: Message) -> str:
    item = message.item
    assert isinstance(item, Reading)
    return f"{item.text} {item.unit} of {quoted(message.raw)}"


def _nothing_fits(heard: Sequence[HeardAt], asked: bool) -> Iterator[RenderableType]:
    with_bytes = [each for each in heard if each.chunks]
    if not with_bytes:
        yield _indented("Nothing came. Is it switched on? One with a button sends when it is pressed.")
        if not asked:
            yield _indented("One that answers only when asked can be asked with --ask (read its caution first).")
        return
    yield _indented("What came fits no datasheet that is known:", WARN)
    most = MOST_BYTES if len(with_bytes) == 1 else _MOST_AT_A_SPEED
    wide = max(len(_options(each)) for each in with_bytes)
    for each in with_bytes:
        data = quoted(b"".join(chunk.data for chunk in each.chunks), most)
        if wide <= _BESIDE:
            yield _indented(f"{_options(each):{wide}}  {data}".strip(), indent=4)
        else:
            yield _indented(_options(each), QUIET, indent=4)
            yield _indented(data, indent=6)
    yield _indented("Another speed may be right (--baud), or it needs a datasheet of its own: docs/datasheets.md.")


def _strangers(places: Sequence[Place]) -> Iterator[RenderableType]:
    """Return the radio devices that were left alone, the strongest first."""
    count = count_text(len(places), "device")
    yield _folded(f"{count} left alone: none of the services advertised is one that a known datasheet names.")
    for place in sorted(places, key=lambda place: -(place.sighting.strength_dbm or -999)):
        yield _indented(f"{place.sighting.address}  {_about(place)}".rstrip(), QUIET)
    yield _indented("If one of them is your gauge, point at it: --at ADDRESS.")


def _options(heard: HeardAt) -> str:
    """Return what stands behind the question mark of an address, so that it can be broken into lines."""
    return heard.address.text.partition("?")[2].replace("&", ", ")


def quoted(data: bytes, most: int = MOST_BYTES) -> str:
    """Return bytes as a raw log writes them, between backticks; of more than `most` bytes only the first."""
    more = "…" if len(data) > most else ""
    return f"`{bytes_to_text(data[:most])}{more}`"


def failure_words(failure: GaugelogError) -> str:
    """Return what went wrong without the address, where that stands beside it already."""
    if not isinstance(failure, LinkFailedError):
        return str(failure)
    return f"{failure.reason.value} ({failure.detail})" if failure.detail else failure.reason.value


def _folded(words: str, style: str = "") -> Text:
    return Text(words, style=style, overflow="fold")


def _indented(words: str, style: str = "", indent: int = 2) -> Padding:
    return Padding(_folded(words, style), (0, 0, 0, indent), expand=False)
