"""Running the shop server: a socket, TLS 1.3, and the application until someone stops it."""

from __future__ import annotations

import socket
import ssl
import time
from collections.abc import Callable
from contextlib import closing, nullcontext
from typing import TYPE_CHECKING

from garboard.faults import Fault, InputError, in_words
from garboard_shop.certificate import Certificate

if TYPE_CHECKING:
    from starlette.applications import Starlette

    from garboard_shop import door

BACKLOG = 256
ANYWHERE = ("", "0.0.0.0", "::")


def listen(host: str, port: int) -> socket.socket:
    """A socket that tablets can connect to. Raises InputError when the port is taken."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # Named as TCP, or the event loop does not turn off the 40 ms wait for more to send.
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(BACKLOG)
    except OSError as failure:
        listening.close()
        fault = Fault("address", "a free one on this machine; choose it with --host and --port", in_words(failure))
        raise InputError(f"shop server at {host}:{port}", [fault]) from None
    return listening


def reachable_host(host: str) -> str:
    """The address tablets reach this machine by, when it listens everywhere. Nothing is sent to find it."""
    if host not in ANYWHERE:
        return host
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address kept for documents (RFC 5737); it only picks a route
            found: str = probe.getsockname()[0]
        except OSError:
            return "127.0.0.1"
    return found


def server_of(
    app: Starlette,
    certificate: Certificate,
    clock: Callable[[], float] = time.monotonic,
    at_stop: Callable[[], object] = bool,
) -> door.DoorServer:
    """A server for an application, not yet running.

    clock   : by which slow connections are closed; never set back [s]
    at_stop : called when the server is to stop, before it waits for the answers under way
    """
    import uvicorn

    from garboard_shop import door

    config = uvicorn.Config(
        app,
        http=door.DoorProtocol,
        ws="none",
        lifespan="off",
        log_level="error",  # what a stranger sends fills no log
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_keep_alive=int(door.SECONDS_IDLE),
        timeout_graceful_shutdown=5,
        h11_max_incomplete_event_size=door.LARGEST_HEAD * 2,
        ssl_certfile=certificate.certificate,
        ssl_keyfile=certificate.key,
    )
    config.load()
    if config.ssl is not None:
        config.ssl.minimum_version = ssl.TLSVersion.TLSv1_3
        config.ssl.num_tickets = 0  # nothing is remembered of a connection: a tablet makes one, and takes none up again
    return door.DoorServer(config, clock, at_stop)


def run(
    app: Starlette,
    listening: socket.socket,
    certificate: Certificate,
    announce: bool = False,
    at_stop: Callable[[], object] = bool,
) -> None:
    """Serve until interrupted."""
    from garboard_shop.announce import announced

    port = listening.getsockname()[1]
    host = reachable_host(listening.getsockname()[0])
    with announced(host, port, certificate.fingerprint) if announce else nullcontext():
        server_of(app, certificate, at_stop=at_stop).run(sockets=[listening])
