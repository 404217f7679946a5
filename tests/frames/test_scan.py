"""Finding whole messages: nothing lost, nothing found twice, noise in one piece, and bounded memory."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.frames.scan import DAMAGED, NOTHING, Kind, Piece, Scan, reject_of
from gaugelog.model.readings import RejectReason

SYNC, LONGEST = 0xAA, 12


def recognise(data: bytes, at: int) -> int:
    """A message of the tests: AA, how many bytes follow (1 to 9), those bytes, the sum of all before."""
    if data[at] != SYNC:
        return NOTHING
    there = len(data) - at
    if there < 2:
        return -2
    count = data[at + 1]
    if not 1 <= count <= LONGEST - 3:
        return NOTHING
    if there < count + 3:
        return -(count + 3)
    return count + 3 if sum(data[at : at + count + 2]) & 0xFF == data[at + count + 2] else DAMAGED


def message(held: bytes) -> bytes:
    head = bytes((SYNC, len(held))) + held
    return head + bytes((sum(head) & 0xFF,))


def run(*chunks: bytes) -> list[Piece]:
    scan = Scan(recognise)
    return [piece for chunk in chunks for piece in scan.feed(chunk)] + scan.finish()


ONE, TWO = message(b"\x01\x02"), message(b"\x03")


def test_glued_messages_are_both_found() -> None:
    assert run(ONE + TWO) == [(Kind.WHOLE, ONE), (Kind.WHOLE, TWO)]


def test_noise_between_messages_is_one_piece() -> None:
    noise = b"\x00\x01\x02\x03"
    assert run(ONE + noise + TWO) == [(Kind.WHOLE, ONE), (Kind.SKIPPED, noise), (Kind.WHOLE, TWO)]


def test_noise_that_comes_byte_by_byte_is_still_one_piece() -> None:
    assert run(*[b"\x01"] * 20, ONE) == [(Kind.SKIPPED, b"\x01" * 20), (Kind.WHOLE, ONE)]


def test_a_damaged_message_is_told_as_one_with_a_wrong_check() -> None:
    spoilt = ONE[:-1] + bytes((ONE[-1] ^ 1,))
    pieces = run(spoilt + TWO)
    assert pieces == [(Kind.SPOILT, spoilt), (Kind.WHOLE, TWO)]
    assert reject_of(pieces[0], 7).reason is RejectReason.CHECKSUM


def test_a_false_beginning_does_not_hold_up_the_message_behind_it() -> None:
    false = bytes((SYNC, 9))
    scan = Scan(recognise)
    assert scan.feed(false) == []
    assert scan.feed(TWO) == [(Kind.SKIPPED, false), (Kind.WHOLE, TWO)]


def test_what_is_left_over_is_told_as_noise_and_a_beginning() -> None:
    assert run(b"\x01\x02" + ONE[:3]) == [(Kind.SKIPPED, b"\x01\x02"), (Kind.CUT_OFF, ONE[:3])]


def test_after_the_end_it_begins_anew() -> None:
    scan = Scan(recognise)
    scan.feed(ONE[:3])
    scan.finish()
    assert scan.feed(ONE[3:] + TWO) == [(Kind.SKIPPED, ONE[3:]), (Kind.WHOLE, TWO)]


def test_endless_noise_is_told_in_stretches_and_never_kept() -> None:
    scan = Scan(recognise)
    noise = random.Random(3).randbytes(100_000).replace(bytes((SYNC,)), b"\x00")
    told = b""
    for start in range(0, len(noise), 7):
        told += b"".join(piece.raw for piece in scan.feed(noise[start : start + 7]))
        assert len(scan.kept) < 64 + LONGEST
    assert noise.startswith(told)
    assert len(noise) - len(told) < 64 + LONGEST


@pytest.mark.parametrize("cut", [1, 20, 1_000_000])
def test_every_byte_of_noise_is_looked_at_a_bounded_number_of_times(cut: int) -> None:
    """Counted rather than timed: work that grows faster than the bytes would show here."""
    looks = 0

    def counted(data: bytes, at: int) -> int:
        nonlocal looks
        looks += 1
        return recognise(data, at)

    scan = Scan(counted)
    noise = bytes((SYNC, 9)) * 25_000
    for start in range(0, len(noise), cut):
        scan.feed(noise[start : start + cut])
    assert looks <= 3 * len(noise)


PARTS = st.sampled_from(
    [ONE, TWO, message(b"\x00" * 9), bytes((SYNC,)), bytes((SYNC, 9)), b"\x00", b"\x01\x02", ONE[:-1]]
)


@given(parts=st.lists(PARTS, max_size=20), cuts=st.lists(st.integers(0, 150), max_size=8))
def test_no_byte_is_lost_however_the_stream_is_cut(parts: list[bytes], cuts: list[int]) -> None:
    stream = b"".join(parts)
    places = [0, *sorted(min(cut, len(stream)) for cut in cuts), len(stream)]
    pieces = run(*[stream[start:end] for start, end in pairwise(places)])
    assert b"".join(piece.raw for piece in pieces) == stream


@given(held=st.lists(st.binary(min_size=1, max_size=9).map(lambda part: part.replace(b"\xaa", b"")), max_size=9))
def test_messages_with_noise_between_are_found_byte_by_byte_as_at_once(held: list[bytes]) -> None:
    wanted = [message(part) for part in held if part]
    stream = b"\x07".join(wanted)
    whole = [piece.raw for piece in run(stream) if piece.kind is Kind.WHOLE]
    each = [piece.raw for piece in run(*[bytes((byte,)) for byte in stream]) if piece.kind is Kind.WHOLE]
    assert whole == each
    assert set(whole) <= set(wanted) or any(SYNC in part[1:] for part in wanted)
    if not any(SYNC in part[1:] for part in wanted):
        assert whole == wanted
