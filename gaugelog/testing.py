"""Contract checks for authors of framings, datasheets and links.

Here: what every framing, datasheet and link must do, as functions that raise AssertionError with what is wrong. Call
them from your own tests; gaugelog's tests hold its own to the same.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence

from gaugelog.datasheets.checking import check_datasheet
from gaugelog.frames import Decoder
from gaugelog.links.contract import check_link
from gaugelog.model.readings import Chunk, Frame, Reject

__all__ = ["check_datasheet", "check_decoder", "check_link"]

Fields = Mapping[str, str | int | float | bytes]
Sample = tuple[bytes, Fields]
_RANDOM_ROUNDS = 200


def _demand(held: bool, rule: str, seen: object) -> None:
    if not held:
        raise AssertionError(f"{rule}; seen: {seen}")


def _run(decoder: Decoder, pieces: Sequence[bytes]) -> list[Frame | Reject]:
    found: list[Frame | Reject] = []
    try:
        for place, piece in enumerate(pieces):
            found += decoder.feed(Chunk(place, piece))
        return found + decoder.finish(len(pieces))
    except Exception as error:
        raise AssertionError(f"bytes never raise; seen: {error!r} for {pieces!r}") from error


def _fields(found: Sequence[Frame | Reject]) -> list[Fields]:
    return [dict(item.fields) for item in found if isinstance(item, Frame)]


def check_decoder(
    make_decoder: Callable[[], Decoder], samples: Sequence[Sample], noise: bytes, *, whole_pieces: bool = False
) -> None:
    """Check that a decoder finds every frame however the bytes are cut, and never raises on bytes.

    Args:
        make_decoder: returns a fresh decoder.
        samples: whole frames as bytes, each with the fields that come of it; at least two that differ.
        noise: bytes that the framing must get past, before and between frames, without losing one.
        whole_pieces: nothing marks where a frame begins but the link, which hands on messages whole: noise comes only
            as pieces of its own then, shorter than a frame.

    Raises:
        AssertionError: with the rule that was broken.
    """
    _demand(len({data for data, _ in samples}) > 1, "samples: at least two that differ", samples)
    wanted = [dict(fields) for _, fields in samples]
    stream = b"".join(data for data, _ in samples)
    every_split = [[stream[:cut], stream[cut:]] for cut in range(len(stream) + 1)]
    cuts = {
        "one frame a chunk": [data for data, _ in samples],
        "glued": [stream],
        "byte by byte": [stream[i : i + 1] for i in range(len(stream))],
        "empty chunks between": [piece for data, _ in samples for piece in (b"", data, b"")],
        "noise before": [noise + stream],
        "noise between": [noise.join(data for data, _ in samples)],
        "noise as chunks": [piece for data, _ in samples for piece in (noise, data)],
        **{f"split at {place}": pieces for place, pieces in enumerate(every_split)},
    }
    if whole_pieces:
        del cuts["noise before"], cuts["noise between"]
    for name, pieces in cuts.items():
        found = _run(make_decoder(), pieces)
        _demand(_fields(found) == wanted, f"{name}: every frame once, in order", found)
    _demand(make_decoder().feed(Chunk(0, b"")) == [], "an empty chunk gives nothing", "something")
    for data, _ in samples:
        left = _run(make_decoder(), [data[: len(data) // 2]])
        told = bool(left) and all(isinstance(item, Reject) for item in left)
        _demand(told, "what is left over at the end comes back as a reject", left)
    _check_random_bytes(make_decoder, samples)


def _check_random_bytes(make_decoder: Callable[[], Decoder], samples: Sequence[Sample]) -> None:
    chance = random.Random(0)
    for _ in range(_RANDOM_ROUNDS):
        piece = bytearray(chance.choice(samples)[0] + chance.randbytes(chance.randrange(0, 300)))
        for _ in range(chance.randrange(0, 5)):
            piece[chance.randrange(len(piece))] = chance.randrange(256)
        decoder = make_decoder()
        cut = chance.randrange(len(piece) + 1)
        found = _run(decoder, [bytes(piece[:cut]), bytes(piece[cut:])])
        _demand(all(isinstance(item, Frame | Reject) for item in found), "only frames and rejects", found)
