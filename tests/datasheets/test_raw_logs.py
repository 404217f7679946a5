"""The example raw logs: what their README says comes out of them, read off the logs by eye."""

from __future__ import annotations

from pathlib import Path

import pytest

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.datasheets.meaning import Decoding
from gaugelog.links.rawlog import parse_raw_log
from gaugelog.model.readings import Flag, Reading, Reject, RejectReason

FOLDER = Path(__file__).resolve().parents[2] / "recordings"
NONE, LOW, HOLD = Flag.NONE, Flag.LOW_BATTERY, Flag.HOLD
BY_EYE = {
    "angle-on-the-neck.raw": (
        "angle-line",
        [
            (4.60, NONE),
            (3.40, NONE),
            (2.95, NONE),
            (2.80, NONE),
            *[(2.85, NONE)] * 4,
            (2.85, LOW),
            (2.85, HOLD),
            (-0.05, LOW),
        ],
        [RejectReason.NO_MATCH, RejectReason.ENCODING, RejectReason.NO_MATCH, RejectReason.CUT_OFF],
    ),
    "caliper-by-button.raw": (
        "caliper-button",
        [(31.42, NONE), (31.43, NONE), (31.4325, NONE), (31.42, LOW)],
        [RejectReason.RANGE],
    ),
    "tilt-on-change.raw": (
        "angle-on-change",
        [(2.85, NONE), (2.90, NONE), (2.95, NONE), (-0.05, NONE), (2.95, NONE)],
        [RejectReason.NO_MATCH],
    ),
}


def test_no_log_goes_unchecked_and_each_says_that_it_is_synthetic() -> None:
    logs = sorted(FOLDER.glob("*.raw"))
    assert [log.name for log in logs] == sorted(BY_EYE)
    assert all("\n# synthetic: " in log.read_text(encoding="utf-8") for log in logs)


@pytest.mark.parametrize("name", sorted(BY_EYE))
def test_what_comes_out_of_a_log_is_what_the_eye_reads(name: str) -> None:
    datasheet, readings, rejected = BY_EYE[name]
    chunks = parse_raw_log((FOLDER / name).read_text(encoding="utf-8").splitlines(), name)
    decoding = Decoding(find_datasheet(datasheet), "gauge")
    heard = [*(decoding.feed(chunk) for chunk in chunks), decoding.finish(chunks[-1].time_ns)]
    items = [item for each in heard for item in each.items]
    assert [(item.value, item.flags) for item in items if isinstance(item, Reading)] == readings
    assert [item.reason for item in items if isinstance(item, Reject)] == rejected
