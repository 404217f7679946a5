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
