"""Whether the bench's server or its page grows while it runs: a clamp session of nine gauges, watched for an hour.

One gauge ten readings a second, eight more at fifty a second, through pseudo-terminals, recorded and watched; one page
in a headless Chromium on the Clamps view. Once a minute: the server's resident memory, and of the page, after its
garbage was collected, the JavaScript heap and the number of nodes.

Run: python tests/benchmarks/bench_memory.py [MINUTES]
"""

from __future__ import annotations

import os
import statistics
import sys
import threading
import time

from bench_rig import ADDRESS, CHROMIUM, Rig, resident_mb, served
from playwright.sync_api import CDPSession, sync_playwright

RATE_HZ = 10
OTHERS, OTHERS_HZ = 8, 50
MINUTE_S = 60.0


def send_first(rig: Rig) -> None:
    """Write the first gauge's lines until told to stop, two neighbouring digits in turn."""
    began, sent = time.monotonic(), 0
    while not rig.stop.is_set():
        os.write(rig.first, b"+%6.2f deg \r\n" % (2.8 + 0.05 * (sent % 2)))
        sent += 1
        time.sleep(max(0.0, began + sent / RATE_HZ - time.monotonic()))


def page_holds(devtools: CDPSession) -> tuple[float, int]:
    """Return the heap of the page in MB, after collecting its garbage, and its number of nodes."""
    devtools.send("HeapProfiler.collectGarbage")
    metrics = {each["name"]: each["value"] for each in devtools.send("Performance.getMetrics")["metrics"]}
    return metrics["JSHeapUsedSize"] / 1e6, int(metrics["Nodes"])


def main() -> None:
    """Print what server and page hold, minute by minute, and the growth over the last two thirds."""
    minutes = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    rows: list[tuple[float, float, float]] = []
    with served(OTHERS, OTHERS_HZ) as rig, sync_playwright() as playwright:
        threading.Thread(target=send_first, args=(rig,), daemon=True).start()
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 820, "height": 1180})
        page.goto(ADDRESS)
        page.click("#tab-clamps")
        page.click("#clamp")
        page.wait_for_selector("#gauges tr")
        devtools = page.context.new_cdp_session(page)
        devtools.send("Performance.enable")
        began = time.monotonic()
        for minute in range(minutes + 1):
            page.wait_for_timeout(1000 * max(0.0, began + minute * MINUTE_S - time.monotonic()))
            heap, nodes = page_holds(devtools)
            rows.append((resident_mb(rig.pid), heap, nodes))
            print(f"{minute:3d} min  server {rows[-1][0]:6.1f} MB  page {heap:5.2f} MB, {nodes} nodes", flush=True)
        browser.close()
    settled = rows[len(rows) // 3 :]
    for name, unit, values in zip(
        ("server", "page", "nodes"), ("MB", "MB", ""), zip(*settled, strict=True), strict=True
    ):
        slope = statistics.linear_regression(range(len(values)), values).slope
        print(f"{name}: {60 * slope:+.2f} {unit} an hour over the last {len(values) - 1} minutes")


if __name__ == "__main__":
    main()
