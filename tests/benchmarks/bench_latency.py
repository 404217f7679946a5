"""How long it takes from a byte at the port to the changed screen, on loopback, with one page and nine plain clients.

A clamp session is recorded: one gauge whose lines come ten a second, each a value of its own, and eight more at fifty
a second, all through pseudo-terminals. The page in a headless Chromium notes when the frame that shows a value of the
first was made (requestAnimationFrame after the change). Beside it the server's share of a core, and what the page had
loaded by its first paint.

Run: python tests/benchmarks/bench_latency.py [SECONDS]
"""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import pty
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import tty
from pathlib import Path

from playwright.sync_api import sync_playwright

from gaugelog.instruments.new import new_instrument

RATE_HZ, PLAIN_CLIENTS, PORT = 10, 9, 8479
OTHERS, OTHERS_HZ = 8, 50
CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
_WATCH = """() => {
  window.seen = {};
  const gauges = document.getElementById("gauges");
  new MutationObserver(() => requestAnimationFrame(() => {
    const row = [...gauges.rows].find((each) => each.cells[0].textContent === "angle");
    const text = row?.cells[1].textContent;
    window.seen[text] ??= performance.timeOrigin + performance.now();
  })).observe(gauges, { childList: true, characterData: true, subtree: true });
}"""


def plan(paths: list[str]) -> str:
    """Return an instrument file with a gauge at each port."""
    text = new_instrument("latency", gauges="one")
    first = re.sub(r"angle-line@serial:[^\"]*", f"angle-line@serial:{paths[0]}?baud=115200", text, count=1)
    others = [f'g{place} = "angle-line@serial:{path}?baud=115200"' for place, path in enumerate(paths[1:])]
    return first.replace("[gauges]\n", "\n".join(["[gauges]", *others, ""]), 1)


def send_others(ends: list[int], stop: threading.Event) -> None:
    """Write the lines of the other gauges until told to stop."""
    began, sent = time.monotonic(), 0
    while not stop.is_set():
        for place, end in enumerate(ends):
            os.write(end, b"+%6.2f deg \r\n" % (2.8 + 0.05 * ((sent * 7 + place) % 3)))
        sent += 1
        time.sleep(max(0.0, began + sent / OTHERS_HZ - time.monotonic()))


def drain(stop: threading.Event) -> None:
    """Listen as a plain client until told to stop."""
    connection = http.client.HTTPConnection("127.0.0.1", PORT, timeout=60)
    connection.request("GET", "/events")
    answer = connection.getresponse()
    while not stop.is_set() and answer.readline():
        pass
    connection.close()


def cpu_s(pid: int) -> float:
    """Return the processor time of a process."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    """Print the latencies."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    pairs = [pty.openpty() for _ in range(1 + OTHERS)]
    for _, near in pairs:
        tty.setraw(near)
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "latency.toml").write_text(plan([os.ttyname(near) for _, near in pairs]), encoding="utf-8")
        server = subprocess.Popen(
            [sys.executable, "-m", "gaugelog", "bench", "--port", str(PORT)], cwd=folder, stdout=subprocess.DEVNULL
        )
        stop = threading.Event()
        try:
            until = time.monotonic() + 20
            while time.monotonic() < until:
                with contextlib.suppress(OSError):
                    connection = http.client.HTTPConnection("127.0.0.1", PORT, timeout=5)
                    connection.request("GET", "/")
                    connection.getresponse().read()
                    break
                time.sleep(0.1)
            threading.Thread(target=send_others, args=([far for far, _ in pairs[1:]], stop), daemon=True).start()
            measure(pairs[0][0], server.pid, seconds, stop)
        finally:
            stop.set()
            server.terminate()
            server.wait(10)


def measure(far: int, pid: int, seconds: float, stop: threading.Event) -> None:
    """Write lines, watch the page, print what came of it."""
    for _ in range(PLAIN_CLIENTS):
        threading.Thread(target=drain, args=(stop,), daemon=True).start()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 820, "height": 1180})
        page.goto(f"http://127.0.0.1:{PORT}/")
        paint = page.evaluate("performance.getEntriesByName('first-paint')[0]?.startTime ?? 0")
        loaded = page.evaluate("performance.getEntriesByType('resource').reduce((sum, e) => sum + e.transferSize, 0)")
        page.click("#tab-clamps")
        page.click("#clamp")
        page.wait_for_selector("#gauges tr")
        page.evaluate(_WATCH)
        sent: dict[str, float] = {}
        began_cpu, began = cpu_s(pid), time.monotonic()
        for count in range(int(seconds * RATE_HZ)):
            value = 10 + count * 0.01
            sent[f"{value:.2f}°"] = time.time() * 1000
            os.write(far, b"+%6.2f deg \r\n" % value)
            time.sleep(max(0.0, began + (count + 1) / RATE_HZ - time.monotonic()))
        used = (cpu_s(pid) - began_cpu) / (time.monotonic() - began)
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
