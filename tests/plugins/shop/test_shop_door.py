"""The door of the server: no stranger closes it to the others, and nobody stands in it for long.

The addresses are those of the loopback network, 127.0.0.0/8 (RFC 6890): one machine is many callers.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import socket
import ssl
import threading
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator

import attrs
import pytest
import uvicorn
from uvicorn.server import ServerState

from campaigns.strangers_campaign import mangle
from garboard_shop import serve
from garboard_shop.door import (
    LARGEST_HEAD,
    LARGEST_RECORD,
    LONGEST_FIELD_NAME,
    MOST_FIELDS,
    SECONDS_IDLE,
    SECONDS_STALLED,
    SECONDS_TO_ASK,
    SECONDS_TO_TAKE,
    DoorProtocol,
    Place,
    Places,
    fault_of_head,
)
from shop_rig import RunningShop, ask_raw, believing, server_log

STRANGER, TABLET = "127.0.0.66", "127.0.0.7"
ASKED = b"GET /versions HTTP/1.1\r\nHost: x\r\n\r\n"
HALF = b"GET /versions HTTP/1.1\r\nHost: x\r\n"
FEW, FEWER = 12, 6


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningShop]:
    """One server with few places; whatever a test does to it, it goes on and logs no failure of its own."""
    with RunningShop(tmp_path_factory.mktemp("door")) as running, server_log() as failures:
        running.places.most, running.places.most_from_one = FEW, FEWER
        yield running
        assert [(record.getMessage(), record.exc_info) for record in failures] == []


@pytest.fixture(autouse=True)
def empty_after(shop: RunningShop) -> Iterator[None]:
    yield
    wait_for(shop, 0)


def wait_for(shop: RunningShop, places: int, address: str = "") -> None:
    """Return once so many places are taken; those left over are let go by letting time pass.

    It asks the server nothing: the place of its own question would be counted."""
    for _ in range(2000):
        if (shop.places.of(address) if address else len(shop.places)) == places:
            return
        if not places:
            shop.later(SECONDS_IDLE + 1)
        time.sleep(0.01)
    raise AssertionError(f"{len(shop.places)} places are taken, not {places}")


def knock(shop: RunningShop, address: str) -> socket.socket:
    """A connection that has said nothing yet, not even hello."""
    return socket.create_connection(("127.0.0.1", shop.port), timeout=120, source_address=(address, 0))


def come_in(shop: RunningShop, address: str, said: bytes = b"") -> ssl.SSLSocket:
    """A connection past the handshake."""
    line = believing().wrap_socket(knock(shop, address))
    if said:
        line.sendall(said)
    return line


def is_closed(line: socket.socket) -> bool:
    """Whether the other end closed a connection that owed no answer."""
    try:
        return line.recv(1) == b""
    except (ConnectionError, ssl.SSLError):
        return True


# Who gets a place


@attrs.define(eq=False)
class Somebody:
    """A connection as the places see it."""

    is_waiting: bool = True
    gone: bool = False

    def abort(self) -> None:
        self.gone = True


def test_a_full_address_loses_its_oldest_silent_connection_and_no_other_address_any() -> None:
    places = Places(lambda: 0.0, most=100, most_from_one=3)
    mine, theirs = [Somebody() for _ in range(4)], Somebody()
    places.take("tablet", theirs)
    for one in mine:
        assert places.take("stranger", one)
    assert [one.gone for one in mine] == [True, False, False, False]
    assert not theirs.gone
    assert (places.of("stranger"), len(places)) == (3, 4)


def test_a_connection_that_is_answered_keeps_its_place_and_the_newcomer_gets_none() -> None:
    places = Places(lambda: 0.0, most=100, most_from_one=2)
    busy = [Somebody(is_waiting=False) for _ in range(2)]
    assert all(places.take("stranger", one) for one in busy)
    assert places.take("stranger", Somebody()) is None
    assert places.take("tablet", Somebody()) is not None
    assert not any(one.gone for one in busy)


def test_a_full_house_loses_whoever_has_waited_longest_and_never_one_that_is_answered() -> None:
    """A stranger with many addresses: the newest always comes in, what is answered goes on, and so does a tablet
    between two of its requests: it has not waited long."""
    now = [0.0]
    places = Places(lambda: now[0], most=50, most_from_one=3)
    busy, tablet = Somebody(is_waiting=False), Somebody()
    places.take("tablet", busy)
    place = places.take("another tablet", tablet)
    assert place is not None
    crowd = [Somebody() for _ in range(300)]
    for number, one in enumerate(crowd):
        now[0] += 0.01
        assert places.take(f"stranger {number}", one)
        if number % 40 == 0:
            place.since = now[0]  # it was answered
    assert not busy.gone
    assert not tablet.gone
    assert [one.gone for one in crowd] == [True] * 252 + [False] * 48


def test_a_place_is_given_back_once_and_overdue_ones_are_closed() -> None:
    now = [0.0]
    places = Places(lambda: now[0], most=9, most_from_one=9)
    first, second = Somebody(), Somebody()
    place = places.take("a", first)
    assert isinstance(place, Place)
    now[0] = SECONDS_TO_ASK - 1
    places.take("a", second)
    assert places.close_overdue() == 0
    now[0] = SECONDS_TO_ASK
    assert places.close_overdue() == 1
    assert (first.gone, second.gone, len(places)) == (True, False, 1)
    places.leave(place)
    assert (len(places), places.of("a")) == (1, 1)


class FarEnd(asyncio.Transport):
    """The other end of a connection, and how much of what is sent it takes."""

    def __init__(self, line: DoorProtocol) -> None:
        super().__init__()
        self.line, self.unsent, self.taken, self.high = line, 0, 0, 1 << 19  # as asyncio sets it for TLS
        self.is_stopped = False

    def set_write_buffer_limits(self, high: int | None = None, low: int | None = None) -> None:
        self.high = high if high is not None else self.high

    def write(self, data: bytes | bytearray | memoryview) -> None:
        self.unsent += len(data)
        if self.unsent > self.high and not self.is_stopped:
            self.is_stopped = True
            self.line.pause_writing()

    def take(self) -> None:
        self.taken, self.unsent = self.taken + self.unsent, 0
        if self.is_stopped:
            self.is_stopped = False
            self.line.resume_writing()

    def is_closing(self) -> bool:
        return False

    def close(self) -> None:
        """Nothing more comes."""

    def get_extra_info(self, name: str, default: object = None) -> object:
        return default

    def pause_reading(self) -> None:
        """What is asked meanwhile waits."""

    def resume_reading(self) -> None:
        """What was asked meanwhile is heard."""


LARGE = 1 << 20


@contextlib.asynccontextmanager
async def large_answers(clock: Callable[[], float], asked: bytes) -> AsyncIterator[tuple[FarEnd, Place]]:
    """A connection whose every request is answered with a large body, each made in no time."""

    async def app(scope: object, receive: object, send: Callable[[object], Awaitable[None]]) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"%d" % LARGE)]})
        await send({"type": "http.response.body", "body": bytes(LARGE)})

    config = uvicorn.Config(app, ws="none", lifespan="off", log_level="error", timeout_keep_alive=3600)
    config.load()
    places = Places(clock)
    place = places.take(STRANGER, Somebody())
    assert place is not None
    line = DoorProtocol(places, place, config, ServerState())
    far = FarEnd(line)
    line.connection_made(far)
    line.data_received(asked)
    await settled()
    try:
        yield far, place
    finally:
        line.connection_lost(None)
        await settled()


async def settled() -> None:
    for _ in range(4):
        await asyncio.sleep(0)


def test_who_takes_nothing_of_an_answer_loses_its_place() -> None:
    """Even behind answers that are asked for together: little waits here, then the place is another's, then closed."""

    async def run() -> None:
        now = [0.0]
        async with large_answers(lambda: now[0], ASKED * 4) as (far, place):
            assert far.unsent <= 3 * LARGEST_RECORD
            assert (place.line.is_waiting, place.due) == (False, SECONDS_TO_TAKE)
            now[0] = SECONDS_STALLED
            assert place.line.is_waiting
            while far.taken < LARGE:
                far.take()
                await settled()
            assert (place.line.is_waiting, place.due) == (False, SECONDS_STALLED + SECONDS_TO_TAKE)

    asyncio.run(run())


def test_who_takes_an_answer_slowly_keeps_the_place_until_all_of_it_is_taken() -> None:
    async def run() -> None:
        now = [0.0]
        async with large_answers(lambda: now[0], ASKED) as (far, place):
            assert far.unsent < LARGE
            while far.taken + far.unsent < LARGE:
                now[0] += SECONDS_STALLED - 1
                assert not place.line.is_waiting
                assert place.due > now[0]
                far.take()
                await settled()
            assert now[0] > 3 * SECONDS_TO_TAKE
            assert (place.line.is_waiting, place.due) == (True, now[0] + SECONDS_IDLE)

    asyncio.run(run())


# On the wire


@pytest.mark.parametrize("how", ["no handshake", "half a hello", "silent after the handshake", "half a request"])
def test_one_address_cannot_close_the_shop(shop: RunningShop, how: str) -> None:
    """Twice as many connections as there are places, all left half-open."""
    with contextlib.ExitStack() as stack:
        for _ in range(FEW * 2):
            if how in ("no handshake", "half a hello"):
                line = stack.enter_context(knock(shop, STRANGER))
                if how == "half a hello":
                    line.sendall(b"\x16\x03\x01\x02\x00\x01\x00")
            else:
                stack.enter_context(come_in(shop, STRANGER, HALF if how == "half a request" else b""))
        for address in (TABLET, TABLET, STRANGER):
            assert ask_raw(shop.port, "GET", "/versions", source=address).status == 200
        assert shop.places.of(STRANGER) <= FEWER


def test_many_addresses_cannot_close_the_shop_either(shop: RunningShop) -> None:
    with contextlib.ExitStack() as stack:
        for number in range(FEW * 2):
            stack.enter_context(come_in(shop, f"127.0.1.{number + 1}", HALF))
        for _ in range(3):
            assert ask_raw(shop.port, "GET", "/versions", source=TABLET).status == 200


def test_a_slow_body_gives_its_place_to_the_next(shop: RunningShop) -> None:
    """A pairing request whose body never ends is no reason to shut the others out."""
    begun = b"POST /v1/pair HTTP/1.1\r\nHost: x\r\nContent-Length: 4000\r\n\r\n{"
    with contextlib.ExitStack() as stack:
        for number in range(FEW * 2):
            stack.enter_context(come_in(shop, f"127.0.1.{number + 1}", begun))
        assert ask_raw(shop.port, "GET", "/versions", source=TABLET).status == 200


@pytest.mark.parametrize(
    ("said", "seconds"),
    [
        (None, SECONDS_TO_ASK),
        (b"", SECONDS_TO_ASK),
        (HALF, SECONDS_TO_ASK),
        (ASKED, SECONDS_IDLE),
        (ASKED + b"GET", SECONDS_IDLE),
        (b"POST /nowhere HTTP/1.1\r\nHost: x\r\nContent-Length: 4000\r\n\r\n{", SECONDS_IDLE),
    ],
)
def test_who_never_finishes_asking_is_shown_out(shop: RunningShop, said: bytes | None, seconds: float) -> None:
    """Before the handshake, silent, in the head, after an answer, in the second head, in a body nobody reads."""
    with knock(shop, STRANGER) if said is None else come_in(shop, STRANGER, said) as line:
        wait_for(shop, 1, STRANGER)
        line.settimeout(0.05)
        for _ in range(100):  # what was said may still be on its way when the first time is over
            shop.later(seconds + 1)
            with contextlib.suppress(TimeoutError):
                while not is_closed(line):
                    pass
                return
    raise AssertionError("the connection is still open")


def test_one_byte_at_a_time_does_not_stretch_the_time(shop: RunningShop) -> None:
    """Slow, not silent: the time for a head does not begin anew with each byte."""
    with come_in(shop, STRANGER, HALF) as line:
        wait_for(shop, 1, STRANGER)
        line.settimeout(0.05)
        for _ in range(100):
            shop.later(SECONDS_TO_ASK / 2 + 1)
            with contextlib.suppress(TimeoutError, OSError):
                line.sendall(b"X")
                if is_closed(line):
                    return
    raise AssertionError("the connection is still open")


# What is read

HEAD = b"POST /v1/pair HTTP/1.1\r\nHost: x\r\n"
HEADS = {
    "a folded field": b"GET /versions HTTP/1.1\r\nHost: x\r\nX-A: one\r\n two\r\n\r\n",
    "a field folded with a tab": b"GET /versions HTTP/1.1\r\nHost: x\r\nX-A: one\r\n\ttwo\r\n\r\n",
    "bare line feeds": b"GET /versions HTTP/1.1\nHost: x\n\n",
    "one bare line feed": b"GET /versions HTTP/1.1\r\nHost: x\nX-A: b\r\n\r\n",
    "a bare line feed that ends the head": b"GET /versions HTTP/1.1\r\nHost: x\r\n\n",
    "a bare carriage return": b"GET /versions HTTP/1.1\r\nHost: x\r\nX-A: b\rX-B: c\r\n\r\n",
    "a name too long": b"GET /versions HTTP/1.1\r\nHost: x\r\n" + b"X" * (LONGEST_FIELD_NAME + 1) + b": b\r\n\r\n",
    "too many fields": b"GET /versions HTTP/1.1\r\nHost: x\r\n" + b"X: y\r\n" * MOST_FIELDS + b"\r\n",
    "a head too large": b"GET /versions HTTP/1.1\r\nHost: x\r\nX: " + b"y" * LARGEST_HEAD + b"\r\n\r\n",
    "no host": b"GET /versions HTTP/1.1\r\n\r\n",
    "two hosts": b"GET /versions HTTP/1.1\r\nHost: x\r\nHost: y\r\n\r\n",
    "a space before the colon": b"GET /versions HTTP/1.1\r\nHost : x\r\n\r\n",
    "a zero in a value": b"GET /versions HTTP/1.1\r\nHost: x\r\nX-A: \x00\r\n\r\n",
    "a length twice": HEAD + b"Content-Length: 2\r\nContent-Length: 3\r\n\r\n{}",
    "a length that is no number": HEAD + b"Content-Length: +2\r\n\r\n{}",
    "a length below nothing": HEAD + b"Content-Length: -2\r\n\r\n{}",
    "a length of many digits": HEAD + b"Content-Length: " + b"9" * 40 + b"\r\n\r\n{}",
    "a length and chunks": HEAD + b"Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n2\r\n{}\r\n0\r\n\r\n",
    "chunks and a length": HEAD + b"transfer-encoding: chunked\r\ncontent-length: 0\r\n\r\n2\r\n{}\r\n0\r\n\r\n",
    "an unknown transfer": HEAD + b"Transfer-Encoding: gzip, chunked\r\n\r\n0\r\n\r\n",
    "a chunk that is no number": HEAD + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n",
    "a chunk that ends with a bare line feed": HEAD + b"Transfer-Encoding: chunked\r\n\r\n2\n{}\n0\n\n",
    "a chunk longer than it says": HEAD + b"Transfer-Encoding: chunked\r\n\r\n1\r\n{}\r\n0\r\n\r\n",
    "a bad chunk after the answer": b"POST /nowhere HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
}


def heard(line: ssl.SSLSocket) -> bytes:
    """Everything until the other end closes."""
    found = b""
    with contextlib.suppress(ConnectionError, ssl.SSLError):
        while more := line.recv(65536):
            found += more
    return found


@pytest.mark.parametrize("said", HEADS.values(), ids=HEADS.keys())
def test_what_is_no_strict_request_is_refused_in_one_answer_and_closed(shop: RunningShop, said: bytes) -> None:
    """And what stands behind it is not read as another request."""
    with come_in(shop, STRANGER, said + ASKED) as line:
        answer = heard(line)
    assert answer.count(b"HTTP/1.1 ") <= 1
    status, body = answer.split(b"\r\n", 1)[0], answer.partition(b"\r\n\r\n")[2]
    assert status[:12] in (b"HTTP/1.1 400", b"HTTP/1.1 413", b"HTTP/1.1 404", b"")
    if status.startswith(b"HTTP/1.1 400"):
        assert json.loads(body).keys() == {"refused"}
    assert ask_raw(shop.port, "GET", "/versions", source=TABLET).status == 200


@pytest.mark.parametrize(
    "head",
    [
        ASKED,
        b"GET /versions HTTP/1.1\r\nHost: x\r\n" + b"X" * LONGEST_FIELD_NAME + b": b\r\n\r\n",
        b"GET /versions HTTP/1.1\r\nHost: x\r\nX-A:   a  b\t c  \r\n\r\n",
        b"GET /versions HTTP/1.1\r\nhOST: x\r\nX-A:\r\n\r\n",
        b"GET /versions HTTP/1.1\r\nHost: x\r\nContent-Length: 0\r\n\r\n",
        b"GET /versions HTTP/1.1\r\nHost: x\r\n" + b"X: y\r\n" * (MOST_FIELDS - 2) + b"\r\n",
    ],
)
def test_what_is_strict_and_only_unusual_is_read(shop: RunningShop, head: bytes) -> None:
    with come_in(shop, STRANGER, head) as line:
        assert line.recv(12) == b"HTTP/1.1 200"
    for cut in range(0, len(head), 7):
        assert fault_of_head(head[:cut]) == ""


def test_mangled_requests_are_answered_in_one_way_or_another_and_break_nothing(shop: RunningShop) -> None:
    """Requests with bytes changed, left out and put in, by a fixed seed; the campaign sends thousands."""
    tally = mangle(shop, 40)
    print(tally)
    assert tally.faults == []
    assert tally.asked == 40
    assert {400, 401} <= set(tally.statuses)


def test_requests_sent_together_are_answered_in_turn_and_each_head_is_read_strictly(shop: RunningShop) -> None:
    with come_in(shop, STRANGER, ASKED * 2 + HEADS["a folded field"] + ASKED) as line:
        answer = heard(line)
    assert [part[:3] for part in answer.split(b"HTTP/1.1 ")[1:]] == [b"200", b"200", b"400"]


def test_a_body_may_hold_whatever_it_likes(shop: RunningShop) -> None:
    """Bare line feeds and folds are faults of heads alone: an entry's line ends with a line feed."""
    body = b"{}\n\n \n\tfolded"
    asked = HEAD + b"Connection: close\r\nContent-Length: %d\r\n\r\n" % len(body) + body
    with come_in(shop, STRANGER, asked) as line:
        assert b"Content-Digest" in heard(line)  # the protocol's refusal: the body came and was read


def test_a_server_stops_by_its_own_way_and_first_ends_what_would_keep_answers_waiting(shop: RunningShop) -> None:
    """The rig's servers stop in a quicker way of their own."""
    stops: list[bool] = []
    listening = serve.listen("127.0.0.1", 0)
    at = listening.getsockname()
    server = serve.server_of(shop.app, shop.certificate, at_stop=lambda: stops.append(bool(server.servers)))
    running = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    running.start()
    with believing().wrap_socket(socket.create_connection(at, timeout=60)) as line:
        line.sendall(ASKED)
        assert line.recv(12).startswith(b"HTTP/1.1 200")
        server.should_exit = server.force_exit = True
        running.join(60)
        assert not running.is_alive()
    assert stops == [True]
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(at, timeout=60)
