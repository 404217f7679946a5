"""What all tests share: patience with examples that hypothesis makes, since the machine may be busy; a real browser."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")

CHROMIUM = Path(os.environ.get("CHROMIUM", "/usr/bin/chromium"))


@pytest.fixture(autouse=True, scope="session")
def _no_book_of_whoever_runs_the_tests(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A gauge book that is empty: what is in one's own must not change a test's outcome."""
    before = os.environ.get("GAUGELOG_BOOK")
    os.environ["GAUGELOG_BOOK"] = str(tmp_path_factory.mktemp("gauge-book"))
    yield
    if before is None:
        del os.environ["GAUGELOG_BOOK"]
    else:
        os.environ["GAUGELOG_BOOK"] = before


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A headless Chromium; where none is installed these tests are skipped, and in CI they fail."""
    if not CHROMIUM.exists():
        if os.environ.get("CI") == "true":
            pytest.fail("there is no Chromium here, and CI must have one")
        pytest.skip(f"there is no Chromium at {CHROMIUM}")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        yield opened
        opened.close()
