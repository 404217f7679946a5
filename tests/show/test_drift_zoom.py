"""A browser looks into the chart of a synthetic session: steps and fit, zooming and back, words apart, no network."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gaugelog.analysis.drift import drift
from gaugelog.analysis.results import Gap
from gaugelog.analysis.series import Series, difference_of
from gaugelog.model.placement import Mark, MarkKind
from gaugelog.model.quantities import Quantity
from gaugelog.show.charts import ChartSeries, DriftChart, write_chart
from gaugelog.show.report import ReportData, write_report

START_US = 1_773_498_300_000_000
LENGTH_S = 10_000
KNOCK_S = 5432.1
STEPS = ((1000, 0.2), (1600, -0.12), (3000, 0.1), (3300, -0.15), (3600, 0.1), (4000, 0.2), (4060, -0.25), (4130, 0.15),
         (5000, 0.11), (5200, -0.12), (5700, 0.13), (9700, 0.12))  # fmt: skip
CHART = "document.querySelector('.plotly-graph-div')"


def _series() -> tuple[Series, ...]:
    """Return a neck gauge of 10/s with a knock and a gap, a body gauge of 5/s, and the workshop's air."""
    chance = np.random.default_rng(686)
    time_s = np.arange(0, LENGTH_S, 0.1)
    utc_us = START_US + (time_s * 1e6).astype(np.int64)
    bench = 0.1 * (1 - np.exp(-time_s / 900))
    neck = 2.83 + bench + sum(size * (time_s > at) for at, size in STEPS) + chance.normal(0, 0.02, time_s.size)
    neck[round(KNOCK_S * 10)] += 0.6
    gap = Gap(START_US + 7_000_000_000, START_US + 7_300_000_000, "the cable was pulled")
    heard = (utc_us < gap.start_utc_us) | (utc_us > gap.end_utc_us)
    body = (-1.35 + bench + chance.normal(0, 0.02, time_s.size))[::2]

    def digits(value: np.ndarray, digit: float) -> np.ndarray:
        return np.round(np.round(value / digit) * digit, 2)

    air_us, wave = utc_us[::200], np.sin(time_s[::200] / 3000)
    return (
        Series("workshop-humidity", Quantity.HUMIDITY, air_us, digits(45 + 4 * wave, 0.1), (0.1,)),
        Series("neck", Quantity.ANGLE, utc_us[heard], digits(neck, 0.05)[heard], (0.05,), gaps=(gap,)),
        Series("workshop-temperature", Quantity.TEMPERATURE, air_us, digits(21 - wave, 0.1), (0.1,)),
        Series("body", Quantity.ANGLE, utc_us[::2], digits(body, 0.05), (0.05,)),
    )


MARKS = (
    Mark(START_US + 200_000_000, MarkKind.GLUE_ON),
    Mark(START_US + 500_000_000, MarkKind.CLAMPS_ON),
    Mark(START_US + 3_990_000_000, MarkKind.NOTE, "heard it creak while the second clamp was turned"),
    Mark(START_US + 9_500_000_000, MarkKind.CLAMPS_OFF),
)


@pytest.fixture(scope="module")
def session() -> DriftChart:
    series = _series()
    drawn = (*series, difference_of(series[1], series[3]))
    curves = [ChartSeries(s.name, s.quantity.base_unit, s.utc_us, s.value, s.difference) for s in drawn]
    found = drift(series, MARKS, pairs=(("neck", "body"),))
    return DriftChart("Invented baritone: clamp session", curves, found, MARKS, "mm", simulated=True)


class Page:
    """A chart in a browser, with what it said and whom it asked."""

    def __init__(self, browser: Any, path: Path, width: int) -> None:
        self.page = browser.new_page(viewport={"width": width, "height": 900}, timezone_id="America/St_Johns")
        self.said: list[str] = []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda asked: self.said.append(asked.url) if "file:" not in asked.url[:5] else None)
        self.page.goto(path.as_uri())
        self.page.wait_for_function("[...document.querySelectorAll('.chart')].every(c => c.querySelector('.main-svg'))")
        self.whole = self.page.evaluate(f"{CHART}.layout.xaxis.range")

    def window(self, start_s: float, end_s: float) -> None:
        """Zoom in to seconds of the session."""
        ends = [
            (np.datetime64(self.whole[0], "ms") + round(1000 * each)).item().isoformat(" ") for each in (start_s, end_s)
        ]
        self.page.evaluate(f"ends => Plotly.relayout({CHART}, {{'xaxis.range': ends}})", ends)

    def reset(self) -> None:
        """Go back to the whole session."""
        self.page.evaluate(f"ends => Plotly.relayout({CHART}, {{'xaxis.range': ends}})", self.whole)

    def traces(self, name: str) -> list[dict[str, Any]]:
        """Return the traces of a series, as plotly holds them: its band where it has one, then its line."""
        data = self.page.evaluate(
            f"{CHART}.data.map(t => ({{name: t.name, mode: t.mode, x: t.x, y: t.y, v: t.customdata}}))"
        )
        place = next(place for place, trace in enumerate(data) if trace["name"] == name)
        return [data[place - 1], data[place]]

    def seconds(self, trace: dict[str, Any]) -> np.ndarray:
        """Return the moments of a trace in seconds from the start, NaN where it breaks."""
        began = np.datetime64(self.whole[0], "ms")
        return np.array(
            [
                np.nan if each is None else (np.datetime64(each, "ms") - began) / np.timedelta64(1, "s")
                for each in trace["x"]
            ]
        )


@pytest.fixture(scope="module")
def path(session: DriftChart, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("chart") / "chart.html"
    write_chart(target, session)
    return target


@pytest.fixture(scope="module")
def opened(browser: Any, path: Path) -> Iterator[Page]:
    page = Page(browser, path, 900)
    yield page
    page.page.close()


@pytest.fixture
def page(opened: Page) -> Iterator[Page]:
    yield opened
    opened.reset()
    assert opened.said == []


def _outline(page: Page, band: dict[str, Any]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return middle, highest and lowest of the spans of a band without a gap in it."""
    time_s = page.seconds(band)
    value = np.array([np.nan if each is None else each for each in band["y"]])
    assert np.isnan(value).sum() <= 1
    time_s, value = time_s[~np.isnan(value)], value[~np.isnan(value)]
    half = time_s.size // 2
    assert time_s[:half] == pytest.approx(time_s[half:][::-1])
    return time_s[:half], value[:half], value[half:][::-1]


def test_steps_and_the_fitted_curve_are_there(page: Page) -> None:
    texts = page.page.locator(".annotation-text").all_text_contents()
    assert "glue on" in texts
    assert sum(text.startswith(("+0.", "−0.")) for text in texts) > 10
    shapes = page.page.evaluate(f"{CHART}.layout.shapes.filter(s => s.name === 'step').length")
    assert shapes >= 2 * (len(STEPS) - 3)
    # a true step of 0.2 at 1000 s is where the upright stands and how far the curve jumps
    fit = next(t for t in page.page.evaluate(f"{CHART}.data.map(t => ({{name: t.name, x: t.x, y: t.y}}))")
               if t["name"] == "neck - body, fitted")  # fmt: skip
    time_s = page.seconds(fit)
    jump = int(np.searchsorted(time_s[:60], 1000.5))
    assert fit["y"][jump + 1] - fit["y"][jump - 2] == pytest.approx(0.2, abs=0.02)
    assert page.page.locator(".drawn").inner_text() == ""


def test_the_climate_stands_below_the_gauges(page: Page) -> None:
    said = page.page.evaluate(
        "[...document.querySelectorAll('.annotation-text')].map(t => [t.textContent, t.getBoundingClientRect().top])"
    )
    rows = {text.split(",")[0]: top for text, top in said if text.endswith((" start", " humidity", " temperature"))}
    assert sorted(rows, key=lambda name: rows[name]) == [
        "neck", "body", "neck − body", "workshop-temperature", "workshop-humidity",
    ]  # fmt: skip


def test_zooming_draws_spans_true_to_lowest_and_highest(page: Page, session: DriftChart) -> None:
    before, _ = page.traces("neck")
    page.window(5200, 5700)
    band, line = page.traces("neck")
    assert band["x"] != before["x"]
    middle, high, low = _outline(page, band)
    assert 300 < middle.size < 900
    neck = session.series[1]
    reading_s = (neck.utc_us - START_US) / 1e6
    change = neck.value - np.median(neck.value[:15])
    for k in range(1, middle.size - 1):
        near = change[(reading_s >= middle[k - 1]) & (reading_s <= middle[k + 1])]
        between = change[(reading_s >= middle[k]) & (reading_s <= middle[k + 1])]
        assert near.min() - 1e-6 <= low[k] <= high[k] <= near.max() + 1e-6
        assert between.size == 0 or min(low[k], low[k + 1]) - 1e-6 <= between.min()
        assert between.size == 0 or between.max() <= max(high[k], high[k + 1]) + 1e-6
    knocked = int(np.argmax(high))
    assert abs(middle[knocked] - KNOCK_S) < 1.5
    assert high[knocked] == pytest.approx(change.max())
    inside = (reading_s > 5200) & (reading_s < 5700)
    drawn = np.array([each for each in line["y"] if each is not None])
    assert drawn.mean() == pytest.approx(change[inside].mean(), abs=0.003)
    assert "spans of up to" in page.page.locator(".drawn").inner_text()


def test_zooming_in_further_draws_each_reading_where_the_page_holds_them(page: Page, session: DriftChart) -> None:
    page.window(2000.05, 2008.05)
    band, line = page.traces("body")
    assert band["x"] == []
    assert line["mode"] == "lines+markers"
    body = next(each for each in session.series if each.name == "body")
    reading_s = (body.utc_us - START_US) / 1e6
    drawn_s = page.seconds(line)[:-1]
    seen = (reading_s >= drawn_s[0] - 1e-3) & (reading_s <= drawn_s[-1] + 1e-3)
    assert drawn_s == pytest.approx(reading_s[seen], abs=0.001)
    assert drawn_s[0] < 2000.05 < 2008.05 < drawn_s[-1]
    assert line["v"][:-1] == pytest.approx(body.value[seen])
    assert line["y"][:-1] == pytest.approx(body.value[seen] - np.median(body.value[:15]))


def test_a_gap_stays_open_and_beyond_the_end_nothing_is_drawn(page: Page) -> None:
    page.window(6900, 7400)
    _, line = page.traces("neck")
    breaks = [place for place, each in enumerate(line["y"][:-1]) if each is None]
    time_s = page.seconds(line)
    assert [time_s[place + 1] - time_s[place - 1] > 299 for place in breaks] == [True]
    page.window(7100, 7200)
    _, line = page.traces("neck")
    assert line["y"] == []


def test_dragging_zooms_and_a_double_click_brings_the_overview_back(page: Page) -> None:
    before = [page.traces(name) for name in ("neck", "body", "neck - body")]
    box = page.page.locator(".nsewdrag").first.bounding_box()
    y = box["y"] + box["height"] / 2
    page.page.mouse.move(box["x"] + 0.3 * box["width"], y)
    page.page.mouse.down()
    page.page.mouse.move(box["x"] + 0.4 * box["width"], y, steps=4)
    page.page.mouse.up()
    page.page.wait_for_function("document.querySelector('.drawn').textContent !== ''")
    assert page.traces("neck") != before[0]
    page.page.wait_for_timeout(400)
    page.page.mouse.dblclick(box["x"] + 0.5 * box["width"], y)
    page.page.wait_for_function("document.querySelector('.drawn').textContent === ''")
    assert page.page.evaluate(f"{CHART}.layout.xaxis.range") == page.whole
    assert [page.traces(name) for name in ("neck", "body", "neck - body")] == before


@pytest.mark.parametrize("width", [380, 900])
def test_no_words_run_into_each_other_or_off_the_page(browser: Any, path: Path, width: int) -> None:
    page = Page(browser, path, width)
    boxes = page.page.evaluate(
        "[...document.querySelectorAll('.main-svg text')].filter(t => t.textContent.trim())"
        ".map(t => { const b = t.getBoundingClientRect(); return [t.textContent, b.left, b.top, b.right, b.bottom] })"
    )
    assert len(boxes) > 30
    for text, left, _, right, _ in boxes:
        assert 0 <= left <= right <= width, text
    clashes = [
        (one[0], other[0])
        for one, other in combinations(boxes, 2)
        if min(one[3], other[3]) - max(one[1], other[1]) > 1 and min(one[4], other[4]) - max(one[2], other[2]) > 3
    ]
    assert clashes == []
    assert page.said == []
    page.page.close()


def test_it_zooms_in_the_report_too(browser: Any, report: ReportData, tmp_path: Path) -> None:
    target = tmp_path / "report.html"
    write_report(target, report)
    page = Page(browser, target, 900)
    last = "[...document.querySelectorAll('.plotly-graph-div')].at(-1)"
    count = f"{last}.data.filter(t => t.name === 'body')[0].x.length"
    whole = page.page.evaluate(count)
    start = np.datetime64(page.page.evaluate(f"{last}.layout.xaxis.range[0]"), "ms")
    ends = [(start + each).item().isoformat(" ") for each in (100_000, 110_000)]
    page.page.evaluate(f"ends => Plotly.relayout({last}, {{'xaxis.range': ends}})", ends)
    # two readings a second, one more at each side, and a break
    assert 20 <= page.page.evaluate(count) <= 24 < whole
    assert page.said == []
    page.page.close()
