"""TCP connections that are dead without a word: told in bounded time, opened anew, the gap marked; values invented."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest
from link_bench import HERE, Bench, Source, environment, look

from gaugelog.links.clock import now_ns

OUTAGE_TOLD_S = 2.0 + 0.25 + 1.0
"""The longest silence of the gauge, a tick, and a second for a busy machine."""


@pytest.fixture
def bench(tmp_path) -> Iterator[Bench]:
    with Bench(tmp_path) as bench:
        yield bench


def ip(*arguments: str) -> None:
    subprocess.run(["ip", *arguments], check=True, capture_output=True)


class Apart:
    """A gauge in a network of its own, behind a cable that can be pulled: a pair of virtual Ethernet ends."""

    def __init__(self) -> None:
        self.name = f"glfault{os.getpid() % 10000}"
        self.near, self.far = f"gl{os.getpid() % 10000}n", f"gl{os.getpid() % 10000}f"
        ip("netns", "add", self.name)
        try:
            ip("link", "add", self.near, "type", "veth", "peer", "name", self.far, "netns", self.name)
            ip("address", "add", "198.51.100.1/30", "dev", self.near)
            ip("link", "set", self.near, "up")
            self.inside("address", "add", "198.51.100.2/30", "dev", self.far)
            self.inside("link", "set", self.far, "up")
        except subprocess.CalledProcessError:
            self.close()
            raise

    def inside(self, *arguments: str) -> None:
        ip("-n", self.name, *arguments)

    def close(self) -> None:
        subprocess.run(["ip", "link", "del", self.near], check=False, capture_output=True)
        subprocess.run(["ip", "netns", "del", self.name], check=False, capture_output=True)


@pytest.fixture
def apart() -> Iterator[Apart]:
    if sys.platform != "linux" or os.geteuid() != 0 or shutil.which("ip") is None:
        pytest.skip("a network of its own takes Linux, its ip program and root")
    try:
        made = Apart()
    except subprocess.CalledProcessError as error:
        pytest.skip(f"this system makes no network of its own: {error.stderr.decode().strip()}")
    yield made
    made.close()


def far_away(network: Apart) -> Source:
    """Start the counting gauge inside the other network."""
    source = Source.__new__(Source)
    source.process = subprocess.Popen(
        [
            *("ip", "netns", "exec", network.name, sys.executable, str(HERE / "link_source.py")),
            *("tcp", "198.51.100.2:4001", "50"),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=environment(),
    )
    source.where = source._line()
    return source


def test_a_cable_that_is_pulled_is_told_opened_anew_and_its_gap_is_marked(bench: Bench, apart: Apart) -> None:
    """Neither end hears of it: no FIN and no RST can pass. Put in again after 14 s, when it has been given up."""
    bench.sources["neck"] = far_away(apart)
    bench.plan()
    bench.start("clamp")
    time.sleep(1.0)
    bench.sources["neck"].do("leave")
    apart.inside("link", "set", apart.far, "down")
    pulled_s = time.monotonic()
    bench.until(lambda: "neck: silent" in bench.output, "silent")
    assert time.monotonic() - pulled_s < OUTAGE_TOLD_S
    bench.until(lambda: "neck: lost" in bench.output, "lost", 20)
    lost_s = time.monotonic() - pulled_s
    assert 10.0 < lost_s < 14.0, "given up after 10 s of silence, or when the system's own questions went unanswered"
    time.sleep(max(0.0, pulled_s + 14.0 - time.monotonic()))
    connected = bench.output.count("neck: connected")
    apart.inside("link", "set", apart.far, "up")
    bench.until(lambda: bench.output.count("neck: connected") > connected, "connected again", 20)
    time.sleep(2.0)
    end_ns = now_ns()
    ledger = bench.sources["neck"].end()
    recording = bench.end()
    found = look(recording, "neck", ledger, end_ns)
    assert (found.wrong, found.missing) == ([], 0)
    assert found.healthy > 50
    gap = recording.gaps()[0]
    assert gap.fault
    assert gap.end_utc_us - gap.start_utc_us > 13e6


def test_a_gauge_that_hangs_with_its_connection_open_is_told_and_connected_to_anew(bench: Bench) -> None:
    """The gauge's process is stopped: its system goes on answering for it, so only silence tells."""
    source = bench.served("neck")
    bench.plan()
    bench.start("clamp")
    time.sleep(1.0)
    source.process.send_signal(signal.SIGSTOP)
    hung_s = time.monotonic()
    bench.until(lambda: "neck: silent" in bench.output, "silent")
    assert time.monotonic() - hung_s < OUTAGE_TOLD_S
    bench.until(lambda: "nothing came for 10 s" in bench.output, "given up", 20)
    source.process.send_signal(signal.SIGCONT)
    bench.until(lambda: bench.output.count("neck: connected") >= 2, "connected again", 20)
    time.sleep(2.0)
    end_ns = now_ns()
    ledger = source.end()
    recording = bench.end()
    found = look(recording, "neck", ledger, end_ns)
    assert (found.wrong, found.missing) == ([], 0)
    (gap, *_) = recording.gaps()
    assert (gap.fault, gap.end_utc_us - gap.start_utc_us > 9e6) == (True, True)
