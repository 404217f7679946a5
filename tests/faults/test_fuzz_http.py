"""Whatever is sent to the bench: never a failure of the server's, nothing on its terminal, its work unharmed.

A bench in a process of its own, over its real port: bytes that are no HTTP, requests of every shape, actions with any
values in any order, connections that never finish. All values invented.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import fuzz_inputs as fuzz
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.bench.patience import ASKS_WITHIN_S
from gaugelog.instruments.new import new_instrument
from gaugelog.store.reader import open_recording

telling = pytest.fixture(autouse=True, scope="module")(fuzz.tell)
WAIT_S = 30.0
FEW = (
    "import resource, sys; most = int(sys.argv.pop(1)); resource.setrlimit(resource.RLIMIT_NOFILE, (most, most));"
    "from gaugelog.cli.main import run; run()"
)
GAUGE = 'neck = "angle-line@sim:?value=2.80&noise=0&rate=20"'


@dataclass
class Served:
    """A running bench, and what was acknowledged by it: the texts of placements and the words of notes."""

    process: subprocess.Popen[str]
    folder: Path
    port: int
    kept: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def said(self) -> str:
        return (self.folder / "said.txt").read_text(encoding="utf-8")

    def raw(self, data: bytes, wait_s: float = 0.3) -> bytes:
        """Send bytes as they are; return what comes back before the connection ends or nothing more comes."""
        answer = b""
        with socket.create_connection(("127.0.0.1", self.port), timeout=WAIT_S) as connection:
            connection.settimeout(wait_s)
            with contextlib.suppress(TimeoutError, ConnectionError):
                connection.sendall(data)
                while len(answer) < 4096 and (piece := connection.recv(65536)):
                    answer += piece
        return answer

    def ask(self, method: str, path: str, body: bytes = b"") -> tuple[int, bytes]:
        """Ask as the page does."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=WAIT_S)
        headers = {"Content-Type": "application/json", "Origin": f"http://127.0.0.1:{self.port}"}
        connection.request(method, path, body, headers if method == "POST" else {})
        answer = connection.getresponse()
        found = answer.status, answer.read()
        connection.close()
        return found

    def do(self, asked: Any, *, ascii_only: bool = True) -> tuple[int, dict[str, Any]]:
        """Ask for something to be done; remember what was acknowledged."""
        body = json.dumps(asked, ensure_ascii=ascii_only).encode("utf-8", "surrogatepass")
        status, answer = self.ask("POST", "/do", body)
        document = json.loads(answer)
        kept = re.match(
            r"(?:Kept|Kept by hand|Spot reading kept): \S+ (.*) \S+\.$", document.get("said", ""), re.DOTALL
        )
        if kept:
            self.kept.append(kept[1])
        if status == 200 and isinstance(asked, dict) and asked.get("do") == "note":
            self.notes.append(asked["words"].strip())
        return status, document

    def is_well(self) -> None:
        """It runs, answers, and has nothing to complain of."""
        assert self.process.poll() is None, self.said
        assert self.ask("GET", "/")[0] == 200
        assert "Traceback" not in self.said
        assert "Exception" not in self.said
        assert "Error" not in self.said


def started(folder: Path, most_open: int | None = None) -> Served:
    """Start a bench in a folder; it may have so many files and connections open."""
    text = new_instrument("baritone", gauges="none").replace("[gauges]", f"[gauges]\n{GAUGE}", 1)
    text = text.replace('id = "neck-angle"', 'id = "neck-angle"\ngauge = "neck"', 1)
    text = re.sub(r'(id = "neck-angle"(?:.|\n)*?)^step = .*\n', r"\1", text, count=1, flags=re.MULTILINE)
    (folder / "baritone.toml").write_text(text, encoding="utf-8")
    limit = [sys.executable, "-c", FEW, str(most_open)] if most_open else [sys.executable, "-u", "-m", "gaugelog"]
    with (folder / "said.txt").open("w") as said:
        process = subprocess.Popen(
            [*limit, "bench", "--port", "0"],
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=subprocess.STDOUT,
            text=True,
        )
    until = time.monotonic() + WAIT_S
    found = None
    while found is None and time.monotonic() < until and process.poll() is None:
        time.sleep(0.05)
        found = re.search(r"Bench: http://127\.0\.0\.1:(\d+)/", (folder / "said.txt").read_text(encoding="utf-8"))
    assert found is not None, (folder / "said.txt").read_text(encoding="utf-8")
    return Served(process, folder, int(found[1]))


def ended(served: Served) -> None:
    """End it as Ctrl-C does; what it kept is whole."""
    served.process.send_signal(signal.SIGINT)
    assert served.process.wait(20) == 0
    open_recording(served.folder / "baritone.gaugelog").check()


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    served = started(tmp_path_factory.mktemp("bench"))
    yield served
    ended(served)
    recording = open_recording(served.folder / "baritone.gaugelog")
    texts = [each.placement.text for snapshot in recording.snapshots() for each in snapshot.placements]
    left = sorted(texts)
    for text in served.kept:
        left.remove(text)  # each that was acknowledged is there, as often as it was
    words = [mark.words for mark in recording.marks()]
    assert [each for each in served.notes if each not in words] == []
    fuzz.COUNTS["HTTP", "placements acknowledged, all in the recording"] += len(served.kept)
    fuzz.COUNTS["HTTP", "notes acknowledged, all in the recording"] += len(served.notes)


METHODS = st.sampled_from(
    ("GET", "POST", "PUT", "DELETE", "HEAD", "OPTIONS", "PATCH", "TRACE", "CONNECT", "get", "G\x00T", "BREW" * 50)
)
PATHS = st.one_of(
    st.sampled_from(
        (
            "/",
            "/events",
            "/do",
            "/report",
            "/chart",
            "/trail",
            "/trail?width=0",
            "/trail?width=99999",
            "/trail?width=-1",
            "/trail?width=1e9",
            "/place/x",
            "/place/neck-angle",
            "/place/%00",
            "/place/%ff",
            "/static/bench.js",
            "/static/..%2f..%2fwork.py",
            "/static/%2e%2e/work.py",
            "/code",
            "*",
            "//",
            "http://x/",
            "/\x00",
            "/" + "a" * 9000,
            "?",
            "/report?save",
            "/%",
            "/do?x=%ff",
        )
    ),
    st.text(max_size=20).map(lambda text: "/" + text),
)
HEADERS = st.lists(
    st.one_of(
        st.sampled_from(
            (
                "Origin: http://[",
                "Origin: http://[::1",
                "Origin: ///",
                "Origin: null",
                "Origin: http://\u2100",
                "Origin: x",
                "Origin:",
                "Content-Length: 5",
                "Content-Length: -1",
                "Content-Length: 99999999999999999999",
                "Content-Length: 0x10",
                "Content-Length: 5\r\nContent-Length: 6",
                "Transfer-Encoding: chunked",
                "Transfer-Encoding: gzip, chunked",
                "Expect: 100-continue",
                "Content-Type: application/json",
                "Content-Type: application/x-www-form-urlencoded",
                "Content-Type: \xff",
                "Cookie: \xff=\xfe; ;=;=",
                "Cookie: gaugelog-bench=" + "x" * 3000,
                "Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: x\r\nSec-WebSocket-Version: 13",
                "Upgrade: h2c",
                "Connection: keep-alive, Upgrade",
                "Host: evil.example",
                "Host:",
                "Sec-Fetch-Site: cross-site",
                "Range: bytes=0-1",
                "Accept-Encoding: \x01",
                "X: " + "y" * 70000,
                " folded",
                "no colon",
                "\x00: x",
                "Authorization: Basic %",
            )
        ),
        st.tuples(st.text(max_size=12), st.text(max_size=20)).map(lambda pair: ": ".join(pair)),
    ),
    max_size=5,
)


@st.composite
def requests(draw: st.DrawFn) -> bytes:
    """Return a request: well formed, nearly, or no HTTP at all. PORT stands for the bench's."""
    if draw(st.integers(0, 5)) == 0:
        return draw(
            st.one_of(
                st.binary(max_size=300),
                st.just(b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03"),
                st.just(b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"),
            )
        )
    lines = [f"{draw(METHODS)} {draw(PATHS)} HTTP/{draw(st.sampled_from(('1.1', '1.1', '1.0', '2.0', '0.9', 'x')))}"]
    lines += draw(
        st.sampled_from((["Host: 127.0.0.1:PORT"], ["Host: 127.0.0.1:PORT", "Origin: http://127.0.0.1:PORT"], []))
    )
    lines += draw(HEADERS)
    body = draw(
        st.one_of(
            st.just(b""),
            st.binary(max_size=50),
            st.just(b"5\r\nhello\r\n0\r\n\r\n"),
            st.just(b"ZZ\r\n"),
            st.just(b"{" * 5000),
            st.just(b'{"do":"end"}'),
        )
    )
    head = "\r\n".join(lines).encode("utf-8", "replace") + draw(
        st.sampled_from((b"\r\n\r\n", b"\r\n\r\n", b"\n\n", b"\r\n", b""))
    )
    request = head + body
    return request[: draw(st.sampled_from((len(request), len(request), len(request) // 2)))]


def statuses(answer: bytes) -> list[int]:
    return [int(each) for each in re.findall(rb"(?:^|\r\n)HTTP/1\.[01] (\d{3}) ", answer)]


@fuzz.few(60)
@given(request=requests())
def test_no_request_makes_the_server_fail(bench: Served, request: bytes) -> None:
    found = statuses(bench.raw(request.replace(b"PORT", str(bench.port).encode())))
    assert all(status < 500 for status in found), (request, found)
    bench.is_well()
    fuzz.count("HTTP request", str(found[0]) if found else "closed, or no answer")


ACTIONS = (
    "sand",
    "pass",
    "zero",
    "clamp",
    "mark",
    "note",
    "acknowledge",
    "snapshot",
    "type",
    "take",
    "lifted",
    "drop",
    "redo",
    "skip",
    "turn",
    "spot",
    "end",
)
OFTEN = ("type", "type", "type", "type", "type", "spot", "note", "turn", "snapshot")
KNOWN = {
    "gauge": ("neck", "body", "nobody"),
    "target": ("2.8", "1e5", "0.25..0.30", ">1", "3/32 in", "9" * 70),
    "within": ("0.1", "0", "-1", "9" * 80),
    "name": ("glue on", "clamps on", "clamps off", "glue", "cauls warmed"),
    "ago": ("2m", "1h30m", "0s", "soon", "9" * 30 + "h", "9" * 390 + "s", "99999999h", "1000000h"),
    "words": ("cauls warmed", "\u0000", "\ud800", "\udcff", "é" * 300, "\u202e"),
    "stage": ("before", "wet", "after", "spot", "dry", "Before ", "\ud800", "a/b", "x" * 300),
    "value": (
        "2.85",
        "0.50..0.55",
        "3/32 in",
        ">0.3",
        "<0.05",
        "2,80",
        "9" * 79,
        "1/" + "9" * 70,
        "-0",
        "\u0660",
        "\ud800",
        "2.85 \ud800",
    ),
    "checkpoint": ("clearance-bass", "neck-angle", "nowhere", "\ud800"),
    "reason": ("slipped", "", "\ud800", "\u0000"),
    "again": (True, False, 1, None),
}
json_values = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(-(10**30), 10**30), st.floats(), st.text(max_size=20)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@st.composite
def actions(draw: st.DrawFn) -> dict[str, Any]:
    """Return something that a page might ask, mostly with the names that it would use."""
    asked: dict[str, Any] = {
        "do": draw(json_values) if draw(st.integers(0, 15)) == 0 else draw(st.sampled_from(ACTIONS + OFTEN))
    }
    for name, values in KNOWN.items():
        kind = draw(st.integers(0, 9))
        if kind < 6:
            asked[name] = values[0]
        elif kind < 8:
            asked[name] = draw(st.sampled_from(values))
        elif kind == 8:
            asked[name] = draw(json_values)
    return asked


@fuzz.few(15)
@given(
    asked=st.lists(actions(), min_size=8, max_size=30),
    first=st.sampled_from(("snapshot", "snapshot", "clamp", "sand")),
    ascii_only=st.booleans(),
)
def test_no_actions_in_any_order_make_it_fail(
    bench: Served, asked: list[dict[str, Any]], first: str, ascii_only: bool
) -> None:
    for each in ({"do": "end"}, {"do": first, "stage": "before", "again": True}, *asked):
        with contextlib.suppress(json.JSONDecodeError, ValueError):
            status, document = bench.do(each, ascii_only=ascii_only)
            assert status in (200, 400, 409), (each, status)
            assert document.keys() & {"said", "error"}
            fuzz.count("action", {200: "done", 409: "refused in words", 400: "no small JSON object"}[status])
    for path in ("/trail?width=800", "/report", "/chart", "/place/neck-angle"):
        assert bench.ask("GET", path)[0] in (200, 204)
    bench.is_well()


def test_a_body_that_never_comes_whole_is_no_fault(bench: Served) -> None:
    head = f"POST /do HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\nOrigin: http://127.0.0.1:{bench.port}\r\n"
    for rest in (
        "Content-Length: 100\r\n\r\n{",
        "Transfer-Encoding: chunked\r\n\r\n5\r\nhe",
        "Content-Length: 3\r\n\r\n{}",
    ):
        bench.raw((head + "Content-Type: application/json\r\n" + rest).encode(), 0.1)
    time.sleep(0.3)
    bench.is_well()


@pytest.mark.parametrize("origin", ["http://[", "http://[::1", "http://\u2100.example".encode().decode("latin-1")])
def test_an_origin_that_is_no_address_is_refused(bench: Served, origin: str) -> None:
    request = f"POST /do HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\nOrigin: {origin}\r\nContent-Length: 0\r\n\r\n"
    assert statuses(bench.raw(request.encode("latin-1"))) == [403]
    bench.is_well()


@pytest.mark.parametrize("words", ["\ud800", "a\udcffb", "\u0000"])
def test_half_a_character_is_refused_or_kept_and_never_a_fault(bench: Served, words: str) -> None:
    bench.do({"do": "clamp"})
    for asked in (
        {"do": "note", "words": f"note {words}"},
        {"do": "mark", "name": f"mark {words}"},
        {"do": "spot", "checkpoint": "clearance-bass", "value": f"0.5 {words}"},
        {"do": "turn", "checkpoint": words},
        {"do": words},
        {"do": "snapshot", "stage": f"dry{words}"},
    ):
        assert bench.do(asked)[0] in (200, 409)
    bench.is_well()


@pytest.mark.parametrize("ago", ["9" * 30 + "h", "9" * 390 + "s", "100000000h"])
def test_a_mark_before_all_time_is_refused(bench: Served, ago: str) -> None:
    bench.do({"do": "clamp"})
    assert bench.do({"do": "mark", "name": "glue on", "ago": ago})[0] == 409
    bench.is_well()


def test_many_connections_that_never_finish_keep_nobody_out(tmp_path: Path) -> None:
    """More than the program may have open at all: pages, gauges and readers of the recording still get theirs."""
    bench = started(tmp_path, most_open=256)
    waiting = []
    try:
        for place in range(400):
            connection = socket.create_connection(("127.0.0.1", bench.port), timeout=WAIT_S)
            with contextlib.suppress(ConnectionError):
                connection.sendall(b"GET / HTTP/1.1\r\nHost: " if place % 2 else b"")
            waiting.append(connection)
        assert bench.ask("GET", "/")[0] == 200
        assert bench.do({"do": "clamp"})[0] == 200
        assert bench.ask("GET", "/report")[0] == 200
    finally:
        for connection in waiting:
            connection.close()
    bench.is_well()
    ended(bench)


def test_who_asks_byte_by_byte_is_given_up(bench: Served) -> None:
    with socket.create_connection(("127.0.0.1", bench.port), timeout=WAIT_S) as connection:
        began = time.monotonic()
        with contextlib.suppress(ConnectionError):
            for _ in range(200):
                connection.sendall(b"G")
                time.sleep(0.25)
        assert ASKS_WITHIN_S - 1 < time.monotonic() - began < 2 * ASKS_WITHIN_S
    bench.is_well()
