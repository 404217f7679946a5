"""The report: everything in it, escaped, whole; and a real browser opens it without a word or a request."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from gaugelog.analysis.results import Comparison, Verdict
from gaugelog.errors import WriteFailedError
from gaugelog.model.instrument import Neck, Tolerance, ToleranceSide
from gaugelog.show.neck_picture import neck_picture
from gaugelog.show.report import ReportData, report_html, write_report
from gaugelog.show.strip_picture import strip_picture
from gaugelog.show.words import outcome

VOID = {"meta", "link", "br", "img", "input", "hr", "path", "rect", "circle", "polygon"}


class Outline(HTMLParser):
    """Collects tags and text, and fails on a tag that is closed out of turn."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not {"script", "style"} & set(self.open):
            self.text.append(data)


def _outline(html: str) -> Outline:
    outline = Outline()
    outline.feed(html)
    assert outline.open == []
    return outline


def _words(html: str) -> str:
    return " ".join(" ".join(_outline(html).text).split())


@pytest.fixture(scope="module")
def html(report: ReportData) -> str:
    return report_html(report)


def test_it_begins_with_the_outcome_and_says_that_it_is_simulated(html: str, comparison: Comparison) -> None:
    words = _words(html)
    assert outcome(comparison) in words
    assert words.index("SIMULATED") < words.index(outcome(comparison)) < words.index("What held, what moved")
    for text in ("4 ✓ held", "1 ✗ moved", "1 ? not proven"):
        assert text in words


def test_everything_that_was_recorded_is_there(html: str, report: ReportData) -> None:
    words = _words(html)
    for row in report.comparison.checkpoints if report.comparison else ():
        assert row.id in words
        assert row.reason[1:] in words
    for text in (
        "neck − body", "in clamps", "the cable was pulled", "heard it creak", "a foot stood on the tape", "0.50..0.55",
        "neck 3.80, body 0.60", "angle-line@sim:neck", "±0.1°", "3 × does not match the pattern", "JCGM 100:2008",
        "JCGM 106:2012", "safety sheet", "synthetic-baritone.gaugelog", "gaugelog 0.0.0",
    ):  # fmt: skip
        assert text in words, text


def test_it_can_be_found_one_s_way_in_without_eyes(html: str) -> None:
    outline = _outline(html)
    levels = [int(tag[1]) for tag, _ in outline.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert all(attrs.get("scope") for tag, attrs in outline.tags if tag == "th")
    tables = sum(tag == "table" for tag, _ in outline.tags)
    assert sum(tag == "caption" for tag, _ in outline.tags) == tables > 4
    assert all(attrs.get("aria-label") for tag, attrs in outline.tags if tag == "figure")
    assert ("html", {"lang": "en"}) in outline.tags


def test_what_people_wrote_is_escaped_everywhere(report: ReportData) -> None:
    bad = "</script><script>alert(1)</script><b>"
    instrument = replace(report.instrument, name=bad)
    rows = report.comparison.checkpoints if report.comparison else ()
    spoiled = tuple(replace(row, id=row.id + bad, reason=bad) for row in rows)
    marks = [replace(mark, words=bad) for mark in report.marks]
    series = [replace(each, name=each.name + bad) for each in report.series]
    data = replace(
        report, instrument=instrument, comparison=Comparison(bad, bad, spoiled), marks=marks, series=series,
        recording=bad, missing=[bad], rejects={(bad, bad): 1},
    )  # fmt: skip
    html = report_html(data)
    assert "alert(1)</script>" not in html
    assert "<script>alert" not in html
    assert html.count("&lt;script&gt;alert(1)") > 10


def test_it_tells_what_is_out_of_tolerance_at_each_snapshot(report: ReportData) -> None:
    walls = Tolerance(ToleranceSide.AT_MOST, None, 85.0)
    points = tuple(
        replace(each, tolerance=walls) if each.id == "pocket-wall-squareness" else each
        for each in report.instrument.checkpoints
    )
    words = _words(report_html(replace(report, instrument=replace(report.instrument, checkpoints=points))))
    # Invented walls of 90.10, 90.05 and 90.10: their mean is 5.08 over 85.
    assert "pocket-wall-squareness 5.08° over 90.10°" in words
    assert "neck-angle in tolerance" in words
    assert "control in tolerance" not in words


def test_the_headings_name_the_stages(report: ReportData, comparison: Comparison) -> None:
    strung = replace(comparison, from_stage="after", to_stage="strung")
    words = _words(report_html(replace(report, comparison=strung)))
    assert "Neck set, after to strung" in words
    assert "What held, what moved: after to strung" in words
    assert "Shift: strung less after" in words


def test_without_a_chart_the_charting_library_is_left_out(report: ReportData) -> None:
    bare = ReportData(report.instrument, "x.gaugelog", "0.0.0", report.made_utc_us, missing=["No comparison yet."])
    html = report_html(bare)
    words = _words(html)
    assert len(html) < 40_000
    assert "No comparison yet." in words
    assert "SIMULATED" not in words
    assert "what it holds was typed" in words
    assert "No line was rejected" not in words


def test_the_library_is_carried_once(html: str, report: ReportData) -> None:
    alone = report_html(replace(report, comparison=None))
    assert abs(len(html) - len(alone)) < 200_000
    assert html.count("plotly-graph-div") >= 2


def test_it_is_written_whole_or_not_at_all(report: ReportData, tmp_path: Path) -> None:
    target = tmp_path / "report.html"
    write_report(target, report)
    assert [each.name for each in tmp_path.iterdir()] == ["report.html"]
    with pytest.raises(WriteFailedError):
        write_report(tmp_path / "no such folder" / "report.html", report)
    (tmp_path / "folder").mkdir()
    with pytest.raises(WriteFailedError):
        write_report(tmp_path / "folder", report)
    assert not (tmp_path / "folder.part").exists()


def test_a_ruler_puts_the_shift_where_it_belongs(comparison: Comparison) -> None:
    held = comparison.having(Verdict.HELD)[0]
    limit = held.limit or 1.0
    at = [
        float(re.search(r'<circle cx="([\d.]+)"', strip_picture(replace(held, shift=part * limit))).group(1))  # type: ignore[union-attr]
        for part in (-1, 0, 1)
    ]
    edges = [float(x) for x in re.search(r'd="M([\d.]+) 0V\d+M([\d.]+) 0V', strip_picture(held)).groups()]  # type: ignore[union-attr]
    assert [at[0], at[2]] == pytest.approx(edges)
    assert at[1] == pytest.approx(sum(edges) / 2)
    assert strip_picture(replace(held, limit=None)) == ""


def test_frets_are_drawn_where_equal_temperament_puts_them(report: ReportData) -> None:
    picture = neck_picture(report.instrument, report.comparison)
    frets = sorted(
        {
            float(x)
            for x in re.findall(
                r'<path d="M([\d.]+) [\d.]+V[\d.]+" stroke="#2a2520" stroke-width="(?:3|2|0.9)"', picture
            )
        }
    )
    nut = frets[0]
    # The 12th fret halves the string; fret n lies at S (1 - 2^(-n/12)) (equal temperament, common practice, no source).
    quarter, half = frets[5] - nut, frets[12] - nut
    assert quarter / half == pytest.approx((1 - 2 ** (-5 / 12)) / 0.5, abs=0.002)
    assert neck_picture(replace(report.instrument, neck=Neck()), None) == ""


@pytest.mark.parametrize("width", [360, 820, 1440])
def test_a_browser_opens_it_without_a_word_or_a_request(
    browser: Any, report: ReportData, tmp_path: Path, width: int
) -> None:
    path = tmp_path / "report.html"
    write_report(path, report)
    page = browser.new_page(viewport={"width": width, "height": 900})
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: said.append(request.url) if not request.url.startswith("file:") else None)
    page.goto(path.as_uri())
    page.wait_for_function("document.querySelectorAll('.chart .main-svg').length >= 2")
    assert said == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("h1").inner_text() == report.instrument.name
    page.close()
