"""A tablet's connection to its shop server: pinned to the shop's certificate, one question and answer at a time.

Standard library only, so that a tablet needs no package for it. The certificate's dates are not checked: a tablet
whose clock is a day off must still reach its shop, and the pinned fingerprint does not care.

[1] RFC 8446: TLS 1.3.
"""

from __future__ import annotations

import hashlib
import http.client
import ssl
from collections.abc import Mapping
from types import TracebackType
from typing import NamedTuple, Self

from garboard.disk.clock import wall_milliseconds
from garboard.disk.json_text import read_json
from garboard.faults import GarboardError, in_words
from garboard.shop_link import wire
from garboard.shop_link.pairing import address_text
from garboard.shop_link.wire import Garbled

PATIENCE = 20.0
"""How long to wait for the shop to answer before it counts as away [s]."""


class ShopAway(GarboardError):
    """The shop server did not answer, or the connection was cut: try again later."""


class NotTheShop(GarboardError):
    """Another server answered at the shop's address. It was told nothing."""


class NotPaired(GarboardError):
    """The shop does not know this tablet, or has removed it."""


class ShopRefused(GarboardError):
    """The shop server understood and said no.

    status : the HTTP status
    """

    def __init__(self, status: int, reason: str) -> None:
        self.status = status
        super().__init__(reason)


class Reply(NamedTuple):
    """An answer: status, fields in small letters, body proved and decompressed."""

    status: int
    fields: Mapping[str, str]
    body: bytes


class ShopLine:
    """A connection that stays open over several questions. Not for use by two threads at once.

    host, port  : where the server is
    fingerprint : what its certificate's SHA-256 must begin with, in hexadecimal
    token       : what the shop knows the tablet by; "" before pairing
    device      : what stands for the tablet in the entries it writes
    """

    def __init__(
        self,
        host: str,
        port: int,
        fingerprint: str,
        token: str = "",
        device: str = "",
        patience: float = PATIENCE,
    ) -> None:
        self.address = address_text(host, port)
        self.sent = self.received = 0
        self.clock_offset = 0
        self.certificate = ""
        self.connected = 0
        """How often: a server that was started again meanwhile may serve another folder."""
        self._fingerprint = fingerprint
        self._about_us = {"Authorization": f"Bearer {token}", wire.DEVICE: device} if token else {}
        self._fastest = patience * 1000
        self._connection = http.client.HTTPSConnection(host, port, timeout=patience, context=_context())

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._connection.close()

    def ask(self, method: str, path: str, body: bytes = b"", fields: Mapping[str, str] | None = None) -> Reply:
        """Ask one question.

        body    : packed and proved on the way
        returns : the answer, whose status is below 400, 404, 409 or 422
        errors  : ShopAway, NotTheShop, NotPaired, ShopRefused
        """
        ready, about = wire.packed(body) if body else (b"", {})
        sending = {"Accept-Encoding": "gzip", wire.TIME: str(wall_milliseconds()), **self._about_us, **about}
        sending.update(fields or {})
        try:
            self._connect()
            started = wall_milliseconds()
            self._connection.request(method, path, ready or None, sending)
            response = self._connection.getresponse()
            raw = response.read(wire.LARGEST_BODY + 1)
            reply = self._proved(method, response, raw)
        except (OSError, http.client.HTTPException, Garbled, ValueError) as failure:
            self._connection.close()
            if isinstance(failure, Garbled):
                raise ShopAway(f"the shop's answer came garbled: {in_words(failure)}") from failure
            raise ShopAway(f"no answer from {self.address}: {in_words(failure)}") from failure
        self.sent += len(ready)
        self.received += len(raw)
        self._compare_clocks(reply, started, wall_milliseconds())
        return _accepted(reply)

    def _connect(self) -> None:
        if self._connection.sock is not None:
            return
        self._connection.connect()
        assured = self._connection.sock
        certificate = assured.getpeercert(binary_form=True) if isinstance(assured, ssl.SSLSocket) else None
        found = hashlib.sha256(certificate or b"").hexdigest()
        if not found.startswith(self._fingerprint) or not self._fingerprint:
            self._connection.close()
            raise NotTheShop(
                f"the server at {self.address} is not the shop this tablet was paired with. Nothing was sent to it. "
                "Look at the address; if the shop server was set up anew, pair again"
            )
        self.certificate = found
        self.connected += 1

    def _proved(self, method: str, response: http.client.HTTPResponse, raw: bytes) -> Reply:
        fields = {name.lower(): value for name, value in response.getheaders()}
        if len(raw) > wire.LARGEST_BODY:
            raise Garbled(f"more than {wire.LARGEST_BODY} bytes")
        if response.length not in (None, 0) and method != "HEAD":
            raise Garbled("the answer was cut off")
        if not raw or method == "HEAD":
            return Reply(response.status, fields, b"")
        body = wire.unpacked(raw, fields.get("content-encoding", ""), fields.get("content-digest", ""))
        return Reply(response.status, fields, body)

    def _compare_clocks(self, reply: Reply, started: int, ended: int) -> None:
        """The quickest answer tells the offset best: it lies between asking and hearing."""
        there = reply.fields.get(wire.TIME.lower(), "")
        is_number = len(there) < 16 and there.isascii() and there.isdigit()
        if is_number and ended - started <= self._fastest:
            self._fastest = ended - started
            self.clock_offset = int(there) - (started + ended) // 2


def _context() -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.minimum_version = ssl.TLSVersion.TLSv1_3
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE  # the fingerprint is checked instead, before a byte is sent
    return context


def _accepted(reply: Reply) -> Reply:
    if reply.status < 400 or reply.status in (404, 409, 422):
        return reply
    reason = _reason(reply)
    if reply.status == 401:
        raise NotPaired(reason)
    if reply.status >= 500 and reply.status != 507:
        raise ShopAway(reason)
    raise ShopRefused(reply.status, reason)


def _reason(reply: Reply) -> str:
    try:
        return str(read_json(reply.body)["refused"])
    except (ValueError, KeyError, TypeError):
        return f"the shop server answered {reply.status}"
