"""Running the shop server: a socket, TLS 1.3, and the application until someone stops it."""

from __future__ import annotations

import asyncio
import socket
import ssl
from contextlib import closing, nullcontext
from typing import TYPE_CHECKING

from garboard.faults import Fault, InputError, in_words
from garboard_shop.certificate import Certificate

if TYPE_CHECKING:
    import uvicorn
    from starlette.applications import Starlette

BACKLOG = 256
SECONDS_IDLE = 30
"""How long an idle connection stays open [s]."""
SECONDS_TO_ASK = 30.0
"""How long a connection may go without a whole request: silence must not take all the places [s]."""
MOST_AT_ONCE = 500
"""Connections served at once; more are told to come back."""
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


def server_of(app: Starlette, certificate: Certificate) -> uvicorn.Server:
    """A server for an application, not yet running."""
    import uvicorn

    config = uvicorn.Config(
        app,
        http=_hurried_protocol(),
        ws="none",
        lifespan="off",
        log_level="warning",
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_keep_alive=SECONDS_IDLE,
        timeout_graceful_shutdown=5,
        limit_concurrency=MOST_AT_ONCE,
        ssl_certfile=certificate.certificate,
        ssl_keyfile=certificate.key,
    )
    config.load()
    if config.ssl is not None:
        config.ssl.minimum_version = ssl.TLSVersion.TLSv1_3
        config.ssl.num_tickets = 0  # nothing is remembered of a connection: a tablet makes one, and takes none up again
    return uvicorn.Server(config)


def run(app: Starlette, listening: socket.socket, certificate: Certificate, announce: bool = False) -> None:
    """Serve until interrupted."""
    from garboard_shop.announce import announced

    port = listening.getsockname()[1]
    host = reachable_host(listening.getsockname()[0])
    with announced(host, port, certificate.fingerprint) if announce else nullcontext():
        server_of(app, certificate).run(sockets=[listening])


def _hurried_protocol() -> type[asyncio.Protocol]:
    """HTTP/1.1 that closes connections which ask nothing, or never finish asking."""
    from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

    class HurriedProtocol(H11Protocol):
        _last: RequestResponseCycle | None = None

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as in uvicorn
            super().connection_made(transport)
            self.loop.call_later(SECONDS_TO_ASK, self._look)

        def _look(self) -> None:
            asked: RequestResponseCycle | None = self.cycle
            if self.transport.is_closing():
                return
            if asked is self._last and (asked is None or asked.response_complete):
                self.transport.close()
                return
            self._last = asked
            self.loop.call_later(SECONDS_TO_ASK, self._look)

    return HurriedProtocol
