"""The example recording opens as it did when it was made; its numbers were reckoned by hand in recordings/README.md."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from gaugelog.analysis.results import Verdict
from gaugelog.instruments.read import read_instrument
from gaugelog.review.comparing import compare_recorded
from gaugelog.review.session import session_of
from gaugelog.store.reader import open_recording

EXAMPLE = Path(__file__).resolve().parents[2] / "recordings" / "invented-neck-set.gaugelog"


def test_it_opens_whole_and_leaves_nothing_beside_it() -> None:
    before = sorted(EXAMPLE.parent.iterdir())
    with open_recording(EXAMPLE) as recording:
        recording.check()
        assert [len(snapshot.placements) for snapshot in recording.snapshots()] == [21, 18]
    assert sorted(EXAMPLE.parent.iterdir()) == before


def test_its_comparison_is_the_one_reckoned_by_hand() -> None:
    with open_recording(EXAMPLE) as recording:
        comparison = compare_recorded(recording, read_instrument(recording.instrument_text, "the example"))
    rows = {row.id: row for row in comparison.checkpoints}
    by_hand = {
        "clearance-bass": (0.0, 0.05 / math.sqrt(6), Verdict.HELD),
        "clearance-treble": (0.05, 0.05 / math.sqrt(6), Verdict.HELD),
        "centreline-bridge": (0.8, 0.1 / math.sqrt(6), Verdict.MOVED),
    }
    for name, (shift, u, verdict) in by_hand.items():
        assert rows[name].shift == pytest.approx(shift, abs=1e-12), name
        assert rows[name].u == pytest.approx(u), name
        assert rows[name].verdict is verdict, name


def test_its_clamp_session_has_every_reading() -> None:
    with open_recording(EXAMPLE) as recording:
        session = session_of(recording, read_instrument(recording.instrument_text, "the example"))
    assert {series.name: series.utc_us.size for series in session.series} == {"neck": 5160, "body": 5160}
    assert [mark.kind.value for mark in session.marks] == ["glue on", "clamps on", "clamps off"]
