"""What a connected Bluetooth LE device offers, and which of it is meant.

Here: choosing characteristics, and words for those that are not there. Not here: reading them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.service import BleakGATTServiceCollection

from gaugelog.links.ble_address import BleTarget, short_uuid, whole_uuid

BATTERY_LEVEL = whole_uuid("2a19")
PRESENTATION_FORMAT = whole_uuid("2904")
_SERVICE_CHANGED = whole_uuid("2a05")
_NO_READINGS = {BATTERY_LEVEL, _SERVICE_CHANGED}


class NotOfferedError(Exception):
    """The device has not what the address says; in words, with what it has instead."""


def notifies(characteristic: BleakGATTCharacteristic) -> bool:
    """Return whether a characteristic sends by itself."""
    return bool({"notify", "indicate"} & set(characteristic.properties))


def is_writable(characteristic: BleakGATTCharacteristic) -> bool:
    """Return whether something can be sent to a characteristic."""
    return bool({"write", "write-without-response"} & set(characteristic.properties))


def presentation_format(characteristic: BleakGATTCharacteristic) -> BleakGATTDescriptor | None:
    """Return the descriptor in which a characteristic says how its value is written."""
    return characteristic.get_descriptor(PRESENTATION_FORMAT)


def with_readings(services: BleakGATTServiceCollection, service: str = "") -> list[BleakGATTCharacteristic]:
    """Return what sends by itself and may be readings, of all services or of one."""
    return [each for each in _of(services, service) if notifies(each) and each.uuid not in _NO_READINGS]


def writable_beside(services: BleakGATTServiceCollection, notify: BleakGATTCharacteristic) -> str:
    """Return the UUID to send to in the service of `notify`, empty unless there is exactly one."""
    beside = [each for each in services.characteristics.values() if each.service_handle == notify.service_handle]
    writable = [each.uuid for each in beside if is_writable(each)]
    return writable[0] if len(writable) == 1 else ""


def meant_to_notify(services: BleakGATTServiceCollection, target: BleTarget) -> BleakGATTCharacteristic:
    """Return the characteristic whose values are the readings.

    Raises:
        NotOfferedError: it isn't there, doesn't send by itself, or is not the only one that could be meant.
    """
    _demand_service(services, target.service)
    if target.notify:
        return _only(_named(services, target.service, target.notify, notifies, "does not notify"), "service")
    found = with_readings(services, target.service)
    if target.described:
        found = [each for each in found if presentation_format(each) is not None] or found
    if not found:
        raise NotOfferedError(f"nothing that notifies; it has {listed(_of(services, target.service))}")
    return _only(found, "notify")


def meant_to_write(
    services: BleakGATTServiceCollection, target: BleTarget, notify: BleakGATTCharacteristic
) -> BleakGATTCharacteristic | None:
    """Return the characteristic to send to: the one that is named, else the only one beside `notify`, else None.

    Raises:
        NotOfferedError: the one that is named isn't there, or can't be written to.
    """
    wanted = target.write or writable_beside(services, notify)
    if not wanted:
        return None
    found = _named(services, "", wanted, is_writable, "can't be written to")
    beside = [each for each in found if each.service_handle == notify.service_handle]
    return _only(beside or found, "write")


def listed(characteristics: Iterable[BleakGATTCharacteristic]) -> str:
    """Return characteristics in words, by what they can do."""
    words = [f"{short_uuid(each.uuid)} ({', '.join(each.properties)})" for each in characteristics]
    return ", ".join(words) or "nothing"


def _of(services: BleakGATTServiceCollection, service: str) -> list[BleakGATTCharacteristic]:
    return [each for each in services.characteristics.values() if service in ("", each.service_uuid)]


def _demand_service(services: BleakGATTServiceCollection, service: str) -> None:
    there = [each.uuid for each in services]
    if service and service not in there:
        raise NotOfferedError(f"no service {short_uuid(service)}; it has {', '.join(map(short_uuid, there)) or 'none'}")


def _named(
    services: BleakGATTServiceCollection,
    service: str,
    uuid: str,
    fits: Callable[[BleakGATTCharacteristic], bool],
    complaint: str,
) -> list[BleakGATTCharacteristic]:
    """Return what has this UUID and fits.

    Raises:
        NotOfferedError: nothing has it, or nothing that has it fits.
    """
    there = _of(services, service)
    found = [each for each in there if each.uuid == uuid]
    if not found:
        raise NotOfferedError(f"no characteristic {short_uuid(uuid)}; it has {listed(there)}")
    fitting = [each for each in found if fits(each)]
    if not fitting:
        raise NotOfferedError(f"{listed(found)} {complaint}; it has {listed(filter(fits, there))} that would do")
    return fitting


def _only(found: Sequence[BleakGATTCharacteristic], option: str) -> BleakGATTCharacteristic:
    """Return the one that was found.

    Raises:
        NotOfferedError: there are more.
    """
    if len(found) > 1:
        raise NotOfferedError(f"{len(found)} that could be meant, {option}= has to say which: {listed(found)}")
    return found[0]
