"""What the radio's failures mean.

Here: bleak's exceptions turned into a reason and into words. Not here: whatever raised them.
"""

from __future__ import annotations

import asyncio

from bleak import BleakScanner
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
    BleakGATTProtocolErrorCode,
)

from gaugelog.errors import LinkReason
from gaugelog.links.ble_backends import Backends

RADIO_ERRORS = (BleakError, TimeoutError, OSError, EOFError, AssertionError)
"""All that bleak is known to raise: a missing D-Bus is an OSError, one that hangs up an EOFError, and a device that
hangs up while a request is repeated fails an assertion of bleak's own."""

NOT_FOUND_WORDS = "out of range, switched off, or held by another program"
GONE_WORDS = "the gauge hung up, or went out of range"

_UNAVAILABLE = {
    BleakBluetoothNotAvailableReason.NO_BLUETOOTH: (LinkReason.NO_ADAPTER, "none was found"),
    BleakBluetoothNotAvailableReason.NO_BLE_CENTRAL_ROLE: (LinkReason.NO_ADAPTER, "none of them can do Bluetooth LE"),
    BleakBluetoothNotAvailableReason.POWERED_OFF: (LinkReason.RADIO_OFF, ""),
    BleakBluetoothNotAvailableReason.DENIED_BY_USER: (LinkReason.NOT_PERMITTED, "Bluetooth was denied by you"),
    BleakBluetoothNotAvailableReason.DENIED_BY_SYSTEM: (LinkReason.NOT_PERMITTED, "Bluetooth is denied by the system"),
    BleakBluetoothNotAvailableReason.DENIED_BY_UNKNOWN: (LinkReason.NOT_PERMITTED, "Bluetooth is denied"),
}
_WANTS_PAIRING = {
    BleakGATTProtocolErrorCode.INSUFFICIENT_AUTHENTICATION,
    BleakGATTProtocolErrorCode.INSUFFICIENT_AUTHORIZATION,
    BleakGATTProtocolErrorCode.INSUFFICIENT_ENCRYPTION,
    BleakGATTProtocolErrorCode.INSUFFICIENT_ENCRYPTION_KEY_SIZE,
}
_SERVICE_WORDS = "the system's Bluetooth service does not run"
_PAIRING_WORDS = "it wants to be paired"
_BY_DBUS_NAME = {
    "org.freedesktop.DBus.Error.ServiceUnknown": (LinkReason.NO_ADAPTER, _SERVICE_WORDS),
    "org.freedesktop.DBus.Error.NameHasNoOwner": (LinkReason.NO_ADAPTER, _SERVICE_WORDS),
    "org.freedesktop.DBus.Error.AccessDenied": (LinkReason.NOT_PERMITTED, "the system's Bluetooth service says no"),
    "org.bluez.Error.NotReady": (LinkReason.RADIO_OFF, ""),
    "org.bluez.Error.NotAuthorized": (LinkReason.REFUSED, _PAIRING_WORDS),
    "org.bluez.Error.AuthenticationCanceled": (LinkReason.REFUSED, "pairing was cancelled"),
    "org.bluez.Error.AuthenticationFailed": (LinkReason.REFUSED, "pairing failed"),
    "org.bluez.Error.AuthenticationRejected": (LinkReason.REFUSED, "pairing was rejected"),
    "org.bluez.Error.AuthenticationTimeout": (LinkReason.REFUSED, "pairing was not answered in time"),
    "org.bluez.Error.InProgress": (LinkReason.BUSY, "another program is connecting just now"),
}
_NOT_PAIRED = "Not paired"


def why(error: BaseException, otherwise: LinkReason) -> tuple[LinkReason, str]:
    """Return the reason behind what bleak raised, and words for it.

    Args:
        error: one of `RADIO_ERRORS`.
        otherwise: the reason where the error itself tells none.
    """
    match error:
        case BleakBluetoothNotAvailableError() if error.reason in _UNAVAILABLE:
            return _UNAVAILABLE[error.reason]
        case BleakDeviceNotFoundError():
            return LinkReason.NOT_FOUND, NOT_FOUND_WORDS
        case BleakGATTProtocolError() if error.code in _WANTS_PAIRING:
            return LinkReason.REFUSED, _PAIRING_WORDS
        case BleakGATTProtocolError():
            return otherwise, f"the gauge answered: {str(error.args[1]).removeprefix('GATT Protocol Error: ')}"
        case BleakDBusError() if error.dbus_error in _BY_DBUS_NAME:
            return _BY_DBUS_NAME[error.dbus_error]
        case BleakDBusError() if error.dbus_error_details == _NOT_PAIRED:
            return LinkReason.REFUSED, _PAIRING_WORDS
        case TimeoutError():
            return otherwise, "no answer in time"
        case PermissionError():
            return LinkReason.NOT_PERMITTED, error.strerror or str(error)
        case FileNotFoundError() | ConnectionRefusedError():
            return LinkReason.NO_ADAPTER, _SERVICE_WORDS
        case EOFError():
            return otherwise, "the system's Bluetooth service hung up"
        case AssertionError():
            return otherwise, GONE_WORDS
    return otherwise, str(error)


async def why_not_connected(error: BaseException, backends: Backends) -> tuple[LinkReason, str]:
    """Return why a device that was just found could not be connected to, and words for it.

    A radio that was switched off meanwhile says nothing but "failed": so it is asked whether it could scan.
    """
    reason, words = why(error, LinkReason.FAILED)
    if reason is not LinkReason.FAILED:
        return reason, words
    radio = await why_no_radio(backends)
    if radio is not None:
        return radio
    if isinstance(error, TimeoutError):
        return LinkReason.NOT_FOUND, f"it was heard, but does not answer: {NOT_FOUND_WORDS}"
    return reason, words


async def why_no_radio(backends: Backends) -> tuple[LinkReason, str] | None:
    """Return why nothing can be received at all, or None where the radio works."""
    scanner = BleakScanner(backend=backends.scanner)
    try:
        async with asyncio.timeout(2):
            await scanner.start()
            await scanner.stop()
    except BleakBluetoothNotAvailableError as error:
        return why(error, LinkReason.NO_ADAPTER)
    except RADIO_ERRORS:
        return None
    return None
