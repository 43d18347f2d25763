"""`garboard listen` shows what a sender on this machine says, and keeps it."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from garboard.commands import listen
from garboard.commands.cli import program
from garboard.commands.tools import write_file
from garboard.recordings import load_recording
from garboard.recordings.boat_network import BoatNetwork
from garboard.recordings.simulated_network import SimulatedNetwork
from garboard.recordings.where import Where

VHW = b"$VWVHW,45.0,T,43.0,M,3.5,N,6.4,K*56\r\n"  # and what it says: tests of https://github.com/adrianmo/go-nmea
WRONG = b"$HEROT,-11.23,A*FF\r\n"  # the same tests: wrong on purpose


@pytest.fixture
def port() -> Iterator[int]:
    """A port of this machine to which sentences are sent again and again."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
    done = threading.Event()

    def send() -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            while not done.wait(0.05):
                sender.sendto(VHW + WRONG + b"$GPGSV,1,1,00\r\n", ("127.0.0.1", port))

    sending = threading.Thread(target=send)
    sending.start()
    yield port
    done.set()
    sending.join()


def test_what_is_heard_is_shown_by_sentence_and_quantity_and_kept(
    port: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept, begin = tmp_path / "heard.csv", BoatNetwork.start

    def start(network: BoatNetwork) -> None:
        begin(network)
        while sum(sender.notes.lines for sender in network.senders()) < 3:  # a busy machine may take its time
            time.sleep(0.005)

    monkeypatch.setattr(BoatNetwork, "start", start)
    done = CliRunner().invoke(program, ["listen", str(port), "--seconds", "0.05", "--save", str(kept)])
    assert done.exit_code == 0, done.output
    for words in (
        "127.0.0.1:",
        "VHW",
        "speed through water",
        "3.5",
        "kn",
        "of these for a wrong checksum",
        "Not read:",
        "GSV",
        "What the network says of itself",
        "Listen for 10 s or more",
    ):
        assert words in done.output
    recording, notes = load_recording(kept)
    assert notes.dated
    [speed] = recording.of("speed_through_water")
    assert (speed.key.source, set(speed.values)) == ("VW", {3.5})


def test_what_is_heard_is_saved_while_one_listens(port: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A program that is killed ends without a word: what stands on the disk is what it has."""
    kept, found = tmp_path / "heard.csv", list[int]()

    def killed(path: Path, content: bytes) -> None:
        write_file(path, content)
        found.append(len(load_recording(path)[0].of("speed_through_water")[0]))
        if found[-1] > found[0]:  # a busy machine may save twice between two lines of the instrument
            raise SystemExit(9)

    monkeypatch.setattr(listen, "SAVED_EVERY", 0.05)
    monkeypatch.setattr(listen, "LOOK", 0.05)
    monkeypatch.setattr("garboard.commands.tools.write_file", killed)
    assert CliRunner().invoke(program, ["listen", str(port), "--seconds", "30", "--save", str(kept)]).exit_code == 9
    assert 0 < found[0] < found[-1]
    assert len(load_recording(kept)[0].of("speed_through_water")[0]) == found[-1]


def test_silence_ends_with_code_1_and_a_place_that_cannot_be_with_2(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        where = f"127.0.0.1:{silent.getsockname()[1]}"
        assert CliRunner().invoke(program, ["listen", where, "--seconds", "0.3"]).exit_code == 1
    with pytest.raises(SystemExit) as ended:
        program.main(["listen", "a:b"], standalone_mode=False)
    assert ended.value.code == 2


def test_the_simulated_boat_is_served_to_practise_with_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever connects hears it under way, marked; a port in use is said with what to do."""
    heard: list[bool] = []
    begin = SimulatedNetwork.start

    def listened_to(boat: SimulatedNetwork) -> None:
        begin(boat)
        network = BoatNetwork(Where(boat.ports["can"], "127.0.0.1"))
        network.start()
        while not network.newest("fuel_flow"):
            time.sleep(0.01)
        heard.append(network.is_simulated)
        network.stop()

    monkeypatch.setattr(SimulatedNetwork, "start", listened_to)
    free = ("--nmea0183", "0", "--can", "0", "--signalk", "0")
    done = CliRunner().invoke(program, ["simulate", "--seconds", "0.1", *free])
    assert done.exit_code == 0, done.output
    assert heard == [True]
    assert "Nothing of it becomes a measurement" in done.output
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        with pytest.raises(SystemExit) as ended:
            program.main(["simulate", "--can", port, "--nmea0183", "0", "--signalk", "0"], standalone_mode=False)
    assert ended.value.code == 2
