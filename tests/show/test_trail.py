"""The picture of a clamp session as it grows: nothing lost however long, gaps left open, words that can be read."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.model.placement import Mark, MarkKind
from gaugelog.model.quantities import Quantity
from gaugelog.show.envelope import envelope
from gaugelog.show.trail import SPANS, Trail
from gaugelog.show.trail_picture import Lane, trail_picture

SECOND = 1_000_000
START_US = 1_790_000_000 * SECOND
SVG = "{http://www.w3.org/2000/svg}"


def trail_of(values: list[float], every_us: int = SECOND // 10, silence_s: float | None = 2.0) -> Trail:
    trail = Trail(Quantity.ANGLE, 0.05, silence_s)
    for number, value in enumerate(values):
        trail.take(START_US + number * every_us, value)
    return trail


@given(st.lists(st.floats(-10, 10), min_size=1, max_size=5000), st.integers(20_000, 5_000_000))
def test_however_many_readings_the_extremes_and_the_mean_stay(values: list[float], every_us: int) -> None:
    """Checked against numpy over all readings."""
    trail = trail_of(values, every_us)
    drawn = trail.drawn()
    assert drawn.size <= 2 * SPANS
    assert drawn.count.sum() == len(values)
    assert drawn.low.min() == min(values)
    assert drawn.high.max() == max(values)
    assert float((drawn.mean * drawn.count).sum()) == pytest.approx(sum(values), abs=1e-6)
    assert (np.diff(drawn.start_us) > 0).all()


def test_a_trail_begun_from_a_recording_goes_on_as_one_that_heard_it_all() -> None:
    rng = np.random.default_rng(7)
    values = 2.8 + np.cumsum(rng.normal(0, 0.002, 30_000))
    utc_us = START_US + np.arange(values.size) * 100_000
    whole = trail_of(values.tolist())
    half = Trail(Quantity.ANGLE, 0.05, 2.0)
    half.begin_from(utc_us[:20_000], values[:20_000])
    for each_us, value in zip(utc_us[20_000:].tolist(), values[20_000:].tolist(), strict=True):
        half.take(each_us, value)
    for drawn in (whole.drawn(), half.drawn()):
        assert drawn.count.sum() == values.size
        again = envelope(utc_us, values, 50)
        near = np.interp(again.middle_us, drawn.middle_us, drawn.mean)
        assert np.abs(near - again.mean).max() < 0.05


def test_a_silence_is_a_gap_unless_silence_says_nothing() -> None:
    for silence_s, gaps in ((2.0, 1), (None, 0)):
        trail = Trail(Quantity.ANGLE, 0.05, silence_s)
        for second in (*range(10), *range(30, 40)):
            trail.take(START_US + second * SECOND, 1.0)
        assert trail.gaps_after(trail.drawn()).size == gaps
        drawn = trail_picture([Lane("neck", trail, 1.0)], [], START_US + 40 * SECOND, width=400)
        assert len(re.findall('class="line"', drawn)) == gaps + 1


def test_the_picture_says_in_words_what_it_shows() -> None:
    trail = trail_of([2.8] * 100 + [2.95] * 100)
    marks = [
        Mark(START_US + 5 * SECOND, MarkKind.GLUE_ON),
        Mark(START_US + 6 * SECOND, MarkKind.NOTE, 'lamp <moved> & "back"'),
    ]
    lanes = [
        Lane("neck", trail, 2.8, 0.1, (START_US + 10 * SECOND,)),
        Lane("body", Trail(Quantity.ANGLE, 0.05, 2.0), 0.0),
    ]
    drawn = ElementTree.fromstring(trail_picture(lanes, marks, START_US + 20 * SECOND, width=360))
    label = drawn.get("aria-label") or ""
    assert "neck +0.15°" in label
    assert 'lamp <moved> & "back"' in label
    assert "body" not in label, "nothing was heard of it"
    texts = ["".join(each.itertext()) for each in drawn.iter(f"{SVG}text")]
    assert "neck +0.15°" in texts
    assert "dashed ±0.1°" in texts
    assert "!" in texts
    assert len(list(drawn.iter(f"{SVG}tspan"))) == 1
    assert float(drawn.get("width") or 0) == 360


@given(st.lists(st.integers(0, 3600), max_size=12), st.integers(100, 3000))
def test_the_words_of_marks_never_cover_one_another(seconds: list[int], width: int) -> None:
    trail = trail_of([1.0] * 36, every_us=100 * SECOND)
    marks = [Mark(START_US + each * SECOND, MarkKind.CLAMPS_ON) for each in sorted(seconds)]
    drawn = ElementTree.fromstring(
        trail_picture([Lane("neck", trail, 1.0)], marks, START_US + 3600 * SECOND, width=width)
    )
    places = [
        (float(each.get("y") or 0), float(each.get("x") or 0))
        for each in drawn.iter(f"{SVG}text")
        if each.get("class") == "mark"
    ]
    assert len(places) == len(marks)
    for y, x in places:
        assert 0 <= x <= float(drawn.get("width") or 0) - 60
        assert all(other_y != y or abs(other_x - x) > 60 or (other_y, other_x) == (y, x) for other_y, other_x in places)
    assert len(set(places)) == len(places)


def test_nothing_heard_is_no_picture() -> None:
    assert trail_picture([Lane("neck", Trail(Quantity.ANGLE, 0.05, 2.0), 0.0)], [], START_US, width=400) == ""
