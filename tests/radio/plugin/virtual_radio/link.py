"""The link `ble-virtual:` that an entry point offers to gaugelog."""

from gaugelog.links.ble import BleLink
from gaugelog.links.ble_backends import Backends
from virtual_radio.client import VirtualClient
from virtual_radio.scanner import VirtualAdapter, VirtualScanner


class VirtualBleLink(BleLink):
    """The Bluetooth LE link, on the virtual radio."""

    scheme = "ble-virtual"
    backends = Backends(VirtualScanner, VirtualClient, VirtualAdapter)
