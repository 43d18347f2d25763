"""The ways bytes come from the boat's network, each behind the same few calls: see `Link`.

Garboard only listens. By UDP, TCP and a serial port nothing is ever sent. A WebSocket cannot be opened or kept without
a handshake, the answers to a server's pings, and its closing: that is all `SignalKLink` sends, in one place. It asks
for nothing beside: what the address names is what a server sends to anybody.

[1] IEC 61162-450: sentences by UDP to groups, behind the six bytes "UdPbC\\0"; not read itself, but in several open
programs that read it.
[2] Signal K specification 1.7, streaming API: /signalk/v1/stream, the boat's own data by subscribe=self.
"""

from __future__ import annotations

import contextlib
import errno
import ipaddress
import selectors
import socket
import struct
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Protocol

from garboard.faults import GarboardError
from garboard.recordings.where import Way, Where

if TYPE_CHECKING:
    from websockets.client import ClientProtocol

CONNECT_WITHIN = 5.0
READ_AT_ONCE = 65536
GROUP_HEADER = b"UdPbC\0"
"""Before the sentences in a datagram sent to a group [1]."""
FILE_HEADERS = (b"RaUdP\0", b"RrUdP\0", b"RpUdP\0")
"""Before a piece of a file [1]."""
STREAM = "/signalk/v1/stream?subscribe=self"
LONGEST_MESSAGE = 1 << 20
"""Of a Signal K server [bytes]."""

Datagram = tuple[bytes, str]
"""What came at once, and the address it came from; "" where there is only one sender."""


class LinkLost(GarboardError, OSError):
    """Nothing more comes by this link. Says why, and is asked again later."""


class Link(Protocol):
    """A place where bytes come in, open from its making until `close`."""

    def wait(self, wake: socket.socket, seconds: float) -> list[Datagram] | None:
        """What came; None where nothing did within so long, or where the socket woke it.

        errors : LinkLost, OSError
        """

    def close(self) -> None: ...


class SocketLink:
    """What comes by a socket. Nothing is sent."""

    def __init__(self, heard: socket.socket, where: Where) -> None:
        self._heard, self._where = heard, where
        heard.setblocking(False)
        self._selector = selectors.DefaultSelector()
        self._selector.register(heard, selectors.EVENT_READ)
        self._wake: socket.socket | None = None

    def wait(self, wake: socket.socket, seconds: float) -> list[Datagram] | None:
        if self._wake is not wake:
            self._selector.register(wake, selectors.EVENT_READ)
            self._wake = wake
        ready = {key.fileobj for key, _ in self._selector.select(seconds)}
        if wake in ready or self._heard not in ready:
            return None
        try:
            data, address = self._heard.recvfrom(READ_AT_ONCE)
        except BlockingIOError:
            return []
        except OSError as failure:
            raise LinkLost(f"{self._where.title} is lost: {failure.strerror or failure}. Connecting again.") from None
        return self._taken(data, address[0] if address else "")

    def _taken(self, data: bytes, address: str) -> list[Datagram]:
        return [(data, address)]

    def close(self) -> None:
        self._selector.close()
        self._heard.close()


class GroupLink(SocketLink):
    """What is sent to a group, without the header before it. Pictures and files go to groups too: they are let pass."""

    def _taken(self, data: bytes, address: str) -> list[Datagram]:
        return [] if data[:6] in FILE_HEADERS else [(data.removeprefix(GROUP_HEADER), address)]


class StreamLink(SocketLink):
    """What comes by a connection, from one sender."""

    def _taken(self, data: bytes, address: str) -> list[Datagram]:
        if not data:
            raise LinkLost(f"{self._where.title} closed the connection. Connecting again.")
        return [(data, "")]


class SignalKLink(StreamLink):
    """Messages of a Signal K server, each on a line of its own."""

    def __init__(self, heard: socket.socket, where: Where) -> None:
        from websockets.client import ClientProtocol
        from websockets.uri import parse_uri

        super().__init__(heard, where)
        self._protocol: ClientProtocol = ClientProtocol(parse_uri(f"{where}{STREAM}"), max_size=LONGEST_MESSAGE)
        self._parts = b""
        self._protocol.send_request(self._protocol.connect())
        try:
            self._say()
        except OSError:
            super().close()
            raise

    def _say(self) -> None:
        """Send what the protocol itself asks for: the handshake, answers to pings, the closing. Nothing else is."""
        for data in self._protocol.data_to_send():
            if data:
                self._heard.sendall(data)

    def _taken(self, data: bytes, address: str) -> list[Datagram]:
        super()._taken(data, address)
        self._protocol.receive_data(data)
        with contextlib.suppress(OSError):  # a server that is gone takes no answer; the next read says so
            self._say()
        refusal = self._protocol.handshake_exc
        if refusal is not None:
            raise LinkLost(
                f"{self._where.title} is no Signal K server ({refusal}). Compare the address and the port; "
                "for sentences by TCP type the address without ws://."
            )
        return [(message + b"\n", "") for event in self._protocol.events_received() for message in self._whole(event)]

    def _whole(self, event: Any) -> list[bytes]:
        """The message that an event of the protocol ends, without line ends inside."""
        from websockets.frames import Frame, Opcode

        if not isinstance(event, Frame) or event.opcode not in (Opcode.TEXT, Opcode.CONT):
            return []
        self._parts = (b"" if event.opcode is Opcode.TEXT else self._parts) + bytes(event.data)
        if not event.fin or len(self._parts) > LONGEST_MESSAGE:
            return []
        return [self._parts.replace(b"\r", b" ").replace(b"\n", b" ")]

    def close(self) -> None:
        with contextlib.suppress(Exception):  # a courtesy to the server
            self._protocol.send_close(1000)
            self._say()
        super().close()


class SerialLink:
    """What comes by a cable. Its lines for control stay as they are; nothing is sent.

    It is asked at intervals: not every system can wait for a serial port and a socket at once.
    """

    LOOK = 0.1

    def __init__(self, where: Where) -> None:
        try:
            import serial
        except ImportError:
            raise LinkLost(
                "This machine cannot read serial ports yet. Install pyserial (pip install pyserial) and start again."
            ) from None
        self._where = where
        try:
            self._port = serial.Serial(where.host, where.port, timeout=self.LOOK, write_timeout=0)
        except (serial.SerialException, ValueError) as failure:
            raise LinkLost(
                f"{where.title} cannot be opened: {failure}. Plug the gateway in, and close what else reads it."
            ) from None

    def wait(self, wake: socket.socket, seconds: float) -> list[Datagram] | None:
        wake.setblocking(False)
        for _ in range(max(1, round(seconds / self.LOOK))):
            with contextlib.suppress(BlockingIOError):
                wake.recv(1)
                return None
            try:
                data = self._port.read(max(1, min(self._port.in_waiting, READ_AT_ONCE)))
            except OSError as failure:  # of pyserial too: its faults are of this kind
                raise LinkLost(f"{self._where.title} is lost: {failure}. Plug it in again.") from None
            if data:
                return [(data, "")]
        return None

    def close(self) -> None:
        self._port.close()


def _connection(where: Where) -> socket.socket:
    return socket.create_connection((where.host, where.port), timeout=CONNECT_WITHIN)


def _datagrams(where: Where) -> socket.socket:
    heard = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        heard.bind(("", where.port))
    except OSError:
        heard.close()
        raise
    return heard


def _group(where: Where) -> socket.socket:
    """A socket of a group. Joining it is the only word to the network, and comes from the system, not from here."""
    group = ipaddress.ip_address(where.host)
    family = socket.AF_INET if isinstance(group, ipaddress.IPv4Address) else socket.AF_INET6
    heard = socket.socket(family, socket.SOCK_DGRAM)
    try:
        heard.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # several programs may hear one group
        heard.bind(("", where.port))
        if family == socket.AF_INET:
            joined = struct.pack("4s4s", group.packed, socket.inet_aton("0.0.0.0"))
            heard.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, joined)
        else:
            joined = group.packed + struct.pack("@I", 0)
            heard.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_JOIN_GROUP, joined)
    except OSError as failure:
        heard.close()
        if failure.errno == errno.ENODEV:
            raise LinkLost(
                f"{where.title} cannot be joined: this machine is on no network. Join the boat's wifi."
            ) from None
        raise
    return heard


_OPENERS: Mapping[Way, Callable[[Where], Link]] = {
    Way.BROADCAST: lambda where: SocketLink(_datagrams(where), where),
    Way.GROUP: lambda where: GroupLink(_group(where), where),
    Way.CONNECT: lambda where: StreamLink(_connection(where), where),
    Way.SIGNAL_K: lambda where: SignalKLink(_connection(where), where),
    Way.SERIAL: SerialLink,
}


def open_link(where: Where) -> Link:
    """Begin to listen. Raises OSError, LinkLost among them; UnicodeError for a name no machine can have."""
    return _OPENERS[where.way](where)
