"""The whole radio: gaugelog hears the air through bleak's own BlueZ backend, bluetoothd and the Linux kernel.

Here: Bumble's controller behind /dev/vhci, which is all that isn't real but the air. Not here: the system in which
this may be done; it needs to be root in one that has bluetoothd and nothing else to do with Bluetooth.
"""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from bumble import hci
from bumble.transport import open_transport

from radio_bench.controllers import Air, AirController
from radio_bench.radio import Radio

_READY_WITHIN_S = 10.0
_started: list[subprocess.Popen[bytes]] = []
_ASK_BLUEZ = ["dbus-send", "--system", "--print-reply", "--dest=org.bluez"]


def _adapter_path() -> str:
    """Return the D-Bus path of the adapter, empty as long as bluetoothd has none."""
    question = [*_ASK_BLUEZ, "/", "org.freedesktop.DBus.ObjectManager.GetManagedObjects"]
    told = subprocess.run(question, capture_output=True, text=True, check=False).stdout
    paths = [line.split('"')[1] for line in told.splitlines() if 'object path "/org/bluez/hci' in line]
    return next((path for path in paths if "/dev_" not in path), "")


def _set_powered(on: bool) -> bool:
    command = ["org.freedesktop.DBus.Properties.Set", "string:org.bluez.Adapter1", "string:Powered"]
    value = f"variant:boolean:{'true' if on else 'false'}"
    told = subprocess.run([*_ASK_BLUEZ, _adapter_path(), *command, value], capture_output=True, check=False)
    return told.returncode == 0


def _bluetoothd() -> int:
    """Return bluetoothd's process number."""
    question = ["/", "org.freedesktop.DBus.GetConnectionUnixProcessID", "string:org.bluez"]
    ask = [*_ASK_BLUEZ[:-1], "--dest=org.freedesktop.DBus", *question]
    return int(subprocess.run(ask, capture_output=True, text=True, check=True).stdout.split()[-1])


class BluezRadio(Radio):
    """A radio that the whole system hears."""

    @asynccontextmanager
    async def without_bluetoothd(self) -> AsyncIterator[None]:
        """Kill bluetoothd, and start it again in the end."""
        process = await asyncio.to_thread(_bluetoothd)
        command = Path(f"/proc/{process}/cmdline").read_text().rstrip("\0").split("\0")
        os.kill(process, signal.SIGKILL)
        try:
            yield
        finally:
            _started.append(subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL))
            await self.is_ready()

    async def is_ready(self) -> None:
        """Wait until bluetoothd has its adapter, and switch that on."""
        async with asyncio.timeout(_READY_WITHIN_S):
            while not await asyncio.to_thread(_adapter_path):
                await asyncio.sleep(0.05)
        await self.power(True)

    async def power(self, on: bool) -> None:
        async with asyncio.timeout(_READY_WITHIN_S):
            while not await asyncio.to_thread(_set_powered, on):  # the kernel asks the controller meanwhile
                await asyncio.sleep(0.05)


@asynccontextmanager
async def bluez_radio() -> AsyncIterator[BluezRadio]:
    """Yield a radio on which bluetoothd has its adapter, switched on."""
    async with await open_transport("vhci") as transport:
        air = Air()
        controller = AirController("bluez", transport.source, transport.sink, air)
        # Bumble reports a new connection in the older of two forms only, so it must not claim what asks for the newer.
        controller.le_features &= ~(hci.LeFeatureMask.LL_PRIVACY | hci.LeFeatureMask.LE_EXTENDED_ADVERTISING)
        radio = BluezRadio(air)
        await radio.is_ready()
        try:
            yield radio
        finally:
            await radio.silence()
