"""The clamp session's chart as data: order, steps, fitted curve, rest, names, and spans packed into the page."""

from __future__ import annotations

import base64
import time
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.analysis.drift import drift
from gaugelog.analysis.explained import Explained, fitted
from gaugelog.analysis.results import Drift, SeriesDrift
from gaugelog.analysis.series import Series
from gaugelog.analysis.steps import Step
from gaugelog.model.placement import Mark, MarkKind
from gaugelog.model.quantities import Quantity
from gaugelog.show.charts import ChartSeries, DriftChart, chart_html
from gaugelog.show.drift_chart import drift_figure, drift_label
from gaugelog.show.drift_detail import packed
from gaugelog.show.drift_lanes import PLOT_PX, Lane, reach_of
from gaugelog.show.drift_rows import FINE_SPANS, MOST_SINGLES, rows_of
from gaugelog.show.drift_steps import MOST_NAMED
from gaugelog.show.envelope import coarser, envelope, singles
from gaugelog.show.sittings import Panel, panels_of

START_US = 1_773_498_300_000_000
HALF_HOUR_US = 1_800_000_000


def _every(seconds: float, count: int) -> np.ndarray:
    return START_US + (np.arange(count) * seconds * 1e6).astype(np.int64)


def _unpacked(told: dict[str, Any]) -> np.ndarray:
    """Return packed numbers as the page is to read them, written anew here."""
    ticks = np.frombuffer(base64.b64decode(told["data"]), dtype=f"<{told['type']}")
    return np.asarray(told["from"] + told["step"] * ticks)


def _chart(*series: ChartSeries, told: tuple[SeriesDrift, ...] = (), marks: tuple[Mark, ...] = ()) -> DriftChart:
    return DriftChart("", list(series), Drift(START_US, told), marks)


def _whole(chart: DriftChart) -> tuple[Panel, ...]:
    times = [each.utc_us for each in chart.series]
    return panels_of(times, int(times[0][0]), int(times[0][-1]))


@given(st.lists(st.integers(-100_000, 100_000), min_size=1, max_size=60), st.sampled_from((0, 1, 2, 3, 4)))
def test_decimals_come_out_of_the_page_as_they_went_in(ticks: list[int], decimals: int) -> None:
    value = np.array([float(f"{tick}e-{decimals}") for tick in ticks])
    told = packed(value)
    assert told["type"] in ("u2", "u4")
    assert _unpacked(told) == pytest.approx(value, abs=1e-9)


@given(st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=60))
def test_numbers_that_are_no_short_decimals_are_kept_too(values: list[float]) -> None:
    assert _unpacked(packed(np.array(values))) == pytest.approx(np.array(values), rel=1e-12, abs=1.1e-9)


@given(st.lists(st.integers(-40, 40), min_size=2, max_size=400), st.integers(1, 60), st.integers(1, 20))
def test_putting_spans_together_loses_no_reading(ticks: list[int], fine: int, coarse: int) -> None:
    utc_us, value = _every(0.1, len(ticks)), np.array(ticks) * 0.05
    drawn = coarser(envelope(utc_us, value, fine), coarse)
    assert drawn.size <= max(coarse, 1)
    assert drawn.count.sum() == value.size
    assert (drawn.mean * drawn.count).sum() == pytest.approx(value.sum(), abs=1e-9)
    for start, end, low, high in zip(drawn.start_us, drawn.end_us, drawn.low, drawn.high, strict=True):
        inside = value[(utc_us >= start) & (utc_us <= end)]
        assert (low, high) == (inside.min(), inside.max())


def test_single_readings_are_kept_while_a_page_can_hold_them() -> None:
    few, many = _every(0.1, MOST_SINGLES), _every(0.1, MOST_SINGLES + 1)
    chart = _chart(ChartSeries("a", "deg", few, np.zeros(few.size)), ChartSeries("b", "deg", many, np.zeros(many.size)))
    single, spans = rows_of(chart, _whole(chart))
    assert sum(run.fine.size for run in single.runs) == few.size
    assert all(run.fine.single for run in single.runs)
    assert FINE_SPANS / 2 < sum(run.fine.size for run in spans.runs) <= FINE_SPANS + 1
    with pytest.raises(ValueError, match="span"):
        coarser(singles(few, np.zeros(few.size)), 0)


def test_the_page_holds_spans_in_which_every_reading_lies() -> None:
    utc_us = _every(0.1, 200_000)
    value = np.round(np.random.default_rng(1).normal(2.83, 0.05, utc_us.size) / 0.05) * 0.05
    value[123_456] = 9.9
    figure = drift_figure(_chart(ChartSeries("neck", "deg", utc_us, value)))
    (place,) = figure.layout.meta["detail"]["places"]
    (run,) = place["runs"]
    low, high, count = (_unpacked(run[name]) for name in ("low", "high", "count"))
    lean = np.frombuffer(base64.b64decode(run["lean"]), dtype="<u2") / 65_535
    assert count.sum() == value.size
    first = np.concatenate(([0], np.cumsum(count)[:-1])).astype(int)
    assert low == pytest.approx(np.minimum.reduceat(value, first), abs=1e-9)
    assert high == pytest.approx(np.maximum.reduceat(value, first), abs=1e-9)
    mean = np.add.reduceat(value, first) / count
    assert low + lean * (high - low) == pytest.approx(mean, abs=1e-4)
    assert place["zero"] == np.median(value[:15])
    assert figure.data[place["line"]].name == "neck"
    assert figure.data[place["band"]].fill == "toself"


def test_a_day_of_four_gauges_makes_a_page_of_less_than_four_megabytes() -> None:
    chance = np.random.default_rng(2)
    utc_us = _every(0.1, 864_000)
    series = [
        ChartSeries(name, "deg", utc_us, np.round(chance.normal(1, 0.05, utc_us.size) / 0.05) * 0.05)
        for name in ("neck", "body", "roll", "bench")
    ]
    html = chart_html(drift_figure(_chart(*series)), label="synthetic", library=False)
    assert 100_000 < len(html) < 4_000_000


def test_the_climate_comes_last_as_it_was_and_gauges_keep_their_order() -> None:
    utc_us = _every(60, 50)
    units = {"air": "%", "neck": "deg", "warmth": "degC", "rise": "mm"}
    chart = _chart(*(ChartSeries(name, unit, utc_us, np.full(50, 21.5)) for name, unit in units.items()))
    rows = rows_of(chart, _whole(chart))
    assert [row.series.name for row in rows] == ["neck", "rise", "warmth", "air"]
    assert [float(row.drawn(np.array(21.5))) for row in rows] == [0.0, 0.0, 21.5, 21.5]
    assert "change of neck, rise from the start; air, warmth below" in drift_label(chart)


def _stepped() -> tuple[Series, Drift]:
    """Return an invented gauge with two steps and creep, and what was found about it."""
    chance = np.random.default_rng(3)
    time_s = np.arange(0, 7200, 0.5)
    value = 1.2 + 0.2 * (time_s > 1500) - 0.3 * (time_s > 3000) + 0.15 * (1 - np.exp(-time_s / 900))
    digits = np.round((value + chance.normal(0, 0.02, time_s.size)) / 0.05) * 0.05
    series = Series("neck", Quantity.ANGLE, START_US + (time_s * 1e6).astype(np.int64), digits, (0.05,))
    return series, drift([series], limits={"neck": 2.0})


def test_steps_stand_where_they_were_with_their_size_and_the_curve_is_the_fit() -> None:
    series, found = _stepped()
    figure = drift_figure(_chart(ChartSeries("neck", "deg", series.utc_us, series.value), told=found.series))
    told = found.series[0].explained
    assert told is not None
    assert told.rest_at_us is not None
    uprights = [shape for shape in figure.layout.shapes if shape.name == "step"]
    panel = Panel(int(series.utc_us[0]), int(series.utc_us[-1]), 1.0)
    # the true steps of this invented session
    wanted = [panel.written(START_US + round(at * 1e6)) for at in (1500, 3000)]
    apart = [np.datetime64(line.x0) - np.datetime64(at) for line, at in zip(uprights, wanted, strict=True)]
    assert max(abs(each / np.timedelta64(1, "s")) for each in apart) < 10
    texts = [each.text for each in figure.layout.annotations if each.name == "found"]
    sizes = [float(text.replace("−", "-").rstrip("°")) for text in texts if text != "at rest"]
    assert sorted(sizes) == pytest.approx([-0.3, 0.2], abs=0.03)
    rest = next(shape for shape in figure.layout.shapes if shape.name == "rest")
    assert np.datetime64(rest.x0) == panel.local([told.rest_at_us])[0]
    assert "at rest" in texts
    line = next(trace for trace in figure.data if trace.name == "neck, fitted")
    utc_us = np.array([np.datetime64(each, "us").astype(np.int64) for each in line.x]) - panel.ahead_us
    curve, _ = fitted(told, utc_us)
    smooth = np.abs(np.subtract.outer(utc_us, [step.time_us for step in told.steps])).min(axis=1) > 5000
    drawn = np.array(line.y)
    assert drawn[smooth] == pytest.approx((curve - np.median(series.value[:15]))[smooth], abs=1e-4)
    assert np.abs(np.diff(drawn)).max() == pytest.approx(0.3, abs=0.03)


def _many_steps(count: int) -> DriftChart:
    utc_us = _every(1, 7200)
    steps = tuple(Step(START_US + 90_000_000 * (k + 1), 0.1 + 0.01 * k, 0.004) for k in range(count))
    told = SeriesDrift("neck", Quantity.ANGLE, False, 7200, (), (), Explained(steps, None, None, 0.02, 0))
    return _chart(ChartSeries("neck", "deg", utc_us, np.linspace(0, 1, 7200)), told=(told,))


def test_all_steps_are_marked_and_the_largest_named_as_far_as_there_is_room() -> None:
    figure = drift_figure(_many_steps(40))
    assert sum(shape.name == "step" for shape in figure.layout.shapes) == 40
    named = [each.text for each in figure.layout.annotations if each.name == "found"]
    assert 3 < len(named) <= MOST_NAMED
    assert named[0] == "+0.490°"
    largest = {f"+{0.1 + 0.01 * k:.3f}°" for k in range(30, 40)}
    assert set(named) <= largest
    few = [each for each in drift_figure(_many_steps(2)).layout.annotations if each.name == "found"]
    assert [each.text for each in few] == ["+0.110°", "+0.100°"]
    assert "neck: up by 0.1100° ± 0.0078° (95 %)" in few[0].hovertext


def test_a_name_that_would_leave_its_panel_stands_before_its_moment_and_lanes_are_taken_once() -> None:
    panels = (Panel(0, 1000, 0.5), Panel(5000, 6000, 0.5))
    inside, late = reach_of(panels, 0, 100, 40), reach_of(panels, 0, 990, 40)
    assert (inside.left, inside.leftwards) == (PLOT_PX * 0.05, False)
    assert (late.right, late.leftwards) == (PLOT_PX * 0.495, True)
    lane = Lane(foot=True, up=0)
    assert lane.takes(inside)
    assert not lane.takes(reach_of(panels, 0, 150, 40))
    assert lane.takes(late)


def test_marks_too_many_to_be_named_leave_their_lines_and_long_words_are_told_on_pointing() -> None:
    utc_us = _every(1, 3600)
    notes = tuple(Mark(START_US + k * 1_000_000, MarkKind.NOTE, f"note {k} " + "long " * 10) for k in range(9))
    marks = (*notes, Mark(START_US + 5_000_000, MarkKind.GLUE_ON))
    figure = drift_figure(_chart(ChartSeries("neck", "deg", utc_us, np.zeros(3600)), marks=marks))
    assert sum(shape.name == "mark" for shape in figure.layout.shapes) == 10
    named = [each for each in figure.layout.annotations if each.name == "mark"]
    assert named[0].text == "glue on"
    assert 1 < len(named) < 10
    assert all(len(each.text) <= 30 for each in named)
    assert "long long long long" in named[1].hovertext


@given(st.lists(st.lists(st.integers(0, 40), max_size=12), min_size=1, max_size=4), st.integers(0, 20))
def test_a_session_falls_apart_where_all_are_silent_for_long(heard: list[list[int]], end: int) -> None:
    """Against the plain way: all moments sorted together, cut where the next is half an hour or more away."""
    times = [np.array(sorted(each), dtype=np.int64) * (HALF_HOUR_US // 3) for each in heard]
    last = max([end * HALF_HOUR_US // 3, *(int(each[-1]) for each in times if each.size)])
    panels = panels_of(times, 0, last)
    moments = np.unique(np.concatenate([*times, [0, last]])).astype(np.int64)
    pieces = np.split(moments, np.flatnonzero(np.diff(moments) >= HALF_HOUR_US) + 1)
    assert (panels[0].start_us, panels[-1].end_us) == (0, last)
    if len(panels) > 1:
        assert [(p.start_us, p.end_us) for p in panels] == [(int(each[0]), int(each[-1])) for each in pieces]
    assert sum(panel.share for panel in panels) == pytest.approx(1.0)


@pytest.fixture
def berlin(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("berlin")
def test_a_night_in_which_the_clocks_change_keeps_marks_on_their_curve() -> None:
    # 2026-03-29, 01:00 UTC: clocks in central Europe go from 2 to 3 (EU directive 2000/84/EC)
    change_us = 1_774_746_000_000_000
    utc_us = change_us + np.arange(-3600, 3600, 60, dtype=np.int64) * 1_000_000
    mark = Mark(int(utc_us[90]), MarkKind.CLAMPS_OFF)
    found = Drift(int(utc_us[0]), ())
    figure = drift_figure(DriftChart("", [ChartSeries("neck", "deg", utc_us, np.zeros(utc_us.size))], found, (mark,)))
    (line,) = (shape for shape in figure.layout.shapes if shape.name == "mark")
    curve = figure.data[0].x
    assert np.datetime64(line.x0) == np.datetime64(curve[90])
    assert np.datetime64(curve[-1]) - np.datetime64(curve[0]) == np.timedelta64(7140, "s")
    assert str(figure.layout.xaxis.range[0]).startswith("2026-03-29T01:00")
