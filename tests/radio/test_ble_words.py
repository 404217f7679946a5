"""What bleak raises, in words; and addresses. No radio is needed for either."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
)
from bleak.uuids import normalize_uuid_str

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.errors import AddressError, LinkFailedError, LinkReason
from gaugelog.links.ble import BleLink
from gaugelog.links.ble_address import BleTarget, ble_target, short_uuid, whole_uuid
from gaugelog.links.ble_words import why
from gaugelog.model.datasheet import Radio
from gaugelog.model.gauges import parse_address

OWN = "a5c10001-0b1e-4d2f-9a63-6e75616765a1"


@pytest.mark.parametrize("text", ["2a19", "0x2A19", "2A19", "00002a19", "00002A19-0000-1000-8000-00805F9B34FB"])
def test_a_short_uuid_stands_on_the_bluetooth_base_uuid(text: str) -> None:
    """Source: bleak's own reading of the same forms, those with 0x excepted."""
    assert whole_uuid(text) == normalize_uuid_str(text.removeprefix("0x"))
    assert short_uuid(whole_uuid(text)) == "2a19"


def test_other_uuids_stay_whole() -> None:
    assert whole_uuid(OWN.upper()) == OWN
    assert short_uuid(OWN) == OWN
    assert short_uuid(whole_uuid("abcd2a19")) == "abcd2a19"


def test_the_address_is_read() -> None:
    target = ble_target(parse_address(f"ble:aa:bb:cc:dd:ee:ff?service=180f&notify={OWN}&described=yes&find=3"))
    assert target == BleTarget("AA:BB:CC:DD:EE:FF", False, whole_uuid("180f"), OWN, "", True, 3.0)
    assert ble_target(parse_address("ble:Bench%20angle")) == BleTarget("Bench angle", True)
    assert not ble_target(parse_address(f"ble:{OWN}")).by_name, "some systems give a UUID for an address"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("ble:", "address or name"),
        ("ble:x?notify=angle", "notify is a UUID"),
        ("ble:x?service=2a1", "service is a UUID"),
        ("ble:x?described=perhaps", "described is one of"),
        ("ble:x?find=0", "find is a number"),
        ("ble:x?baud=9600", "baud is not known"),
    ],
)
def test_an_address_that_can_not_be_read(text: str, wanted: str) -> None:
    with pytest.raises(AddressError, match=wanted):
        BleLink(parse_address(text))


def test_the_datasheet_fills_in_what_the_address_leaves_open() -> None:
    radio = Radio(service="180f", notify="2a19", write="2a00")
    datasheet = replace(find_datasheet("angle-line"), radio=radio, framing="described")
    suited = BleLink.suit(parse_address(f"ble:x?notify={OWN}&find=3"), datasheet)
    assert suited.options == {"service": "180f", "notify": OWN, "write": "2a00", "described": "yes", "find": "3"}
    plain = parse_address("ble:x")
    assert BleLink.suit(plain, find_datasheet("angle-line")) == plain
    assert BleLink.suit(parse_address("ble:x?described=no"), datasheet).options["described"] == "no"


def unavailable(reason: BleakBluetoothNotAvailableReason) -> BleakError:
    return BleakBluetoothNotAvailableError("", reason)


_DBUS, _BLUEZ = "org.freedesktop.DBus.Error", "org.bluez.Error"


@pytest.mark.parametrize(
    ("error", "reason"),
    [
        (FileNotFoundError(2, "No such file"), LinkReason.NO_ADAPTER),
        (ConnectionRefusedError(111, "refused"), LinkReason.NO_ADAPTER),
        (BleakDBusError(f"{_DBUS}.ServiceUnknown", ["not provided"]), LinkReason.NO_ADAPTER),
        (unavailable(BleakBluetoothNotAvailableReason.NO_BLUETOOTH), LinkReason.NO_ADAPTER),
        (unavailable(BleakBluetoothNotAvailableReason.NO_BLE_CENTRAL_ROLE), LinkReason.NO_ADAPTER),
        (unavailable(BleakBluetoothNotAvailableReason.POWERED_OFF), LinkReason.RADIO_OFF),
        (BleakDBusError(f"{_BLUEZ}.NotReady", ["Resource Not Ready"]), LinkReason.RADIO_OFF),
        (unavailable(BleakBluetoothNotAvailableReason.DENIED_BY_USER), LinkReason.NOT_PERMITTED),
        (unavailable(BleakBluetoothNotAvailableReason.DENIED_BY_SYSTEM), LinkReason.NOT_PERMITTED),
        (unavailable(BleakBluetoothNotAvailableReason.DENIED_BY_UNKNOWN), LinkReason.NOT_PERMITTED),
        (BleakDBusError(f"{_DBUS}.AccessDenied", ["rejected"]), LinkReason.NOT_PERMITTED),
        (PermissionError(13, "Permission denied"), LinkReason.NOT_PERMITTED),
        (BleakDeviceNotFoundError("AA"), LinkReason.NOT_FOUND),
        (BleakGATTProtocolError(0x05), LinkReason.REFUSED),
        (BleakGATTProtocolError(0x08), LinkReason.REFUSED),
        (BleakGATTProtocolError(0x0C), LinkReason.REFUSED),
        (BleakGATTProtocolError(0x0F), LinkReason.REFUSED),
        (BleakDBusError(f"{_BLUEZ}.AuthenticationFailed", ["Authentication Failed"]), LinkReason.REFUSED),
        (BleakDBusError(f"{_BLUEZ}.NotPermitted", ["Not paired"]), LinkReason.REFUSED),
        (BleakDBusError(f"{_BLUEZ}.InProgress", ["Operation already in progress"]), LinkReason.BUSY),
        (BleakGATTProtocolError(0x13), LinkReason.FAILED),
        (unavailable(BleakBluetoothNotAvailableReason.UNKNOWN), LinkReason.FAILED),
        (BleakDBusError(f"{_BLUEZ}.Failed", []), LinkReason.FAILED),
        (TimeoutError(), LinkReason.FAILED),
        (EOFError(), LinkReason.FAILED),
        (AssertionError(), LinkReason.FAILED),
        (BleakError("Not connected"), LinkReason.FAILED),
    ],
)
def test_what_is_raised_has_a_reason_and_a_hint_that_speaks_of_bluetooth(error: Exception, reason: LinkReason) -> None:
    """The ATT codes 0x05, 0x08, 0x0C, 0x0F and 0x13: Bluetooth Core Specification, volume 3, part F, 3.4.1.1."""
    told = why(error, LinkReason.FAILED)
    assert told[0] is reason
    failed = LinkFailedError("ble:x", *told)
    assert "None" not in str(failed)
    assert not {"cable", "port", "lists the ports"} & set(failed.hint.lower().split())


def test_what_tells_nothing_itself_is_taken_as_told() -> None:
    assert why(TimeoutError(), LinkReason.LOST) == (LinkReason.LOST, "no answer in time")
    assert why(BleakGATTProtocolError(0x13), LinkReason.LOST)[1] == "the gauge answered: Value Not Allowed"


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux has D-Bus between a program and its Bluetooth")
async def test_a_system_without_its_bluetooth_service(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Through bleak's own backend for this system."""
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/no-bus")
    with pytest.raises(LinkFailedError) as failed:
        await BleLink(parse_address("ble:x")).open()
    assert failed.value.reason is LinkReason.NO_ADAPTER


def test_bleak_is_not_loaded_before_something_is_opened() -> None:
    program = (
        "import sys, gaugelog.links.ble as ble; from gaugelog.model.gauges import parse_address;"
        "ble.BleLink(parse_address('ble:x')); sys.exit('bleak' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
