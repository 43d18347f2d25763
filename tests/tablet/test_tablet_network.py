"""A live guide fed from the boat's network, by touch, over real sockets; a number that is old looks old."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from garboard.commands import tablet as tablet_command
from garboard.commands.cli import program
from tablet.driver import Drive, Driver, new_job

TURNING = b"$HEROT,135.0,A\r\n"
"""135 degrees a minute are 2.25 a second: no rate of the simulated boat."""
RATE = 135.0 / 60


@pytest.fixture
def at_the_guide(drive: Drive, tmp_path: Path) -> Driver:
    """The app at a live guide, its clock in the test's hand."""
    d = drive(tmp_path / "t")
    new_job(d)
    d.press("tab under way", "step dock.fuel", "back", "guide")
    d.now = [0.0]
    d.app.live.time = lambda: d.now[0]
    return d


@pytest.fixture
def port() -> int:
    """A port of this machine that nobody listens on."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.bind(("127.0.0.1", 0))
        free: int = one.getsockname()[1]
        return free


@pytest.fixture
def send(port: int) -> Iterator[Callable[[bytes], object]]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        yield lambda data: sender.sendto(data, ("127.0.0.1", port))


def type_where(d: Driver, text: str) -> None:
    d.press("source", "source another")
    d.write(text)
    d.press("save it")


def tick(d: Driver, seconds: float = 0.25) -> None:
    d.now[0] += seconds
    d.app.shell.page._tick(seconds)


def look(d: Driver) -> None:
    d.app.shell.page.look()
    d.step()


def looked(d: Driver, words: str) -> bool:
    """Whether the page says it, looked at anew."""
    look(d)
    return d.says(words)


def test_what_is_sent_to_a_port_is_seen_guides_and_is_kept(
    at_the_guide: Driver, port: int, send: Callable[[bytes], object]
) -> None:
    """The port is typed, what is heard is shown, the guide follows it, and the recording says where it came from."""
    d = at_the_guide
    type_where(d, str(port))
    assert d.says(f"Listening: UDP port {port}")

    def seen() -> bool:
        send(TURNING)
        look(d)
        return d.says("Rate of turn: 2.3 deg/s, from HE")

    d.wait(seen)
    network = d.app.live.network
    now, network._now = network._now, lambda: now() + 15.0  # nothing comes any more
    assert looked(d, f"Listening: UDP port {port}, silent for 15 s")
    assert d.says("Nothing heard on")
    network._now = now
    d.press("to the guide")
    assert d.says(f"Samples from: the boat's network, UDP port {port}")
    d.press("start")

    def guided() -> bool:
        send(TURNING)
        tick(d)
        return len(d.app.shell.page.run.samples) >= 8

    d.wait(guided)
    assert d.app.shell.page.run.guidance.number == pytest.approx(RATE)
    d.press("stop", "keep")
    here = d.app.tablet.session.here
    view = d.app.tablet.view(here.hull, here.job)
    assert f"UDP port {port}" in view.value("dock.fuel", "log")["name"]
    [stream] = view.recording("dock.fuel", "log").of("rate_of_turn")
    assert (stream.key.source, set(stream.values)) == ("HE", {RATE})


def test_a_gateway_is_connected_to_and_remembered(at_the_guide: Driver) -> None:
    """An address with a port is for TCP; after a restart it is offered again."""
    d = at_the_guide
    with socket.create_server(("127.0.0.1", 0)) as gateway:
        gateway.settimeout(10)
        where = f"127.0.0.1:{gateway.getsockname()[1]}"
        type_where(d, where)
        peer, _ = gateway.accept()
        with peer:
            peer.sendall(TURNING)
            d.wait(lambda: looked(d, "Rate of turn: 2.3"))
    d.wait(lambda: looked(d, "not on port"))
    d.restart()
    assert d.says("The tablet has stopped listening")
    d.press("to the guide", "source")
    assert d.says(f"Connect to {where}")


def test_what_cannot_be_a_place_is_said_and_typed_again(at_the_guide: Driver) -> None:
    """Nothing changes meanwhile."""
    d = at_the_guide
    type_where(d, "192.168.4.1:99999")
    assert d.says("expected a port to listen on")
    d.press("type again")
    assert d.app.live.network is None
    d.press("back", "back")
    assert d.says("Samples from: not chosen yet")


def test_choosing_something_else_ends_the_listening(at_the_guide: Driver, port: int) -> None:
    """The port is free for others again."""
    d = at_the_guide
    type_where(d, str(port))
    network = d.app.live.network
    d.wait(lambda: network._thread.is_alive())
    d.press("to the guide", "source", "source Simulated boat")
    assert d.says("Samples from: simulated boat")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("127.0.0.1", port))


def test_a_number_without_fresh_samples_looks_old(
    at_the_guide: Driver, port: int, send: Callable[[bytes], object]
) -> None:
    """After three seconds it is grey, with its age, and what to do; a fresh sample makes it live again."""
    d = at_the_guide
    type_where(d, str(port))
    d.press("to the guide", "start")
    run = d.app.shell.page.run

    def guided() -> bool:
        send(TURNING)
        tick(d)
        return run.age is None and run.guidance.number is not None

    d.wait(guided)
    d.app.live.network.stop()  # what is still under way does not come any more
    d.app.live.network.take()
    tick(d, 2.9)
    assert run.age is None
    tick(d, 0.2)
    tick(d, 4.0)
    assert run.age == pytest.approx(7.1)
    assert run.guidance.word == "no fresh samples"
    assert not run.guidance.on_target
    assert d.says("This guide receives none of its values: rate of turn")
    assert d.app.shell.page._view._gauge._age == "7 s old"
    d.app.live.network.start()
    d.wait(guided)
    assert run.guidance.word != "no fresh samples"
    assert d.app.shell.page._view._gauge._live


def test_a_recording_that_has_ended_says_so_at_once(at_the_guide: Driver) -> None:
    """The last number stays to be read, but not as if it were of now."""
    d = at_the_guide
    inbox = d.app.context.files_come_from
    inbox.mkdir(exist_ok=True)
    (inbox / "short.csv").write_text("time,rate_of_turn [deg/s]\n0,2.25\n1,2.25\n2,2.25\n")
    d.press("source", "source short.csv", "start")
    run = d.app.shell.page.run
    tick(d, 1.5)
    assert run.age is None
    tick(d, 0.6)
    assert run.guidance.number == pytest.approx(RATE)
    assert (run.guidance.word, run.guidance.on_target) == ("ended", False)
    assert d.says("Samples from short.csv have ended.")
    assert not d.app.shell.page._view._gauge._live
    tick(d, 12.0)
    assert d.app.shell.page._view._gauge._age == "12 s old"


def test_a_run_that_nobody_ends_stops_growing(at_the_guide: Driver, monkeypatch: pytest.MonkeyPatch) -> None:
    """It says that no more can be kept, and what was kept stays."""
    from garboard_tablet.models import live

    monkeypatch.setattr(live, "MOST_KEPT", 50)
    d = at_the_guide
    d.press("source", "source Simulated boat", "start")
    for _ in range(40):
        tick(d)
    run = d.app.shell.page.run
    assert len(run.samples) == 50
    assert run.guidance.word == "recording full"


@pytest.mark.parametrize(
    ("options", "where"), [((), None), (("--listen", "10110"), (10110, "")), (("--listen", "a:2000"), (2000, "a"))]
)
def test_where_to_listen_can_be_said_when_starting(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, options: tuple[str, ...], where: tuple[int, str] | None
) -> None:
    """The command hands it to the app, which listens from the start."""
    from garboard_tablet import app

    told = []
    monkeypatch.setattr(app, "run", lambda *arguments: told.append(arguments[3]))
    done = CliRunner().invoke(program, ["tablet", "--folder", str(tmp_path / "t"), *options])
    assert done.exit_code == 0, done.output
    assert [(one.port, one.host) if one else None for one in told] == [where]


def test_a_place_that_cannot_be_is_refused_before_a_window_opens(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """What was typed is named, with what was expected."""
    monkeypatch.setattr(tablet_command, "import_module", lambda _name: pytest.fail("the app was started"))
    with pytest.raises(SystemExit) as ended:
        program.main(["tablet", "--folder", str(tmp_path / "t"), "--listen", "a:b"], standalone_mode=False)
    assert ended.value.code == 2
