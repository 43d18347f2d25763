"""`garboard tablet` starts the app."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner
from packaging.requirements import Requirement

import garboard
from garboard.commands import tablet
from garboard.commands.cli import program

PROGRAM = """
import sys, time
from kivy.clock import Clock
from kivy.app import App
ends = time.monotonic() + 60
def stop(_dt):
    app = App.get_running_app()
    if not app.shell.page or (len(app.vessels.lines) < int(wanted) and time.monotonic() < ends):
        return
    live = app.live
    print("page", app.shell.page.title, len(app.vessels.lines), app.tablet.folder.name, live.replayed, live.simulated)
    app.stop()
Clock.schedule_interval(stop, 0.2)
wanted = sys.argv[1]
from garboard.commands.cli import main
sys.argv = ["garboard", "tablet", *sys.argv[2:]]
main()
"""


def started(*arguments: object, vessels: int = 0) -> subprocess.CompletedProcess[str]:
    """The program as a person starts it, closed again when it lists so many vessels, or after a minute."""
    environment = {**os.environ, "SDL_VIDEODRIVER": "offscreen", "KIVY_NO_CONFIG": "1", "KIVY_NO_ARGS": "1"}
    command = [sys.executable, "-c", PROGRAM, str(vessels), *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False, timeout=300)


def test_the_demo_starts_with_the_sample_vessels_in_a_folder_of_its_own(tmp_path: Path) -> None:
    """An ordinary window comes up with the sample vessels and the simulated boat; the tablet's folder is left alone."""
    done = started("--demo", "--folder", tmp_path / "mine", vessels=3)
    assert "page Vessels 3 mine-demo None True" in done.stdout, done.stderr[-2000:]
    assert not (tmp_path / "mine").exists()


def test_a_recording_to_play_is_named_when_starting(tmp_path: Path) -> None:
    """It feeds the guides; one that is not there is refused before a window opens."""
    recording = tmp_path / "circles.csv"
    recording.write_text("time,rate_of_turn [deg/s]\n0,2.5\n")
    done = started("--folder", tmp_path / "mine", "--replay", recording)
    assert f"page Vessels 0 mine {recording} False" in done.stdout, done.stderr[-2000:]
    refused = started("--folder", tmp_path / "mine", "--replay", tmp_path / "none.csv")
    assert refused.returncode == 2
    assert "does not exist" in refused.stderr


def test_without_kivy_it_says_what_to_install_and_for_which_python(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a Python that Kivy is not published for, which ones it is; pyproject.toml asks for it there alone."""
    monkeypatch.setattr(tablet, "find_spec", lambda _name: None)
    old_enough = CliRunner().invoke(program, ["tablet"])
    monkeypatch.setattr(tablet, "NEWEST_FOR_KIVY", (3, sys.version_info.minor - 1))
    too_new = CliRunner().invoke(program, ["tablet"])
    assert "garboard[tablet]" in old_enough.output
    assert "not yet published" not in old_enough.output
    assert "not yet published for a newer one" in too_new.output


def test_kivy_is_asked_for_up_to_the_newest_python_it_is_published_for() -> None:
    project = tomllib.loads((Path(garboard.__file__).parents[2] / "pyproject.toml").read_text())["project"]
    asked = map(Requirement, project["optional-dependencies"]["tablet"])
    (marker,) = (one.marker for one in asked if one.name == "kivy")
    major, minor = tablet.NEWEST_FOR_KIVY
    for version, is_asked in ((f"{major}.{minor}", True), (f"{major}.{minor + 1}", False)):
        assert marker is not None
        assert marker.evaluate({"python_version": version}) is is_asked
