"""Running the command line as a user does: in a folder, by its arguments, looking at what it prints."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from gaugelog.cli.main import main


@dataclass(frozen=True)
class Ran:
    """What a command printed, and its exit status."""

    status: int
    out: str
    err: str

    @property
    def document(self) -> dict[str, Any]:
        return json.loads(self.out)


Run = Callable[..., Ran]


@pytest.fixture(scope="session")
def played(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's folder, played once; for looking at, not for writing into."""
    folder = tmp_path_factory.mktemp("demo")
    assert main(["demo", "--into", str(folder)]) == 0
    return folder


@pytest.fixture
def recording(played: Path, tmp_path: Path, run: Run) -> Path:
    """A copy of the demo's recording, in the folder that commands run in."""
    for path in played.iterdir():
        shutil.copy(path, tmp_path)
    return next(tmp_path.glob("*.gaugelog"))


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    """A function that runs gaugelog in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")

    def call(*arguments: str) -> Ran:
        capsys.readouterr()
        status = main(list(arguments))
        captured = capsys.readouterr()
        return Ran(status, captured.out, captured.err)

    return call


@pytest.fixture
def table(tmp_path: Path) -> Callable[[str, dict[str, list[str]]], str]:
    """A function that writes a table of placements and returns its path."""

    def write(name: str, values: dict[str, list[str]]) -> str:
        rows = [f"{checkpoint},{value}" for checkpoint, each in values.items() for value in each]
        path = tmp_path / name
        path.write_text("checkpoint,value\n" + "\n".join(rows) + "\n", encoding="utf-8")
        return str(path)

    return write


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """A builder's folder in which programs run in terminals and a gauge in another process."""
    if sys.platform == "win32":
        pytest.skip("there are no ptys on this system")
    monkeypatch.syspath_prepend(str(Path(__file__).parent))
    from live_workshop import Workshop

    place = Workshop(tmp_path)
    yield place
    place.close()
