"""The boat's instrument network, heard while it speaks, by any of the links there are: see `links`.

It only listens: nothing is ever sent to the network beyond what opens and keeps a connection.

The time of a sample is when it arrived, by this machine's monotonic clock, counted from the wall clock as it stood when
listening began; setting the wall clock later changes nothing. What a sentence with a time of its own was delayed more
than the quickest of its sender is taken off, but no sample is dated before one given earlier.
"""

from __future__ import annotations

import errno
import re
import socket
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Sequence

import attrs

from garboard.faults import in_number, in_words
from garboard.findings import rounded
from garboard.record_types import frozen
from garboard.recordings.deltas import LONGEST_DELTA
from garboard.recordings.forms import FORMS, SERIES, LineReader, Reader, TakesLines, form_of
from garboard.recordings.links import Link, LinkLost, open_link
from garboard.recordings.nmea0183 import SentenceReader
from garboard.recordings.notes import MARK, ReadingNotes, sends_only_ships
from garboard.recordings.packet_bytes import FRAME_BEGINS, LONGEST_FRAME, is_gateway_log
from garboard.recordings.where import Way, Where
from garboard.samples import SIMULATED, Sample, StreamKey
from garboard.series import mean, mean_direction

SILENT_AFTER = 5.0
"""After so long without a sentence a person should look why [s]."""
GIVEN_UP_AFTER = 20.0
"""A connection over which nothing came for so long is made anew [s]: lost wifi is not told otherwise."""
PATIENCE = (1.0, 2.0, 4.0, 8.0, 15.0)
"""Waits between one try and the next [s]; the last one again and again."""

MOST_WAITING = 20_000
"""Samples kept for whoever takes them; older ones are left out."""
MOST_A_SECOND = 4000
"""Lines read in a second: a full NMEA 2000 network sends some 1500 frames; what is more than two such is left out."""
BYTES_A_LINE = 20
"""A frame as bytes stands for a line [bytes]."""
MOST_SENDERS = 16
MOST_STREAMS = 500
"""Streams of one sender whose latest value is kept."""
LONGEST_LINE = 1024
"""Characters kept while the end of a line is awaited. A sentence has at most 82, a tag block before it as many."""
LONGEST_REASON = 120
RECENT = 3.0
"""A value is shown as its mean over so long [s]: engines hunt, and waves lift a boat. Common practice, no source."""
MOST_RECENT = 60
DIRECTIONS = ("heading", "course_over_ground")
MOST_NAMED = 4
"""Kinds of messages named that are not read."""
OTHERS = "others"
"""All senders beyond MOST_SENDERS."""


@frozen
class Latest:
    """The newest value of a stream.

    value : in the unit of its quantity
    count : how many came
    at    : when it came, by the monotonic clock [s]
    """

    value: float
    count: int
    at: float


@frozen
class Newest:
    """What a stream said in the last moments.

    value : mean of RECENT seconds, of a direction round the circle; in the unit of its quantity
    age   : how long ago the latest came [s]
    """

    value: float
    age: float


@attrs.define
class Sender:
    """What one sender on the network sent.

    address  : of the machine; OTHERS for all beyond MOST_SENDERS
    is_first : its samples carry the plain talker as source; those of others also the address, so that they stay apart
    heard_first : when the first bytes came, by the monotonic clock [s]
    heard_at : when the latest bytes came, by the same clock [s]
    is_simulated : whether it said of itself that nobody measures what it sends; once said, it holds
    """

    address: str
    is_first: bool
    heard_first: float = 0.0
    heard_at: float = 0.0
    is_simulated: bool = False
    latest: dict[StreamKey, Latest] = attrs.field(factory=dict)
    recent: dict[StreamKey, deque[tuple[float, float]]] = attrs.field(factory=dict)
    notes: ReadingNotes = attrs.field(factory=ReadingNotes)
    _readers: dict[str, TakesLines] = attrs.field(factory=dict)
    _forms: dict[str, TakesLines] = attrs.field(factory=dict)
    _bytes: Reader | None = None
    _held: bytes = b""
    _rest: str = ""

    @property
    def is_understood(self) -> bool:
        """Whether anything it sent was of a form the program reads."""
        return bool(self.notes.kinds or self.notes.unknown)

    @property
    def devices(self) -> dict[str, tuple[str, ...]]:
        """What devices say of themselves, by the source their samples carry."""
        return {self._source(talker): texts for talker, texts in self.notes.devices.items()}

    def _source(self, talker: str) -> str:
        own = talker if self.is_first else f"{talker} {self.address}".lstrip()
        return f"{SIMULATED} {own}".rstrip() if self.is_simulated else own

    def lines(self, data: bytes) -> list[str]:
        """The lines that are now complete. Some gateways cut a sentence anywhere, some send no line ends."""
        text = data.decode("utf-8", "surrogateescape").replace("\r", "\n")
        if self._rest and text[:1] in ("$", "!", "\\") and not _TAG_BLOCK_BEGUN.fullmatch(self._rest):
            self._rest += "\n"
        *lines, self._rest = (self._rest + text).split("\n")
        longest = LONGEST_DELTA if self._rest[:1] == "{" else LONGEST_LINE
        if len(self._rest) > longest or _ENDS_WITH_CHECKSUM.search(self._rest[-LONGEST_LINE:]):
            lines.append(self._rest[:longest])
            self._rest = ""
        return [line[: LONGEST_DELTA if line[0] == "{" else LONGEST_LINE] for line in lines if line]

    def of_bytes(self, data: bytes, arrived: float) -> Sequence[Sample] | None:
        """The samples of what a gateway sends as bytes; None for one that sends lines."""
        if self._bytes is None and not self.is_understood:
            held = self._held + data
            begins = held.find(FRAME_BEGINS)
            self._held = held[begins:] if begins >= 0 else held[-1:]
            if begins >= 0 and is_gateway_log(self._held):
                self._bytes, data = _GATEWAY.reader(self.notes, is_live=True), self._held
            elif begins >= 0 and len(self._held) <= LONGEST_FRAME and b"\r\n" not in self._held:
                return []  # a cable brings a few bytes at a time: the rest of the first message comes later
        if self._bytes is None:
            return None
        samples = self._bytes.feed(data, arrived)
        self.is_simulated = self.is_simulated or self.notes.is_simulated
        return [self._kept(sample, arrived) for sample in samples]

    def _takes(self, line: str) -> TakesLines:
        """What reads a line: told by its first character, or else by its form. One sender may send several."""
        first = line[0] if line[0] in "$!\\{" else ""
        key = "$" if first in ("$", "!", "\\") else first
        found = self._readers.get(key)
        if found is not None and (key or self.is_understood):
            return found
        form = _BY_FIRST.get(key) or form_of(line.encode("utf-8", "surrogateescape"))
        if found is not None and (form is None or form.name == self.notes.form):
            return found  # of the same form as before: it may hold half a message
        reader = form.reader(self.notes, is_live=True) if form is not None else None
        if form is None or not isinstance(reader, LineReader):  # counted as damaged; the next line may be of some form
            return self._readers.setdefault("no form", SentenceReader(self.notes, is_live=True))
        self._readers[key] = self._forms[form.key] = reader.takes
        return reader.takes

    def _takes_instead(self, line: str) -> TakesLines | None:
        """What reads a line that was of no use to the reader of lines like it; None where it is of no other form.

        Somebody changes a gateway's settings while one listens, or it sends two forms in turn.
        """
        form = None if line[0] in "$!\\{" else form_of(line.encode("utf-8", "surrogateescape"))
        if form is None or form.key == SERIES.key:
            return None
        if form.key not in self._forms:
            reader = form.reader(self.notes, is_live=True)
            if not isinstance(reader, LineReader):
                return None
            self._forms[form.key] = reader.takes
        takes = self._forms[form.key]
        return takes if takes is not self._readers.get("") else None

    def begin_anew(self) -> None:
        """A new connection goes on with a line of its own."""
        self._rest, self._held = "", b""

    def give_up(self, failure: Exception) -> None:
        """What was sent cannot be read; what comes next may be of any form."""
        self.notes.damage(self.notes.lines, str(failure).rpartition("\n")[2].strip()[:LONGEST_REASON])
        self._readers.clear()
        self._forms.clear()
        self._bytes = None
        self.begin_anew()

    def samples(self, line: str, arrived: float) -> Iterator[Sample]:
        """The samples of one more line, without its end."""
        if MARK in line:
            self.is_simulated = True
        if line[0] != "#":
            damaged = self.notes.damaged_count
            samples = self._takes(line).take([line], arrived)
            if self.notes.damaged_count > damaged and (takes := self._takes_instead(line)) is not None:
                self.notes.forget_damage()
                self._readers[""] = takes
                samples = takes.take([line], arrived)
            self.is_simulated = self.is_simulated or self.notes.is_simulated
            for sample in samples:
                yield self._kept(sample, arrived)

    def _kept(self, sample: Sample, arrived: float) -> Sample:
        """A sample under the name of its sender, kept as the newest of its stream."""
        as_sent = self.is_first and not self.is_simulated
        own = sample if as_sent else sample._replace(source=self._source(sample.source))
        key = StreamKey(own.quantity, own.source, own.instance, own.reference)
        before = self.latest.get(key)
        if before is not None or len(self.latest) < MOST_STREAMS:
            self.latest[key] = Latest(own.value, before.count + 1 if before else 1, arrived)
            kept = self.recent.get(key)
            if kept is None:
                kept = self.recent[key] = deque(maxlen=MOST_RECENT)
            kept.append((arrived, own.value))
        return own


def _mean_direction(directions: Sequence[float]) -> float:
    try:
        return mean_direction(directions)
    except ValueError:  # they cancel out: it turned right round
        return directions[-1]


_GATEWAY = next(form for form in FORMS if form.key == "gateway")
_BY_FIRST = {key: next(form for form in FORMS if form.key == of) for key, of in (("$", "sentences"), ("{", "deltas"))}
_TAG_BLOCK_BEGUN = re.compile(r"\\[^\\$!]*\\?")
"""A tag block before its sentence came: what comes next goes on with it."""
_ENDS_WITH_CHECKSUM = re.compile(r"[$!][^$!]*\*[0-9A-Fa-f]{2}$")


@frozen
class LinkState:
    """How the listening goes.

    is_open : whether what is sent would be heard now
    tries   : how often it was tried again since it last was open
    silent  : how long nothing was heard [s]
    damaged : share of lines that could not be used, 0 to 1
    """

    is_open: bool
    tries: int
    silent: float
    damaged: float

    @property
    def is_stale(self) -> bool:
        return self.silent > SILENT_AFTER

    @property
    def word(self) -> str:
        """In a word or two, what a person sees first."""
        if not self.is_open:
            return "connecting again" if self.tries else "connecting"
        return f"silent for {rounded(self.silent)} s" if self.is_stale else "connected"


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
        self._is_open, self._tries = False, 0
        self._began = self._latest = 0.0
        self._wall_at_zero = 0.0
        self._second, self._lines_in_second = 0.0, dict[str, int]()
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
                    recent={key: deque(recent) for key, recent in one.recent.items() if key.quantity == "engine_speed"},
                    notes=attrs.evolve(
                        one.notes,
                        kinds=dict(one.notes.kinds),
                        unknown=dict(one.notes.unknown),
                        devices=dict(one.notes.devices),
                        claims=dict(one.notes.claims),
                        own_ship=dict(one.notes.own_ship),
                        heard={source: dict(sent) for source, sent in one.notes.heard.items()},
                    ),
                    readers={},
                )
                for one in self._senders.values()
            )

    def state(self) -> LinkState:
        """How the listening goes."""
        with self._lock:
            senders = list(self._senders.values())
            lines = sum(one.notes.lines for one in senders)
            damaged = sum(one.notes.damaged_count for one in senders)
            heard_at = max((one.heard_at for one in senders), default=self._began)
        return LinkState(
            is_open=self._is_open,
            tries=0 if self._is_open else max(self._tries, bool(self._fault)),
            silent=self.age(heard_at),
            damaged=damaged / lines if lines else 0.0,
        )

    @property
    def listened(self) -> float:
        """For how long something was heard, from the first bytes to the latest [s]; waiting for a link is not."""
        with self._lock:
            times = [(one.heard_first, one.heard_at) for one in self._senders.values()]
        return max(last for _, last in times) - min(first for first, _ in times) if times else 0.0

    def age(self, at: float) -> float:
        """How long ago a time of `Latest` was [s]."""
        return max(0.0, self._now() - at)

    def newest(self, quantity: str) -> dict[StreamKey, Newest]:
        """What every stream of a quantity said in its last moments."""
        now = self._now()
        with self._lock:
            kept = {
                key: tuple(recent)
                for sender in self._senders.values()
                for key, recent in sender.recent.items()
                if key.quantity == quantity
            }
        average = _mean_direction if quantity in DIRECTIONS else mean
        return {
            key: Newest(average([value for at, value in recent if recent[-1][0] - at <= RECENT]), now - recent[-1][0])
            for key, recent in kept.items()
        }

    def devices(self) -> dict[str, tuple[str, ...]]:
        """What devices say of themselves, by the source their samples carry."""
        with self._lock:
            return {source: texts for sender in self._senders.values() for source, texts in sender.devices.items()}

    @property
    def is_simulated(self) -> bool:
        """Whether any sender said that it is simulated: then nothing of a run is a measurement."""
        with self._lock:
            return any(sender.is_simulated for sender in self._senders.values())

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
            return f"Nothing heard on {self.where.title} for {rounded(silent)} s. {self._advice}"
        if damaged and not kinds:
            return (
                f"What comes on {self.where.title} is not NMEA 0183 or another form this program reads. Set the "
                "gateway to send NMEA 2000 frames as text, NMEA 0183 sentences, or Signal K."
            )
        if kinds and not read:
            return self._unread(senders)
        if read and (without := self.age(read_at)) > SILENT_AFTER:
            return (
                f"What comes on {self.where.title} held no value for {rounded(without)} s. See that the instruments "
                "are switched on and have what they need, such as satellites in sight."
            )
        return ""

    def _unread(self, senders: Sequence[Sender]) -> str:
        """Why messages came and gave no value, and what to do."""
        notes = [one.notes for one in senders]
        if sends_only_ships(notes):
            return (
                f"Only what AIS hears of other ships comes on {self.where.title}. Set the gateway to send the boat's "
                "own instruments too."
            )
        if any(one.kinds for one in notes):
            return f"Messages come on {self.where.title}, but none holds a value that can be read yet."
        met = Counter[str]()
        for one in notes:
            met.update(one.unknown)
        named = ", ".join(f"{kind} ({count})" for kind, count in met.most_common(MOST_NAMED))
        return (
            f"Messages come on {self.where.title}, but none that this program reads: {named}. See that the engines and "
            "instruments are switched on, and that the gateway lets their messages through."
        )

    @property
    def _advice(self) -> str:
        if self.where.way is not Way.BROADCAST:
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
            if one.notes.unreal:
                said.append(
                    f"{one.address}: a satellite receiver says that its position is simulated or typed in; it is not "
                    "used. End its simulation."
                )
            if damaged:
                said.append(f"{one.address}: left out as damaged {damaged}, of these for a wrong checksum {wrong}.")
        if self.left_out:
            said.append(
                f"{in_number(self.left_out, 'line was', 'lines were')} left out: more than {MOST_A_SECOND} a "
                f"second came."
            )
        return said

    # In the thread

    def _listen(self, wake: socket.socket, stopping: threading.Event) -> None:
        with wake:
            while not stopping.is_set():
                try:
                    link = open_link(self.where)
                    try:
                        if stopping.is_set():
                            return
                        self._fault, self._is_open = "", True
                        self._hear(link, wake, stopping)
                    finally:
                        self._is_open = False
                        link.close()
                except LinkLost as lost:
                    self._fault = str(lost)
                except (OSError, UnicodeError) as failure:  # no name of a machine begins with a dot, or is so long
                    if not stopping.is_set():
                        self._fault = self._why(failure)
                except Exception as failure:  # a mistake in a program: a thread that ends here says nothing
                    self._fault = f"{self.where.title}: {in_words(failure)}. Trying again."
                stopping.wait(self._patience[min(self._tries, len(self._patience) - 1)])
                self._tries += 1

    def _hear(self, link: Link, wake: socket.socket, stopping: threading.Event) -> None:
        """Take in what comes, until there is reason to open anew: then it raises LinkLost."""
        for sender in self._senders.values():
            sender.begin_anew()
        while True:
            came = link.wait(wake, GIVEN_UP_AFTER)
            if stopping.is_set():
                return
            if came is None and self.where.connects:
                raise LinkLost(
                    f"Nothing came from {self.where.title} for {rounded(GIVEN_UP_AFTER)} s. Connecting again."
                )
            for data, address in came or ():
                self._tries = 0
                self.hear(data, address or self.where.host)

    def hear(self, data: bytes, address: str) -> None:
        """Take in what a sender sent just now."""
        at = self._now()
        with self._lock:
            if address not in self._senders and len(self._senders) >= MOST_SENDERS:
                address = OTHERS
            sender = self._senders.setdefault(address, Sender(address, is_first=not self._senders, heard_first=at))
            sender.heard_at = at
            if at - self._second >= 1.0:
                self._second, self._lines_in_second = at, {}
            self._lines_in_second.setdefault(address, 0)
            if self._floods(address):  # not even taken apart: a flood must not slow the drawing
                self.left_out += data.count(b"\n") or 1
                sender.begin_anew()
                return
            try:
                as_bytes = sender.of_bytes(data, at)
            except Exception as failure:  # whatever one sender sends, it ends the hearing of no other
                sender.give_up(failure)
                return
            if as_bytes is not None:
                self._lines_in_second[address] += 1 + len(data) // BYTES_A_LINE
                self._keep(as_bytes)
                return
            for line in sender.lines(data):
                self._lines_in_second[address] += 1
                if self._floods(address):
                    self.left_out += 1
                    continue
                try:
                    self._keep(sender.samples(line, at))
                except Exception as failure:  # the same; as a heading of columns that nobody knows
                    sender.give_up(failure)

    def _floods(self, address: str) -> bool:
        """Whether more comes than can be read, and this sender has had its share: another's flood silences nobody."""
        lines = self._lines_in_second
        return sum(lines.values()) > MOST_A_SECOND and lines[address] > MOST_A_SECOND // len(lines)

    def _keep(self, samples: Iterable[Sample]) -> None:
        for sample in samples:
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
