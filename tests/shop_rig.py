"""A shop server on loopback for the tests: real TLS, real sockets, in a thread; and a wire that can be cut."""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import http.client
import itertools
import logging
import socket
import ssl
import struct
import threading
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

import attrs

from garboard.disk.clock import wall_milliseconds
from garboard.disk.hullfile import HullFolder
from garboard.shop_link import sync
from garboard.shop_link.pairing import PairedShop, PairingCode
from garboard.shop_link.wire import DEVICE, content_digest
from garboard_shop import access, serve
from garboard_shop.app import Limits, make_app
from garboard_shop.certificate import own_certificate
from garboard_shop.door import DoorServer, Places
from garboard_shop.embedded import SHOP_FOLDER, EmbeddedStore
from garboard_shop.store import MANAGER, TECHNICIAN, Store

HOST = "127.0.0.1"


class StoppedAtOnce:
    """Lets a server stop when it is told. By itself it looks ten times a second, and then waits a tenth of a second."""

    def __init__(self, server: DoorServer) -> None:
        self._server = server
        self._told: asyncio.Event | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        server.main_loop, server.shutdown = self._run, self._shut  # type: ignore[method-assign]

    def stop(self) -> None:
        self._server.should_exit = self._server.force_exit = True
        if self._loop is not None and self._told is not None:
            self._loop.call_soon_threadsafe(self._told.set)

    async def _run(self) -> None:
        self._loop, self._told = asyncio.get_running_loop(), asyncio.Event()
        for tick in itertools.count():
            if await self._server.on_tick(tick):
                return
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._told.wait(), 0.1)

    async def _shut(self, sockets: list[socket.socket] | None = None) -> None:
        for one in (*self._server.servers, *(sockets or ())):
            one.close()
        for connection in [*self._server.server_state.connections]:
            connection.shutdown()
        await asyncio.sleep(0.005)  # in which they say that they close


def in_test_words(name: str) -> str:
    """Stands for the titles of a host's steps."""
    return f"the value {name}"


class RunningShop:
    """A shop server over a folder, or another store, listening on loopback until the block ends."""

    def __init__(self, folder: Path, limits: Limits | None = None, store: Store | None = None) -> None:
        self.folder = folder
        self.limits = limits
        self.clock_ahead = 0
        self.door_ahead = 0.0
        self.store = store or EmbeddedStore(folder)
        self.app = make_app(self.store, name=lambda: "Test shop", limits=limits, now=self.now, told=in_test_words)
        self.certificate = own_certificate(folder / SHOP_FOLDER)
        self._listening = serve.listen(HOST, 0)
        self.port: int = self._listening.getsockname()[1]
        self._server = serve.server_of(self.app, self.certificate, lambda: time.monotonic() + self.door_ahead)
        self._stopped = StoppedAtOnce(self._server)
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [self._listening]}, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        while not self._server.started:
            time.sleep(0.005)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stopped.stop()
        self._thread.join(60)
        self.app.state.shop.store.close()
        assert not self._thread.is_alive()

    def now(self) -> int:
        return wall_milliseconds() + self.clock_ahead

    @property
    def places(self) -> Places:
        """The places at the server's door."""
        return self._server.places

    def later(self, seconds: float) -> None:
        """Let so much time pass at the door [s]."""
        self.door_ahead += seconds

    @property
    def hulls(self) -> HullFolder:
        """What the shop holds, when it holds it in a folder."""
        assert isinstance(self.store, EmbeddedStore), "this shop's entries are not in a folder"
        return self.store.hulls

    def code(self, role: str = TECHNICIAN, port: int = 0) -> PairingCode:
        """A new pairing code."""
        register = self.app.state.shop.store.register
        fingerprint = self.certificate.fingerprint
        return access.open_code(register, role, HOST, port or self.port, fingerprint, self.now(), "the office")

    def paired(self, name: str = "tablet-07", role: str = TECHNICIAN) -> PairedShop:
        """A tablet's pairing with this shop."""
        return sync.pair(self.code(role).typed, name)

    def use(self, store: EmbeddedStore) -> None:
        """Serve another folder, with the same tablets, and close the one served so far."""
        before = self.app.state.shop.store
        store.register = before.register
        self.app.state.shop = attrs.evolve(self.app.state.shop, store=store)
        before.close()
        self.store = store


@contextlib.contextmanager
def shop_and_tablets(where: Path, count: int = 1) -> Iterator[tuple[RunningShop, list[tuple[HullFolder, PairedShop]]]]:
    """A shop and so many tablets that may bring every kind of entry, each an empty folder."""
    with contextlib.ExitStack() as stack:
        shop = stack.enter_context(RunningShop(where / "shop"))
        tablets = [stack.enter_context(HullFolder(where / f"tablet{number}")) for number in range(count)]
        yield shop, [(folder, shop.paired(f"tablet {number}", MANAGER)) for number, folder in enumerate(tablets)]


class Wire:
    """A relay on loopback that counts what passes, and cuts the connection after so many bytes of both ways.

    target : port behind it
    cut    : bytes let through before everything is cut; None for all
    once   : let everything through after the first cut
    """

    def __init__(self, target: int, cut: int | None = None, *, once: bool = False) -> None:
        self._target = target
        self._once = once
        self._left = cut
        self._guard = threading.Lock()
        self._ends: list[socket.socket] = []
        self.up = self.down = 0
        self._listening = socket.create_server((HOST, 0), backlog=64)
        self.port: int = self._listening.getsockname()[1]
        self._open = True
        threading.Thread(target=self._accept, daemon=True).start()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._open = False
        with contextlib.suppress(OSError):
            self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        self._reset()

    @property
    def passed(self) -> int:
        """Bytes let through, both ways."""
        return self.up + self.down

    def _accept(self) -> None:
        while self._open:
            try:
                near, _ = self._listening.accept()
                far = socket.create_connection((HOST, self._target))
            except OSError:
                return
            for end in (near, far):
                end.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._ends += [near, far]
            threading.Thread(target=self._pass_on, args=(near, far, True), daemon=True).start()
            threading.Thread(target=self._pass_on, args=(far, near, False), daemon=True).start()

    def _pass_on(self, source: socket.socket, sink: socket.socket, is_up: bool) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                with self._guard:
                    allowed = data if self._left is None else data[: self._left]
                    if self._left is not None:
                        self._left -= len(allowed)
                    if is_up:
                        self.up += len(allowed)
                    else:
                        self.down += len(allowed)
                    if allowed:
                        sink.sendall(allowed)
                    if len(allowed) < len(data) or self._left == 0:
                        self._left = None if self._once else self._left
                        self._reset()
                        return
            sink.shutdown(socket.SHUT_WR)

    def _reset(self) -> None:
        """Cut both ends the hard way: a reset, not a polite end."""
        ends, self._ends = self._ends, []
        for end in ends:
            with contextlib.suppress(OSError):
                end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            with contextlib.suppress(OSError):
                end.close()


@contextlib.contextmanager
def server_log() -> Iterator[list[logging.LogRecord]]:
    """What the server logs as a failure while the block runs."""
    found: list[logging.LogRecord] = []

    class Keep(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            found.append(record)

    handler = Keep(logging.ERROR)
    loggers = [logging.getLogger(name) for name in ("garboard.shop", "uvicorn.error", "asyncio")]
    for logger in loggers:
        logger.addHandler(handler)
    try:
        yield found
    finally:
        for logger in loggers:
            logger.removeHandler(handler)


DROPPED = 0
"""Instead of a status: the server closed the connection before it had read everything."""


@attrs.frozen
class Heard:
    """What a server answered, as it came."""

    status: int
    fields: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        """The body as text, decompressed."""
        raw = gzip.decompress(self.body) if self.fields.get("content-encoding") == "gzip" else self.body
        return raw.decode("utf-8", "replace")


def ask_raw(
    port: int,
    method: str,
    path: str,
    body: bytes | Iterable[bytes] = b"",
    fields: dict[str, str] | None = None,
    token: str = "",
    *,
    prove: bool = True,
    source: str = HOST,
) -> Heard:
    """One request by a client that keeps to no rule.

    body   : a list of pieces is sent in chunks without a length
    prove  : add the field Content-Digest
    source : the address it comes from, one of loopback's
    """
    about = {"Authorization": f"Bearer {token}", DEVICE: "a client"} if token else {}
    if prove and isinstance(body, bytes) and body:
        about["Content-Digest"] = content_digest(body)
    line = http.client.HTTPSConnection(HOST, port, timeout=120, context=believing(), source_address=(source, 0))
    with contextlib.closing(line) as connection:
        try:
            connection.request(method, path, body or None, {**about, **(fields or {})})
            response = connection.getresponse()
        except OSError:
            return Heard(DROPPED, {}, b"")
        heard = {name.lower(): value for name, value in response.getheaders()}
        return Heard(response.status, heard, response.read())


def believing() -> ssl.SSLContext:
    """TLS that believes any certificate."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    return context


def tls_to(port: int) -> ssl.SSLSocket:
    """A bare TLS connection to a server on loopback."""
    return believing().wrap_socket(socket.create_connection((HOST, port), timeout=120))
