"""The boat's network heard over real sockets of this machine.

[1] Sentences and what they say: tests of https://github.com/adrianmo/go-nmea.
"""

from __future__ import annotations

import itertools
import socket
import threading
import time
import tracemalloc
from collections.abc import Callable, Iterator

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

import form_samples
from garboard.faults import InputError
from garboard.recordings import boat_network
from garboard.recordings.boat_network import BoatNetwork, Sender
from garboard.recordings.bus import MOST_NAMES, BusDecoder
from garboard.recordings.forms import FORMS
from garboard.recordings.links import Link, open_link
from garboard.recordings.nmea0183 import SentenceReader
from garboard.recordings.notes import KEPT_DAMAGED_LINES, KEPT_UNKNOWN_KINDS, ReadingNotes
from garboard.recordings.where import Where, read_where
from garboard.samples import Sample, StreamKey

HDG = b"$HCHDG,98.3,0.0,E,12.6,W*57\r\n"  # [1]: heading 98.3, deviation 0, variation 12.6 west
HDT = b"$HEHDT,341.8,T*21\r\n"
VHW = b"$VWVHW,45.0,T,43.0,M,3.5,N,6.4,K*56\r\n"  # [1]
WRONG = b"$HEROT,-11.23,A*FF\r\n"  # [1]: wrong on purpose
HEADING = StreamKey("heading", "HE", "", "true")


def wait_for(condition: Callable[[], object], seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            raise AssertionError("did not come about")
        time.sleep(0.005)


def free_port(kind: socket.SocketKind = socket.SOCK_DGRAM) -> int:
    with socket.socket(socket.AF_INET, kind) as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
        return port


class Listening:
    """A network at work, everything it gave, and senders to it from addresses of this machine."""

    def __init__(self, where: Where) -> None:
        self.network = BoatNetwork(where, patience=(0.05,))
        self.samples: list[Sample] = []
        self._sockets: dict[str, socket.socket] = {}
        self.network.start()

    def send(self, *datagrams: bytes, sender: str = "127.0.0.1") -> None:
        if sender not in self._sockets:
            self._sockets[sender] = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            self._sockets[sender].bind((sender, 0))
        for datagram in datagrams:
            self._sockets[sender].sendto(datagram, ("127.0.0.1", self.network.where.port))

    def has(self, count: int) -> bool:
        self.samples += self.network.take()
        return len(self.samples) >= count

    def send_until_heard(self) -> None:
        """The thread opens its port some moments after the start."""

        def heard() -> bool:
            self.send(HDT)
            return self.has(1)

        wait_for(heard)
        self.send(b"$HEHDT,1.0,T\r\n")  # the last of them
        wait_for(lambda: self.has(1) and self.samples[-1].value == 1.0)
        self.samples.clear()

    def close(self) -> None:
        self.network.stop()
        for one in self._sockets.values():
            one.close()


@pytest.fixture
def udp() -> Iterator[Listening]:
    listening = Listening(Where(free_port()))
    listening.send_until_heard()
    yield listening
    listening.close()


@pytest.fixture
def gateway() -> Iterator[socket.socket]:
    """A gateway that waits for connections."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(10)
        yield server


@pytest.fixture
def tcp(gateway: socket.socket) -> Iterator[Listening]:
    listening = Listening(Where(gateway.getsockname()[1], "127.0.0.1"))
    yield listening
    listening.close()


def test_what_is_sent_by_udp_is_heard_with_the_values_its_source_states(udp: Listening) -> None:
    udp.send(HDG + VHW)
    wait_for(lambda: udp.has(6))
    found = [(s.quantity, s.value, s.reference, s.source) for s in udp.samples]
    assert found == [
        ("heading", 98.3, "magnetic", "HC"),
        ("deviation", 0.0, "", "HC"),
        ("variation", -12.6, "", "HC"),
        ("heading", 45.0, "true", "VW"),
        ("heading", 43.0, "magnetic", "VW"),
        ("speed_through_water", 3.5, "", "VW"),
    ]
    assert udp.network.trouble() == ""


def test_samples_are_timed_by_their_arrival_however_the_wall_clock_is_set() -> None:
    """The wall clock is looked at once, when listening begins; from then on the monotonic clock counts."""
    clock, wall = [100.0], [1_700_000_000.0]
    network = BoatNetwork(Where(free_port()), now=lambda: clock[0], wall=lambda: wall[0])
    network.start()
    times: set[float] = set()
    try:
        for step in (1.0, 0.25):
            clock[0] += step
            wall[0] -= 86400.0
            heard = len(times)
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
                while len(times) == heard:
                    sender.sendto(HDT, ("127.0.0.1", network.where.port))
                    time.sleep(0.005)
                    times |= {sample.time for sample in network.take()}
    finally:
        network.stop()
    assert sorted(times) == [1_700_000_001.0, 1_700_000_001.25]


def test_a_sentence_with_a_time_is_dated_by_when_it_was_sent_not_by_when_it_got_through() -> None:
    """Positions sent each second, the second held up on its way for 0.7 s; a clock set by an hour is no delay."""
    reader = SentenceReader(ReadingNotes(form="NMEA 0183"), is_live=True)
    sent = [(f"$GPGLL,6005.071,N,01903.345,E,{told}", at) for told, at in _SENT]
    assert [reader.take([line], at)[0].time for line, at in sent] == pytest.approx([60.0, 61.0, 62.0, 63.0, 64.0])


_SENT = (("235958", 60.0), ("235959", 61.7), ("000000", 62.0), ("010001", 63.0), ("010002", 64.0))


def test_no_sample_is_dated_before_one_given_earlier(udp: Listening) -> None:
    """Guides take samples in order: a position that was held up must not be passed over."""
    for second in range(5):
        udp.send(f"$GPGLL,6005.071,N,01903.345,E,09300{second}\r\n".encode(), HDT)
    wait_for(lambda: udp.has(15))
    times = [sample.time for sample in udp.samples]
    assert times == sorted(times)


def test_two_senders_at_once_are_kept_apart_and_told(udp: Listening) -> None:
    udp.send(b"$HEHDT,10.0,T\r\n", sender="127.0.0.2")
    udp.send(HDT)
    wait_for(lambda: udp.has(2))
    assert {s.source for s in udp.samples if s.value == 341.8} == {"HE"}
    assert {s.source for s in udp.samples if s.value == 10.0} == {"HE 127.0.0.2"}
    assert [sender.address for sender in udp.network.senders()] == ["127.0.0.1", "127.0.0.2"]
    assert "2 senders are heard" in udp.network.remarks()[0]


def test_a_wrong_checksum_is_counted_and_gives_no_sample(udp: Listening) -> None:
    udp.send(WRONG, WRONG, HDT)
    wait_for(lambda: udp.has(1))
    assert [sample.quantity for sample in udp.samples] == ["heading"]
    assert udp.network.senders()[0].notes.wrong_checksum == 2
    assert "left out as damaged 2, of these for a wrong checksum 2" in udp.network.remarks()[-1]


def test_a_port_in_use_is_said_and_taken_once_it_is_free() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("", 0))
        listening = Listening(Where(other.getsockname()[1]))
        wait_for(lambda: "in use by another program" in listening.network.trouble())
    listening.send_until_heard()
    assert listening.network.trouble() == ""
    listening.close()


def test_nothing_heard_for_five_seconds_is_said_with_what_to_do() -> None:
    clock = [0.0]
    network = BoatNetwork(Where(free_port()), now=lambda: clock[0])
    network.start()
    assert network.trouble() == ""
    clock[0] = 5.1
    assert network.trouble().startswith(f"Nothing heard on UDP port {network.where.port} for 5 s. See that you are on")
    network.stop()


@pytest.mark.parametrize("said", [b"\xff\x12\r\n", b"$HEHDT,,T\r\n", b"$IIABC,1\r\n", b"\r\n"])
def test_values_that_stop_are_said_though_something_still_comes(said: bytes) -> None:
    at = [0.0]
    network = BoatNetwork(Where(), now=lambda: at[0])
    network.hear(HDT, "127.0.0.1")
    assert network.trouble() == ""
    for second in range(1, 9):
        at[0] = float(second)
        network.hear(said, "127.0.0.1")
    assert "held no value for 8 s" in network.trouble()
    network.hear(HDT, "127.0.0.1")
    assert network.trouble() == ""


def test_a_sentence_cut_anywhere_after_its_tag_block_began_is_one_sentence() -> None:
    whole = b"\\c:1779874200*58\\$HEHDT,341.8,T*21\r\n"
    for cut in range(1, len(whole)):
        sender = Sender("a", True)
        lines = [*sender.lines(whole[:cut]), *sender.lines(whole[cut:])]
        assert [sample.value for line in lines for sample in sender.samples(line, 1.0)] == [341.8]
        assert sender.notes.damaged_count == 0


def test_what_is_no_sentence_is_said_to_be_none(udp: Listening) -> None:
    other = Listening(Where(free_port()))

    def heard() -> bool:
        other.send(b"\x00\x93binary\n")
        return bool(other.network.senders())

    wait_for(heard)
    assert "is not NMEA 0183" in other.network.trouble()
    other.close()


def test_what_comes_by_tcp_is_heard_wherever_it_is_cut(tcp: Listening, gateway: socket.socket) -> None:
    peer, _ = gateway.accept()
    with peer:
        for piece in (b"$HEHD", b"T,341.8,T*2", b"1\r\n$HCHDG,98.3", b",0.0,E,12.6,W*57\r\n"):
            peer.sendall(piece)
            time.sleep(0.02)
        wait_for(lambda: tcp.has(4))
        assert [(s.quantity, s.value) for s in tcp.samples][:2] == [("heading", 341.8), ("heading", 98.3)]
        assert tcp.network.senders()[0].notes.damaged_count == 0


def test_nothing_is_ever_sent_to_the_gateway(tcp: Listening, gateway: socket.socket) -> None:
    peer, _ = gateway.accept()
    with peer:
        peer.sendall(HDT * 50)
        wait_for(lambda: tcp.has(50))
        tcp.network.stop()
        peer.settimeout(10)
        assert peer.recv(100) == b"", "the end of the connection, and nothing before it"


def test_a_lost_connection_is_said_and_made_again_by_itself(tcp: Listening, gateway: socket.socket) -> None:
    """Three times: closed by the gateway, torn in the middle of a sentence, closed again."""
    for number, ending in enumerate((b"", b"$HEHDT,34", b"")):
        peer, _ = gateway.accept()
        with peer:
            peer.sendall(HDT + ending)
            wait_for(lambda n=number: tcp.has(n + 1))  # type: ignore[misc]
    gateway.close()
    wait_for(lambda: "not on port" in tcp.network.trouble())
    assert tcp.network.senders()[0].notes.damaged_count == 0, "half a sentence is not joined to the next connection"


def test_waits_between_tries_grow(monkeypatch: pytest.MonkeyPatch) -> None:
    waits: list[float] = []
    network = BoatNetwork(Where(free_port(socket.SOCK_STREAM), "127.0.0.1"), patience=(1.0, 2.0, 4.0))

    def wait(timeout: float | None = None) -> bool:
        waits.append(timeout or 0.0)
        if len(waits) >= 5:
            network._stopping.set()
        return network._stopping.is_set()

    monkeypatch.setattr(network._stopping, "wait", wait)
    network.start()
    wait_for(lambda: len(waits) >= 5)
    network.stop()
    assert waits[:5] == [1.0, 2.0, 4.0, 4.0, 4.0]


def test_a_mistake_in_a_link_is_said_and_it_is_opened_again(monkeypatch: pytest.MonkeyPatch) -> None:
    tries = list[Where]()

    def mistaken(where: Where) -> Link:
        tries.append(where)
        if len(tries) < 3:
            raise KeyError("no such thing")
        return open_link(where)

    monkeypatch.setattr(boat_network, "open_link", mistaken)
    listening = Listening(Where(free_port()))
    wait_for(lambda: "Trying again" in listening.network.trouble() or len(tries) > 2)
    listening.send_until_heard()
    assert len(tries) == 3
    assert "Trying again" not in listening.network.trouble()
    listening.close()


def test_an_unknown_name_is_said() -> None:
    network = BoatNetwork(Where(10110, "no-such-machine.invalid"), patience=(0.05,))  # RFC 6761: never resolves
    network.start()
    wait_for(lambda: network.trouble() != "", 30)
    assert "no-such-machine.invalid" in network.trouble()
    network.stop()


@pytest.mark.parametrize("host", ["a..b", "a" * 64])
def test_a_name_no_machine_can_have_is_said_and_listening_goes_on(host: str) -> None:
    """RFC 1035, 2.3.4: a label has 1 to 63 octets."""
    network = BoatNetwork(Where(10110, host), patience=(0.05,))
    network.start()
    wait_for(lambda: network.trouble() != "")
    assert network._thread is not None
    assert network._thread.is_alive()
    assert host in network.trouble()
    network.stop()


def test_a_thread_that_was_still_connecting_ends_though_listening_began_again(monkeypatch: pytest.MonkeyPatch) -> None:
    answered, threads = threading.Event(), []

    def connect(*_arguments: object, **_named: object) -> socket.socket:
        threads.append(threading.current_thread())
        answered.wait(120)
        raise TimeoutError

    monkeypatch.setattr(socket, "create_connection", connect)
    network = BoatNetwork(Where(10110, "192.0.2.1"), patience=(0.05,))
    network.start()
    wait_for(lambda: threads)
    network.stop()
    network.start()
    wait_for(lambda: len(threads) == 2)
    answered.set()
    wait_for(lambda: not threads[0].is_alive())
    assert threads[1].is_alive()
    network.stop()


def test_a_flood_is_cut_to_what_an_instrument_network_can_say(
    tcp: Listening, gateway: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody takes the samples, every line is different: memory stays bounded, and the rest is counted."""
    monkeypatch.setattr(boat_network, "MOST_A_SECOND", 1000)  # so that a slow machine is flooded too
    peer, _ = gateway.accept()
    tracemalloc.start()
    with peer:
        for number in range(200):
            peer.sendall(b"".join(b"$%05dXXX,%d*00\r\n$HEHDT,%d,T\r\n" % (number, i, i % 360) for i in range(500)))
        wait_for(lambda: tcp.network.left_out > 100_000, 60)
        peer.sendall(b"x" * 3_000_000)
        time.sleep(0.2)
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        [sender] = tcp.network.senders()
        assert len(sender._rest) <= boat_network.LONGEST_LINE
        assert len(sender.notes.damaged) <= KEPT_DAMAGED_LINES
        assert len(tcp.network.take()) <= boat_network.MOST_WAITING
        assert peak < 20_000_000
        assert "were left out: more than" in tcp.network.remarks()[-1]


@pytest.mark.parametrize("size", [1, 7, 700])
@pytest.mark.parametrize("before", [b"", b"\x10", b"\x02\x10\x03"])
def test_a_gateway_of_bytes_is_known_however_few_come_at_once(size: int, before: bytes) -> None:
    """A serial port gives what has come, a few bytes at a time; nothing of the first message is lost."""
    network = BoatNetwork(Where())
    data = before + form_samples.SAMPLES["gateway"]()[:2000]
    for at in range(0, len(data), size):
        network.hear(data[at : at + size], "a")
    [sender] = network.senders()
    whole = ReadingNotes()
    reader = next(form for form in FORMS if form.key == "gateway").reader(whole, is_live=True)
    reader.feed(data[len(before) :], 0.0)
    assert (sender.notes.samples, sender.notes.lines) == (whole.samples, whole.lines)
    assert (whole.samples > 20, sender.notes.damaged_count) == (True, 0)


LINES = {
    key: form_samples.SAMPLES[key]().splitlines() for key in ("frames_time_of_day", "message_lines", "dump_compact")
}


@pytest.mark.parametrize("turns", [[0] * 40 + [1] * 40 + [2] * 40, [0, 1, 2] * 40])
def test_a_gateway_may_change_its_form_while_one_listens(turns: list[int]) -> None:
    """Somebody tries its settings; or it sends frames and messages in turn."""
    network, each = BoatNetwork(Where()), [iter(lines) for lines in LINES.values()]
    for turn in turns:
        network.hear(next(each[turn]) + b"\r\n", "a")
    [sender] = network.senders()
    assert (sender.notes.lines, sender.notes.damaged_count, sender.notes.damaged) == (120, 0, [])
    alone = 0
    for key, lines in LINES.items():
        network = BoatNetwork(Where())
        network.hear(b"\r\n".join([*lines[:40], b""]), key)
        alone += network.senders()[0].notes.samples
    assert sender.notes.samples == alone


def test_damage_stays_damage() -> None:
    network = BoatNetwork(Where())
    lines = LINES["dump_compact"]
    network.hear(
        b"\r\n".join([*lines[:20], lines[20][:30], b"(1.0) can0 09F1121B#FF9", b"A093000.000 1BFF2", b""]), "a"
    )
    assert network.senders()[0].notes.damaged_count == 3


def test_names_without_end_fill_no_memory() -> None:
    """Of engines over Signal K, and of devices that claim an address they measure from."""
    notes = ReadingNotes()
    deltas = next(form for form in FORMS if form.key == "deltas").reader(notes, is_live=True)
    for number in range(700):
        value = f'{{"path": "propulsion.{number}.revolutions", "value": 10}}'
        deltas.feed(f'{{"updates": [{{"values": [{value}, {value}]}}]}}\n'.encode(), 0.0)
    assert len(notes.kinds) <= KEPT_UNKNOWN_KINDS + 1
    assert sum(notes.kinds.values()) == 1400
    bus = BusDecoder(ReadingNotes())
    for number in range(700):
        bus.take(0.0, "127250", "20", bytes.fromhex("ffbe87ff7fff7ffc"), number, is_whole=True)
        bus.take(0.0, "60928", "20", number.to_bytes(8, "little"), number, is_whole=True)
    assert len(bus._names["20"]) <= MOST_NAMES
    assert len(bus._driven_off) <= MOST_NAMES


def test_sentences_behind_what_begins_as_a_message_of_bytes_are_heard() -> None:
    network = BoatNetwork(Where())
    network.hear(b"\x10\x02", "a")
    for _ in range(5):
        network.hear(HDT, "a")
    assert len(network.take()) >= 4


@pytest.mark.parametrize("flooder", ["a", "b"])
def test_a_flood_from_one_sender_silences_no_other(flooder: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(boat_network, "MOST_A_SECOND", 100)
    now = [0.0]
    network = BoatNetwork(Where(), now=lambda: now[0])
    honest = "b" if flooder == "a" else "a"
    for tick in range(60):
        now[0] = tick / 20
        network.hear(b"$HEHDT,1,T\r\n" * 300, flooder)
        network.hear(b"$HEROT,%d,A\r\n" % tick, honest)
    heard = [round(sample.value * 60) for sample in network.take() if sample.quantity == "rate_of_turn"]
    assert heard == list(range(60))
    lines = {sender.address: sender.notes.lines for sender in network.senders()}
    assert lines[flooder] <= 3 * 101
    assert network.left_out > 17_000


def test_many_senders_and_many_streams_are_bounded(udp: Listening) -> None:
    for number in range(3, 60):
        udp.send(b"$HEHDT,1,T\r\n", sender=f"127.0.0.{number}")
    wait_for(lambda: len(udp.network.senders()) > boat_network.MOST_SENDERS)
    assert udp.network.senders()[-1].address == boat_network.OTHERS
    sender = Sender("a", True)
    for number in range(1000):
        assert list(sender.samples(f"$IIRPM,E,{number},{number},,A", 0.0))
        list(sender.samples(f"$II{number:03d},1", 0.0))
    assert len(sender.latest) == boat_network.MOST_STREAMS
    assert len(sender.notes.unknown) <= KEPT_UNKNOWN_KINDS + 1


@settings(max_examples=60, deadline=None)
@example([b"_[]\r\n"])  # a heading of columns that nobody knows
@example([b"time,x [deg]\r\n", HDG])
@given(st.lists(st.binary(max_size=300) | st.sampled_from([HDT, HDG, WRONG]), max_size=30))
def test_no_bytes_stop_the_reading(chunks: list[bytes]) -> None:
    """Whatever came before, a whole sentence on a line of its own is read."""
    seconds = itertools.count()
    network = BoatNetwork(Where(), now=lambda: float(next(seconds)))
    for chunk in chunks:
        network.hear(chunk, "a")
    network.take()
    network.hear(b"\r\n" + HDT, "a")
    assert network.take()[-1].value == 341.8
    [sender] = network.senders()
    assert sender.latest[HEADING].value == 341.8


@pytest.mark.parametrize(
    "said", [b"a [b]", b"time,foo [bar]", b'time;"x [deg]', b"time,heading [deg],heading [deg]", b"time [s]"]
)
def test_a_heading_nobody_knows_ends_no_hearing(udp: Listening, said: bytes) -> None:
    """One datagram of it ended the thread that listens, without a word."""
    udp.send(said + b"\r\n", HDT)
    udp.send(HDG, sender="127.0.0.2")
    wait_for(lambda: udp.has(2))
    assert {sample.quantity for sample in udp.samples} >= {"heading"}
    [sender, _] = udp.network.senders()
    assert sender.notes.damaged_count == 1


def test_a_mistake_in_reading_ends_no_hearing(monkeypatch: pytest.MonkeyPatch) -> None:
    network = BoatNetwork(Where())
    monkeypatch.setattr(Sender, "of_bytes", lambda *_: 1 / 0)
    network.hear(HDT, "a")
    monkeypatch.undo()
    network.hear(HDT, "a")
    assert [sample.value for sample in network.take()] == [341.8]
    assert network.senders()[0].notes.damaged_count == 1


def test_sentences_without_line_ends_are_each_heard_at_once(udp: Listening) -> None:
    udp.send(HDT.strip())
    wait_for(lambda: udp.has(1))
    udp.send(b"$HEHDT,12.0,T", b"$HEHDT,13.0,T")  # without checksum either: the first is whole when the next begins
    wait_for(lambda: udp.has(2))
    assert udp.samples[-1].value == 12.0


def test_listening_can_be_ended_and_begun_again_on_the_same_port(udp: Listening) -> None:
    udp.network.stop()
    udp.network.start()
    udp.send_until_heard()
    assert udp.network.trouble() == ""


@pytest.mark.parametrize(
    "text", ["", "0", "65536", "123456789", "192.168.4.1:0", "a b", "x:y:z", ":10110", "²", "0010110"]
)
def test_where_cannot_be_just_anything(text: str) -> None:
    with pytest.raises(InputError, match=r"192\.168\.4\.1:10110"):
        read_where(text)


@pytest.mark.parametrize(
    ("text", "where"),
    [
        (" 2000 ", Where(2000)),
        ("192.168.4.1:2000", Where(2000, "192.168.4.1")),
        ("Gateway.local", Where(10110, "gateway.local")),
        ("[fe80::1%wlan0]:2000", Where(2000, "fe80::1%wlan0")),
    ],
)
def test_where_is_read_as_typed_and_written_so_that_it_reads_the_same(text: str, where: Where) -> None:
    assert read_where(text) == where
    assert read_where(str(where)) == where
