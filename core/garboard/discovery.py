"""Finding the paired shop on the wifi when its address has changed, where `zeroconf` is installed.

Many guest networks block this; the address in the pairing code is the base case. An address found is trusted no more
than any other: the server there must show the certificate the tablet was paired with.

[1] RFC 6762 and RFC 6763: multicast DNS and service discovery.
"""

from __future__ import annotations

import time

import attrs

from garboard.pairing import PairedShop

SERVICE = "_garboard._tcp.local."
FINGERPRINT, PROTOCOL = "fp", "protocol"
_SHOWN = 20
"""Characters of the fingerprint announced."""


def properties_of(fingerprint: str) -> dict[str, str]:
    """What a server announces beside its address."""
    return {FINGERPRINT: fingerprint[:_SHOWN], PROTOCOL: "1"}


def look_for(shop: PairedShop, patience: float = 3.0, only_on: str = "") -> PairedShop | None:
    """The paired shop at the address it announces.

    patience : how long to listen [s]
    only_on  : the one address of this machine to listen on; all of them when empty
    returns  : None when it is not heard, or zeroconf is not installed
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
                if info and info.port and shown == shop.fingerprint[:_SHOWN] and info.parsed_addresses():
                    return attrs.evolve(shop, host=info.parsed_addresses()[0], port=info.port)
            time.sleep(0.1)
    finally:
        network.close()
    return None
