"""A gauge on a serial port.

Here: opening, reading, writing and losing a port. Not here: its settings (`links.serial_settings`) nor which ports
there are (`links.ports`).
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Sequence
from typing import Any

from gaugelog.errors import LinkFailedError, LinkReason
from gaugelog.links import TICK_S
from gaugelog.links.clock import now_ns
from gaugelog.links.descriptor import DescriptorReader, send_all
from gaugelog.links.inbox import Clock, Inbox
from gaugelog.links.ports import SPEEDS, SerialPort, lasting_path, path_in_address, port_at, serial_ports
from gaugelog.links.reading_thread import ReadingThread
from gaugelog.links.serial_settings import serial_settings
from gaugelog.model.device import Sighting
from gaugelog.model.gauges import Address, parse_address
from gaugelog.model.readings import Chunk

_BY_ERRNO = {
    errno.ENOENT: LinkReason.NOT_FOUND,
    errno.ENXIO: LinkReason.NOT_FOUND,
    errno.ENODEV: LinkReason.NOT_FOUND,
    errno.EACCES: LinkReason.NOT_PERMITTED,
    errno.EPERM: LinkReason.NOT_PERMITTED,
    errno.EBUSY: LinkReason.BUSY,
    errno.EAGAIN: LinkReason.BUSY,
    errno.EINVAL: LinkReason.SETTINGS,
}


def _why_not_opened(reason: Exception) -> tuple[LinkReason, str]:
    """Return why pyserial could not open a port, and the system's words for it."""
    words = str(reason)
    if isinstance(reason, ValueError) and not isinstance(reason, OSError):
        return LinkReason.SETTINGS, words
    number = getattr(reason, "errno", None)
    if number in _BY_ERRNO:
        return _BY_ERRNO[number], os.strerror(number)
    if "FileNotFoundError" in words:  # Windows: pyserial puts the system's error into its own text
        return LinkReason.NOT_FOUND, words
    if "PermissionError" in words:  # Windows says "access denied" of a port that another program holds
        return LinkReason.BUSY, words
    if "configure" in words:
        return LinkReason.FAILED, "it takes no serial settings: is it a serial port?"
    return LinkReason.FAILED, words


class SerialLink:
    """Bytes of a serial port: through the event loop on POSIX, through a thread elsewhere and for pyserial's URLs.

    Args:
        address: `serial:PATH?baud=9600&bits=8&parity=N&stop=1&flow=none&dtr=on&rts=on`, or a pyserial URL as the path.
        clock: gives monotonic nanoseconds.
        at_once: read each byte the moment it comes, even among many busy ports.

    Raises:
        AddressError: no port is named, or an option can't be understood.
    """

    def __init__(self, address: Address, clock: Clock = now_ns, *, at_once: bool = False) -> None:
        self.address = address
        self._settings = serial_settings(address)
        self._clock = clock
        self._at_once = at_once
        self._port: Any = None
        self._inbox: Inbox | None = None
        self._reader: DescriptorReader | ReadingThread | None = None
        self._ports: tuple[SerialPort, ...] | None = None
        self._hardware = ""
        self.trouble = ""

    async def open(self) -> None:
        """Open the port; what it had waiting from before is thrown away.

        A port that was open before and whose hardware has a serial number is looked for by that: plugged in again, it
        may have come back under another name, and another gauge under its own.

        Raises:
            LinkFailedError: not found, come back elsewhere, not permitted, busy, settings refused, or failed otherwise.
        """
        import serial

        threaded = self._settings.is_url or os.name != "posix"
        path = self._path_by_hardware()
        try:
            self._port = self._opened(serial, path, threaded)
        except (OSError, ValueError) as reason:  # pyserial's own exception is an OSError
            raise self._not_opened(*_why_not_opened(reason)) from reason
        self._remember()
        inbox = self._inbox = Inbox(self._clock)
        if threaded:
            self._reader = ReadingThread(
                self._read_blocking, inbox, lambda reason: self._lost(str(reason)), self._clock
            )
        else:
            self._reader = DescriptorReader(self._port.fileno(), inbox, self._lost, in_rounds=not self._at_once)

    async def receive(self) -> Chunk:
        """Return the next bytes, or a tick.

        Raises:
            LinkFailedError: the port went away.
        """
        return await self._opened_inbox().get()

    async def send(self, data: bytes) -> None:
        """Send bytes to the gauge.

        Raises:
            LinkFailedError: the port went away, or took nothing for two seconds.
        """
        self._opened_inbox()
        try:
            if isinstance(self._reader, DescriptorReader):
                await send_all(self._port.fileno(), data)
            else:
                self._port.write(data)
        except OSError as reason:
            raise self._lost(reason.strerror or str(reason)) from reason

    async def close(self) -> None:
        """Close the port; closing twice is fine."""
        reader, self._reader = self._reader, None
        if isinstance(reader, ReadingThread):
            await reader.stop()
        elif reader is not None:
            reader.stop()
        if self._inbox is not None:
            self._inbox.close()
        port, self._port = self._port, None
        if port is not None:
            port.close()

    @classmethod
    async def find(cls, wait_s: float, seen: Callable[[Sighting], None]) -> None:
        """Call `seen` for each port that is there, at once: there is nothing to wait for."""
        for port in serial_ports():
            path = lasting_path(port.path)
            now = "" if path == port.path else port.path
            detail = ", ".join(part for part in (now, port.hardware) if part)
            seen(Sighting(f"serial:{path_in_address(path)}", port.description, detail))

    @classmethod
    async def ways(cls, sighting: Sighting) -> Sequence[Address]:
        """Return the port at each speed that gauges are commonly set to, likeliest first."""
        return [parse_address(f"{sighting.address}?baud={speed}") for speed in SPEEDS]

    def _remember(self) -> None:
        """Take note, once the port is open for the first time, of what hardware is behind it."""
        if self._ports is not None or self._settings.is_url:
            return
        self._ports = ports = serial_ports()
        port = port_at(self._settings.path, ports)
        alike = [each for each in ports if port is not None and each.identity == port.identity]
        self._hardware = port.identity if port is not None and len(alike) == 1 else ""

    def _path_by_hardware(self) -> str:
        """Return where the hardware is that was open before; the address's own path where that can't be told.

        Raises:
            LinkFailedError: other hardware is at that path now, and the one that was open is nowhere.
        """
        path, self.trouble = self._settings.path, ""
        if not self._hardware:
            return path
        ports = serial_ports()
        here = port_at(path, ports)
        if here is not None and here.identity in ("", self._hardware):
            return path
        found = [each for each in ports if each.identity == self._hardware]
        if len(found) == 1:
            self.trouble = f"it has come back as {found[0].path}, the address names {path}"
            return found[0].path
        if here is not None:
            words = f"another device is at {path} now, with a serial number of its own; plug the gauge's own in again"
            raise LinkFailedError(self.address.text, LinkReason.MOVED, words)
        return path

    def _not_opened(self, reason: LinkReason, words: str) -> LinkFailedError:
        """Return why the port can't be opened, and which ports have come since it last was."""
        if reason is LinkReason.NOT_FOUND and self._ports is not None:
            known = {each.path for each in self._ports}
            come = ", ".join(each.path for each in serial_ports() if each.path not in known)
            if come:
                reason, words = LinkReason.MOVED, f"{self._settings.path} is not there any more; {come} has come since"
        return LinkFailedError(self.address.text, reason, words)

    def _opened(self, serial: Any, path: str, threaded: bool) -> Any:
        """Return the opened port.

        On POSIX an inter-byte time of zero makes the port wait for one byte at least, so that an empty read can mean
        nothing but an unplugged gauge.
        """
        keywords = self._settings.keywords
        if threaded:
            keywords |= {"timeout": TICK_S / 2, "write_timeout": 2.0}
        else:
            keywords |= {"timeout": 0, "inter_byte_timeout": 0, "exclusive": True}
        port = serial.serial_for_url(path, do_not_open=True, **keywords)
        if self._settings.dtr is not None:
            port.dtr = self._settings.dtr
        if self._settings.rts is not None:
            port.rts = self._settings.rts
        port.open()
        return port

    def _read_blocking(self) -> bytes:
        data: bytes = self._port.read(max(1, self._port.in_waiting))
        return data

    def _lost(self, words: str) -> LinkFailedError:
        return LinkFailedError(self.address.text, LinkReason.LOST, words)

    def _opened_inbox(self) -> Inbox:
        if self._inbox is None or self._port is None:
            raise ValueError(f"{self.address} is not open")
        return self._inbox
