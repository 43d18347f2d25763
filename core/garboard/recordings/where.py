"""Where the boat's network is listened to, as a person types it."""

from __future__ import annotations

import enum
import ipaddress
import re

import attrs

from garboard.faults import Fault, InputError
from garboard.record_types import frozen

PORT = 10110
"""Registered for NMEA 0183 over UDP and TCP. IANA Service Name and Transport Protocol Port Number Registry: nmea-0183
"NMEA-0183 Navigational Data" (not read there itself, but in several programs that quote it)."""
SIGNAL_K_PORT = 3000
"""Common practice for a Signal K server, no source."""
BAUD = 115_200
"""Common practice for a gateway on a USB port, no source; NMEA 0183 itself has 4800, its fast form 38400."""


class Way(enum.Enum):
    """How bytes come."""

    BROADCAST = "by UDP"
    GROUP = "by UDP to a group"
    CONNECT = "by TCP"
    SIGNAL_K = "by WebSocket"
    SERIAL = "by cable"


def _way_of(where: Where) -> Way:
    if not where.host:
        return Way.BROADCAST
    try:
        return Way.GROUP if ipaddress.ip_address(where.host.partition("%")[0]).is_multicast else Way.CONNECT
    except ValueError:
        return Way.CONNECT


@frozen
class Where:
    """Where to listen.

    port : 1 to 65535; of a serial port its bits a second
    host : to connect to, or the multicast group to join; empty to listen for what is sent to the port by UDP; of a
           serial port its name
    """

    port: int = PORT
    host: str = ""
    way: Way = attrs.field(default=attrs.Factory(_way_of, takes_self=True))

    @property
    def connects(self) -> bool:
        """Whether there is one sender, which may be lost and found again."""
        return self.way in (Way.CONNECT, Way.SIGNAL_K, Way.SERIAL)

    @property
    def title(self) -> str:
        return {
            Way.BROADCAST: f"UDP port {self.port}",
            Way.GROUP: f"group {self._address} by UDP",
            Way.CONNECT: f"{self._address} by TCP",
            Way.SIGNAL_K: f"Signal K at {self._address}",
            Way.SERIAL: f"serial port {self.host}, {self.port} bit/s",
        }[self.way]

    @property
    def _address(self) -> str:
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"

    def __str__(self) -> str:
        return {
            Way.BROADCAST: str(self.port),
            Way.SIGNAL_K: f"ws://{self._address}",
            Way.SERIAL: f"{self.host}@{self.port}",
        }.get(self.way, self._address)


_ADDRESS = re.compile(r"(\[[0-9A-Fa-f:.]+(?:%\w+)?\]|[\w.-]+)(?::(\d{1,5}))?", re.ASCII)
_SIGNAL_K = re.compile(rf"ws://{_ADDRESS.pattern}(?:/signalk/\S*|/)?", re.ASCII)
_SERIAL = re.compile(r"(/dev/[\w./-]+|COM\d{1,3})(?:@(\d{1,7}))?", re.ASCII | re.IGNORECASE)
FASTEST = 4_000_000
EXAMPLES = (
    f"a port to listen on such as {PORT}, or an address to connect to such as 192.168.4.1:{PORT}, ws://192.168.4.1:"
    f"{SIGNAL_K_PORT} for Signal K, or a serial port such as /dev/ttyUSB0 or COM3@4800"
)


def read_where(text: str) -> Where:
    """Where to listen, as a person types it.

    text   : a port, to listen by UDP; a multicast group with a port; an address with or without a port, to connect by
             TCP, or with ws:// in front, to a Signal K server; or a serial port, with or without its speed
    errors : InputError

    >>> read_where("10110").title, read_where("192.168.4.1").title, read_where("gateway.local:2000").title
    ('UDP port 10110', '192.168.4.1:10110 by TCP', 'gateway.local:2000 by TCP')
    >>> read_where("239.192.0.1:60001").title, read_where("ws://10.10.10.1").title, read_where("COM3@4800").title
    ('group 239.192.0.1:60001 by UDP', 'Signal K at 10.10.10.1:3000', 'serial port COM3, 4800 bit/s')
    """
    text = text.strip()
    if found := _SERIAL.fullmatch(text):
        speed = int(found[2] or BAUD)
        where = Where(speed if speed <= FASTEST else 0, found[1], Way.SERIAL)
    elif text.isdecimal():
        where = Where(int(text) if len(text) < 6 else 0)
    elif found := _SIGNAL_K.fullmatch(text):
        where = Where(int(found[2] or SIGNAL_K_PORT), found[1].strip("[]").lower(), Way.SIGNAL_K)
    else:
        found = _ADDRESS.fullmatch(text)
        where = Where(int(found[2] or PORT), found[1].strip("[]").lower()) if found else Where(0)
    if not 0 < where.port < (65536 if where.way is not Way.SERIAL else FASTEST + 1):
        raise InputError("boat's network", [Fault("where", EXAMPLES, repr(text[:60]))])
    return where
