"""What the framings cost, beside independent parsers in the same run, and what gets past them when it is damaged.

Run: python tests/benchmarks/framings.py [--fuzz N] [--only NAME] [--each]
Without options a million damaged frames are shared among all samples of the contract; `--fuzz` says how many, `--each`
gives each of the samples that many, `--only` takes the samples whose name begins so. The figures are this machine's.
"""

from __future__ import annotations

import argparse
import random
import statistics
import time
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pynmea2
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU

from gaugelog.frames import Framing
from gaugelog.frames.modbus import ModbusFraming
from gaugelog.frames.nmea import NmeaFraming
from gaugelog.model.readings import Chunk, Frame
from gaugelog.model.section import Section
from gaugelog.plugins import FRAMINGS, load

SAMPLES = Path(__file__).parents[1] / "contracts" / "samples"
ROUNDS, MESSAGES = 7, 4000
BYTES_PER_S = 115_200 / 10
"""A serial line at 115200 baud, a start and a stop bit with each byte, without a gap."""

NOTIFICATIONS_PER_S = 133
"""One in each connection interval of 7.5 ms, the shortest that Bluetooth LE had for long."""

EXPECTED = {"modbus": 2**-16, "modbus-float": 2**-16, "modbus-listen": 2**-16, "binary": 2**-16, "nmea": 2**-8}
EXPECTED |= {"nmea-place": 2**-8, "binary-digits": 2**-8}
"""How often a check of so many bits fits by chance; where a frame's form must fit as well, it is fewer. Damage by bytes
that are alike strikes the same few combinations again and again, and a plain sum more often."""


@dataclass(frozen=True)
class Case:
    """One file of samples: its framing, its frames with their fields, and whether a link delivers them whole."""

    name: str
    framing: Framing
    frames: Sequence[tuple[bytes, Mapping[str, object]]]
    whole_pieces: bool


def cases(beginning: str) -> list[Case]:
    """Return the samples whose name begins so."""
    found = []
    for path in sorted(SAMPLES.glob(f"{beginning}*.toml")):
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        framing = load(FRAMINGS, path.stem.partition("-")[0])(Section(data["options"]))
        frames = [(as_bytes(each["bytes"]), each["fields"]) for each in data["sample"]]
        found.append(Case(path.stem, framing, frames, data.get("whole_pieces", False)))
    return found


def as_bytes(text: str) -> bytes:
    """Return a sample's bytes."""
    return bytes.fromhex(text[2:]) if text.startswith("0x") else text.encode("latin-1")


def seconds(work: Callable[[], object]) -> float:
    """Return the processor time of one run."""
    before = time.process_time()
    work()
    return time.process_time() - before


def side_by_side(name: str, ours: Callable[[], int], theirs: Callable[[], int]) -> None:
    """Print how many messages a second each reads; both are run in turn, and must read them all."""
    assert ours() == theirs() == MESSAGES
    pairs = [(seconds(ours), seconds(theirs)) for _ in range(ROUNDS)]
    our_s, their_s = (statistics.median(each) for each in zip(*pairs, strict=True))
    print(
        f"{name:<30} {MESSAGES / our_s:>9,.0f}/s   independent {MESSAGES / their_s:>9,.0f}/s   "
        f"{their_s / our_s:4.1f} times as fast"
    )


def decode_stream(framing: Framing, messages: Sequence[bytes]) -> Callable[[], int]:
    """Return what feeds messages to a fresh decoder in chunks of 1 KiB, as a port gives them, and counts the frames."""
    stream = b"".join(messages)
    chunks = [Chunk(0, stream[at : at + 1024]) for at in range(0, len(stream), 1024)]

    def work() -> int:
        feed = framing.decoder().feed
        return sum(len(feed(chunk)) for chunk in chunks)

    return work


def decode_each(framing: Framing, messages: Sequence[bytes]) -> Callable[[], int]:
    """Return what feeds messages to a fresh decoder, each as a chunk of its own, and counts the frames."""

    def work() -> int:
        feed = framing.decoder().feed
        return sum(len(feed(Chunk(0, message))) for message in messages)

    return work


def compare() -> None:
    """Compare with the independent parsers, which want one message at a time; ours also as a stream."""
    chance = random.Random(1)
    nmea = NmeaFraming(Section({"type": "A", "id": "PITCH"}))
    angles = [f"{chance.uniform(-90, 90):.2f}" for _ in range(MESSAGES)]
    sentences = [nmea.encode({"number": angle, "unit": "D"}) for angle in angles]
    texts = [sentence.decode("ascii") for sentence in sentences]

    def independent_sentences() -> int:
        return sum(pynmea2.parse(text, check=True).num_transducers for text in texts)

    def independent_values() -> int:
        return sum(pynmea2.parse(text, check=True).get_transducer(0).units == "D" for text in texts)

    for how, decode in (("one a chunk", decode_each), ("stream", decode_stream)):
        side_by_side(f"nmea, {how} (checked)", decode(nmea, sentences), independent_sentences)
        side_by_side(f"nmea, {how} (read)", decode(nmea, sentences), independent_values)

    modbus = ModbusFraming(Section({"unit": 1, "function": 3, "register": 0, "type": "sint16"}))
    replies = [modbus.encode({"number": chance.randrange(-9000, 9000)}) for _ in range(MESSAGES)]
    framer = FramerRTU(DecodePDU(False))

    def cut_alone() -> int:
        return sum(framer.decode(reply)[0] > 0 for reply in replies)

    def cut_and_read() -> int:
        return sum(framer.handleFrame(reply, 1, 0)[1] is not None for reply in replies)

    for how, decode in (("one a chunk", decode_each), ("stream", decode_stream)):
        side_by_side(f"modbus, {how} (checked)", decode(modbus, replies), cut_alone)
        side_by_side(f"modbus, {how} (read)", decode(modbus, replies), cut_and_read)


def cost(case: Case) -> None:
    """Print what share of a processor a framing takes where its link is full of frames, each a chunk of its own."""
    messages = [case.frames[place % len(case.frames)][0] for place in range(MESSAGES)]
    work = decode_each(case.framing, messages)
    assert work() >= MESSAGES
    each_s = statistics.median(seconds(work) for _ in range(ROUNDS)) / MESSAGES
    notified = case.whole_pieces or case.name.startswith("described")
    rate = NOTIFICATIONS_PER_S if notified else BYTES_PER_S * MESSAGES / sum(map(len, messages))
    print(f"{case.name:<24} {each_s * 1e6:5.2f} µs a frame x {rate:5.0f}/s = {100 * each_s * rate:5.2f} % of a core")


def damaged(frame: bytes, new: bytes, chance: random.Random) -> bytes:
    """Return a frame with bytes replaced at random places by new ones."""
    spoilt = bytearray(frame)
    for byte in new:
        spoilt[int(chance.random() * len(spoilt))] = byte
    return bytes(spoilt)


def sent_instead(kind: str, frame: bytes, alike: bytes, chance: random.Random) -> bytes:
    """Return what arrives in a frame's place: two to six bytes of it damaged, or as many bytes by chance."""
    if kind == "random":
        return chance.randbytes(len(frame))
    count = chance.randrange(2, 7)
    new = chance.randbytes(count) if kind == "any bytes" else bytes(chance.choices(alike, k=count))
    return damaged(frame, new, chance)


KINDS = ("any bytes", "alike", "random")
"""Damaged by any bytes; by bytes that the framing's frames have, which keep its form more often; chance alone."""


def fuzz(case: Case, count: int) -> None:
    """Print how many damaged or random frames gave a reading other than the undamaged one."""
    chance = random.Random(case.name)
    alike = b"".join(frame for frame, _ in case.frames)
    decoder = case.framing.decoder()
    false, tried = dict.fromkeys(KINDS, 0), dict.fromkeys(KINDS, 0)
    for place in range(count):
        frame, fields = case.frames[place % len(case.frames)]
        kind = KINDS[chance.randrange(len(KINDS))]
        sent = sent_instead(kind, frame, alike, chance)
        if sent == frame:
            continue
        tried[kind] += 1
        found = [*decoder.feed(Chunk(0, sent)), *decoder.finish(0)]
        false[kind] += any(isinstance(item, Frame) and item.fields != fields for item in found)
    share = EXPECTED.get(case.name)
    words = "no check" if share is None else f"a check alone passes about {tried['any bytes'] * share:.1f} of any bytes"
    told = ", ".join(f"{kind} {false[kind]} of {tried[kind]}" for kind in KINDS)
    print(f"{case.name:<24} false readings: {told} ({words})")


def main() -> None:
    """Print all figures."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--fuzz", type=int, default=1_000_000)
    parser.add_argument("--each", action="store_true")
    parser.add_argument("--only", default="")
    given = parser.parse_args()
    chosen = cases(given.only)
    if not given.only:
        compare()
    for case in chosen:
        cost(case)
    count = given.fuzz if given.each else -(-given.fuzz // len(chosen))
    for case in chosen:
        fuzz(case, count)


if __name__ == "__main__":
    main()
