"""The boat's instrument network, heard while it speaks: NMEA 0183 sentences over wifi, by UDP or TCP.

It only listens: nothing is ever sent to the network, by TCP nothing beyond what keeps a connection.

The time of a sample is when it arrived, by this machine's monotonic clock, counted from the wall clock as it stood when
listening began; setting the wall clock later changes nothing. What a sentence with a time of its own was delayed more
than the quickest of its sender is taken off, but no sample is dated before one given earlier.

[1] IANA Service Name and Transport Protocol Port Number Registry: nmea-0183 "NMEA-0183 Navigational Data", port 10110
by TCP and by UDP (not read there itself, but in several programs that quote it).
"""

from __future__ import annotations

import errno
import re
import selectors
import socket
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence

import attrs

from garboard.faults import Fault, InputError
from garboard.recordings.nmea0183 import LiveReader
from garboard.recordings.notes import ReadingNotes
from garboard.samples import Sample, StreamKey

PORT = 10110
"""Registered for NMEA 0183 over UDP and TCP [1]."""
SILENT_AFTER = 5.0
"""After so long without a sentence a person should look why [s]."""
GIVEN_UP_AFTER = 20.0
"""A connection over which nothing came for so long is made anew [s]: lost wifi is not told otherwise."""
CONNECT_WITHIN = 5.0
PATIENCE = (1.0, 2.0, 4.0, 8.0, 15.0)
"""Waits between one try and the next [s]; the last one again and again."""

MOST_WAITING = 20_000
"""Samples kept for whoever takes them; older ones are left out."""
MOST_A_SECOND = 2000
"""Lines read in a second: an instrument network speaks some hundreds, what is more is left out."""
MOST_SENDERS = 16
MOST_STREAMS = 500
"""Streams of one sender whose latest value is kept."""
LONGEST_LINE = 1024
"""Characters kept while the end of a line is awaited. A sentence has at most 82, a tag block before it as many."""
READ_AT_ONCE = 65536
OTHERS = "others"
"""All senders beyond MOST_SENDERS."""


@attrs.frozen
class Where:
    """Where to listen.

    port : 1 to 65535
    host : to connect to by TCP; empty to listen for what is sent to the port by UDP
    """

    port: int = PORT
    host: str = ""

    @property
    def title(self) -> str:
        return f"{self} by TCP" if self.host else f"UDP port {self.port}"

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{host}:{self.port}" if host else str(self.port)


_ADDRESS = re.compile(r"(\[[0-9A-Fa-f:.]+(?:%\w+)?\]|[\w.-]+)(?::(\d{1,5}))?", re.ASCII)


def read_where(text: str) -> Where:
    """Where to listen, as a person types it.

    text   : a port, to listen by UDP, or an address with or without a port, to connect by TCP
    errors : InputError

    >>> read_where("10110").title, read_where("192.168.4.1").title, read_where("gateway.local:2000").title
    ('UDP port 10110', '192.168.4.1:10110 by TCP', 'gateway.local:2000 by TCP')
    """
    text = text.strip()
    found = _ADDRESS.fullmatch(text)
    if text.isdecimal():
        where = Where(int(text) if len(text) < 6 else 0)
    else:
        where = Where(int(found[2] or PORT), found[1].strip("[]").lower()) if found else Where(0)
    if not 0 < where.port < 65536:
        expected = f"a port to listen on such as {PORT}, or an address to connect to such as 192.168.4.1:{PORT}"
        raise InputError("boat's network", [Fault("where", expected, repr(text[:60]))])
    return where


@attrs.frozen
class Latest:
    """The newest value of a stream.

    value : in the unit of its quantity
    count : how many came
    at    : when it came, by the monotonic clock [s]
    """

    value: float
    count: int
    at: float


@attrs.define
class Sender:
    """What one sender on the network sent.

    address  : of the machine; OTHERS for all beyond MOST_SENDERS
    is_first : its samples carry the plain talker as source; those of others also the address, so that they stay apart
    heard_at : when the latest bytes came, by the monotonic clock [s]
    """

    address: str
    is_first: bool
    heard_at: float = 0.0
    latest: dict[StreamKey, Latest] = attrs.field(factory=dict)
    _reader: LiveReader = attrs.field(factory=LiveReader)
    _rest: str = ""

    @property
    def notes(self) -> ReadingNotes:
        return self._reader.notes

    @property
    def devices(self) -> dict[str, tuple[str, ...]]:
        """What devices say of themselves, by the source their samples carry."""
        return {self._source(talker): texts for talker, texts in self.notes.devices.items()}

    def _source(self, talker: str) -> str:
        return talker if self.is_first else f"{talker} {self.address}".lstrip()

    def lines(self, data: bytes) -> list[str]:
        """The lines that are now complete. Some gateways cut a sentence anywhere, some send no line ends."""
        text = data.decode("utf-8", "surrogateescape").replace("\r", "\n")
        if self._rest and text[:1] in ("$", "!", "\\") and not _TAG_BLOCK_BEGUN.fullmatch(self._rest):
            self._rest += "\n"
        *lines, self._rest = (self._rest + text).split("\n")
        if len(self._rest) > LONGEST_LINE or _ENDS_WITH_CHECKSUM.search(self._rest):
            lines.append(self._rest[:LONGEST_LINE])
            self._rest = ""
        return [line[:LONGEST_LINE] for line in lines if line]

    def begin_anew(self) -> None:
        """A new connection goes on with a line of its own."""
        self._rest = ""

    def samples(self, line: str, arrived: float) -> Iterator[Sample]:
        for sample in self._reader.take(line, arrived):
            own = sample if self.is_first else sample._replace(source=self._source(sample.source))
            key = StreamKey(own.quantity, own.source, own.instance, own.reference)
            before = self.latest.get(key)
            if before is not None or len(self.latest) < MOST_STREAMS:
                self.latest[key] = Latest(own.value, before.count + 1 if before else 1, arrived)
            yield own


_TAG_BLOCK_BEGUN = re.compile(r"\\[^\\$!]*\\?")
"""A tag block before its sentence came: what comes next goes on with it."""
_ENDS_WITH_CHECKSUM = re.compile(r"[$!][^$!]*\*[0-9A-Fa-f]{2}$")


class BoatNetwork:
    """Listens in a thread of its own from `start` to `stop`; every other method answers at once.

    where    : where to listen
    patience : waits between tries [s]
    """

    def __init__(
        self,
        where: Where,
        *,
        patience: Sequence[float] = PATIENCE,
        now: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self.where = where
        self.left_out = 0
        self._patience, self._now, self._wall = patience, now, wall
        self._lock = threading.Lock()
        self._waiting: deque[Sample] = deque(maxlen=MOST_WAITING)
        self._senders: dict[str, Sender] = {}
        self._fault = ""
        self._began = self._latest = 0.0
        self._wall_at_zero = 0.0
        self._second, self._lines_in_second = 0.0, 0
        self._thread: threading.Thread | None = None
        self._stopping = threading.Event()
        self._wake: socket.socket | None = None

    # For whoever wants to know

    def start(self) -> None:
        """Begin to listen. A port in use or an address that does not answer is tried again; `trouble` says so."""
        if self._thread is None:
            self._began = self._now()
            self._wall_at_zero = self._wall() - self._began
            if self._stopping.is_set():  # a thread still looking up a name ends by the event it began with
                self._stopping = threading.Event()
            wake, self._wake = socket.socketpair()
            self._thread = threading.Thread(
                target=self._listen, args=(wake, self._stopping), name="boat's network", daemon=True
            )
            self._thread.start()

    def stop(self) -> None:
        """Listen no more; what was heard can still be asked for."""
        if self._thread is None or self._wake is None:
            return
        self._stopping.set()
        self._wake.close()
        self._thread.join(0.5)  # longer only where a name is being looked up; the thread ends after that
        self._thread = self._wake = None

    def take(self) -> list[Sample]:
        """The samples that came since the last call, in the order of their times."""
        with self._lock:
            samples = list(self._waiting)
            self._waiting.clear()
        return samples

    def senders(self) -> tuple[Sender, ...]:
        """Every sender heard so far, the first one first; copies, which do not change any more."""
        with self._lock:
            return tuple(
                attrs.evolve(
                    one,
                    latest=dict(one.latest),
                    reader=LiveReader(
                        attrs.evolve(
                            one.notes,
                            kinds=dict(one.notes.kinds),
                            unknown=dict(one.notes.unknown),
                            devices=dict(one.notes.devices),
                        )
                    ),
                )
                for one in self._senders.values()
            )

    def age(self, at: float) -> float:
        """How long ago a time of `Latest` was [s]."""
        return max(0.0, self._now() - at)

    def trouble(self) -> str:
        """Why no samples come, and what to do; "" while they come."""
        with self._lock:
            fault, senders = self._fault, list(self._senders.values())
            read = sum(one.notes.samples for one in senders)
            kinds = sum(sum(one.notes.kinds.values()) + sum(one.notes.unknown.values()) for one in senders)
            damaged = sum(one.notes.damaged_count for one in senders)
            heard_at = max((one.heard_at for one in senders), default=self._began)
            read_at = max((latest.at for one in senders for latest in one.latest.values()), default=self._began)
        if fault:
            return fault
        silent = self.age(heard_at)
        if silent > SILENT_AFTER:
            return f"Nothing heard on {self.where.title} for {silent:.0f} s. {self._advice}"
        if damaged and not kinds:
            return (
                f"What comes on {self.where.title} is not NMEA 0183. Set the gateway to send NMEA 0183 sentences as "
                "text."
            )
        if kinds and not read:
            return f"Sentences come on {self.where.title}, but none holds a value that can be read yet."
        if read and (without := self.age(read_at)) > SILENT_AFTER:
            return (
                f"What comes on {self.where.title} held no value for {without:.0f} s. See that the instruments are "
                "switched on and have what they need, such as satellites in sight."
            )
        return ""

    @property
    def _advice(self) -> str:
        if self.where.host:
            return "See that the instruments are switched on."
        return (
            "See that you are on the boat's wifi, that the instruments are switched on, and that the gateway "
            f"sends by UDP to port {self.where.port}."
        )

    def remarks(self) -> list[str]:
        """What a person should know beside, one sentence each."""
        senders = self.senders()
        said = []
        if len(senders) > 1:
            others = ", ".join(one.address for one in senders[1:])
            said.append(
                f"{len(senders)} senders are heard. {senders[0].address} came first; the sources of {others} carry the "
                "address too."
            )
        for one in senders:
            wrong, damaged = one.notes.wrong_checksum, one.notes.damaged_count
            if damaged:
                said.append(f"{one.address}: left out as damaged {damaged}, of these for a wrong checksum {wrong}.")
        if self.left_out:
            said.append(f"{self.left_out} lines were left out: more than {MOST_A_SECOND} a second came.")
        return said

    # In the thread

    def _listen(self, wake: socket.socket, stopping: threading.Event) -> None:
        tries = 0
        with wake:
            while not stopping.is_set():
                try:
                    with self._open() as heard:
                        if stopping.is_set():
                            return
                        self._fault = ""
                        if self._hear(heard, wake, stopping):
                            tries = 0
                except (OSError, UnicodeError) as failure:  # no name of a machine begins with a dot, or is so long
                    if not stopping.is_set():
                        self._fault = self._why(failure)
                stopping.wait(self._patience[min(tries, len(self._patience) - 1)])
                tries += 1

    def _open(self) -> socket.socket:
        if self.where.host:
            return socket.create_connection((self.where.host, self.where.port), timeout=CONNECT_WITHIN)
        heard = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        try:
            heard.bind(("", self.where.port))
        except OSError:
            heard.close()
            raise
        return heard

    def _hear(self, heard: socket.socket, wake: socket.socket, stopping: threading.Event) -> bool:
        """Take in what comes, until there is reason to open anew. Returns whether anything came."""
        heard.setblocking(False)
        anything = False
        with selectors.DefaultSelector() as selector:
            selector.register(heard, selectors.EVENT_READ)
            selector.register(wake, selectors.EVENT_READ)
            for sender in self._senders.values():
                sender.begin_anew()
            while True:
                ready = selector.select(GIVEN_UP_AFTER)
                if stopping.is_set():
                    return anything
                if not ready and self.where.host:
                    self._fault = f"Nothing came from {self.where.title} for {GIVEN_UP_AFTER:.0f} s. Connecting again."
                    return anything
                if not ready:
                    continue
                try:
                    data, address = heard.recvfrom(READ_AT_ONCE)
                except BlockingIOError:
                    continue
                except OSError as failure:
                    self._fault = f"{self.where.title} is lost: {failure.strerror or failure}. Connecting again."
                    return anything
                if not data and self.where.host:
                    self._fault = f"{self.where.title} closed the connection. Connecting again."
                    return anything
                anything = True
                self.hear(data, self.where.host or address[0])

    def hear(self, data: bytes, address: str) -> None:
        """Take in what a sender sent just now."""
        at = self._now()
        with self._lock:
            if address not in self._senders and len(self._senders) >= MOST_SENDERS:
                address = OTHERS
            sender = self._senders.setdefault(address, Sender(address, is_first=not self._senders))
            sender.heard_at = at
            if at - self._second >= 1.0:
                self._second, self._lines_in_second = at, 0
            if self._lines_in_second > MOST_A_SECOND:  # not even taken apart: a flood must not slow the drawing
                self.left_out += data.count(b"\n") or 1
                sender.begin_anew()
                return
            for line in sender.lines(data):
                self._lines_in_second += 1
                if self._lines_in_second > MOST_A_SECOND:
                    self.left_out += 1
                    continue
                for sample in sender.samples(line, at):
                    self._latest = max(self._latest, sample.time)
                    self._waiting.append(sample._replace(time=self._wall_at_zero + self._latest))

    def _why(self, failure: OSError | UnicodeError) -> str:
        where = self.where
        if isinstance(failure, (socket.gaierror, UnicodeError)):
            return f"No machine called {where.host} is known here. Type its address as numbers, such as 192.168.4.1."
        if failure.errno == errno.EADDRINUSE:
            return (
                f"UDP port {where.port} is in use by another program on this machine. Close that program, or have the "
                "gateway send to another port and choose it here."
            )
        if failure.errno in (errno.EACCES, errno.EPERM):
            return f"This machine does not allow to listen on {where.title}. Choose a port above 1023."
        if failure.errno == errno.ECONNREFUSED:
            return f"{where.host} answers, but not on port {where.port}. Compare the port with the gateway's settings."
        if isinstance(failure, TimeoutError) or failure.errno in (errno.EHOSTUNREACH, errno.ENETUNREACH):
            return f"{where.title} does not answer. See that you are on the boat's wifi, and compare the address."
        return f"{where.title}: {failure.strerror or failure}. Trying again."
