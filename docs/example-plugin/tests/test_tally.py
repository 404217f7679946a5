"""The framing keeps gaugelog's contract, and its check digit is looked at."""

from gaugelog_example.tally import TallyFraming

from gaugelog.model.readings import Chunk, Reject, RejectReason
from gaugelog.model.section import Section
from gaugelog.testing import check_decoder


def framing() -> TallyFraming:
    return TallyFraming(Section({"digits": 5}))


def test_the_contract_of_a_framing() -> None:
    # check digits worked out by hand: 2*3 + 8*4 + 5*5 = 63; 3*4 + 5*5 + 7 = 44
    samples = [(b"<+00285:3>", {"number": 285}), (b"<-00035:4>", {"number": -35})]
    check_decoder(framing().decoder, samples, noise=b"\x00?<+12")
    assert [framing().encode(fields) for _, fields in samples] == [data for data, _ in samples]


def test_a_wrong_check_digit_is_no_message() -> None:
    (found,) = framing().decoder().feed(Chunk(0, b"<+00286:3>"))
    assert isinstance(found, Reject)
    assert found.reason is RejectReason.CHECKSUM


def test_a_wrong_option_is_noted() -> None:
    options = Section({"digits": 0})
    TallyFraming(options)
    assert [fault.key for fault in options.faults] == ["digits"]
