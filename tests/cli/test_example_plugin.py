"""The worked example of a plug-in, built as its author would and used as its user would."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

EXAMPLE = Path(__file__).resolve().parents[2] / "docs" / "example-plugin"
PLAN = """name = "baritone"

[[checkpoint]]
id = "neck"
kind = "neck-angle"
todo = "long gauge on the fretboard"
step = 0.1
"""


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder into which the example's wheel was unpacked, which is what installing it does."""
    folder = tmp_path_factory.mktemp("example")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(build, cwd=EXAMPLE, check=True, capture_output=True)
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder / "installed")
    return folder / "installed"


def ran(installed: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(installed), "PYTHONDONTWRITEBYTECODE": "1", "COLUMNS": "100"}
    return subprocess.run(
        [sys.executable, "-m", *arguments], cwd=folder, env=environment, capture_output=True, text=True, check=False
    )


def test_its_own_tests_pass(installed: Path) -> None:
    own = ran(
        installed, EXAMPLE, "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:asyncio", "--import-mode=importlib"
    )
    assert own.returncode == 0, own.stdout
    assert "6 passed" in own.stdout


def test_what_it_adds_is_listed_and_can_be_tried(installed: Path, tmp_path: Path) -> None:
    listed = json.loads(ran(installed, tmp_path, "gaugelog", "gauges", "--plugins", "--json").stdout)
    own = [each for each in listed["plugins"] if each["package"] == "gaugelog-example"]
    assert [(each["group"], each["name"], each["version"], each["broken"]) for each in own] == [
        ("gaugelog.framings", "tally", "1.0", None),
        ("gaugelog.links", "follow", "1.0", None),
        ("gaugelog.datasheets", "gaugelog-example", "1.0", None),
    ]
    assert "gaugelog-example 1.0" in ran(installed, tmp_path, "gaugelog", "gauges", "--plugins").stdout
    (tmp_path / "bytes").write_bytes(b"<+00285:3><-00035:4>")
    tried = ran(installed, tmp_path, "gaugelog", "gauges", "try", "example-angle", "--bytes", "bytes")
    assert tried.returncode == 0, tried.stderr
    assert "2.85 deg" in tried.stdout
    (tmp_path / "bytes").write_bytes(b"<+00285:3><+00286:3>")
    damaged = ran(installed, tmp_path, "gaugelog", "gauges", "try", "example-angle", "--bytes", "bytes")
    assert damaged.returncode == 1
    assert "checksum does not fit" in damaged.stdout


def test_a_gauge_behind_its_link_is_found_and_written_down(installed: Path, tmp_path: Path) -> None:
    (tmp_path / "baritone.toml").write_text(PLAN, encoding="utf-8")
    path = tmp_path / "written-elsewhere"
    path.write_bytes(b"")
    code = "import sys, time\nwhile True:\n    open(sys.argv[1], 'ab').write(b'<+00285:3>')\n    time.sleep(0.1)\n"
    writer = subprocess.Popen([sys.executable, "-X", "dev", "-W", "ignore", "-c", code, str(path)])
    try:
        choose = ("--listen", "0.8", "--take", "example-angle", "--as", "long")
        found = ran(installed, tmp_path, "gaugelog", "gauges", "find", "--at", f"follow:{path}", *choose)
        read = ran(installed, tmp_path, "gaugelog", "gauges", "read", "long", "--count", "2", "--json")
    finally:
        writer.kill()
        writer.wait()
    assert found.returncode == 0, found.stderr
    assert "damage would be noticed" in found.stdout
    assert [each["text"] for each in json.loads(read.stdout)["readings"]] == ["2.85", "2.85"]


def test_a_package_whose_datasheets_cannot_be_read_is_told_and_the_others_go_on(
    installed: Path, tmp_path: Path
) -> None:
    broken = tmp_path / "broken"
    (broken / "broken_sheets").mkdir(parents=True)
    (broken / "broken_sheets" / "__init__.py").write_text("", encoding="utf-8")
    (broken / "broken_sheets" / "odd.toml").write_text('name = "odd"\nquantity = "colour"\n', encoding="utf-8")
    (broken / "broken_sheets-2.0.dist-info").mkdir()
    (broken / "broken_sheets-2.0.dist-info" / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: broken-sheets\nVersion: 2.0\n", encoding="utf-8"
    )
    (broken / "broken_sheets-2.0.dist-info" / "entry_points.txt").write_text(
        "[gaugelog.datasheets]\nodd = broken_sheets\nabsent = no_such_package\n"
        "[gaugelog.framings]\nlost = no_such_package:Framing\n",
        encoding="utf-8",
    )
    both = Path(os.pathsep.join((str(installed), str(broken))))
    shown = ran(both, tmp_path, "gaugelog", "gauges")
    assert shown.returncode == 0
    assert "example-angle" in shown.stdout
    assert "angle-line" in shown.stdout
    assert "'odd' (broken_sheets) can't be loaded" in shown.stderr
    assert "no_such_package" in shown.stderr
    listed = json.loads(ran(both, tmp_path, "gaugelog", "gauges", "--plugins", "--json").stdout)
    assert len(listed["broken_datasheets"]) == 2
    (lost,) = [each for each in listed["plugins"] if each["name"] == "lost"]
    assert "no_such_package" in lost["broken"]
    unknown = ran(both, tmp_path, "gaugelog", "gauges", "try", "xyzzy")
    assert unknown.returncode == 2
    assert "plugin-broken" in unknown.stderr


def test_two_packages_that_claim_one_datasheet_are_told(installed: Path, tmp_path: Path) -> None:
    own = tmp_path / "datasheets"
    own.mkdir()
    text = (EXAMPLE / "gaugelog_example" / "sheets" / "example-angle.toml").read_text(encoding="utf-8")
    (own / "mine.toml").write_text(text, encoding="utf-8")
    told = ran(installed, tmp_path, "gaugelog", "gauges")
    assert told.returncode == 2
    assert "plugin-clash" in told.stderr
    assert "gaugelog_example.sheets" in told.stderr
