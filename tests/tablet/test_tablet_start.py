"""`garboard tablet` starts the app."""

import os
import subprocess
import sys

PROGRAM = """
import sys
from kivy.clock import Clock
from kivy.app import App
def stop(_dt):
    app = App.get_running_app()
    live = app.live
    print("page", app.shell.page.title, len(app.vessels.lines), app.tablet.folder.name, live.replayed, live.simulated)
    app.stop()
Clock.schedule_once(stop, 6)
from garboard.commands.cli import main
sys.argv = ["garboard", "tablet", *sys.argv[1:]]
main()
"""


def started(*arguments):
    """The program as a person starts it, closed again after some seconds."""
    environment = {**os.environ, "SDL_VIDEODRIVER": "offscreen", "KIVY_NO_CONFIG": "1", "KIVY_NO_ARGS": "1"}
    command = [sys.executable, "-c", PROGRAM, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False, timeout=120)


def test_the_demo_starts_with_the_sample_vessels_in_a_folder_of_its_own(tmp_path):
    """An ordinary window comes up with the sample vessels and the simulated boat; the tablet's folder is left alone."""
    done = started("--demo", "--folder", tmp_path / "mine")
    assert "page Vessels 3 mine-demo None True" in done.stdout, done.stderr[-2000:]
    assert not (tmp_path / "mine").exists()


def test_a_recording_to_play_is_named_when_starting(tmp_path):
    """It feeds the guides; one that is not there is refused before a window opens."""
    recording = tmp_path / "circles.csv"
    recording.write_text("time,rate_of_turn [deg/s]\n0,2.5\n")
    done = started("--folder", tmp_path / "mine", "--replay", recording)
    assert f"page Vessels 0 mine {recording} False" in done.stdout, done.stderr[-2000:]
    refused = started("--folder", tmp_path / "mine", "--replay", tmp_path / "none.csv")
    assert refused.returncode == 2
    assert "does not exist" in refused.stderr
