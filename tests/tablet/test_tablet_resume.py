"""A tablet that dies at any moment comes back at the same step with the same digits typed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tablet.driver import Drive

TESTS = Path(__file__).parents[1]

WORKER = """
import sys
sys.path.insert(0, {here!r})
from tablet import driver
driver.off_screen_window()
from pathlib import Path
from garboard_tablet.app import GarboardApp
from garboard_tablet.models.tablet import open_tablet
from tablet.driver import new_job
tablet = open_tablet(Path({folder!r}), driver.dock_host)
tablet.change_settings(tablet.settings.with_person("Robin"))
d = driver.Driver(GarboardApp(tablet, threads=False))
new_job(d)
d.press("tab vessel", "Equipment", "kind engines", "2 engines", "back", "back")
d.press("tab under way", "step dock.full", "begin")
d.number("5840")
d.press("key 0", "key 5", "key 7")
print("typed", flush=True)
while True:
    d.press("key 9", "key erase")
    print("still typing", flush=True)
"""


@pytest.mark.parametrize("moment", range(4))
def test_killed_while_typing_it_resumes_where_it_was(drive: Drive, tmp_path: Path, moment: int) -> None:
    """Killed at four different moments: the saved value stands, the question is the same, the digits are there."""
    folder = tmp_path / "tablet"
    program = WORKER.format(here=str(TESTS), folder=str(folder))
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True) as worker:
        assert worker.stdout is not None
        lines = iter(worker.stdout.readline, "")
        assert next(lines, "").strip() == "typed", "the first run came to an end by itself"
        for _ in range(moment):
            next(lines)
        os.kill(worker.pid, signal.SIGKILL)

    d = drive(folder, working="")
    here = d.app.tablet.session.here
    assert here.page == "entry"
    assert here.subject == ("measure", "dock.full", "engine_speed", "", "starboard")
    assert d.app.shell.page.form.text in ("057", "0579"), "the digits stand as they were typed, zero in front"
    view = d.app.tablet.view(here.hull, here.job)
    assert view.value("dock.full", "engine_speed", of="port") == "5840 rev/min"
    d.press("back", "back")
    assert d.says("Full throttle")


def test_a_folder_in_use_says_who_holds_it(tmp_path: Path) -> None:
    """A second window on the same folder is refused with a sentence to act on."""
    from garboard.disk.storage import FolderInUse
    from garboard_tablet.models.tablet import open_tablet

    first = open_tablet(tmp_path)
    with pytest.raises(FolderInUse, match="close it there first"):
        open_tablet(tmp_path)
    first.close()
