"""How long it takes from a byte at the port to the changed screen, on loopback, with one page and nine plain clients.

A clamp session is recorded: one gauge whose lines come ten a second, each a value of its own, and eight more at fifty
a second, all through pseudo-terminals. The page in a headless Chromium notes when the frame that shows a value of the
first was made (requestAnimationFrame after the change). Beside it the server's share of a core, and what the page had
loaded by its first paint.

Run: python tests/benchmarks/bench_latency.py [SECONDS]
"""

from __future__ import annotations

import json
import os
import statistics
import sys
import threading
import time

from bench_rig import ADDRESS, CHROMIUM, Rig, cpu_s, drain, served
from playwright.sync_api import sync_playwright

RATE_HZ, PLAIN_CLIENTS = 10, 9
OTHERS, OTHERS_HZ = 8, 50
_WATCH = """() => {
  window.seen = {};
  const gauges = document.getElementById("gauges");
  new MutationObserver(() => requestAnimationFrame(() => {
    const row = [...gauges.rows].find((each) => each.cells[0].textContent === "angle");
    const text = row?.cells[1].textContent;
    window.seen[text] ??= performance.timeOrigin + performance.now();
  })).observe(gauges, { childList: true, characterData: true, subtree: true });
}"""


def main() -> None:
    """Print the latencies."""
    with served(OTHERS, OTHERS_HZ) as rig:
        measure(rig, float(sys.argv[1]) if len(sys.argv) > 1 else 30.0)


def measure(rig: Rig, seconds: float) -> None:
    """Write lines, watch the page, print what came of it."""
    for _ in range(PLAIN_CLIENTS):
        threading.Thread(target=drain, args=(rig.stop,), daemon=True).start()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 820, "height": 1180})
        page.goto(ADDRESS)
        paint = page.evaluate("performance.getEntriesByName('first-paint')[0]?.startTime ?? 0")
        loaded = page.evaluate("performance.getEntriesByType('resource').reduce((sum, e) => sum + e.transferSize, 0)")
        page.click("#tab-clamps")
        page.click("#clamp")
        page.wait_for_selector("#gauges tr")
        page.evaluate(_WATCH)
        sent: dict[str, float] = {}
        began_cpu, began = cpu_s(rig.pid), time.monotonic()
        for count in range(int(seconds * RATE_HZ)):
            value = 10 + count * 0.01
            sent[f"{value:.2f}°"] = time.time() * 1000
            os.write(rig.first, b"+%6.2f deg \r\n" % value)
            time.sleep(max(0.0, began + (count + 1) / RATE_HZ - time.monotonic()))
        used = (cpu_s(rig.pid) - began_cpu) / (time.monotonic() - began)
        page.wait_for_timeout(500)
        seen: dict[str, float] = json.loads(page.evaluate("JSON.stringify(window.seen)"))
        browser.close()
    delays = sorted(seen[text] - at for text, at in sent.items() if text in seen)
    if not delays:
        raise SystemExit(f"nothing was seen on the page; it shows {list(seen)[:3]}")
    p95 = delays[int(0.95 * (len(delays) - 1))]
    print(
        f"{len(delays)} of {len(sent)} values seen, one page and {PLAIN_CLIENTS} plain clients, {RATE_HZ} readings/s,"
        f" {OTHERS} more gauges at {OTHERS_HZ}/s recorded"
    )
    print(f"byte to changed frame: median {statistics.median(delays):.0f} ms, 95th percentile {p95:.0f} ms")
    print(f"server {100 * used:.1f} % of a core; first paint {paint:.0f} ms, {loaded / 1000:.0f} kB loaded")


if __name__ == "__main__":
    main()
