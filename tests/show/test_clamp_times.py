"""The times of a clamp session in words, by phase; label times as a builder would enter them, invented."""

from __future__ import annotations

import pytest

from gaugelog.model.instrument import Glue
from gaugelog.model.placement import Phase
from gaugelog.show.alarm_words import clamp_times_words

LABEL = Glue(open_time_min=5, clamp_time_h=24)
LEFT_ALONE = "leave it alone until the clamp time is over"
PAST = "the glue is past its open time by your label: moving it now breaks the joint"


@pytest.mark.parametrize(
    ("phase", "open_s", "clamps_s", "glue", "words"),
    [
        (Phase.DRY_FIT, None, None, LABEL, []),
        (Phase.GLUE_OPEN, 5, None, LABEL, ["for 5 s", "glue open for 4 more minutes by your label"]),
        (Phase.GLUE_OPEN, 5, None, Glue(), ["for 5 s"]),
        (
            Phase.IN_CLAMPS, 130, 10, LABEL,
            ["for 10 s of 24 h 00 min by your label", LEFT_ALONE, "glue open for 2 more minutes by your label"],
        ),
        (Phase.IN_CLAMPS, 90_000, 86_400, LABEL, ["for 24 h 00 min of 24 h 00 min by your label", PAST]),
        (Phase.IN_CLAMPS, 90_000, 86_400, Glue(), ["for 24 h 00 min"]),
        (Phase.AFTER_CLAMPS, 90_000, 86_400, LABEL, ["the clamps went on 24 h 00 min ago"]),
    ],
)  # fmt: skip
def test_each_phase_tells_the_times_that_count_in_it(phase, open_s, clamps_s, glue, words) -> None:
    told = clamp_times_words(phase, open_s, clamps_s, glue)
    assert [each.replace("\u00a0", " ") for each in told] == words
