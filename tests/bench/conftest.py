"""A bench served for real: `gaugelog bench` in a process of its own, asked over its port."""

from __future__ import annotations

import http.client
import json
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from gaugelog.instruments.new import new_instrument

WAIT_S = 30.0


@dataclass
class Served:
    """One running bench: its port, its folder, and what its terminal says."""

    process: subprocess.Popen[str]
    folder: Path
    said: Path

    @property
    def text(self) -> str:
        return self.said.read_text(encoding="utf-8")

    @property
    def url(self) -> str:
        return self._waited(r"Bench: (http://\S+/)")

    @property
    def code(self) -> str:
        """The newest code that the terminal shows."""
        self._waited(r"Code for the next device: (\w+)")
        return re.findall(r"Code for the next device: (\w+)", self.text)[-1]

    @property
    def port(self) -> int:
        return int(self.url.rpartition(":")[2].strip("/"))

    def _waited(self, pattern: str) -> str:
        until = time.monotonic() + WAIT_S
        while time.monotonic() < until:
            found = re.search(pattern, self.text)
            if found:
                return found[1]
            if self.process.poll() is not None:
                raise AssertionError(self.text)
            time.sleep(0.05)
        raise AssertionError(f"{pattern} never came: {self.text}")

    def ask(self, method: str, path: str, body: bytes = b"", **headers: str) -> tuple[int, bytes, dict[str, str]]:
        """Ask as a browser on this machine would, but for the headers given (None leaves one out)."""
        host = f"127.0.0.1:{self.port}"
        usual: dict[str, str | None] = {"Host": host}
        if method == "POST":
            usual |= {"Origin": f"http://{host}", "Content-Type": "application/json"}
        usual |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=WAIT_S)
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in usual.items():
            if value is not None:
                connection.putheader(name, value)
        connection.putheader("Content-Length", str(len(body)))
        connection.endheaders(body)
        answer = connection.getresponse()
        found = answer.status, answer.read(), {name.lower(): value for name, value in answer.getheaders()}
        connection.close()
        return found

    def end(self) -> None:
        """End it as Ctrl-C does."""
        self.process.send_signal(signal.SIGINT)
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()

    def do(self, **what: Any) -> dict[str, Any]:
        """Ask the bench to do something; return its answer."""
        return json.loads(self.ask("POST", "/do", json.dumps(what).encode())[1])

    def events(self, until: str, cookie: str = "") -> list[tuple[str, dict[str, Any]]]:
        """Listen until an event of that kind came; return all that came."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=WAIT_S)
        connection.request("GET", "/events", headers={"Cookie": cookie} if cookie else {})
        answer = connection.getresponse()
        assert answer.status == 200
        found: list[tuple[str, dict[str, Any]]] = []
        kind = ""
        while not found or found[-1][0] != until:
            line = answer.readline().decode()
            if line.startswith("event: "):
                kind = line.removeprefix("event: ").strip()
            elif line.startswith("data: "):
                found.append((kind, json.loads(line.removeprefix("data: "))))
        connection.close()
        return found


def instrument_text(gauges: str) -> str:
    """Return an instrument file for typed values whose neck angle is read by a gauge."""
    text = new_instrument("baritone", gauges="none")
    with_gauge = text.replace("[gauges]", f"[gauges]\n{gauges}", 1)
    reads = with_gauge.replace('id = "neck-angle"', 'id = "neck-angle"\ngauge = "neck"', 1)
    return re.sub(r'(id = "neck-angle"(?:.|\n)*?)^step = .*\n', r"\1", reads, count=1, flags=re.MULTILINE)


@contextmanager
def benches(folder: Path) -> Iterator[Any]:
    """Give a function that starts a bench in a folder with an instrument file; end all of them afterwards."""
    running: list[Served] = []

    def start(
        *arguments: str, gauges: str = 'neck = "angle-line@sim:?value=2.80&noise=0&rate=20"', port: int = 0
    ) -> Served:
        path = folder / "baritone.toml"
        if not path.exists():
            path.write_text(instrument_text(gauges), encoding="utf-8")
        said = folder / f"said-{len(running)}.txt"
        with said.open("w") as out:
            process = subprocess.Popen(
                [sys.executable, "-u", "-m", "gaugelog", "bench", "--port", str(port), *arguments],
                cwd=folder,
                stdout=out,
                stderr=subprocess.STDOUT,
                stdin=subprocess.DEVNULL,
                text=True,
            )
        running.append(Served(process, folder, said))
        return running[-1]

    try:
        yield start
    finally:
        for each in running:
            each.end()


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Any]:
    """A function that starts a bench in this test's folder."""
    with benches(tmp_path) as start:
        yield start


@pytest.fixture(scope="module")
def serve_once(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One bench for many questions."""
    with benches(tmp_path_factory.mktemp("bench")) as start:
        yield start()
