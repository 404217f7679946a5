"""Judge a run by what the guest left behind, never by the absence of complaints.

Run as `verdict.py FOLDER`: prints one sentence; exit status 0 only if at least one test ran and all that ran passed.
"""

from __future__ import annotations

import sys
from pathlib import Path
from xml.etree import ElementTree


def judged(folder: Path) -> tuple[bool, str]:
    """Return whether a run is good, and why in words.

    Args:
        folder: has `status` (pytest's exit status) and `results.xml` (pytest's JUnit report), if it came so far.
    """
    try:
        status = (folder / "status").read_text().strip()
    except FileNotFoundError:
        return False, "the guest did not come to the end of the tests"
    try:
        suite = ElementTree.parse(folder / "results.xml").getroot().find("testsuite")
    except (FileNotFoundError, ElementTree.ParseError):
        suite = None
    if suite is None:
        return False, f"pytest reported nothing (exit status {status})"
    count = {name: int(suite.get(name, "0")) for name in ("tests", "failures", "errors", "skipped")}
    bad = count["failures"] + count["errors"]
    passed = count["tests"] - bad - count["skipped"]
    if bad:
        return False, f"{bad} of {count['tests']} tests failed on the whole radio"
    if passed < 1:
        return False, "no test ran"
    if status != "0":
        return False, f"pytest ended with exit status {status}"
    return True, f"{passed} tests passed on the whole radio"


if __name__ == "__main__":
    good, words = judged(Path(sys.argv[1]))
    print(words)
    sys.exit(not good)
