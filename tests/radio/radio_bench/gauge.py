"""A gauge on Bluetooth LE that is made of software: a GATT server on its own controller, and who moves it.

Its service and characteristics are inventions of this project; battery, device information and presentation format
are those of the Bluetooth SIG's assigned numbers.
"""

from __future__ import annotations

import asyncio
import struct
from collections.abc import Callable
from dataclasses import dataclass

from bumble import hci
from bumble.att import ATT_Error, Attribute, ErrorCode
from bumble.core import UUID, AdvertisingData
from bumble.device import Connection, Device, DeviceConfiguration
from bumble.gatt import Characteristic, CharacteristicValue, Descriptor, Service
from bumble.host import Host

from radio_bench.controllers import Air, AirController

ANGLE_SERVICE = "a5c10000-0b1e-4d2f-9a63-6e75616765a1"
ANGLE = "a5c10001-0b1e-4d2f-9a63-6e75616765a1"
SERIAL_SERVICE = "a5c10010-0b1e-4d2f-9a63-6e75616765a1"
SERIAL_IN = "a5c10011-0b1e-4d2f-9a63-6e75616765a1"
"""The gauge is written to here."""
SERIAL_OUT = "a5c10012-0b1e-4d2f-9a63-6e75616765a1"
"""The gauge notifies here."""

QUESTION = b"READ?\r"
FORBIDDEN = b"BAD\r"
HUNDREDTHS_OF_A_DEGREE = struct.pack("<BbHBH", 0x0E, -2, 0x2763, 1, 0)
"""Presentation format: 16 bits signed (0x0E), exponent -2, unit degree of plane angle (0x2763), namespace SIG."""

_CAN, _MAY = Characteristic.Properties, Attribute.Permissions
_HEARD_WITHIN_S = 60.0


@dataclass(frozen=True)
class Build:
    """How a gauge is built.

    `piece` is the most bytes that it puts into one notification; `mtu` the largest packet it agrees to;
    `describes` whether its angle has a presentation format, `wants_pairing` whether that is told to paired devices
    only; `informs` whether it has a battery and device information, `battery_tells` whether its battery level notifies.
    """

    name: str = "bench-angle"
    piece: int = 20
    mtu: int | None = None
    describes: bool = True
    informs: bool = True
    battery_tells: bool = True
    wants_pairing: bool = False


class VirtualGauge:
    """A gauge; a fresh address each time, because hosts remember what a device of that address offers."""

    def __init__(self, air: Air, build: Build) -> None:
        self.build = build
        self.hundredths = 0
        self.battery = 87
        self.battery_answer: Callable[[], bytes] = lambda: bytes([self.battery])
        self.written = b""
        address = hci.Address.generate_static_address()
        self.address = address.to_string(False)
        configuration = DeviceConfiguration(
            name=build.name, address=address, advertising_interval_min=20, advertising_interval_max=20
        )
        host = Host()
        self._controller = AirController(build.name, link=air)
        host.controller = self._controller
        self.device = Device(config=configuration, host=host)
        if build.mtu:
            self.device.gatt_server.max_mtu = build.mtu
        self._offer()
        self._advertise_data()

    async def start(self) -> None:
        """Switch it on."""
        await self.device.power_on()
        await self.device.start_advertising(auto_restart=True)

    async def stop(self) -> None:
        """Switch it off."""
        await self.device.stop_advertising()
        await self.hang_up()
        await self.device.power_off()
        if self._controller in self._controller.link.controllers:
            self._controller.link.remove_controller(self._controller)

    async def hang_up(self) -> None:
        """End its connections; it can be found again at once."""
        for connection in list(self.device.connections.values()):
            await connection.disconnect(hci.HCI_REMOTE_USER_TERMINATED_CONNECTION_ERROR)

    def hang(self) -> None:
        """Answer no read any more, though it stays connected."""
        self.device.gatt_server.on_att_read_request = lambda *_arguments: None

    async def shows(self, hundredths: int) -> None:
        """Notify an angle in hundredths of a degree."""
        self.hundredths = hundredths
        await self.device.notify_subscribers(self.angle, struct.pack("<h", hundredths))

    async def says(self, data: bytes) -> None:
        """Notify bytes of its serial service, in pieces."""
        for start in range(0, len(data), self.build.piece):
            await self.device.notify_subscribers(self.serial_out, data[start : start + self.build.piece])

    async def battery_falls_to(self, percent: int) -> None:
        """Change the battery level, and notify it if it is built so."""
        self.battery = percent
        await self.device.notify_subscribers(self.battery_level, bytes([percent]))

    async def is_listened_to(self, characteristic: Characteristic) -> None:
        """Wait until somebody has subscribed to a characteristic."""
        async with asyncio.timeout(_HEARD_WITHIN_S):
            while not self._listeners(characteristic):
                await asyncio.sleep(0.01)

    def _listeners(self, characteristic: Characteristic) -> int:
        every = self.device.gatt_server.subscribers.values()
        return sum(any(each.get(characteristic.handle, b"")) for each in every)

    def _offer(self) -> None:
        whom = _MAY.READABLE | (_MAY.READ_REQUIRES_ENCRYPTION if self.build.wants_pairing else _MAY(0))
        described = [Descriptor(UUID.from_16_bits(0x2904), whom, HUNDREDTHS_OF_A_DEGREE)]
        self.angle = Characteristic(
            ANGLE,
            _CAN.READ | _CAN.NOTIFY,
            _MAY.READABLE,
            CharacteristicValue(read=lambda _connection: struct.pack("<h", self.hundredths)),
            described if self.build.describes else [],
        )
        self.serial_in = Characteristic(
            SERIAL_IN,
            _CAN.WRITE | _CAN.WRITE_WITHOUT_RESPONSE,
            _MAY.WRITEABLE,
            CharacteristicValue(write=self._is_told),
        )
        self.serial_out = Characteristic(SERIAL_OUT, _CAN.NOTIFY, _MAY(0))
        services = [Service(ANGLE_SERVICE, [self.angle]), Service(SERIAL_SERVICE, [self.serial_in, self.serial_out])]
        if self.build.informs:
            services += [self._battery_service(), self._information_service()]
        self.device.add_services(services)

    def _battery_service(self) -> Service:
        self.battery_level = Characteristic(
            UUID.from_16_bits(0x2A19),
            _CAN.READ | (_CAN.NOTIFY if self.build.battery_tells else _CAN(0)),
            _MAY.READABLE,
            CharacteristicValue(read=lambda _connection: self.battery_answer()),
        )
        return Service(UUID.from_16_bits(0x180F), [self.battery_level])

    @staticmethod
    def _information_service() -> Service:
        texts = {0x2A29: "Synthetic Workshop", 0x2A24: "invented angle gauge", 0x2A25: "A-000123", 0x2A26: "0.1"}
        return Service(
            UUID.from_16_bits(0x180A),
            [
                Characteristic(UUID.from_16_bits(number), _CAN.READ, _MAY.READABLE, text.encode())
                for number, text in texts.items()
            ],
        )

    def _advertise_data(self) -> None:
        """Advertise the service; the name comes only with the scan response."""
        self.device.advertising_data = bytes(
            AdvertisingData(
                [
                    (AdvertisingData.FLAGS, b"\x06"),
                    (
                        AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
                        UUID(ANGLE_SERVICE).to_bytes(),
                    ),
                ]
            )
        )
        self.device.scan_response_data = bytes(
            AdvertisingData([(AdvertisingData.COMPLETE_LOCAL_NAME, self.build.name.encode())])
        )
        if max(len(self.device.advertising_data), len(self.device.scan_response_data)) > 31:
            raise ValueError("more than an advertisement holds")

    async def _is_told(self, _connection: Connection, data: bytes) -> None:
        """Take what is written, and answer the question with the angle as a line."""
        if data == FORBIDDEN:
            raise ATT_Error(ErrorCode.VALUE_NOT_ALLOWED)
        self.written += data
        if self.written.endswith(QUESTION):
            await self.says(line_of(self.hundredths))


def line_of(hundredths: int) -> bytes:
    """Return an angle as the line that the bundled datasheet `angle-line` understands."""
    sign = "-" if hundredths < 0 else "+"
    return f"{sign}{abs(hundredths) / 100:6.2f} deg\r\n".encode()
