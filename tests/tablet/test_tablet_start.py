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
    print("page", app.shell.page.title, len(app.vessels.lines), app.tablet.folder.name)
    app.stop()
Clock.schedule_once(stop, 6)
from garboard.cli import main
sys.argv = ["garboard", "tablet", *sys.argv[1:]]
main()
"""


def test_the_demo_starts_with_the_sample_vessels_in_a_folder_of_its_own(tmp_path):
    """An ordinary window comes up with the sample vessels in it; the tablet's own folder is left alone."""
    environment = {**os.environ, "SDL_VIDEODRIVER": "offscreen", "KIVY_NO_CONFIG": "1", "KIVY_NO_ARGS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, "--demo", "--folder", str(tmp_path / "mine")],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
        timeout=120,
    )
    assert "page Vessels 3 mine-demo" in done.stdout, done.stderr[-2000:]
    assert not (tmp_path / "mine").exists()
