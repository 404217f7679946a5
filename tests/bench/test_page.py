"""The bench page in a real browser: sand, take a snapshot, clamp, look at the outcome; old things said to be old."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import expect

WAIT_MS = 20_000
_SMALL = "[...document.querySelectorAll('button')].filter(b => b.offsetParent && b.offsetHeight < 44).length"
SIZES = ((360, 740), (820, 1180), (1440, 900))


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """A page that must not complain: no error in its console, nothing refused by its own policy."""
    opened = browser.new_page(viewport={"width": 820, "height": 1180})
    complaints: list[str] = []
    opened.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    yield opened
    opened.close()
    gone = ("ERR_CONNECTION", "ERR_INCOMPLETE_CHUNKED", "Failed to fetch")
    assert [each for each in complaints if not any(words in each for words in gone)] == []


def test_one_sands_to_a_target_and_marks_passes_by_foot(serve, page) -> None:
    bench = serve(gauges='neck = "angle-line@sim:?value=89.3&to=90.05&rest=sand&noise=0&rate=20"')
    page.goto(bench.url)
    page.select_option("#sand-gauge", "neck")
    page.fill("#sand-target", "90")
    page.fill("#sand-within", "0.2")
    page.click("#sand button")
    expect(page.locator("#way")).to_contain_text("too small", timeout=WAIT_MS)
    page.locator("#figures").click()
    page.keyboard.press("Space")
    page.wait_for_selector("#passes li")
    expect(page.locator("#figures")).to_have_class(re.compile("inside"), timeout=60_000)
    assert page.inner_text("#way") == "inside the band"
    assert page.locator("#drawing .block.inside").count() == 1
    size = page.evaluate("parseFloat(getComputedStyle(document.getElementById('figures')).fontSize)")
    assert size > 180, "to be read from across the bench"


def test_a_snapshot_is_walked_through_and_two_pages_show_the_same(serve, page, browser) -> None:
    bench = serve(gauges='neck = "angle-line@sim:?value=2.80&rest=hand&rate=20"')
    page.goto(bench.url)
    other = browser.new_page()
    other.goto(bench.url)
    page.click("#tab-snapshot")
    page.select_option("#stage", "before")
    page.click("#begin-snapshot button")
    other.wait_for_selector("#tasks li.current")
    assert other.locator("#tab-snapshot").get_attribute("aria-pressed") == "true"
    page.click("#tasks button:has-text('clearance-bass')")
    expect(page.locator("#now-id")).to_have_text("clearance-bass", timeout=WAIT_MS)
    for _ in range(3):
        page.locator("#now-id").click()
        page.keyboard.press("0")
        page.keyboard.type(".25..0.30")
        page.keyboard.press("Enter")
        page.wait_for_timeout(150)
    page.wait_for_selector("#tasks li:has-text('3 of 3')")
    other.wait_for_selector("#tasks li:has-text('3 of 3')")
    row = other.inner_text("#tasks li:has-text('clearance-bass')").replace("\u00a0", " ")
    assert "0.25..0.30 mm" in row
    assert "in tolerance" in row
    other.close()


def test_after_against_before_verdicts_come_as_it_is_read(serve, page) -> None:
    bench = serve()
    for stage in ("before", "after"):
        bench.do(do="snapshot", stage=stage)
        bench.do(do="turn", checkpoint="clearance-bass")
        for _ in range(3):
            assert "Kept" in bench.do(do="type", value="0.25..0.30")["said"]
        if stage == "before":
            bench.do(do="end")
    page.goto(bench.url)
    row = page.locator("#tasks li:has-text('clearance-bass')")
    expect(row).to_contain_text("held", timeout=WAIT_MS)
    page.click("#tasks button:has-text('clearance-treble')")
    expect(page.locator("#now-place")).to_be_visible(timeout=WAIT_MS)
    status, drawn, _ = bench.ask("GET", "/place/clearance-treble")
    assert status == 200
    assert b'r="16"' in drawn
    assert bench.ask("GET", "/place/nothing")[0] == 204


def test_the_clamp_session_s_chart_is_one_touch_away(serve, page) -> None:
    bench = serve()
    page.goto(bench.url)
    page.click("#tab-clamps")
    page.click("#chart-look")
    expect(page.frame_locator("#chart").locator("p")).to_contain_text("no clamp session", timeout=WAIT_MS)
    page.click("#clamp")
    page.wait_for_timeout(2500)
    page.click("#chart-look")
    expect(page.frame_locator("#chart").locator("h1")).to_contain_text("clamp session", timeout=WAIT_MS)
    expect(page.frame_locator("#chart").locator(".js-plotly-plot")).to_have_count(1, timeout=WAIT_MS)


def test_the_session_is_drawn_as_it_grows_and_goes_on_after_a_restart(serve, page) -> None:
    bench = serve()
    page.goto(bench.url)
    page.click("#tab-clamps")
    expect(page.locator("#trail")).to_be_hidden()
    page.click("#clamp")
    drawn = page.locator("#trail svg")
    expect(drawn).to_have_attribute("aria-label", re.compile("neck 0.00°. Marks: none"), timeout=WAIT_MS)
    first = drawn.locator("path.line").get_attribute("d")
    page.click("[data-mark='glue on']")
    expect(drawn).to_have_attribute("aria-label", re.compile("glue on"), timeout=WAIT_MS)
    assert drawn.locator("path.line").get_attribute("d") != first
    since = re.search(r"start at (\d\d:\d\d)", drawn.get_attribute("aria-label"))
    page.set_viewport_size({"width": 360, "height": 740})
    expect(drawn).to_have_attribute("width", re.compile("^3[0-6]"), timeout=WAIT_MS)
    bench.end()
    again = serve(port=bench.port)
    again.do(do="clamp")
    expect(page.locator("#stale")).to_be_hidden(timeout=WAIT_MS)
    expect(drawn).to_have_attribute("aria-label", re.compile(f"{since[0]}.*glue on"), timeout=WAIT_MS)
    assert again.ask("GET", "/trail?width=-1")[0] == 400
    assert again.ask("GET", "/trail?width=99999999")[0] == 400
    assert again.ask("GET", "/trail")[0] == 400
    again.do(do="end")
    assert again.ask("GET", "/trail?width=400")[0] == 204


def test_an_alarm_covers_the_page_until_it_is_acknowledged(serve, page, tmp_path) -> None:
    """A gauge that is unplugged in the clamps: a real port, whose other end goes away."""
    import pty
    import threading
    import tty

    far, near = pty.openpty()
    tty.setraw(near)
    path = tmp_path / "tty-gauge"
    path.symlink_to(os.ttyname(near))
    stop = threading.Event()

    def send() -> None:
        while not stop.wait(0.1):
            os.write(far, b"+  2.80 deg \r\n")

    sender = threading.Thread(target=send)
    sender.start()
    try:
        bench = serve(gauges=f'neck = "angle-line@serial:{path}?baud=9600"')
        page.goto(bench.url)
        page.click("#tab-clamps")
        page.click("#clamp")
        expect(page.locator("#gauges")).to_contain_text("2.80°", timeout=WAIT_MS)
    finally:
        stop.set()
        sender.join()
    path.unlink()
    os.close(far)
    os.close(near)
    expect(page.locator(".alarm")).to_contain_text("heard from neck since", timeout=WAIT_MS)
    assert "calling" in (page.get_attribute("body", "class") or "")
    page.click(".seen")
    expect(page.locator(".alarm")).to_have_count(0, timeout=WAIT_MS)
    bench.do(do="end")
    bench.end()
    from gaugelog.store.reader import open_recording

    with open_recording(tmp_path / "baritone.gaugelog") as kept:
        kinds = [event.kind for event in kept.events()]
    assert "alarm lost" in kinds
    assert "acknowledged" in kinds


def test_marks_by_one_touch_and_what_the_glue_allows(serve, page) -> None:
    bench = serve()
    page.goto(bench.url)
    page.click("#tab-clamps")
    page.click("#clamp")
    page.wait_for_selector("#gauges tr")
    page.click("[data-mark='glue on']")
    expect(page.locator("#phase")).to_have_text("glue open", timeout=WAIT_MS)
    assert "by your label" in page.inner_text("#times")
    page.keyboard.press("c")
    expect(page.locator("#phase")).to_have_text("in clamps", timeout=WAIT_MS)
    assert "leave it alone" in page.inner_text("#times")
    assert page.locator("#marks li").count() == 2


def test_what_is_old_is_said_to_be_old_and_never_shown_as_live(serve, page) -> None:
    bench = serve()
    page.goto(bench.url)
    page.select_option("#sand-gauge", "neck")
    page.click("#sand button")
    expect(page.locator("#figures")).to_have_text("2.80°", timeout=WAIT_MS)
    port = bench.port
    bench.end()
    expect(page.locator("#stale")).to_be_visible(timeout=WAIT_MS)
    assert "s old" in page.inner_text("#stale")
    assert "old" in page.get_attribute("#figures", "class")
    page.click("#pass")
    expect(page.locator("#said")).to_contain_text("can't be reached", timeout=WAIT_MS)
    assert "Traceback" not in bench.text
    assert "ERROR" not in bench.text
    assert bench.text.rstrip().endswith("baritone.gaugelog.")
    again = serve(port=port)
    assert again.url
    expect(page.locator("#stale")).to_be_hidden(timeout=WAIT_MS)
    assert page.inner_text("#way") == "Choose a gauge to sand by."


def test_the_outcome_is_the_report_in_a_sandbox(serve, page) -> None:
    bench = serve()
    page.goto(bench.url)
    page.click("#tab-outcome")
    report = page.frame_locator("#report")
    assert report.locator("h1").inner_text(timeout=20_000) == "baritone"
    status, _, headers = bench.ask("GET", "/report?save")
    assert status == 200
    assert "baritone.html" in headers["content-disposition"]
    assert headers["content-security-policy"].startswith("sandbox allow-scripts;")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_every_view_fits_and_axe_finds_no_serious_fault(serve_once, browser, size, scheme: str) -> None:
    """Checked by axe-core (WCAG 2 rules), an independent tool; and no view is wider than its screen."""
    from axe_playwright_python.sync_playwright import Axe

    opened = browser.new_page(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
    opened.goto(serve_once.url)
    expect(opened.locator("#instrument")).to_have_text("baritone", timeout=WAIT_MS)
    for view, begin in (("sanding", {"do": "sand", "gauge": "neck", "target": "3", "within": "0.1"}),
                        ("snapshot", {"do": "snapshot", "stage": "before"}), ("clamps", {"do": "clamp"})):  # fmt: skip
        serve_once.do(**begin)
        expect(opened.locator(f"#{view}")).to_be_visible(timeout=WAIT_MS)
        opened.wait_for_timeout(300)
        found = Axe().run(opened).response["violations"]
        serious = [
            (each["id"], each["nodes"][0]["html"][:120]) for each in found if each["impact"] in ("serious", "critical")
        ]
        assert serious == [], view
        assert opened.evaluate("document.documentElement.scrollWidth") <= size[0], view
        small = opened.evaluate(_SMALL)
        assert small == 0, "every button takes a gloved finger"
        serve_once.do(do="end")
    opened.close()
