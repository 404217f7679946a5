"""Bluetooth LE without a radio: bleak's interface over Bumble's host, for the tests alone.

The packets (GATT, ATT, L2CAP, HCI) are real; they leave through a TCP socket on this machine instead of an antenna.
Whoever sets `PORT_VARIABLE` in the environment to that socket's port has a Bluetooth adapter.
"""

import logging

logging.getLogger("bumble").addHandler(logging.NullHandler())

PORT_VARIABLE = "VIRTUAL_RADIO_PORT"
