"""The program makes a mistake: one page says what to do, and work goes on."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from kivy.clock import Clock

from garboard.disk.storage import NotSaved
from garboard_tablet.models import logbook
from garboard_tablet.models.runs import left_behind, read_pending
from garboard_tablet.models.session import HOME, Route


@pytest.fixture
def d(drive: Any) -> Iterator[Any]:
    """The app under watch, as `run` has it."""
    from garboard_tablet.app import watched

    driver = drive(threads=True)
    with watched(driver.app):
        yield driver


def mistake(*_: object) -> None:
    raise RuntimeError("12.64 V measured by Robin")


def test_an_error_nobody_caught_shows_one_page_and_work_goes_on(d: Any) -> None:
    d.press("settings")
    Clock.schedule_once(mistake)
    d.wait(lambda: d.says("The program failed"))
    assert d.says("Everything shown as saved is saved. Check what you entered last.")
    assert d.says("Press Go on.")
    assert d.says("RuntimeError")
    assert not d.says("12.64")
    d.press("go on")
    assert d.app.shell.page.title == "Settings"
    log = logbook.kept_log(d.app.tablet.folder)
    assert "an error nobody caught" in log
    assert "12.64" not in log


def test_the_same_error_again_does_not_stand_in_the_way(d: Any) -> None:
    for _ in range(2):
        Clock.schedule_once(mistake)
        d.step(4)
        d.has("go on") and d.press("go on")
    Clock.schedule_once(mistake)
    d.step(4)
    assert d.app.shell.page.title == "Vessels"
    assert logbook.kept_log(d.app.tablet.folder).count("an error nobody caught") == 3


def test_a_page_that_cannot_be_made_leads_back_to_the_vessels(d: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("garboard_tablet.pages.settings.SettingsPage.body", mistake)
    Clock.schedule_once(lambda _dt: d.app.way.go(HOME.to("settings")))
    d.wait(lambda: d.says("The program failed"))
    d.press("to the vessels")
    assert d.app.shell.page.title == "Vessels"
    assert d.app.tablet.session.way == [HOME]


def test_a_failure_in_the_background_is_shown(d: Any) -> None:
    d.app.background.run("making a list", mistake, lambda _done: None)
    d.wait(lambda: d.says("Error at making a list: RuntimeError. The log has more."))
    assert "work in the background failed" in logbook.kept_log(d.app.tablet.folder)


def test_a_live_run_goes_on_and_the_failure_is_shown_after_it(d: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("garboard_tablet.app.ASK_AGAIN", 0.05)
    hull, job = d.app.tablet.open_job("XYZAB123F526")
    step = next(step for step in d.app.tablet.host.steps if step.guide)
    d.app.live.replay(None)
    d.app.way.go(Route(page="live", hull=hull, job=job, step=step.key))
    d.press("start")
    d.app.background.run("making a list", mistake, lambda _done: None)
    d.wait(lambda: "work in the background failed" in logbook.kept_log(d.app.tablet.folder))
    d.step(20)
    assert d.app.shell.page.run.running
    d.press("stop", "back")
    d.wait(lambda: d.says("The program failed"))


def at_a_run(d: Any, tmp_path: Path) -> list[float]:
    """At a live run of ten seconds from a recording, with the clock in the test's hand."""
    rows = "".join(f"{second},2.25\n" for second in range(60))
    file = tmp_path / "circles.csv"
    file.write_text(f"time,rate_of_turn [deg/s]\n{rows}")
    hull, job = d.app.tablet.open_job("XYZAB123F526")
    d.app.way.go(Route(page="step", hull=hull, job=job, step="dock.fuel"))
    d.app.live.replay(file)
    now = [0.0]
    d.app.live.time = lambda: now[0]
    d.press("guide", "start")
    run_for(d, now, 10)
    return now


def run_for(d: Any, now: list[float], seconds: float) -> None:
    for _ in range(int(seconds * 10)):
        now[0] += 0.1
        d.app.shell.page._tick(0.1)


@pytest.fixture
def full(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Whether the disk is full: no file grows then."""
    is_full, write = [False], os.write

    def refuse(descriptor: int, data: bytes) -> int:
        if is_full[0]:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return write(descriptor, data)

    monkeypatch.setattr("garboard.disk.storage.os.write", refuse)
    return is_full


def recorded(d: Any) -> Any:
    here = d.app.tablet.session.here
    return d.app.tablet.view(here.hull, here.job).recording("dock.fuel", "log")


def test_a_run_that_is_being_taken_is_not_called_all_saved(d: Any, tmp_path: Path) -> None:
    """Its last samples are not on the disk yet."""
    now = at_a_run(d, tmp_path)
    run_for(d, now, 10)
    assert d.says("Saved every 2 s")
    assert not d.says("All is saved")


def test_a_full_disk_ends_no_live_run_and_the_run_is_saved_again(d: Any, tmp_path: Path, full: list[bool]) -> None:
    now = at_a_run(d, tmp_path)
    full[0] = True
    run_for(d, now, 10)
    page = d.app.shell.page
    assert page.run.running
    assert page.run.guidance.number == pytest.approx(2.25)
    assert len(page.run.samples) == 21
    assert d.says("NOT saved")
    assert not d.says("All is saved")
    assert "The disk takes no more. The run goes on in memory" in page._view._lines.text
    d.press("stop")
    assert d.says("The recording is not saved. All 21 samples are kept while the app is open.")
    assert d.says("no space left on device")
    d.press("save again")
    assert d.says("The recording is not saved. All 21 samples")
    full[0] = False
    d.press("back")
    assert d.says("NOT saved"), "on every page"
    d.press("guide")
    assert d.says("The recording is not saved. All 21 samples"), "it outlives its page"
    assert d.says("NOT saved")
    d.press("decide", "save again")
    assert not d.says("NOT saved"), "on the disk, and decided on as any other"
    d.press("keep")
    assert len(recorded(d).of("rate_of_turn")[0].times) == 21
    assert not d.says("NOT saved")
    assert list(d.app.tablet.folder.glob("recording *")) == []
    d.press("guide")
    assert not d.has("decide")


def test_a_run_begins_on_a_disk_that_can_only_be_read(
    d: Any, tmp_path: Path, full: list[bool], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_path: Path, missing_ok: bool = False) -> None:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    at_a_run(d, tmp_path)
    d.press("stop", "back", "guide")
    full[0] = True
    with monkeypatch.context() as patch:
        patch.setattr(Path, "unlink", refuse)
        d.press("start")
        d.app.shell.page._tick(0.1)
        assert d.app.shell.page.run.running


def test_a_run_a_full_disk_did_not_take_can_be_thrown_away(d: Any, tmp_path: Path, full: list[bool]) -> None:
    at_a_run(d, tmp_path)
    full[0] = True
    d.press("stop", "throw away")
    assert d.has("start")
    assert not d.has("recordings")
    assert list(d.app.tablet.folder.glob("recording *")) == []
    full[0] = False
    assert recorded(d) is None


def test_a_run_left_while_the_disk_was_full_is_kept_in_memory(d: Any, tmp_path: Path, full: list[bool]) -> None:
    now = at_a_run(d, tmp_path)
    full[0] = True
    run_for(d, now, 5)
    count = len(d.app.shell.page.run.samples)
    assert count > 12
    d.app.shell.page._halt()
    full[0] = False
    d.app.screen.show()
    assert d.says(f"The recording is not saved. All {count} samples")
    d.press("decide", "save again", "keep")
    assert len(recorded(d).of("rate_of_turn")[0].times) == count


def test_room_made_during_the_run_is_all_it_needs(d: Any, tmp_path: Path, full: list[bool]) -> None:
    now = at_a_run(d, tmp_path)
    full[0] = True
    run_for(d, now, 5)
    full[0] = False
    run_for(d, now, 15)
    page = d.app.shell.page
    assert "The disk takes no more" not in page._view._lines.text
    page._halt()
    [path] = left_behind(d.app.tablet.folder, page.route, ())
    on_disk = read_pending(path.parent, path.name, {}).samples()
    assert [one.time for one in on_disk] == [one.time for one in page.run.samples]


def test_a_run_the_disk_refused_is_thrown_away_as_any_other_once_there_is_room(
    d: Any, tmp_path: Path, full: list[bool]
) -> None:
    at_a_run(d, tmp_path)
    full[0] = True
    d.press("stop")
    full[0] = False
    d.press("throw away", "recordings")
    assert d.says("thrown away")
    d.press("bring back", "use this one")
    assert len(recorded(d).of("rate_of_turn")[0].times) == 10


def test_two_runs_the_disk_refused_are_both_saved_as_the_app_ends(d: Any, tmp_path: Path, full: list[bool]) -> None:
    """One is left unsaved, and decided on later: the other takes neither its name nor its place."""
    now = at_a_run(d, tmp_path)
    full[0] = True
    run_for(d, now, 5)
    page = d.app.shell.page
    page._halt()
    page._start()
    run_for(d, now, 20)
    page._halt()
    counts = [len(run.samples()) for run in d.app.live.unsaved.values()]
    assert len(set(counts)) == 2
    assert len(left_behind(d.app.tablet.folder, page.route, d.app.live.unsaved)) == 2
    full[0] = False
    d.app.live.close()
    found = left_behind(d.app.tablet.folder, page.route, ())
    assert sorted(len(read_pending(p.parent, p.name, {}).samples()) for p in found) == sorted(counts)
    assert d.app.live.unsaved == {}


def test_a_run_left_while_the_disk_was_full_is_in_the_list(d: Any, tmp_path: Path, full: list[bool]) -> None:
    at_a_run(d, tmp_path)
    full[0] = True
    d.press("stop", "back")
    d.app.way.go(d.app.tablet.session.here.to("recordings"))
    d.press("pending 0")
    assert d.says("The recording is not saved. All 10 samples")


def test_a_choice_of_sound_that_the_full_disk_does_not_keep_is_said(d: Any, tmp_path: Path, full: list[bool]) -> None:
    """Between runs, where it is chosen: while one goes on there is nothing but STOP."""
    at_a_run(d, tmp_path)
    d.app.shell.page._halt()
    d.app.screen.redraw()
    d.step()
    full[0] = True
    d.press("cue")
    d.wait(lambda: d.says("Not saved"))


def test_a_disk_that_refuses_in_the_background_ends_no_run(
    d: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("garboard_tablet.app.ASK_AGAIN", 0.05)
    at_a_run(d, tmp_path)
    d.app.tell("keeping the list", NotSaved("no room on this tablet"))
    d.step(20)
    assert d.app.shell.page.run.running
    d.press("stop")
    d.wait(lambda: d.says("Not saved"))


def test_a_disk_that_refuses_in_the_background_is_said_as_such(d: Any) -> None:
    def refuse() -> None:
        raise NotSaved("no room on this tablet") from OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    d.app.background.run("keeping the list", refuse, lambda _done: None)
    d.wait(lambda: d.says("Not saved"))
    d.press("try again")
    assert d.app.shell.page.title == "Vessels"


def test_help_in_the_settings_makes_a_file(d: Any) -> None:
    d.press("settings")
    d.seek("help")
    d.press("make the file")
    path = Path(d.app.tablet.folder) / "garboard-help.txt"
    assert d.says(str(path))
    assert "Python" in path.read_text(encoding="utf-8")


def test_an_app_without_a_watch_lets_an_error_pass(drive: Any) -> None:
    """Else a test would take a mistake for a page."""
    d = drive()
    Clock.schedule_once(mistake)
    with pytest.raises(RuntimeError):
        d.step(4)
