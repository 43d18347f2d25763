"""The app as a guest on somebody's tablet: what it asks of the system and when, pause and resume, back, rotation."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from garboard.recordings.where import Where
from garboard.samples import Sample
from garboard_tablet.models.armed import Turn
from garboard_tablet.models.data_folder import find_data_folder
from garboard_tablet.models.live import LiveRun
from garboard_tablet.models.runs import left_behind, read_pending
from garboard_tablet.models.sources import Replay
from garboard_tablet.models.tablet import open_tablet
from garboard_tablet.system.guest import LEAST_FREE
from garboard_tablet.system.services import Battery, DeskServices
from garboard_tablet.system.this_machine import services_of_this_machine
from tablet.driver import Driver, close_app, dock_host, new_job
from tablet.fake_system import FakeServices
from tablet.layout_lint import faults

BACK = 27


@pytest.fixture
def system(kivy_window: Any, tmp_path: Path) -> FakeServices:
    return FakeServices(tmp_path / "files")


@pytest.fixture
def d(system: FakeServices) -> Iterator[Driver]:
    """The app on a tablet's system, its clock in the test's hand."""
    driver = start(system)
    yield driver
    close_app(driver.app)


def start(system: FakeServices) -> Driver:
    from garboard_tablet.app import GarboardApp

    tablet = open_tablet(find_data_folder(system.data_folder, system.program).folder, dock_host)
    if not tablet.settings.working:
        tablet.change_settings(tablet.settings.with_person("Robin"))
    driver = Driver(GarboardApp(tablet, threads=False, services=system))
    driver.now = [0.0]
    driver.app.live.time = lambda: driver.now[0]
    return driver


def at_the_guide(d: Driver) -> None:
    """A boat's samples, one a second, at the guide that turns."""
    d.app.live.source_for = lambda _guide: Replay(
        "a boat", [Sample(float(t), "rate_of_turn", 2.25, "HE", "", "") for t in range(600)], origin="live"
    )
    new_job(d)
    d.press("tab under way", "step dock.fuel", "back", "guide")


def sail(d: Driver, seconds: int) -> None:
    for _ in range(seconds):
        d.now[0] += 1.0
        d.app.run_clock.tick(1.0)


def recorded(d: Driver, route: Any) -> int:
    """How many samples of the step's last run are kept aside."""
    *_, path = left_behind(d.app.tablet.folder, route, ())
    return len(read_pending(path.parent, path.name, {}).samples())


def test_what_is_asked_of_the_system_lasts_as_long_as_the_work(d: Driver, system: FakeServices) -> None:
    """Screen and service from Start to STOP; the lock for wifi groups while the network is listened to."""
    at_the_guide(d)
    assert system.held == set()
    d.press("start")
    assert system.held == {"screen", "service"}
    d.app.live.listen(Where(port=1))  # a port nobody may open: what counts is that it is wanted
    assert system.held == {"groups"}, "a run of another source ends"
    d.app.screen.show()
    d.press("start")
    sail(d, 12)
    assert system.held == {"groups", "screen", "service"}
    d.press("stop")
    assert system.held == {"groups"}
    d.app.live.stop()
    assert system.held == set()


def test_a_simulated_run_needs_no_service_and_the_end_of_the_app_gives_everything_back(system: FakeServices) -> None:
    d = start(system)
    new_job(d)
    d.press("tab under way", "step dock.fuel", "back", "guide", "source", "source Simulated boat", "start")
    assert system.held == {"screen"}
    close_app(d.app)
    assert system.held == set()


def test_a_system_that_refuses_ends_nothing(d: Driver, system: FakeServices) -> None:
    """A permission taken away: the run is recorded all the same."""
    system.refuses = True
    at_the_guide(d)
    d.press("start")
    sail(d, 12)
    route = d.app.shell.page.route
    d.app.sight.look_around()
    assert "The tablet may turn the screen off. Touch it now and then." in d.app.guest.warnings
    assert "The tablet may end the run out of sight. Keep this app in front until you stop." in d.app.guest.warnings
    system.refuses = False
    d.app.sight.look_around()
    assert (system.held, d.app.guest.warnings) == ({"screen", "service"}, [])
    system.refuses = True
    d.press("stop")
    assert recorded(d, route) == 13
    d.app.sight.look_around()
    assert d.app.guest.warnings == []


def test_a_run_goes_on_while_another_page_is_shown_and_while_the_app_is_out_of_sight(d: Driver) -> None:
    """Back leads away and ends nothing; every page says how long, and leads to it; a pause loses no sample."""
    at_the_guide(d)
    d.press("start")
    route = d.app.shell.page.route
    sail(d, 24)
    d.type_keys(BACK)
    assert d.app.tablet.session.here.page != "live"
    assert d.find("to the run").text == "Recording 0:24"
    sail(d, 6)
    assert d.find("to the run").text == "Recording 0:30"
    assert d.app.dispatch("on_pause")
    d.now[0] += 30.0
    run = d.app.live.under_way.run
    wait_for(lambda: len(run.samples) == 61)
    d.app.dispatch("on_resume")
    assert d.find("to the run").text == "Recording 0:30", "said anew at the next tick"
    sail(d, 1)
    assert d.find("to the run").text == "Recording 1:01"
    d.press("to the run")
    assert d.has("stop")
    d.press("stop")
    assert not d.has("to the run")
    assert recorded(d, route) == 62


def test_a_failure_while_the_app_is_out_of_sight_ends_no_run(d: Driver, monkeypatch: pytest.MonkeyPatch) -> None:
    """The thread that looked after the run died of the first: nothing more was recorded."""
    at_the_guide(d)
    d.press("start")
    sail(d, 3)
    run, ticks = d.app.live.under_way.run, []
    before = LiveRun.tick

    def fails_once(run: LiveRun, now: float) -> Turn:
        ticks.append(now)
        if len(ticks) == 1:
            raise ZeroDivisionError
        return before(run, now)

    monkeypatch.setattr(LiveRun, "tick", fails_once)
    d.app.dispatch("on_pause")
    d.now[0] += 20.0
    wait_for(lambda: len(run.samples) == 24)
    d.app.dispatch("on_resume")
    d.press("stop")


def wait_for(condition: Callable[[], bool]) -> None:
    """Something another thread does, within a minute."""
    import time

    end = time.monotonic() + 60
    while not condition():
        assert time.monotonic() < end, "did not come about"
        time.sleep(0.01)


def test_a_second_guide_does_not_end_the_run_and_leads_to_it(d: Driver) -> None:
    at_the_guide(d)
    d.press("start")
    sail(d, 12)
    first = d.app.live.under_way
    d.app.way.go(first.route.to("live", "other"))
    d.step()
    assert not d.has("start")
    assert not d.has("arm")
    d.press("to the other run")
    assert d.has("stop")
    assert d.app.live.under_way is first


def test_half_typed_digits_are_there_after_a_pause(d: Driver) -> None:
    at_the_guide(d)
    d.press("back", "back", "step dock.full", "begin", "key 0", "key 5", "key 7")
    d.app.dispatch("on_pause")
    d.app.dispatch("on_resume")
    d.press("key 9")
    assert d.app.shell.page.form.text == "0579"


@pytest.mark.parametrize("size", [(1280, 800), (800, 1280)], ids=["across", "upright"])
def test_a_day_with_a_pause_a_kill_and_an_update_loses_nothing(system: FakeServices, size: tuple[int, int]) -> None:
    """By touch: a run begun, a value saved and another half typed meanwhile, the app out of sight, killed, updated."""
    d = start(system)
    d.resize(*size)
    at_the_guide(d)
    d.press("start")
    route = d.app.shell.page.route
    sail(d, 10)
    d.type_keys(BACK)
    d.press("back", "tab vessel", "Equipment", "kind engines", "2 engines", "back", "back")
    assert faults(d.app.shell, d.window) == []
    d.press("tab under way", "step dock.full", "begin")
    d.number("5840")
    d.press("key 3", "key 1")
    here = d.app.tablet.session.here
    sail(d, 10)
    assert d.find("to the run").text == "Recording 0:20"
    assert faults(d.app.shell, d.window) == []
    d.app.dispatch("on_pause")
    d.now[0] += 20.0
    wait_for(lambda: recorded(d, route) == 41)
    d = killed(d, system)
    d.resize(*size)
    assert d.app.tablet.session.here == here
    assert d.app.shell.page.form.text == "31"
    assert d.app.tablet.view(here.hull, here.job).value("dock.full", "engine_speed", of="port") == "5840 rev/min"
    assert recorded(d, route) >= 39, "all but the last two seconds"
    d.app.way.go(route)
    d.step()
    d.press("recordings", "pending 0", "keep")
    view = d.app.tablet.view(here.hull, here.job)
    assert view.recording("dock.fuel", "log") is not None
    close_app(d.app)


def killed(d: Driver, system: FakeServices) -> Driver:
    """The app as it starts after a kill and an update: with what was on the disk at the moment of the kill."""
    kept = shutil.copytree(system.files, system.files.with_name("as the disk has it"))
    close_app(d.app)
    shutil.rmtree(system.files)
    kept.rename(system.files)
    system.update()
    system.held.clear()  # the system takes back what a killed app held
    return start(system)


def test_back_on_the_first_page_shows_what_was_there_before(d: Driver, system: FakeServices) -> None:
    """Elsewhere it leads one page back, and the app stays in sight."""
    d.press("settings")
    d.type_keys(BACK)
    assert d.app.shell.page.title == "Vessels"
    assert system.is_in_sight
    d.type_keys(BACK)
    assert not system.is_in_sight


def test_a_turned_tablet_keeps_what_is_typed_and_every_page_fits(d: Driver) -> None:
    """Turned in the middle of a value and of a run."""
    at_the_guide(d)
    d.press("back", "back", "step dock.full", "begin", "key 1", "key 2")
    d.resize(800, 1280)
    assert d.app.shell.page.form.text == "12"
    assert faults(d.app.shell, d.window) == []
    d.resize(1280, 800)
    assert faults(d.app.shell, d.window) == []
    d.press("back", "guide", "start")
    sail(d, 3)
    d.resize(800, 1280)
    sail(d, 3)
    assert faults(d.app.shell, d.window) == []
    assert len(d.app.shell.page.run.samples) == 7


def test_words_follow_the_systems_size_as_far_as_every_page_has_room(d: Driver, system: FakeServices) -> None:
    from kivy.metrics import Metrics

    assert Metrics.fontscale == 1.0
    for asked, size, taken in ((1.2, (1280, 800), 1.2), (2.0, (800, 1280), 1.3), (2.0, (1024, 600), 1.15)):
        system.words = asked
        d.resize(*size)
        d.app.dispatch("on_pause")
        d.app.dispatch("on_resume")
        d.step()
        assert pytest.approx(taken) == Metrics.fontscale
        assert faults(d.app.shell, d.window) == []
    system.words = 0.85
    d.app.dispatch("on_resume")
    assert Metrics.fontscale == 1.0


def test_a_low_screen_has_room_for_everything_at_the_helm(d: Driver, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where it speaks and a run is kept."""
    from garboard_tablet.models.speech import Speaker

    monkeypatch.setattr(Speaker, "can_speak", True)
    at_the_guide(d)
    d.press("start")
    sail(d, 12)
    d.press("stop", "keep", "guide")
    d.resize(1024, 600)
    assert all(d.has(name) for name in ("source", "recordings", "start", "arm"))
    assert faults(d.app.shell, d.window) == []


def test_little_space_and_a_low_battery_are_said_before_they_hurt(
    d: Driver, system: FakeServices, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On the list of vessels, and before a run; not while there is enough, and not while it charges."""
    free = [LEAST_FREE]
    monkeypatch.setattr(d.app.guest, "_free", lambda _folder: free[0])
    system.charge = Battery(0.2, is_charging=True)
    d.app.sight.look_around()
    assert not d.says("MB are free")
    assert not d.says("battery")
    free[0], system.charge = LEAST_FREE - 1, Battery(0.2, is_charging=False)
    d.app.sight.look_around()
    assert d.says("Only 199 MB are free")
    assert d.says("The battery is at 20\u00a0%.")
    at_the_guide(d)
    assert d.says("Make room before you record")
    assert d.says("Charge the tablet before a run.")


def test_what_was_copied_here_is_not_left_for_other_apps(d: Driver, system: FakeServices) -> None:
    """What somebody copied elsewhere meanwhile is theirs."""
    from garboard_tablet.ui.inputs import WordsBox

    for there, left in (("A. Marsh", ""), ("a shopping list", "a shopping list")):
        WordsBox.copied, system.clipboard = "A. Marsh", there
        d.app.dispatch("on_pause")
        assert (system.clipboard, WordsBox.copied) == (left, "")
        d.app.dispatch("on_resume")


def test_sounds_leave_no_files_behind() -> None:
    from garboard_tablet.ui import sound

    folder = Path(sound._folder().name)
    assert sound._sound(440.0, 0.01) is not None or folder.is_dir()
    sound._folder().cleanup()
    sound._folder.cache_clear()
    sound._sound.cache_clear()
    assert not folder.exists()


def test_a_desk_is_no_tablet_and_pyjnius_stays_away(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("ANDROID_ARGUMENT", raising=False)
    desk = services_of_this_machine()
    assert type(desk) is DeskServices
    assert desk.battery() is None
    assert not desk.step_back()
    assert "jnius" not in sys.modules
    assert "garboard_tablet.system.android_services" not in sys.modules


def test_a_run_on_a_low_battery_says_so_at_the_helm_and_at_rest(d: Driver, system: FakeServices) -> None:
    """Also where the page stood there before; not while it charges."""
    at_the_guide(d)
    system.charge = Battery(0.12, is_charging=False)
    d.app.sight.look_around()
    assert d.says("The battery is at 12\u00a0%. Charge the tablet before a run.")
    d.press("start")
    sail(d, 3)
    assert d.says("The battery is at 12\u00a0%.")
    assert not d.says("before a run")
    assert faults(d.app.shell, d.window) == []
    system.charge = Battery(0.13, is_charging=True)
    d.app.sight.look_around()
    sail(d, 1)
    assert not d.says("battery")


def test_other_pages_do_not_say_recording_where_nothing_is_recorded(d: Driver) -> None:
    """A boat's network falls silent and comes back, the disk refuses, the connection breaks."""
    at_the_guide(d)
    d.press("arm")
    d.type_keys(BACK)
    sail(d, 1)
    assert d.find("to the run").text == "Armed"
    d.press("to the run", "stop", "start")
    under_way = d.app.live.under_way
    run, source = under_way.run, under_way.run.source
    sail(d, 5)
    d.type_keys(BACK)
    assert d.find("to the run").text == "Recording 0:05"
    with pytest.MonkeyPatch.context() as silent:
        silent.setattr(type(source), "read", lambda *_: [])
        sail(d, 8)
        assert d.find("to the run").text == "No samples"
    sail(d, 1)
    assert d.find("to the run").text == "Recording 0:14"
    run.recorder.refusal = "No space left on the disk."
    d.app.screen.redraw()
    assert d.find("to the run").text == "NOT saved"
    assert "NOT saved" in d.words()
    run.recorder.refusal = ""
    with pytest.MonkeyPatch.context() as broken:

        def breaks(*_: object) -> list[Sample]:
            raise OSError(104, "Connection reset by peer")

        broken.setattr(type(source), "read", breaks)
        sail(d, 1)
        assert d.find("to the run").text == "No samples"


@pytest.mark.parametrize("words", [1.0, 1.3])
def test_the_digits_at_the_helm_are_drawn_on_every_screen_whatever_else_is_said(
    d: Driver, system: FakeServices, words: float
) -> None:
    """On a low screen STOP and the word give way: nobody steers by a warning."""
    from garboard_tablet.ui.theme import THUMB, dp

    system.words = words
    at_the_guide(d)
    d.press("start")
    sail(d, 3)
    for charge, warned in ((Battery(0.9, is_charging=True), False), (Battery(0.1, is_charging=False), True)):
        system.charge = charge
        for size in ((1024, 600), (1280, 800), (800, 1280)):
            d.resize(*size)
            d.app.sight.resume()
            sail(d, 1)
            view = d.app.shell.page._view
            assert d.says("battery") is warned
            assert len(view._gauge.canvas.children) > 6, f"digits stand there at {size}"
            assert view._gauge.height >= dp(205) or words > 1
            assert d.find("stop").height >= dp(THUMB)
            assert faults(d.app.shell, d.window) == []
