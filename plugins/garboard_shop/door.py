"""The server's door: who is let in, how long they may take to say what they want, and in which form they say it.

Nobody outside can close the shop to the others. An address has so many places, and so have all together. When none is
left, the newest caller gets the place of the one who has waited longest without a whole request, or without taking
more of an answer.

[1] RFC 9112, 2.2 and 5.2: a line ends with CR and LF, and a field stands on one line; a server may refuse all else.
[2] RFC 8446, 5.1: a TLS record carries at most 2^14 bytes.
"""

from __future__ import annotations

import asyncio
import json
import logging
import math
import re
import socket
import ssl
import time
from collections import Counter
from collections.abc import Callable, Iterable
from functools import partial
from typing import Any, Protocol, cast

import attrs
import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.server import ServerState

MOST_AT_ONCE = 500
"""Connections in all."""
MOST_FROM_ONE_ADDRESS = 100
"""Connections from one address. A tablet makes one, a browser about six; some wifi shows all tablets as one address."""
SECONDS_TO_ASK = 10.0
"""How long the TLS handshake may take, and after it the head of a request [s]."""
SECONDS_IDLE = 30.0
"""How long an idle connection stays open after an answer [s]."""
SECONDS_TO_FINISH = 5.0
"""How long a request that was answered before all of it came may go on coming [s]."""
SECONDS_TO_TAKE = 30.0
"""How long the other end may take nothing of an answer while more of it waits to be sent [s]."""
SECONDS_STALLED = 5.0
"""After so long without taking anything, its place may go to a newcomer [s]."""
LARGEST_RECORD = 16 << 10
"""Bytes handed to TLS at once [2]. Little waits here, so that a slow tablet is told from one that stopped."""
LARGEST_HEAD = 16 << 10
"""Bytes of a request's first line and fields."""
LONGEST_FIELD_NAME = 64
MOST_FIELDS = 100
_PAUSE = 0.1
"""After the system could not accept a connection [s]."""

_BARE = re.compile(rb"(?<!\r)\n|\r(?!\n|$)")
_FOLDED = re.compile(rb"\n[ \t]")
_BOTH_LENGTHS = re.compile(rb"(?is)(?=.*\ncontent-length:).*\ntransfer-encoding:")
_LONG_NAME = re.compile(rb"\n[^:\r\n]{%d}" % (LONGEST_FIELD_NAME + 1))

log = logging.getLogger("garboard.shop")


class Line(Protocol):
    """A connection, in whatever state it is."""

    @property
    def is_waiting(self) -> bool:
        """Whether it may be closed: no whole request of it is being answered."""

    def abort(self) -> None:
        """Close it at once."""


@attrs.define(eq=False)
class Place:
    """One connection's place.

    address : where it comes from
    line    : the connection
    since   : when it came, or was last answered, by the door's clock [s]
    due     : when it is closed [s]
    """

    address: str
    line: Line
    since: float
    due: float


class Places:
    """The places of one server.

    clock         : never set back [s]
    most          : connections in all
    most_from_one : connections from one address
    """

    def __init__(
        self,
        clock: Callable[[], float] = time.monotonic,
        most: int = MOST_AT_ONCE,
        most_from_one: int = MOST_FROM_ONE_ADDRESS,
    ) -> None:
        self.clock, self.most, self.most_from_one = clock, most, most_from_one
        self._taken: dict[Place, None] = {}  # a dict keeps the order they came in
        self._by_address: Counter[str] = Counter()

    def take(self, address: str, line: Line) -> Place | None:
        """A place for a new connection; None when every other one is being answered."""
        if self._by_address[address] >= self.most_from_one:
            is_free = self._make_room([one for one in self._taken if one.address == address])
        else:
            is_free = len(self._taken) < self.most or self._make_room(self._taken)
        if not is_free:
            return None
        now = self.clock()
        place = Place(address, line, now, now + SECONDS_TO_ASK)
        self._taken[place] = None
        self._by_address[address] += 1
        return place

    def leave(self, place: Place) -> None:
        """Give a place back. Given back twice, it counts once."""
        if place in self._taken:
            del self._taken[place]
            self._by_address[place.address] -= 1
            if not self._by_address[place.address]:
                del self._by_address[place.address]

    def close_overdue(self) -> int:
        """Close every connection whose time is over; how many there were."""
        now = self.clock()
        over = [place for place in self._taken if place.due <= now]
        for place in over:
            self._close(place)
        return len(over)

    def __len__(self) -> int:
        return len(self._taken)

    def of(self, address: str) -> int:
        """How many connections one address has."""
        return self._by_address[address]

    def _make_room(self, places: Iterable[Place]) -> bool:
        """Close the connection among some that has waited longest; False when none waits."""
        oldest = min((one for one in places if one.line.is_waiting), key=lambda one: one.since, default=None)
        if oldest is not None:
            self._close(oldest)
        return oldest is not None

    def _close(self, place: Place) -> None:
        self.leave(place)
        place.line.abort()


def fault_of_head(head: bytes) -> str:
    """Why a request's head, or as much of it as came, is refused; "" when nothing speaks against it [1].

    >>> fault_of_head(b"GET / HTTP/1.1\\r\\nHost: x\\r\\n"), fault_of_head(b"GET / HTTP/1.1\\n")
    ('', 'a line does not end with CR and LF')
    """
    head = head.partition(b"\r\n\r\n")[0]
    if _BARE.search(head):
        return "a line does not end with CR and LF"
    if _FOLDED.search(head):
        return "a field is folded over two lines"
    if _LONG_NAME.search(head):
        return f"the name of a field is longer than {LONGEST_FIELD_NAME} characters"
    if _BOTH_LENGTHS.match(head):
        return "the body has a length and comes in chunks"
    if head.count(b"\n") > MOST_FIELDS:
        return f"more than {MOST_FIELDS} fields"
    if len(head) > LARGEST_HEAD:
        return f"the head is larger than {LARGEST_HEAD} bytes"
    return ""


class _Handshake:
    """A connection that is not encrypted yet."""

    is_waiting = True

    def __init__(self, line: socket.socket) -> None:
        self.line = line
        self.task: asyncio.Task[None] | None = None

    def abort(self) -> None:
        if self.task is not None:
            self.task.cancel()


class DoorProtocol(H11Protocol):
    """HTTP/1.1 strictly read, on a connection that has a place."""

    def __init__(self, places: Places, place: Place, config: uvicorn.Config, state: ServerState) -> None:
        super().__init__(config=config, server_state=state, app_state={})
        self._places, self._place = places, place
        self._stalled_at = math.inf
        self.app = partial(_in_records, self.app)

    @property
    def is_waiting(self) -> bool:
        is_asking = self._is_answered or self.conn.their_state is not h11.DONE
        return is_asking or self._places.clock() - self._stalled_at >= SECONDS_STALLED

    def abort(self) -> None:
        self.transport.abort()

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as in uvicorn
        super().connection_made(transport)
        transport.set_write_buffer_limits(high=LARGEST_RECORD)
        self._place.line = self
        self._give(SECONDS_TO_ASK)

    def connection_lost(self, exc: Exception | None) -> None:
        self._places.leave(self._place)
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        if self.transport.is_closing():
            return  # what comes after the last answer is read no more
        if self.conn.their_state is h11.IDLE and self._is_idle:
            self._give(SECONDS_TO_ASK)
        super().data_received(data)

    def handle_events(self) -> None:
        asked = self.cycle
        if self.conn.their_state is h11.IDLE and (fault := fault_of_head(self.conn.trailing_data[0])):
            self.send_400_response(fault)
            return
        super().handle_events()
        if self.cycle is not asked:
            self._answer()

    def pause_writing(self) -> None:
        """The other end takes less than is sent."""
        super().pause_writing()
        self._stalled_at = self._places.clock()
        if not self._is_answered:
            self._answer()

    def resume_writing(self) -> None:
        """The other end took all but a little."""
        super().resume_writing()
        self._stalled_at = math.inf
        if not self._is_answered:
            self._answer()

    def on_response_complete(self) -> None:
        is_whole = self.conn.their_state in (h11.DONE, h11.MUST_CLOSE, h11.CLOSED)
        self._place.since = self._places.clock()
        self._give(SECONDS_IDLE if is_whole else SECONDS_TO_FINISH)
        super().on_response_complete()

    def send_400_response(self, msg: str) -> None:
        """Refuse what is no request, in the form every refusal of the protocol has."""
        if self.conn.our_state not in (h11.IDLE, h11.SEND_RESPONSE):
            self.transport.close()  # an answer has begun: nothing can be said any more
            return
        if self.cycle is not None and not self.cycle.response_complete:  # the rest of its body never comes
            self.cycle.disconnected = True
            self.cycle.message_event.set()
        body = json.dumps({"refused": f"this is no HTTP request that is read here: {msg}"}).encode()
        fields = [
            ("Content-Type", "application/json"),
            ("Content-Length", str(len(body))),
            ("Connection", "close"),
        ]
        answer = h11.Response(status_code=400, headers=fields, reason=b"Bad Request")
        for event in (answer, h11.Data(data=body), h11.EndOfMessage()):
            self.transport.write(self.conn.send(event) or b"")
        self.transport.close()

    @property
    def _is_answered(self) -> bool:
        return self.cycle is None or self.cycle.response_complete

    @property
    def _is_idle(self) -> bool:
        """Whether the last request is answered and no byte of the next one was here before."""
        return self.cycle is not None and self.cycle.response_complete and not self.conn.trailing_data[0]

    def _give(self, seconds: float) -> None:
        self._place.due = self._places.clock() + seconds

    def _answer(self) -> None:
        """As long as the answer takes: the application limits how long a body may come, and the other end must take
        what is sent."""
        self._give(SECONDS_TO_TAKE if self.flow.write_paused else math.inf)


async def _in_records(app: Any, scope: Any, receive: Any, send: Any) -> None:
    """An application whose answers go out piece by piece, each once there is room for it."""

    async def send_pieces(message: Any) -> None:
        if message["type"] != "http.response.body":
            await send(message)
            return
        body, has_more = message.get("body", b""), message.get("more_body", False)
        *firsts, last = range(0, len(body), LARGEST_RECORD) or (0,)
        for start in firsts:
            await send({**message, "body": body[start : start + LARGEST_RECORD], "more_body": True})
        await send({**message, "body": body[last:], "more_body": has_more})

    await app(scope, receive, send_pieces)


class Door:
    """Lets connections in from one listening socket."""

    def __init__(
        self, listening: socket.socket, places: Places, tls: ssl.SSLContext | None, protocol: Callable[[Place], Any]
    ) -> None:
        listening.setblocking(False)
        self._listening, self._places, self._tls, self._protocol = listening, places, tls, protocol
        self._loop = asyncio.get_running_loop()
        self._hands: set[asyncio.Task[None]] = set()
        self._task = self._loop.create_task(self._let_in())

    def close(self) -> None:
        """Let nobody in any more."""
        self._task.cancel()
        for task in self._hands:
            task.cancel()

    async def wait_closed(self) -> None:
        """Return once nobody is on the threshold."""
        await asyncio.gather(self._task, *self._hands, return_exceptions=True)

    async def _let_in(self) -> None:
        while True:
            try:
                line, address = await self._loop.sock_accept(self._listening)
            except OSError:  # the caller is gone already, or the system has no handle left
                await asyncio.sleep(_PAUSE)
                continue
            shaking = _Handshake(line)
            place = self._places.take(str(address[0]), shaking)
            if place is None:
                line.close()
                continue
            shaking.task = self._loop.create_task(self._shake_hands(line, place))
            self._hands.add(shaking.task)
            shaking.task.add_done_callback(self._hands.discard)

    async def _shake_hands(self, line: socket.socket, place: Place) -> None:
        try:
            await self._loop.connect_accepted_socket(
                lambda: cast("asyncio.Protocol", self._protocol(place)),
                line,
                ssl=self._tls,
            )
        except OSError as failure:  # no TLS, or too old a one, or gone: nobody is there to be told
            log.debug("no handshake with %s: %s", place.address, failure)
        finally:
            if isinstance(place.line, _Handshake):
                self._places.leave(place)


class DoorServer(uvicorn.Server):
    """A server behind doors.

    config  : loaded
    at_stop : called before it waits for the answers under way
    """

    def __init__(
        self,
        config: uvicorn.Config,
        clock: Callable[[], float] = time.monotonic,
        at_stop: Callable[[], object] = bool,
    ) -> None:
        super().__init__(config)
        self._at_stop = at_stop
        self.places = Places(clock)

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Open a door at each socket, in place of uvicorn's own, which shuts out everybody when it is full."""
        doors = [Door(one, self.places, self.config.ssl, self._protocol) for one in sockets or []]
        self.servers = cast("list[asyncio.Server]", doors)
        self.started = True

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Stop: what would keep an answer waiting is ended first."""
        self._at_stop()
        await super().shutdown(sockets)

    async def on_tick(self, counter: int) -> bool:
        """Ten times a second, as uvicorn calls it."""
        self.places.close_overdue()
        return await super().on_tick(counter)

    def _protocol(self, place: Place) -> DoorProtocol:
        return DoorProtocol(self.places, place, self.config, self.server_state)
