"""The first frame waits for nothing it does not show."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

PROGRAM = """
import sys
from pathlib import Path
from garboard_tablet.app import GarboardApp
from kivy.base import EventLoop, runTouchApp
from garboard_tablet.models.tablet import open_tablet
app = GarboardApp(open_tablet(Path(sys.argv[1])))
app._run_prepare()
runTouchApp(embedded=True)
EventLoop.idle()
print("title", app.shell.page.title)
print("loaded", *sys.modules)
"""
NOT_NEEDED = {
    "garboard.records",
    "garboard.findings",
    "garboard.hosting.host",
    "garboard.history.replay",
    "garboard.recordings.boat_network",
    "garboard_prop_check",
    "cattrs",
    "numpy",
    "PIL.Image",
    "asyncio",
    "ssl",
    "kivy.core.clipboard",
}


def test_the_first_frame_loads_neither_records_nor_plugins_nor_the_network(tmp_path: Path) -> None:
    """Each of these costs a felt part of the start; each is loaded when it is first needed."""
    environment = {**os.environ, "SDL_VIDEODRIVER": "offscreen", "KIVY_NO_CONFIG": "1", "KIVY_NO_ARGS": "1"}
    command = [sys.executable, "-c", PROGRAM, str(tmp_path / "tablet")]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False, timeout=300)
    lines = dict(line.split(" ", 1) for line in done.stdout.splitlines() if " " in line)
    assert lines.get("title") == "Vessels", done.stderr[-2000:]
    assert NOT_NEEDED & set(lines["loaded"].split()) == set()
