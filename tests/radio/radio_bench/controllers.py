"""Bumble's software controllers and the air between them.

Here: three gaps of Bumble 0.0.236 filled. Not here: what uses a controller.
"""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import Any

from bumble import core, hci, ll
from bumble.controller import Controller
from bumble.link import LocalLink


class Air(LocalLink):
    """All controllers that hear each other.

    Gap: data was sent under the sender's *present* random address, so that a link died when a host (BlueZ does it to
    scan) changed its address while connected.
    """

    def send_acl_data(
        self, sender_controller: Controller, destination_address: Any, transport: Any, data: bytes
    ) -> None:
        connection = sender_controller.le_connections.get(destination_address)
        receiver = self.find_le_controller(destination_address)
        if connection and receiver:
            loop = asyncio.get_running_loop()
            loop.call_soon(receiver.on_link_acl_data, connection.self_address, transport, data)


class AirController(Controller):
    """A controller in the air.

    Gaps: the cancelling of a connection attempt was acknowledged, but the attempt never completed, so that a host
    waited forever for a device that is gone; and a scan response repeated the advertisement instead of what the
    advertiser had set for it.
    """

    def on_hci_le_create_connection_cancel_command(self, command: Any) -> Any:
        answer = super().on_hci_le_create_connection_cancel_command(command)
        pending, self.pending_le_connection = self.pending_le_connection, None
        if pending is not None:
            completed = hci.HCI_LE_Connection_Complete_Event(
                status=hci.HCI_ErrorCode.UNKNOWN_CONNECTION_IDENTIFIER_ERROR,
                connection_handle=0,
                role=hci.Role.CENTRAL,
                peer_address_type=pending.peer_address.address_type,
                peer_address=pending.peer_address,
                connection_interval=0,
                peripheral_latency=0,
                supervision_timeout=0,
                central_clock_accuracy=0,
            )
            asyncio.get_running_loop().call_soon(self.send_hci_packet, completed)
        return answer

    def send_hci_packet(self, packet: hci.HCI_Packet) -> None:
        if isinstance(packet, hci.HCI_LE_Extended_Advertising_Report_Event):
            scan_response = hci.HCI_LE_Extended_Advertising_Report_Event.EventType.SCAN_RESPONSE
            packet = self._with_scan_responses(packet, lambda kind: bool(kind & scan_response))
        elif isinstance(packet, hci.HCI_LE_Advertising_Report_Event):
            scan_response = hci.HCI_LE_Advertising_Report_Event.EventType.SCAN_RSP
            packet = self._with_scan_responses(packet, lambda kind: kind == scan_response)
        super().send_hci_packet(packet)

    def hang_up_everywhere(self) -> None:
        """End every connection, as a controller does that loses its power."""
        for connection in list(self.le_connections.values()):
            with suppress(core.InvalidArgumentError):
                connection.send_ll_control_pdu(ll.TerminateInd(hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR))
        self.le_connections.clear()

    def _with_scan_responses(self, packet: Any, is_response: Any) -> Any:
        for report in packet.reports:
            if is_response(report.event_type):
                report.data = self._scan_response_of(report.address)
        return type(packet)(packet.reports)  # made anew, because its bytes are cached

    def _scan_response_of(self, address: hci.Address) -> bytes:
        sender = self.link.find_le_controller(address)
        sets = sender.advertising_sets.values() if sender else ()
        return next((bytes(each.scan_response_data) for each in sets if each.address == address), b"")
