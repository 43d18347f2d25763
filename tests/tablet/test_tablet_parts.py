"""The parts of the app, each at work without a window."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import attrs
import pytest

from garboard.hosting.host import make_host
from garboard.recordings.where import Where
from garboard.shop_link.ashore import State
from garboard_tablet.models.assessor import Assessor
from garboard_tablet.models.background import Background
from garboard_tablet.models.live_source import LiveSource
from garboard_tablet.models.navigator import Navigator
from garboard_tablet.models.session import HOME, Route
from garboard_tablet.models.shop_worker import ShopWorker
from garboard_tablet.models.sources import Heard, Replay
from garboard_tablet.models.tablet import Tablet, open_tablet
from garboard_tablet.models.vessel_watch import VesselWatch
from garboard_tablet.models.vessels import VesselLine, VesselList, differences

DOCK = Path(__file__).with_name("dock_plugin.py")

HULL = "XYZAB123F526"
PARTS = ("assessor", "background", "live_source", "navigator", "shop_worker", "vessel_watch", "logbook", "uncaught")


class DrawingThread:
    """Stands for the drawing thread: work that is handed to it is done when the test says so."""

    def __init__(self) -> None:
        self.waiting: list[Callable[[], object]] = []
        self.came = threading.Event()

    def __call__(self, work: Callable[[], object], after: float = 0.0, /) -> object:
        self.waiting.append(work)
        self.came.set()
        return None

    def turn(self) -> None:
        """Do what waits now, not what that asks for."""
        waiting, self.waiting = self.waiting, []
        self.came.clear()
        for work in waiting:
            work()

    def turn_when_it_comes(self) -> None:
        assert self.came.wait(60.0), "nothing came back from the background"
        self.turn()


@pytest.fixture
def tablet(tmp_path: Path) -> Any:
    tablet = open_tablet(tmp_path / "tablet", lambda: make_host(built_in=(), entry_points=False, files=[DOCK]))
    yield tablet
    tablet.close()


@pytest.fixture
def job(tablet: Tablet) -> Route:
    tablet.change_settings(tablet.settings.with_person("Robin"))
    hull, job = tablet.open_job(HULL)
    return Route(page="job", hull=hull, job=job)


def told(into: list[tuple[str, str]]) -> Callable[[str, Exception], None]:
    return lambda what, failure: into.append((what, type(failure).__name__))


def test_the_parts_load_no_kivy_and_no_simulated_boat() -> None:
    """The second until somebody looks at it: most never do."""
    imports = "\n".join(f"import garboard_tablet.models.{part}" for part in (*PARTS, "sources", "step_page"))
    script = f"{imports}\nimport sys\nprint([name for name in sys.modules if 'kivy' in name or 'simulat' in name])"
    ended = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert ended.stdout.strip() == "[]"


# Navigator


def test_the_way_goes_on_and_back_and_each_page_is_shown(tablet: Tablet) -> None:
    shown: list[str] = []
    way = Navigator(tablet, lambda: shown.append(tablet.session.here.page))
    way.go(HOME.to("settings"))
    way.go(HOME.to("help"))
    way.instead(HOME.to("pair"))
    way.back()
    way.go(HOME.to("who"))
    way.home()
    assert shown == ["settings", "help", "pair", "settings", "who", "vessels"]
    assert tablet.session.way == [HOME]


def test_who_is_working_is_asked_before_the_first_page_with_entries(tablet: Tablet) -> None:
    way = Navigator(tablet, lambda: None)
    way.go_named(HOME.to("new job"))
    assert [route.page for route in tablet.session.way] == ["vessels", "new job", "who"]
    way.back()
    tablet.change_settings(tablet.settings.with_person("Robin"))
    way.instead(HOME)
    way.go_named(HOME.to("new job"))
    assert tablet.session.here.page == "new job"


def test_a_new_step_opens_at_its_cautions_and_one_begun_at_its_values(tablet: Tablet, job: Route) -> None:
    way = Navigator(tablet, lambda: None)
    step = next(step for step in tablet.host.steps if step.cautions)
    way.open_step(job, step.key)
    assert [route.page for route in tablet.session.way[-2:]] == ["step", "cautions"]
    tablet.set_state(job.hull, job.job, step.key, "under way")
    way.open_step(job, step.key)
    assert tablet.session.here == job.to("step", step=step.key)


def test_the_next_step_is_none_when_all_are_done(tablet: Tablet, job: Route) -> None:
    way = Navigator(tablet, lambda: None)
    for step in tablet.host.steps:
        assert way.next_step(job) is not None
        tablet.set_state(job.hull, job.job, step.key, "done")
    assert way.next_step(job) is None


# Background and assessor


def test_work_comes_back_on_the_drawing_thread() -> None:
    drawing, done = DrawingThread(), list[object]()
    background = Background(drawing, told([]))
    background.run("counting", threading.get_ident, done.append)
    drawing.turn_when_it_comes()
    background.stop()
    assert len(done) == 1
    assert done[0] != threading.get_ident()


def test_a_failure_in_the_background_is_told_with_what_was_being_done(caplog: pytest.LogCaptureFixture) -> None:
    drawing, failures = DrawingThread(), list[tuple[str, str]]()
    background = Background(drawing, told(failures))
    background.run("counting", lambda: 1 / 0, lambda _done: None)
    drawing.turn_when_it_comes()
    background.stop()
    assert failures == [("counting", "ZeroDivisionError")]
    assert "work in the background failed: counting" in caplog.text


def test_a_failure_goes_to_whoever_asked_when_he_shows_it_himself() -> None:
    drawing, failures, own = DrawingThread(), list[tuple[str, str]](), list[Exception]()
    background = Background(drawing, told(failures))
    background.run("counting", lambda: 1 / 0, lambda _done: None, own.append)
    drawing.turn_when_it_comes()
    background.stop()
    assert failures == []
    assert [type(failure) for failure in own] == [ZeroDivisionError]


def test_nothing_is_begun_once_the_app_is_being_closed() -> None:
    drawing, begun = DrawingThread(), list[int]()
    background = Background(drawing, told([]))
    background.stop()
    background.run("counting", lambda: begun.append(1), lambda _done: None)
    assert (begun, drawing.waiting) == ([], [])


def test_findings_come_later_and_are_told_once(tablet: Tablet, job: Route) -> None:
    drawing, changed = DrawingThread(), list[tuple[str, str, str]]()
    background = Background(drawing, told([]))
    findings = Assessor(tablet, background, changed.append)
    findings.soon(job)
    findings.soon(job)
    assert findings.of(job) == ()
    assert len(drawing.waiting) == 1  # asked twice, assessed once
    drawing.turn()
    drawing.turn_when_it_comes()
    assert findings.of(job) == tablet.assess(job.hull, job.job)
    assert changed == ([(job.hull, job.job, "")] if findings.of(job) else [])
    findings.soon(job)
    drawing.turn()
    assert drawing.waiting == []  # nothing was entered meanwhile
    background.stop()


def test_an_assessment_that_fails_is_told_and_the_next_entry_is_assessed_again(
    tablet: Tablet, job: Route, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawing, failures = DrawingThread(), list[tuple[str, str]]()
    background = Background(drawing, told(failures))
    findings = Assessor(tablet, background, lambda _key: None)

    def broken(*_: object) -> Any:
        raise ValueError("a mistake of the program")

    monkeypatch.setattr(type(tablet.host), "assess", broken)
    findings.soon(job)
    drawing.turn()
    drawing.turn_when_it_comes()
    assert failures == [("working out findings", "ValueError")]
    monkeypatch.undo()
    tablet.note(job.hull, job.job, "a remark", punch_list=True)
    findings.soon(job)
    drawing.turn()
    drawing.turn_when_it_comes()
    assert findings.of(job) == tablet.assess(job.hull, job.job)
    background.stop()


# Vessels


def a_line(hull: str) -> VesselLine:
    return VesselLine(
        hull=hull, hull_number=hull, name="", job="", phase="", done=0, total=0, saved="", stamp="of no file"
    )


def test_looking_through_the_list_changes_nothing_in_it(tablet: Tablet, job: Route) -> None:
    vessels = VesselList(tablet, {"GONE": a_line("GONE")})
    found = differences(tablet.files, vessels.snapshot(), "")
    assert found.changed == (job.hull,)
    assert [line.hull for line in found.gone] == ["GONE"]
    assert vessels.lines.keys() == {"GONE"}
    assert vessels.take(found) == (job.hull,)
    assert vessels.lines == {}


def test_a_line_made_while_the_list_is_looked_through_stays(tablet: Tablet) -> None:
    """The worker saw no file of the hull; the person opened a job on it before the drawing thread heard of it."""
    vessels = VesselList(tablet, {HULL: a_line(HULL)})
    found = differences(tablet.files, vessels.snapshot(), "")
    assert [line.hull for line in found.gone] == [HULL]
    tablet.open_job(HULL)
    vessels.refresh(HULL)
    vessels.take(found)
    assert vessels.lines.keys() == {HULL}


def test_the_list_is_changed_on_the_drawing_thread_alone(tablet: Tablet, job: Route) -> None:
    drawing, changed = DrawingThread(), list[bool]()
    here = threading.get_ident()

    class Watched(dict[str, VesselLine]):
        def __setitem__(self, hull: str, line: VesselLine) -> None:
            assert threading.get_ident() == here
            super().__setitem__(hull, line)

        def __delitem__(self, hull: str) -> None:
            assert threading.get_ident() == here
            super().__delitem__(hull)

    vessels = VesselList(tablet, Watched(GONE=a_line("GONE")))
    failures: list[tuple[str, str]] = []
    background = Background(drawing, told(failures))
    VesselWatch(vessels, background, lambda: changed.append(True)).look()
    drawing.turn_when_it_comes()
    drawing.turn_when_it_comes()
    background.stop()
    assert (list(vessels.lines), changed, failures) == ([job.hull], [True], [])


# Shop and live source


def test_how_bringing_ashore_stands_is_known_once_the_drawing_thread_was_told(
    tablet: Tablet, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawing, came = DrawingThread(), list[str]()
    shop = ShopWorker(tablet, Background(drawing, told([])), lambda state: came.append(state.word))
    tell: list[Callable[[State], None]] = []

    class Coming:
        def __init__(self, _folder: object, told: Callable[[State], None]) -> None:
            tell.append(told)

        def start(self) -> None:
            tell[0](State(word="under way"))

        def now(self) -> None:
            tell[0](State(word="ashore"))

        def stop(self, patience: float) -> bool:
            return True

    monkeypatch.setattr("garboard.shop_link.ashore.ComingAshore", Coming)
    assert shop.paired is None
    shop.begin()
    assert tell == []  # no shop is paired
    shop.bring_ashore_now()
    shop.bring_ashore_now()
    assert (len(tell), shop.state.word, came) == (1, "resting", [])
    drawing.turn()
    assert (shop.state.word, came) == ("ashore", ["under way", "ashore"])
    shop.stop()


def test_a_code_nobody_could_read_is_answered_with_why(tablet: Tablet) -> None:
    drawing, answers = DrawingThread(), list[object]()
    background = Background(drawing, told([]))
    shop = ShopWorker(tablet, background, lambda _state: None)
    shop.answered = answers.append
    shop.pair("???")
    assert (shop.pairing, shop.refusal) == (True, "")
    drawing.turn_when_it_comes()
    background.stop()
    assert answers == [None]
    assert not shop.pairing
    assert shop.refusal


def test_the_last_choice_of_a_source_holds(tablet: Tablet, tmp_path: Path) -> None:
    guide = next(iter(tablet.host.live_guides.values()))
    live = LiveSource(tablet)
    assert live.source_for(guide) is None
    live.replay(None)
    source = live.source_for(guide)
    assert source is not None
    assert source.is_simulated
    recording = tmp_path / "circles.csv"
    recording.write_text("time,rate_of_turn [deg/s]\n0,2.5\n")
    live.replay(recording)
    source = live.source_for(guide)
    assert isinstance(source, Replay)
    assert (source.title, source.is_simulated, live.simulated) == ("circles.csv", False, False)


def test_listening_elsewhere_ends_the_network_before(tablet: Tablet, monkeypatch: pytest.MonkeyPatch) -> None:
    life: list[str] = []

    @attrs.define
    class Network:
        where: Where

        def start(self) -> None:
            life.append(f"start {self.where.port}")

        def stop(self) -> None:
            life.append(f"stop {self.where.port}")

    monkeypatch.setattr("garboard.recordings.boat_network.BoatNetwork", Network)
    live = LiveSource(tablet, simulated=True)
    live.listen(Where(port=10110))
    live.listen(Where(port=10110))
    live.listen(Where(port=10111))
    assert isinstance(live.source_for(next(iter(tablet.host.live_guides.values()))), Heard)
    live.stop()
    assert life == ["start 10110", "stop 10110", "start 10111", "stop 10111"]
    assert not live.simulated
