"""Make the pictures of the README and of docs/ anew: python docs/pictures/make.py [PATH OF A CHROMIUM]

The report is the demo's; the stream view is `gaugelog stream`'s own, fed by a simulated gauge on virtual time; the neck
is the demo's with its pocket floor made wrong, as `gaugelog neck --cut --picture` draws it.
"""

from __future__ import annotations

import asyncio
import csv
import io
import math
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright
from rich.console import Console

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.gauges.bench import BenchGauge, SimulatedBench, VirtualClock
from gaugelog.gauges.motions import Sand
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.readings import Heard, Reading
from gaugelog.show.sanding import SandingState
from gaugelog.show.sanding_view import sanding_view

HERE = Path(__file__).parent
CHROMIUM = sys.argv[1] if len(sys.argv) > 1 else "/usr/bin/chromium"
PASS_S = 4.0
NECK_WIDTH = 1080
WIDTH, HEIGHT = 84, 25
WRONG_DEG = 0.3
"""By how much the pocket floor rises too much toward the tail, about its body-edge end."""
SADDLE_MM = 274.5
DRY_FIT = {
    "pocket-wall-squareness": 90.05,
    "neck-angle": 2.85 + WRONG_DEG,
    "neck-roll": 0.05,
    "clearance-bass": 0.525 + SADDLE_MM * math.tan(math.radians(WRONG_DEG)),
    "clearance-treble": 0.575 + SADDLE_MM * math.tan(math.radians(WRONG_DEG)),
    "centreline-bridge": -0.1,
    "control": 0.15,
}
"""Invented readings of that neck, degrees and mm, by the checkpoints of the demo."""


async def sanded(seconds: float) -> SandingState:
    """Return the state after sanding a pocket wall toward 90 degrees for a while, a pass ended every four seconds."""
    sheet = find_datasheet("angle-line")
    motion = Sand(88.4, 90.05, noise=0.01, seed=3)
    gauge = BenchGauge(parse_gauge("angle-line@sim:", "square"), sheet, motion, rate_hz=10)
    state = SandingState(sheet.quantity, sheet.resolution, 90.0, 0.2, "square", simulated=True)
    passes = 0
    clock = VirtualClock()
    async for event in SimulatedBench([gauge], clock, seconds).events():
        if not isinstance(event, Heard):
            continue
        for item in event.items:
            if isinstance(item, Reading):
                state.hear(item)
        if clock.seconds >= PASS_S * (passes + 1) - 0.5:
            passes += 1
            state.mark_pass()
    return state


def stream_page() -> str:
    """Return the stream view as a page."""
    console = Console(record=True, width=WIDTH, height=HEIGHT, file=io.StringIO(), force_terminal=True)
    console.print(sanding_view(asyncio.run(sanded(23.6)), WIDTH, HEIGHT))
    return console.export_html(inline_styles=True, code_format=_PAGE)


_PAGE = """<body style="margin:0"><pre style="display:inline-block;margin:0;padding:18px 22px;background:#15181c;
color:#e8e4da;font:15px/1.17 'DejaVu Sans Mono',monospace">{code}</pre></body>"""


def neck_page(folder: Path) -> str:
    """Return a page with the picture of the demo's neck on a pocket floor that is wrong, and the wood to take off."""
    table = folder / "dry-fit.csv"
    with table.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(("checkpoint", "value"))
        for checkpoint, value in DRY_FIT.items():
            rows.writerows([(checkpoint, f"{value:.2f}")] * 3)
    picture = folder / "neck.svg"
    work = ["--instrument", str(folder / "demo-baritone.toml"), "--recording", str(folder / "dry-fit.gaugelog")]
    for command in (["capture", "before", "--from", str(table)], ["neck", "--cut", "--picture", str(picture)]):
        subprocess.run([sys.executable, "-m", "gaugelog", *command, *work], check=True)
    drawn = picture.read_text(encoding="utf-8").partition("?>")[2]
    return f'<body style="margin:0"><div style="width:{NECK_WIDTH}px">{drawn}</div></body>'


def main() -> None:
    """Write the three pictures."""
    page_of_stream = stream_page()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        subprocess.run([sys.executable, "-m", "gaugelog", "demo", "--into", folder], check=True)
        stream = Path(folder) / "stream.html"
        stream.write_text(page_of_stream, encoding="utf-8")
        neck = Path(folder) / "neck.html"
        neck.write_text(neck_page(Path(folder)), encoding="utf-8")
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1080, "height": 1180})
        page.goto((Path(folder) / "demo-baritone.html").as_uri())
        page.wait_for_timeout(1000)
        page.screenshot(path=HERE / "report.png")
        page.goto(stream.as_uri())
        page.locator("pre").screenshot(path=HERE / "stream.png")
        page.goto(neck.as_uri())
        page.locator("svg").screenshot(path=HERE / "neck.png")
        browser.close()


if __name__ == "__main__":
    main()
