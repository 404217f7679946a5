"""Lines: terminators, length, encoding, and what is left over."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.frames.line import LineFraming
from gaugelog.model.readings import Chunk, Frame, Reject, RejectReason
from gaugelog.model.section import Section

OPTIONS: dict[str, object] = {"pattern": r"(?P<number>-?\d+\.\d\d)", "template": "{number}"}


def framing(**more: object) -> LineFraming:
    section = Section({**OPTIONS, **more})
    made = LineFraming(section)
    assert section.faults == []
    return made


def run(made: LineFraming, *pieces: bytes) -> list[Frame | Reject]:
    decoder = made.decoder()
    found = [item for place, piece in enumerate(pieces) for item in decoder.feed(Chunk(place, piece))]
    return [*found, *decoder.finish(len(pieces))]


def numbers(found: list[Frame | Reject]) -> list[str]:
    return [str(item.fields["number"]) for item in found if isinstance(item, Frame)]


@pytest.mark.parametrize("end", [b"\r\n", b"\n", b"\r"])
def test_any_end_of_line_will_do_unless_one_is_named(end: bytes) -> None:
    found = run(framing(), b"2.85" + end + b"2.80" + end)
    assert numbers(found) == ["2.85", "2.80"]
    assert len(found) == 2


def test_a_pair_of_ends_cut_in_two_is_no_empty_line() -> None:
    found = run(framing(), b"2.85\r", b"\n2.80\r", b"\n")
    assert numbers(found) == ["2.85", "2.80"]
    assert len(found) == 2


def test_a_named_end_is_the_only_one() -> None:
    assert numbers(run(framing(terminator=";"), b"2.85;2.80;")) == ["2.85", "2.80"]
    (only,) = run(framing(terminator=";"), b"2.85\n2.80;")
    assert isinstance(only, Reject)


def test_a_frame_has_the_time_of_the_chunk_that_completed_it() -> None:
    (found,) = run(framing(), b"2.", b"85", b"\n")
    assert found.time_ns == 2


def test_a_line_that_does_not_match_is_kept_as_a_reject() -> None:
    (found,) = run(framing(), b"2.8x\n")
    assert found == Reject(0, b"2.8x", RejectReason.NO_MATCH, "2.8x")


def test_what_is_not_text_is_a_reject() -> None:
    (found,) = run(framing(), b"\xff\xfe\n")
    assert isinstance(found, Reject)
    assert found.reason is RejectReason.ENCODING


def test_an_unfinished_line_at_the_end_is_told() -> None:
    (found,) = run(framing(), b"2.8")
    assert found == Reject(1, b"2.8", RejectReason.CUT_OFF)


def test_endless_bytes_are_told_once_and_the_next_line_is_read_again() -> None:
    found = run(framing(longest=20), *[b"9" * 15] * 50, b"\n2.85\n")
    assert numbers(found) == ["2.85"]
    assert [item.reason for item in found if isinstance(item, Reject)] == [RejectReason.TOO_LONG]


def test_memory_stays_small_under_endless_bytes() -> None:
    decoder = framing(longest=20).decoder()
    for place in range(1000):
        decoder.feed(Chunk(place, b"9" * 1000))
    assert len(decoder._lines._kept) <= 20


@given(st.lists(st.decimals(-999, 999, places=2), min_size=1, max_size=8), st.data())
def test_what_is_encoded_comes_back_however_it_is_cut(values, data) -> None:
    made = framing()
    stream = b"".join(made.encode({"number": format(value, "f")}) for value in values)
    pieces = []
    while stream:
        cut = data.draw(st.integers(1, len(stream)))
        pieces.append(stream[:cut])
        stream = stream[cut:]
    assert numbers(run(made, *pieces)) == [format(value, "f") for value in values]


def without_times(found: list[Frame | Reject]) -> list[tuple[object, ...]]:
    return [(item.raw, item.fields if isinstance(item, Frame) else (item.reason, item.detail)) for item in found]


ALPHABET = st.sampled_from([b"2.85", b"9", b"\r", b"\n", b"\r\n", b"\xff", b" "])


@pytest.mark.parametrize("terminator", ["", "\r\n"])
@given(parts=st.lists(ALPHABET, max_size=30), cuts=st.lists(st.integers(0, 60), max_size=6))
def test_any_bytes_give_the_same_however_they_are_cut(terminator: str, parts: list[bytes], cuts: list[int]) -> None:
    stream = b"".join(parts)
    places = [0, *sorted(min(cut, len(stream)) for cut in cuts), len(stream)]
    pieces = [stream[start:end] for start, end in pairwise(places)]
    made = framing(longest=6, terminator=terminator)
    assert without_times(run(made, *pieces)) == without_times(run(made, stream))


def test_a_line_of_the_greatest_length_may_have_its_end_cut_in_two() -> None:
    assert numbers(run(framing(longest=4, terminator="\r\n"), b"2.85\r", b"\n")) == ["2.85"]


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({"pattern": "(", "template": "{number}"}, "pattern"),
        ({"pattern": r"\d+", "template": "{number}"}, "pattern"),
        ({"template": "{number}"}, "pattern"),
        ({"pattern": r"(?P<number>\d+)"}, "template"),
        ({"pattern": r"(?P<number>\d+)", "template": "{value}"}, "template"),
        ({"pattern": r"(?P<number>\d+)", "template": "{number"}, "template"),
        ({"pattern": r"(?P<number>\d{99999999999})", "template": "{number}"}, "pattern"),
        ({**OPTIONS, "template": "{number:>99999999}"}, "template"),
        ({**OPTIONS, "template": "{number}°"}, "template"),
        ({**OPTIONS, "terminator": "→"}, "terminator"),
        ({**OPTIONS, "longest": 0}, "longest"),
        ({**OPTIONS, "encoding": "morse"}, "encoding"),
    ],
)
def test_faults_of_the_options_are_named(options: dict[str, object], key: str) -> None:
    section = Section(options, "framing")
    LineFraming(section)
    assert f"framing.{key}" in {fault.key for fault in section.faults}
