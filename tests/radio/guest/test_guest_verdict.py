"""A run in the guest is good only if tests ran and passed; and the guest gets all that it needs."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

HERE = Path(__file__).parent
judged = runpy.run_path(str(HERE / "verdict.py"))["judged"]
in_order = runpy.run_path(str(HERE / "modules.py"))["in_order"]
outermost = runpy.run_path(str(HERE / "shares.py"))["outermost"]


def left_behind(folder: Path, status: str, counts: str) -> Path:
    (folder / "status").write_text(f"{status}\n")
    (folder / "results.xml").write_text(f"<testsuites><testsuite {counts}/></testsuites>")
    return folder


def test_good_is_what_ran_and_passed(tmp_path: Path) -> None:
    left_behind(tmp_path, "0", 'tests="5" failures="0" errors="0" skipped="2"')
    assert judged(tmp_path) == (True, "3 tests passed on the whole radio")


@pytest.mark.parametrize(
    ("status", "counts", "words"),
    [
        ("1", 'tests="5" failures="1" errors="1" skipped="2"', "2 of 5 tests failed"),
        ("5", 'tests="0" failures="0" errors="0" skipped="0"', "no test ran"),
        ("0", 'tests="2" failures="0" errors="0" skipped="2"', "no test ran"),
        ("3", 'tests="5" failures="0" errors="0" skipped="0"', "exit status 3"),
    ],
)
def test_anything_else_is_bad(tmp_path: Path, status: str, counts: str, words: str) -> None:
    good, why = judged(left_behind(tmp_path, status, counts))
    assert not good
    assert words in why


def test_a_guest_that_left_nothing_or_half_a_report_is_bad(tmp_path: Path) -> None:
    assert judged(tmp_path) == (False, "the guest did not come to the end of the tests")
    left_behind(tmp_path, "0", "")
    (tmp_path / "results.xml").write_text("<testsuites><testsuite")
    assert not judged(tmp_path)[0]
    (tmp_path / "results.xml").unlink()
    assert not judged(tmp_path)[0]


def test_a_module_comes_after_what_it_depends_on_and_one_that_is_missing_is_told() -> None:
    modules = {"top": b"\0depends=mid-dle,built_in\0", "mid_dle": b"\0depends=low\0", "low": b"\0depends=\0"}
    assert in_order(modules, {"built_in"}, ["top", "low"]) == ["low", "mid_dle", "top"]
    with pytest.raises(LookupError, match="absent"):
        in_order(modules, set(), ["absent"])


def test_a_folder_is_shared_once() -> None:
    folders = map(Path, ["/w/clone/.venv", "/usr/local", "/w/clone", "/w/clone2", "/usr"])
    assert outermost(folders) == [Path("/w/clone"), Path("/w/clone2")]
