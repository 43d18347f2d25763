"""The live guide as it is at sea: armed at rest, begun and ended by what is seen, speaking, stopped with a fist."""

from __future__ import annotations

import itertools
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from garboard.recordings.simulated_network import TWIN
from garboard.recordings.simulator import Order, simulate
from garboard.steps import Guidance
from garboard_tablet.models import speech
from garboard_tablet.models.armed import OVER_AFTER, SEEN_AFTER, Phase, Turn, Watch
from garboard_tablet.models.sources import Replay
from garboard_tablet.models.speech import APART, ProgramVoice, Speaker, Spokesman
from tablet.driver import Drive, Driver, new_job
from tablet.test_tablet_heard import FULL, trials_host

SLOW, FULL_AHEAD = 1500.0, 5800.0
TWO_RUNS = (
    Order(seconds=8, engine_speed=SLOW, course=80.0),
    Order(seconds=25, engine_speed=FULL_AHEAD, course=80.0),
    Order(seconds=15, engine_speed=SLOW, course=80.0),
    Order(seconds=25, engine_speed=FULL_AHEAD, course=260.0),
    Order(seconds=15, engine_speed=SLOW, course=260.0),
)


class Ear:
    """A voice that records words; each takes as long to say as the test wants."""

    def __init__(self, seconds: float = 0.0) -> None:
        self.words: list[str] = []
        self._seconds, self._until = seconds, 0.0

    def begin(self, word: str) -> None:
        self.words.append(word)
        self._until = time.monotonic() + self._seconds

    @property
    def is_speaking(self) -> bool:
        return time.monotonic() < self._until

    def hush(self) -> None:
        self._until = 0.0


def wait_for(condition: Callable[[], object]) -> None:
    end = time.monotonic() + 60
    while not condition():
        assert time.monotonic() < end, "did not come about"
        time.sleep(0.002)


@pytest.fixture
def ear(monkeypatch: pytest.MonkeyPatch) -> Ear:
    ear = Ear()
    monkeypatch.setattr(speech, "find_voice", lambda: ear)
    return ear


@pytest.fixture
def helm(drive: Drive, tmp_path: Path, ear: Ear) -> Driver:
    """At the full-throttle guide of a twin, its clock in the test's hand."""
    d = drive(tmp_path / "t", make_host=trials_host)
    new_job(d)
    tablet, here = d.app.tablet, d.app.tablet.session.here
    state = tablet.boat(here.hull).vessel_home("engines")
    for number, position in enumerate(("port", "starboard")):
        tablet.save(tablet.author().write(state, "field", ("engines", position, "network_instance"), number))
    d.now = [0.0]
    d.app.live.time = lambda: d.now[0]
    d.app.live.source_for = lambda _guide: Replay(
        "a boat", simulate(TWIN, TWO_RUNS, start=1e9, rate=4.0, heading=80.0), origin="live"
    )
    d.app.way.go(here.to("step", step=FULL))
    d.app.way.go(here.to("live", "measure", FULL, "all_runs", "", "", step=FULL))
    d.step()
    return d


def phase(d: Driver) -> Phase:
    found: Phase = d.app.shell.page.run.watch.phase
    return found


def sail(d: Driver, seconds: float) -> None:
    for _ in range(round(seconds * 4)):
        d.now[0] += 0.25
        d.app.shell.page._tick(0.25)


def test_armed_at_rest_nothing_is_touched_until_stop_and_both_runs_are_kept_aside(helm: Driver, ear: Ear) -> None:
    d = helm
    assert d.says("caution"), "cautions stand first, at rest"
    d.press("arm")
    page = d.app.shell.page
    touches = d.touches
    assert not any(d.has(name) for name in ("back", "start", "arm", "cue", "source"))
    sail(d, 6)
    assert page.run.samples == [], "at slow speed nothing is recorded"
    sail(d, 22)
    assert phase(d) is Phase.RECORDING
    assert min(s.value for s in page.run.samples if s.quantity == "engine_speed") < 2000, "its beginning belongs to it"
    sail(d, 17)
    assert phase(d) is Phase.WAITING
    sail(d, 42)
    assert d.touches == touches
    wait_for(lambda: "armed" in ear.words)
    d.press("stop")
    assert d.app.tablet.session.here.page == "recordings"
    from garboard_tablet.models.runs import left_behind, read_pending

    here = d.app.tablet.session.here
    kept = left_behind(d.app.tablet.folder, here, ())
    assert len(kept) == 2
    for path in kept:
        run = read_pending(d.app.tablet.folder, path.name, {})
        speeds = [s.value for s in run.samples() if s.quantity == "engine_speed" and s.instance == "0"]
        assert max(speeds) > 5500
        assert 15 * 4 < len(speeds) < 40 * 4


def test_what_is_said_is_said_in_order_and_no_oftener_than_it_can_be_heard(
    helm: Driver, ear: Ear, monkeypatch: pytest.MonkeyPatch
) -> None:
    d = helm
    said: list[tuple[float, str]] = []
    monkeypatch.setattr(d.app.live.speaker, "say", lambda word: said.append((d.now[0], word)))
    d.press("arm")
    sail(d, 55)
    words = [word for _, word in said]
    assert words[0] == "armed"
    assert words.index("recording") < words.index("kept aside, now the other way")
    assert any(word.startswith("ease off") for word in words)
    for (before, _), (at, word) in itertools.pairwise(said):
        assert at - before >= APART or word.startswith("ease off")


def test_enter_on_a_remote_stops_as_a_fist_does(helm: Driver) -> None:
    d = helm
    d.press("arm")
    sail(d, 20)
    d.type_keys(13)
    assert not d.app.shell.page.title.startswith("Guide")
    assert d.app.tablet.session.here.page == "run"


def test_each_engine_has_a_column_and_one_that_is_not_heard_has_no_number(helm: Driver) -> None:
    d = helm
    d.app.live.source_for = lambda _guide: Replay(
        "a boat",
        (s for s in simulate(TWIN, TWO_RUNS, start=1e9, rate=4.0) if (s.quantity, s.instance) != ("engine_speed", "1")),
        origin="live",
    )
    d.app.screen.show()
    d.press("start")
    sail(d, 4)
    (port, digits), (starboard, none) = d.app.shell.page._view._gauge.columns
    assert (port, starboard, none) == ("port", "starboard", "–")
    assert digits.isdecimal()


@pytest.mark.parametrize("size", [(1280, 800), (800, 1280)])
def test_stop_is_as_wide_as_the_page_and_a_fist_high(helm: Driver, size: tuple[int, int]) -> None:
    from tablet.layout_lint import faults

    d = helm
    d.resize(*size)
    d.press("start")
    sail(d, 20)
    d.step()
    stop = d.find("stop")
    assert stop.width >= size[0] - 40
    assert stop.height >= 170
    assert faults(d.app.shell, d.window) == []


def test_a_run_is_seen_after_two_seconds_and_over_after_two(ear: Ear) -> None:
    """What flickers begins and ends nothing; what is old neither."""
    watch = Watch()
    on, off = (Guidance(number=1.0, unit="", word="", under_way=under_way) for under_way in (True, False))
    assert [watch.see(at, on) for at in (0.0, 1.9)] == [Turn.NOTHING] * 2
    assert watch.see(1.95, off) is Turn.NOTHING
    assert [watch.see(2.0 + at, on) for at in (0.0, SEEN_AFTER)] == [Turn.NOTHING, Turn.BEGUN]
    assert watch.see(9.0, None) is Turn.NOTHING
    assert [watch.see(10.0 + at, off) for at in (0.0, OVER_AFTER)] == [Turn.NOTHING, Turn.ENDED]
    in_band = Guidance(number=1.0, unit="", word="", on_target=True)
    assert [watch.see(20.0 + at, in_band) for at in (0.0, 2.0)][-1] is Turn.BEGUN, "a guide that does not tell"


def test_the_newest_word_wins_and_is_begun_at_once() -> None:
    """No word ends by itself: the third breaks off what is being said."""
    ear = Ear(seconds=1e9)
    speaker = Speaker(ear)
    speaker.say("turn faster")
    wait_for(lambda: ear.words)
    speaker.say("turn slower")
    speaker.say("ease off")
    wait_for(lambda: "ease off" in ear.words)
    assert ear.words[-1] == "ease off"
    speaker.close()
    assert "voice" not in [thread.name for thread in threading.enumerate()]


def test_a_voice_that_fails_ends_nothing() -> None:
    class Broken(Ear):
        def begin(self, word: str) -> None:
            super().begin(word)
            raise OSError("no such device")

    ear = Broken()
    speaker = Speaker(ear)
    for word in ("one", "two"):
        speaker.say(word)
        wait_for(lambda w=word: w in ear.words)  # type: ignore[misc]
    speaker.close()


def test_the_program_that_speaks_is_broken_off_by_a_newer_word(tmp_path: Path) -> None:
    program = tmp_path / "speaks"
    said = tmp_path / "said"
    script = f"import sys, time\nopen({str(said)!r}, 'a').write(sys.argv[-1])\ntime.sleep(600)\n"
    program.write_text(f"#!{sys.executable}\n{script}")
    program.chmod(0o755)
    voice = ProgramVoice(str(program))
    voice.begin("hold it")
    wait_for(lambda: said.exists() and said.read_text() == "hold it")
    assert voice.is_speaking
    voice.hush()
    assert not voice.is_speaking


def test_words_on_change_three_seconds_apart_and_urgent_ones_cut_in_and_repeat() -> None:
    told = Spokesman()
    calm = [(0.0, "settling"), (1.0, "settling"), (1.5, "hold it"), (3.0, "hold it"), (9.0, "hold it")]
    assert [told.word(at, word) for at, word in calm] == ["settling", "", "", "hold it", ""]
    urgent = [told.word(at, "ease off", urgent=True) for at in (9.5, 10.0, 12.4, 12.5)]
    assert urgent == ["ease off", "", "", "ease off"]


@pytest.fixture(autouse=True)
def no_thread_stays() -> Iterator[None]:
    yield
    wait_for(lambda: "voice" not in [thread.name for thread in threading.enumerate()])
