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
