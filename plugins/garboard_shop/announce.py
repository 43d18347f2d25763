"""Telling tablets on the same wifi where the shop server is, where `zeroconf` is installed.

A convenience: a tablet trusts no address it finds this way, only the certificate's fingerprint.
"""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager

from garboard.shop_link.discovery import SERVICE, properties_of


@contextmanager
def announced(host: str, port: int, fingerprint: str) -> Iterator[bool]:
    """Announce the server while the block runs.

    returns : whether it is announced; without zeroconf, or without a network, it is not
    """
    try:
        from zeroconf import ServiceInfo, Zeroconf
    except ImportError:
        yield False
        return
    service = ServiceInfo(
        SERVICE,
        f"shop-{fingerprint[:12]}.{SERVICE}",
        addresses=[socket.inet_pton(socket.AF_INET6 if ":" in host else socket.AF_INET, host)],
        port=port,
        properties=properties_of(fingerprint),
    )
    try:
        network = Zeroconf(interfaces=[host])
    except OSError:
        yield False
        return
    try:
        network.register_service(service)
        yield True
    finally:
        network.unregister_all_services()
        network.close()
