"""Errors of gauges, their links, their datasheets and what is plugged in.

Not here: what goes wrong with a recording (`errors.files`).
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum

from gaugelog.errors.root import FaultyFileError, GaugelogError, NearestError


class FaultyDatasheetError(FaultyFileError):
    """A datasheet with faults."""

    slug = "faulty-datasheet"
    what = "datasheet"


class FaultyLogError(FaultyFileError):
    """A raw log with damaged lines."""

    slug = "faulty-log"
    what = "raw log"


class UnknownGaugeError(NearestError):
    """A short gauge name that the instrument file does not have."""

    slug = "unknown-gauge"
    what = "gauge"


class GaugeNameTakenError(GaugelogError):
    """A short gauge name that the instrument file has already, for another gauge."""

    slug = "gauge-name-taken"

    def __init__(self, path: str, name: str, gauge: str) -> None:
        self.path, self.name, self.gauge = path, name, gauge
        super().__init__(f"{path} has a gauge {name!r} already: {gauge}")

    @property
    def hint(self) -> str:
        """Never overwrite in silence."""
        return "It was left as it is. Choose another short name, or say --replace to put the new gauge in its place."


class UnknownDatasheetError(NearestError):
    """A datasheet that is neither bundled nor in the builder's folder."""

    slug = "unknown-datasheet"
    what = "datasheet"


class UnknownPluginError(NearestError):
    """A framing or link scheme that nothing provides."""

    slug = "unknown-plugin"
    what = "plug-in"


class PluginClashError(GaugelogError):
    """Two providers claim one name."""

    slug = "plugin-clash"

    def __init__(self, group: str, name: str, providers: Sequence[str]) -> None:
        self.group, self.name, self.providers = group, name, tuple(providers)
        super().__init__(f"{group} {name!r} is claimed twice: {' and '.join(self.providers)}")

    @property
    def hint(self) -> str:
        """One of the two has to go."""
        return "Uninstall one of the packages, or ask its author for another name."


class PluginBrokenError(GaugelogError):
    """A provider is listed but can't be imported; the reason is kept."""

    slug = "plugin-broken"

    def __init__(self, group: str, name: str, target: str, reason: str) -> None:
        self.group, self.name, self.target, self.reason = group, name, target, reason
        super().__init__(f"{group} {name!r} ({target}) can't be loaded: {reason}")

    @property
    def hint(self) -> str:
        """The package behind the name is at fault."""
        return "Install or mend the package that provides it; everything else goes on working."


class AddressError(GaugelogError):
    """A gauge address that can't be understood."""

    slug = "gauge-address"

    def __init__(self, got: str, wanted: str) -> None:
        self.got, self.wanted = got, wanted
        super().__init__(f"the gauge address {got!r} can't be read: {wanted}")

    @property
    def hint(self) -> str:
        """Show the form."""
        return "A gauge is DATASHEET@ADDRESS, for instance angle-line@serial:PORT?baud=9600."


class LinkReason(Enum):
    """Why a link failed, and what to do about it."""

    NOT_FOUND = "not found"
    NOT_PERMITTED = "not permitted"
    BUSY = "in use by another program"
    LOST = "lost"
    MOVED = "come back elsewhere"
    SETTINGS = "settings refused"
    NO_ADAPTER = "no Bluetooth adapter"
    RADIO_OFF = "Bluetooth is off"
    REFUSED = "refused by the gauge"
    NOT_OFFERED = "the device does not offer this"
    AMBIGUOUS = "more than one has this name"
    FAILED = "failed"


_LINK_HINTS = {
    LinkReason.NOT_FOUND: "Plug the gauge in or bring it near, and switch it on; `gaugelog gauges find` shows what is"
    " there.",
    LinkReason.NOT_PERMITTED: "Your user may not open this port. On many Linux systems joining the group that"
    " owns the port helps (often dialout), then log in again.",
    LinkReason.BUSY: "Close the other program that has the port open, then run the command again.",
    LinkReason.MOVED: "If the port that has come is this gauge's, name that one in the instrument file and start the"
    " command again: it goes on in the same recording. Best is a name that stays: `gaugelog gauges find` shows it.",
    LinkReason.LOST: "Everything read so far is kept. Check the cable and the gauge's battery, then run the"
    " same command again: it goes on in the same recording.",
    LinkReason.SETTINGS: "Check the options behind the question mark (baud, bits, parity, stop) against the"
    " gauge's own manual.",
    LinkReason.NO_ADAPTER: "This computer has no Bluetooth adapter, or its Bluetooth service is not running: plug one"
    " in or start it, then run the command again.",
    LinkReason.RADIO_OFF: "Switch Bluetooth on in the system's settings, then run the command again.",
    LinkReason.REFUSED: "The gauge wants to be paired first, or is held by another program or telephone: close that,"
    " pair the gauge in the system's Bluetooth settings, then run the command again.",
    LinkReason.NOT_OFFERED: "Is it the right device? `gaugelog gauges find` shows what each one offers.",
    LinkReason.AMBIGUOUS: "Write the address of the one that you mean instead of its name: `gaugelog gauges find` lists"
    " both.",
    LinkReason.FAILED: "Check cable, port and gauge, then run the command again.",
}

_BLUETOOTH_HINTS = {
    LinkReason.NOT_FOUND: "Switch the gauge on and bring it near; close other programs and telephones that may be"
    " connected to it; `gaugelog gauges find` shows what can be heard.",
    LinkReason.NOT_PERMITTED: "Allow this program, or the terminal it runs in, to use Bluetooth in the system's"
    " settings, then run the command again.",
    LinkReason.BUSY: "Wait a moment, or close the other program, then run the command again.",
    LinkReason.LOST: "Everything read so far is kept. Bring the gauge nearer and look at its battery, then run the same"
    " command again: it goes on in the same recording.",
    LinkReason.FAILED: "Switch the gauge off and on, then run the command again; if that does not help, do the same"
    " with the computer's Bluetooth.",
}

_NETWORK_HINTS = {
    LinkReason.NOT_FOUND: "Switch the gauge on; see that it and this computer are on one network, and that host and"
    " port are those of the gauge or of its serial server.",
    LinkReason.NOT_PERMITTED: "The system or a wall around the network forbids this connection: allow this program, or"
    " the terminal it runs in, to use the local network.",
    LinkReason.LOST: "Everything read so far is kept. Look at the network and the gauge, then run the same command"
    " again: it goes on in the same recording.",
    LinkReason.FAILED: "See that host and port are those of the gauge, then run the command again.",
}


class LinkFailedError(GaugelogError):
    """A link could not be opened, or went away."""

    slug = "link-failed"

    def __init__(self, address: str, reason: LinkReason, detail: str = "") -> None:
        self.address, self.reason, self.detail = address, reason, detail
        super().__init__(f"{address}: {reason.value}" + (f" ({detail})" if detail else ""))

    @property
    def hint(self) -> str:
        """What to do about this reason."""
        if self.reason is LinkReason.NOT_FOUND and self.address.startswith("serial:PORT"):
            return "PORT in the instrument file stands for your own port: `gaugelog gauges` lists those that are there."
        if self.address.startswith("ble"):
            return _BLUETOOTH_HINTS.get(self.reason, _LINK_HINTS[self.reason])
        if self.address.startswith("tcp:"):
            return _NETWORK_HINTS.get(self.reason, _LINK_HINTS[self.reason])
        return _LINK_HINTS[self.reason]


class GaugeSilentError(GaugelogError):
    """A gauge sent nothing usable in the time given."""

    slug = "gauge-silent"

    def __init__(self, gauge: str, waited_s: float, rejected: int) -> None:
        self.gauge, self.waited_s, self.rejected = gauge, waited_s, rejected
        heard = f"{rejected} damaged or unknown lines" if rejected else "nothing"
        super().__init__(f"{gauge}: no reading in {waited_s:g} s, {heard} received")

    @property
    def hint(self) -> str:
        """Silence and gibberish have different causes."""
        if self.rejected:
            return "The bytes don't fit the datasheet: try another baud rate or datasheet, and look at --raw."
        return "Is the gauge switched on, and does it send by itself, on a button, or only when asked?"


class PortTakenError(GaugelogError):
    """A network port that the bench can't listen on."""

    slug = "port-taken"

    def __init__(self, port: int, detail: str) -> None:
        self.port, self.detail = port, detail
        super().__init__(f"the bench can't listen on port {port}: {detail}")

    @property
    def hint(self) -> str:
        """Take another."""
        return "Nothing was begun. --port takes another number; 0 takes any that is free."


class BenchGoneError(GaugelogError):
    """A running bench that has ended, or is heard no more."""

    slug = "bench-gone"

    def __init__(self) -> None:
        super().__init__("the bench has ended, or can't be heard any more")

    @property
    def hint(self) -> str:
        """The work goes on without it."""
        return "What it kept is in the recording. The same command, given again, goes on from there by itself."


class BenchRefusedError(GaugelogError):
    """Something that a running bench was asked to do and did not."""

    slug = "bench-refused"

    def __init__(self, words: str) -> None:
        self.words = words
        super().__init__(f"the bench that holds the recording says: {words.rstrip('. ')}")

    @property
    def hint(self) -> str:
        """What it was doing goes on."""
        return "The bench goes on as it was. Look at its page, or end it to work from here."
