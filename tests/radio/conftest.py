"""The radio on which these tests run: the quick one, or with GAUGELOG_RADIO=bluez the whole one.

The whole one needs a system of its own, with bluetoothd and /dev/vhci; both are in `radio_bench`.
"""

from __future__ import annotations

import os
import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PLUGIN = HERE / "plugin"
ON_BLUEZ = os.environ.get("GAUGELOG_RADIO") == "bluez"

sys.path.insert(0, str(HERE))


def pytest_configure(config: pytest.Config) -> None:
    """Name the marks of this folder."""
    config.addinivalue_line("markers", "quick_radio_only: not to be done to a whole system's radio")
    config.addinivalue_line("markers", "whole_radio_only: needs bluetoothd")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave each test to the one radio that can do it; CI runs both."""
    other, why = (
        ("quick", "a whole system's radio can't be made to do this")
        if ON_BLUEZ
        else ("whole", "needs bluetoothd: runs in the guest")
    )
    for item in items:
        if item.get_closest_marker(f"{other}_radio_only"):
            item.add_marker(pytest.mark.skip(reason=why))


@pytest.fixture
async def radio(monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[object]:
    """Gauges in the air, and an adapter that is switched on."""
    if ON_BLUEZ:
        from radio_bench.on_bluez import bluez_radio

        async with bluez_radio() as whole:
            whole.environment = {}
            yield whole
        return
    from radio_bench.on_bumble import bumble_radio

    from gaugelog import plugins

    monkeypatch.syspath_prepend(str(PLUGIN))
    plugins.providers.cache_clear()
    from virtual_radio import PORT_VARIABLE

    async with bumble_radio() as (quick, port):
        monkeypatch.setenv(PORT_VARIABLE, str(port))
        monkeypatch.setattr("gaugelog.links.ble_search.NAMESAKES_S", 0.1)
        monkeypatch.setattr("gaugelog.links.inbox.TICK_S", 0.05)
        quick.environment = {"PYTHONPATH": str(PLUGIN)}
        yield quick
    plugins.providers.cache_clear()
