"""Every way bytes come from a boat's network, over real sockets of this machine, from the simulated network."""

from __future__ import annotations

import ast
import json
import os
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import attrs
import pytest

from garboard.recordings import links, load_recording
from garboard.recordings.boat_network import BoatNetwork
from garboard.recordings.bus import of_identifier
from garboard.recordings.links import GROUP_HEADER, LinkLost, open_link
from garboard.recordings.simulated_network import DEVICES, MARK_LINE, SLOW, SimulatedNetwork, can_frames
from garboard.recordings.where import Way, Where, read_where
from garboard.samples import SIMULATED, Sample

HDT = b"$HEHDT,341.8,T*21\r\n"


def wait_for(condition: Callable[[], object], seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            raise AssertionError("did not come about")
        time.sleep(0.002)


@attrs.define(eq=False)
class Rig:
    """The simulated boat, and whoever listens to it in a test."""

    boat: SimulatedNetwork
    listening: list[BoatNetwork] = attrs.field(factory=list)

    def where(self, form: str) -> Where:
        return Where(self.boat.ports[form], "127.0.0.1", Way.SIGNAL_K if form == "signalk" else Way.CONNECT)

    def listen(self, where: Where) -> BoatNetwork:
        network = BoatNetwork(where, patience=(0.02,))
        network.start()
        self.listening.append(network)
        return network

    def connected(self, form: str, count: int = 1) -> bool:
        self.boat.look()
        return self.boat.listeners(form) == count


@pytest.fixture(scope="module")
def boat() -> Iterator[SimulatedNetwork]:
    network = SimulatedNetwork(start=1_700_000_000.0, rate=2.0)
    yield network
    network.close()


@pytest.fixture
def rig(boat: SimulatedNetwork) -> Iterator[Rig]:
    rig = Rig(boat)
    yield rig
    for one in rig.listening:
        one.stop()
    boat.drop()


def heard_from(network: BoatNetwork, count: int = 1) -> list[Sample]:
    samples: list[Sample] = []

    def enough() -> bool:
        samples.extend(network.take())
        return len(samples) >= count

    wait_for(enough)
    return samples


def test_the_simulated_boat_is_heard_and_says_of_itself_that_nobody_measured_it(rig: Rig) -> None:
    network = rig.listen(rig.where("nmea0183"))
    wait_for(lambda: rig.connected("nmea0183"))
    truth = rig.boat.advance(1.0)
    samples = heard_from(network, 10)
    assert all(sample.source.startswith(SIMULATED) for sample in samples)
    assert network.is_simulated
    shown = {(s.quantity, s.instance): s.value for s in samples if s.quantity == "engine_speed"}
    known = {(s.quantity, s.instance): s.value for s in truth if s.quantity == "engine_speed"}
    assert shown == pytest.approx(known, abs=0.001)
    assert network.state().word == "connected"


def test_the_mark_of_one_connection_holds_for_all_that_follows() -> None:
    """A gateway that sends on what a simulator says may lose some of its lines."""
    network = BoatNetwork(Where())
    network.hear(HDT, "a")
    assert [sample.source for sample in network.take()] == ["HE"]
    network.hear(f"{MARK_LINE}\r\n".encode() + HDT, "b")
    network.hear(HDT, "b")
    network.hear(HDT, "a")
    assert [sample.source for sample in network.take()] == [f"{SIMULATED} HE b"] * 2 + ["HE"]


def test_a_signal_k_server_is_heard_and_hears_only_what_the_protocol_needs(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent: list[bytes] = []
    say = links.SignalKLink._say

    def noted(link: links.SignalKLink) -> None:
        waiting = link._protocol.data_to_send()
        sent.extend(waiting)
        monkeypatch.setattr(link._protocol, "data_to_send", lambda: waiting)
        say(link)
        monkeypatch.undo()
        monkeypatch.setattr(links.SignalKLink, "_say", noted)

    monkeypatch.setattr(links.SignalKLink, "_say", noted)
    wake, woken = socket.socketpair()
    with wake, woken:
        link = open_link(rig.where("signalk"))
        wait_for(lambda: rig.connected("signalk"))
        assert link.wait(woken, 5.0) == []  # the server's answer to the handshake
        rig.boat.advance(0.5)
        [one] = [ear for ear in rig.boat._listeners if ear.form == "signalk"]
        assert one.protocol is not None
        one.protocol.send_ping(b"there?")
        rig.boat.send_raw("signalk", b"".join(one.protocol.data_to_send()))
        messages: list[dict[str, object]] = []
        while len(sent) < 2:
            messages += [json.loads(data) for data, _ in link.wait(woken, 5.0) or ()]
        link.close()
    assert messages[0]["self"] == "vessels.self"
    assert any("updates" in message for message in messages)
    assert sent[0].startswith(b"GET /signalk/v1/stream?subscribe=self HTTP/1.1\r\n")
    assert sent[1][0] == 0x8A, "a pong [RFC 6455, 5.2]"
    assert all(data[:1] in (b"\x88", b"") for data in sent[2:]), "the closing, and nothing else"


def test_what_is_no_signal_k_server_is_said_with_what_to_do() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        link = open_link(Where(server.getsockname()[1], "127.0.0.1", Way.SIGNAL_K))
        peer, _ = server.accept()
        wake, woken = socket.socketpair()
        with peer, wake, woken:
            peer.sendall(b"HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\n\r\n")
            with pytest.raises(LinkLost, match="is no Signal K server"):
                link.wait(woken, 5.0)
        link.close()


def test_a_group_is_joined_and_its_header_taken_off() -> None:
    """IEC 61162-450: the six bytes before the sentences; pieces of files that go to groups are let pass."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    where = read_where(f"239.192.0.1:{port}")
    assert where.way is Way.GROUP
    try:
        link = open_link(where)
    except OSError as failure:
        pytest.skip(f"no group can be joined on this machine: {failure}")
    wake, woken = socket.socketpair()
    tagged = b"\\s:HE0001,n:1*3D\\" + HDT
    with wake, woken, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for data in (b"RaUdP\0" + bytes(20), GROUP_HEADER + tagged, HDT):
            sender.sendto(data, ("127.0.0.1", port))
        came = [link.wait(woken, 5.0) for _ in range(3)]
    link.close()
    assert came == [[], [(tagged, "127.0.0.1")], [(HDT, "127.0.0.1")]]


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no serial port can be played on this system")
def test_a_serial_port_is_heard_and_found_again(rig: Rig) -> None:
    pytest.importorskip("serial")
    master, slave = os.openpty()
    network = rig.listen(read_where(f"{os.ttyname(slave)}@4800"))
    wait_for(lambda: network.state().is_open)
    os.write(master, HDT)
    assert heard_from(network)[0].value == 341.8
    os.set_blocking(master, False)
    with pytest.raises(BlockingIOError):
        os.read(master, 100)  # nothing was sent
    os.close(slave)
    os.close(master)
    wait_for(lambda: "Plug" in network.trouble())
    assert network.state().word == "connecting again"


def test_a_serial_port_that_is_not_there_is_said() -> None:
    pytest.importorskip("serial")
    with pytest.raises(LinkLost, match="Plug the gateway in"):
        open_link(read_where("/dev/no-such-port"))


def test_a_connection_cut_in_the_middle_is_made_again_and_says_so_meanwhile(rig: Rig) -> None:
    network = rig.listen(rig.where("nmea0183"))
    for _ in range(2):
        wait_for(lambda: rig.connected("nmea0183"))
        rig.boat.send_raw("nmea0183", HDT + b"$HEHDT,34")
        assert heard_from(network)[0].value == 341.8
        rig.boat.drop()
    wait_for(lambda: rig.connected("nmea0183"))
    assert network.state().damaged == 0.0, "half a sentence is no damage: the connection is"


def test_the_share_of_damaged_lines_is_told() -> None:
    at = [0.0]
    network = BoatNetwork(Where(), now=lambda: at[0])
    network.hear(HDT * 3 + b"$HEHDT,341.8,T*FF\r\n", "a")
    assert network.state().damaged == 0.25
    at[0] = 6.0
    assert network.state().is_stale


SENDS = frozenset({"send", "sendall", "sendto", "sendmsg", "write", "sendfile", "send_text", "send_binary"})


def test_nothing_that_listens_can_send() -> None:
    """Among all that hears the boat's network one call sends, and it sends what the WebSocket's protocol asks for."""
    found = []
    for name in ("links.py", "boat_network.py", "nmea0183.py", "nmea2000.py", "where.py"):
        tree = ast.parse((Path(links.__file__).parent / name).read_text(encoding="utf-8"))
        for place in ast.walk(tree):
            if isinstance(place, ast.FunctionDef):
                calls = [one.func for one in ast.walk(place) if isinstance(one, ast.Call)]
                found += [f"{name} {place.name}" for c in calls if isinstance(c, ast.Attribute) and c.attr in SENDS]
    assert found == ["links.py _say"]


@pytest.mark.parametrize("form", ["can", "signalk", "nmea0183"])
def test_every_form_the_simulated_boat_serves_is_read_and_marked(rig: Rig, form: str, tmp_path: Path) -> None:
    """Live, and from a file that somebody kept of what was sent: neither is a measurement."""
    network = rig.listen(rig.where(form))
    wait_for(lambda: rig.connected(form))
    truth = rig.boat.advance(1.0)
    samples = heard_from(network, 8 if form == "nmea0183" else 20)
    assert all(sample.source.startswith(SIMULATED) for sample in samples)
    named = {"port": "0", "starboard": "1"}  # as Signal K servers call engines
    shown = {(s.quantity, named.get(s.instance, s.instance)): s.value for s in samples if s.quantity == "engine_speed"}
    known = {(s.quantity, s.instance): s.value for s in truth if s.quantity == "engine_speed"}
    assert shown == pytest.approx(known, abs=0.2)
    assert network.trouble() == ""
    if form != "nmea0183":
        seldom = {s.quantity: s.value for s in samples if s.quantity in SLOW}
        assert seldom == pytest.approx({s.quantity: s.value for s in truth if s.quantity in SLOW}, abs=0.02)
    kept = tmp_path / "kept.log"
    kept.write_text("\n".join(rig.boat._lines(form, truth)))
    recording, _ = load_recording(kept)
    assert recording.is_simulated


@pytest.mark.parametrize("turned", ["comments out", "comma lines", "frames with the time of day"])
def test_the_mark_goes_through_what_turns_a_log_into_another_form(rig: Rig, turned: str, tmp_path: Path) -> None:
    lines = [line for line in rig.boat._lines("can", rig.boat.advance(1.0)) if line[0] != "#"]
    if turned != "comments out":
        parts = [line.split()[-1].split("#") for line in lines]
        frames = [(int(identifier, 16), bytes.fromhex(data)) for identifier, data in parts]
        lines = [
            f"2026-05-04T09:30:00Z,2,{of_identifier(of)[0]},{of & 255},255,{len(data)},{data.hex(',')}"
            if turned == "comma lines"
            else f"09:30:00.000 R {of:08X} {data.hex(' ')}"
            for of, data in frames
        ]
    kept = tmp_path / "kept.log"
    kept.write_text("\n".join(lines))
    recording, _ = load_recording(kept)
    assert recording.streams
    assert all(key.source.startswith(SIMULATED) for key in recording.streams)
    network = BoatNetwork(Where())
    network.hear("\r\n".join([*lines, ""]).encode(), "a")
    assert network.is_simulated
    assert all(sample.source.startswith(SIMULATED) for sample in network.take())


def test_devices_introduce_themselves_on_the_simulated_network(rig: Rig) -> None:
    network = rig.listen(rig.where("can"))
    wait_for(lambda: rig.connected("can"))
    rig.boat.advance(1.0)
    heard_from(network)
    [sender] = network.senders()
    assert network.devices()[f"{SIMULATED} 10"][0] == "Simulated engines"
    assert set(sender.notes.claims) == {str(device.address) for device in DEVICES}
    assert sender.notes.damaged_count == 0


def test_frames_cut_in_the_middle_of_a_message_invent_nothing(rig: Rig) -> None:
    """The connection ends between two frames of one message: what comes after it is no part of it."""
    frames = list(
        can_frames([Sample(1.7e9, "fuel_flow", 40.0, "10", "0"), Sample(1.7e9, "oil_pressure", 300.0, "10", "0")])
    )
    assert len(frames) > 2
    network = rig.listen(rig.where("can"))
    wait_for(lambda: rig.connected("can"))
    rig.boat.send_raw("can", "\n".join([*frames[:1], frames[1][:25]]).encode())
    wait_for(lambda: network.senders())
    rig.boat.drop()
    wait_for(lambda: rig.connected("can"))
    rig.boat.send_raw("can", ("\n".join([*frames[2:], *frames]) + "\n").encode())
    samples = heard_from(network, 2)
    assert {sample.quantity: round(sample.value, 1) for sample in samples} == {"fuel_flow": 40.0, "oil_pressure": 300.0}


def test_two_gateways_of_one_network_are_kept_apart() -> None:
    """Both send the same engine: two sources, each whole; nothing is joined from frames of both."""
    frames = [f"{frame}\n".encode() for frame in can_frames([Sample(0.0, "fuel_flow", 40.0, "10", "0")])]
    network = BoatNetwork(Where())
    for number, frame in enumerate(frames):
        network.hear(frame, "192.168.4.1")
        network.hear(frames[number], "192.168.4.2")
    assert {(s.source, round(s.value, 1)) for s in network.take()} == {("10", 40.0), ("10 192.168.4.2", 40.0)}
    assert sum(sender.notes.broken for sender in network.senders()) == 0
