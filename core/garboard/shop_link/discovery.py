"""Finding a shop on the wifi, where `zeroconf` is installed: to pair with it, and again when its address has changed.

Many guest networks block this; an address typed with the pairing code is the base case. An address found is trusted no
more than any other: the server there must show the certificate the code names, or the tablet was paired with.

[1] RFC 6762 and RFC 6763: multicast DNS and service discovery.
"""

from __future__ import annotations

import time
from importlib.util import find_spec

import attrs

from garboard.faults import Fault, InputError
from garboard.shop_link.pairing import EXAMPLE, PairedShop, characters_alone

SERVICE = "_garboard._tcp.local."
FINGERPRINT, PROTOCOL = "fp", "protocol"
_SHOWN = 20
"""Characters of the fingerprint announced."""


def properties_of(fingerprint: str) -> dict[str, str]:
    """What a server announces beside its address."""
    return {FINGERPRINT: fingerprint[:_SHOWN], PROTOCOL: "1"}


def can_look() -> bool:
    """Whether a shop can be looked for here: zeroconf is installed."""
    return find_spec("zeroconf") is not None


def with_address(code: str) -> str:
    """A pairing code with its shop's address, heard on the wifi where only the 24 characters were typed.

    errors : InputError when the shop is not heard, or cannot be looked for here
    """
    characters = characters_alone(code)
    if not characters:
        return code
    found = find(characters.fingerprint)
    if found is None:
        expected = f"the shop's address before the 24 characters, such as {EXAMPLE}: no shop of this code is heard here"
        raise InputError("pairing code", [Fault("code", expected, "the characters alone")])
    return attrs.evolve(characters, host=found[0], port=found[1]).typed


def look_for(shop: PairedShop, patience: float = 3.0, only_on: str = "") -> PairedShop | None:
    """The paired shop at the address it announces; None when it is not heard. As `find`."""
    found = find(shop.fingerprint, patience, only_on)
    return attrs.evolve(shop, host=found[0], port=found[1]) if found else None


def find(fingerprint: str, patience: float = 3.0, only_on: str = "") -> tuple[str, int] | None:
    """Where a shop announces that it is.

    fingerprint : of its certificate, in hexadecimal; the first 20 characters count
    patience    : how long to listen [s]
    only_on     : the one address of this machine to listen on; all of them when empty
    returns     : address and port; None when it is not heard, or zeroconf is not installed
    """
    try:
        from zeroconf import ServiceBrowser, ServiceStateChange, Zeroconf
    except ImportError:
        return None
    heard: set[str] = set()

    def note(zeroconf: Zeroconf, service_type: str, name: str, state_change: ServiceStateChange) -> None:
        if state_change is not ServiceStateChange.Removed:
            heard.add(name)

    try:
        network = Zeroconf(interfaces=[only_on]) if only_on else Zeroconf()
    except OSError:
        return None
    try:
        ServiceBrowser(network, SERVICE, handlers=[note])
        give_up = time.monotonic() + patience
        while time.monotonic() < give_up:
            for name in sorted(heard):
                info = network.get_service_info(SERVICE, name, timeout=500)
                shown = info.decoded_properties.get(FINGERPRINT) if info else None
                if info and info.port and shown == fingerprint[:_SHOWN] and info.parsed_addresses():
                    return info.parsed_addresses()[0], info.port
            time.sleep(0.1)
    finally:
        network.close()
    return None
