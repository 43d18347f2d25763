"""A day at the dock by touch, on an invented boat, with the plugins that are built in: nothing of it is lost.

Pictures of its pages lie in the test's own folder (`-o tmp_path_retention_policy=all --basetemp DIR` keeps them).
"""

from __future__ import annotations

import shutil
import time
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from pypdf import PdfReader

from garboard.recordings.simulator import Boat, Order, simulate
from garboard.report.photos import photos_of
from garboard_tablet.book import book_path
from garboard_tablet.models.data_folder import find_data_folder
from garboard_tablet.models.runs import left_behind, read_pending
from garboard_tablet.models.sources import Replay
from garboard_tablet.models.tablet import open_tablet
from garboard_tablet.system.services import Battery
from printed import printed_words
from tablet.driver import Driver, close_app, type_hull
from tablet.fake_files import FakeFiles, picture
from tablet.fake_system import FakeServices
from tablet.layout_lint import faults

HULL = "QXM44120C626"
TURN, LEAK, LIMITS = "heading_calibration.steady_turn", "handover.fuel_system", "engine_trial.makers_window"
BACK = 27
PATIENCE = 60.0
"""Longer than any thread here takes [s]."""


class Day:
    """The tablet at work, with what its system, its camera and its boat do."""

    def __init__(self, folder: Path, size: tuple[int, int]) -> None:
        self.system, self.size = FakeServices(folder / "files"), size
        self.files = FakeFiles(camera=picture(2400, 1600))
        self.now, self.seen = [0.0], folder / "pictures"
        self.seen.mkdir(parents=True)
        circles = [Order(seconds=150, engine_speed=1100, rate_of_turn=2.5)]
        self.boat = Replay("a boat", simulate(Boat(), circles, start=1e9), origin="live")
        self.start()

    def start(self) -> None:
        from garboard_tablet.app import GarboardApp

        tablet = open_tablet(find_data_folder(self.system.data_folder, self.system.program).folder)
        if not tablet.settings.working:
            tablet.change_settings(tablet.settings.with_person("N. Tarn"))
        self.d = Driver(GarboardApp(tablet, threads=False, services=self.system, files=self.files), self.size)
        self.d.app.live.time = lambda: self.now[0]
        self.d.app.live.source_for = lambda _guide: self.boat

    def sail(self, seconds: int) -> None:
        for _ in range(seconds):
            self.now[0] += 1.0
            self.d.app.run_clock.tick(1.0)

    def out_of_sight(self, seconds: float) -> None:
        """Another app is in front, and the run goes on without being drawn, and is on the disk."""
        under_way = self.d.app.live.under_way
        before = len(under_way.run.samples)
        self.d.app.dispatch("on_pause")
        self.now[0] += seconds
        end = time.monotonic() + PATIENCE
        while self.on_disk() < before + seconds:
            assert time.monotonic() < end, "the run stands still"
            time.sleep(0.01)

    def on_disk(self) -> int:
        """How many samples of the run under way are in its file."""
        path: Path = self.d.app.live.under_way.recorder.path
        return path.read_bytes().count(b"\n") - 1

    def killed(self) -> None:
        """The app starts again, updated, with what was on the disk at the moment it was killed."""
        kept = shutil.copytree(self.system.files, self.system.files.with_name("as the disk has it"))
        close_app(self.d.app)
        shutil.rmtree(self.system.files)
        kept.rename(self.system.files)
        self.system.update()
        self.system.held.clear()
        self.start()

    def look(self, name: str) -> None:
        """A picture of the page, and no fault on it. Drawn apart: the window off screen cannot grow."""
        from kivy.graphics import Color, Rectangle

        path = self.seen / f"{name}.png"
        self.d.step(2)
        shell = self.d.app.shell
        with shell.canvas.before:  # in place of the window's own
            ground = Color(*shell.ground), Rectangle(size=shell.size)
        shell.export_to_png(str(path))
        for part in ground:
            shell.canvas.before.remove(part)
        with Image.open(path) as image:
            assert image.size == self.size
            assert len(image.convert("RGB").getcolors(1 << 21) or ()) > 5, "the page is drawn"
        assert faults(self.d.app.shell, self.d.window) == []

    def read_cautions(self) -> None:
        while self.d.app.tablet.session.here.page == "cautions":
            self.d.seek("begin")

    def to_the_job(self) -> None:
        while self.d.app.tablet.session.here.page != "job":
            self.d.press("back")

    def view(self) -> Any:
        (job,) = self.d.app.tablet.boat(HULL).jobs
        return self.d.app.tablet.view(HULL, job)

    def photos(self) -> Any:
        return photos_of(self.view(), self.d.app.tablet.host)


@pytest.mark.long
@pytest.mark.parametrize("size", [(1280, 800), (800, 1280)], ids=["across", "upright"])
def test_a_day_by_touch_loses_nothing_to_a_kill_an_update_and_another_tablet(
    kivy_window: Any, tmp_path: Path, size: tuple[int, int]
) -> None:
    day = Day(tmp_path / "first", size)
    d = day.d
    d.press("new job")
    type_hull(d, HULL)
    d.press("open job", "tab vessel", "Equipment", "kind engines", "2 engines", "back", "back")

    # A leak is photographed where it failed, and pointed at.
    d.press("tab alongside", f"step {LEAK}")
    day.read_cautions()
    d.press("choice No")
    day.look("1 it leaks")
    d.press("photos of what failed", "take picture")
    left, bottom, wide, high = d.app.screen.page._view.place
    d.tap_at(left + 0.4 * wide, bottom + 0.7 * high)
    d.press("words", "leaks")
    day.look("2 the clamp")
    (photo,) = day.photos()
    assert (photo.shows, [arrow.word for arrow in photo.arrows]) == ((LEAK, "dry_at_rest", "", ""), ["leaks"])
    day.to_the_job()

    # A run goes on while a value is typed, another picture is taken, and the tablet is turned.
    d.press("tab under way", f"step {TURN}")
    day.read_cautions()
    d.press("guide", "start")
    route = d.app.tablet.session.here
    day.sail(20)
    day.system.charge = Battery(0.15, is_charging=False)
    d.app.sight.look_around()
    day.sail(1)
    assert d.says("The battery is at 15\u00a0%.")
    day.look("3 the turn")
    d.type_keys(BACK)
    day.to_the_job()
    d.press("tab alongside", f"step {LIMITS}")
    day.read_cautions()
    d.number("600")
    d.press("key 7", "key 5")
    day.files.camera = picture(600, 900, "#3B5B3B")
    d.press("photos", "take picture", "back", "back")
    d.resize(*reversed(size))
    assert faults(d.app.shell, d.window) == []
    d.resize(*size)
    day.sail(9)
    assert d.find("to the run").text == "Recording 0:30"
    day.look("4 in mid-digit")
    assert d.app.shell.page.form.text == "75"
    here = d.app.tablet.session.here
    day.out_of_sight(30.0)
    recorded = day.on_disk()

    day.killed()
    d = day.d
    assert d.app.tablet.session.here == here
    assert d.app.shell.page.form.text == "75"
    assert len(day.photos()) == 2
    d.press("key 0", "next")
    d.app.way.go(route)
    d.step()
    (path,) = left_behind(d.app.tablet.folder, route, ())
    assert len(read_pending(path.parent, path.name, {}).samples()) == recorded
    d.press("recordings", "pending 0")
    day.look("5 the run after the kill")
    d.press("keep")
    run = day.view().recording(TURN, "turn_recording")
    assert run is not None

    # Everything goes to another tablet by the backup alone.
    stick = tmp_path / "Stick"
    stick.mkdir()
    day.files.place = stick
    d.app.way.home()
    d.step()
    d.press("settings")
    d.seek("backup")
    d.press("back up")
    assert d.says("1 boat saved and read back")
    day.look("6 the backup")
    before, photos, digests = day.view(), day.photos(), d.app.tablet.files.digests()
    close_app(d.app)

    day = Day(tmp_path / "second", size)
    d = day.d
    (day.files.chosen,) = stick.iterdir()
    d.press("settings")
    d.seek("backup")
    d.press("take a backup back", "back", "back")
    assert d.app.tablet.files.digests() == digests
    assert day.photos() == photos
    assert day.view().measurements == before.measurements
    assert day.view().recording(TURN, "turn_recording") == run
    speeds = [one.value for one in day.view().measurements if one.step == LIMITS and one.field != "attached"]
    assert speeds == ["600 rev/min", "750 rev/min"]
    d.press(f"vessel {HULL}", f"step {LEAK}", "photos", f"photo {photo.name}")
    assert d.says("1 leaks")
    day.look("7 on another tablet")
    day.to_the_job()
    d.press("hand over", "book", "make book")
    book = PdfReader(book_path(d.app.tablet, HULL, day.view().job.id))
    assert sum(len(sheet.images) for sheet in book.pages) >= 2
    assert "1 leaks" in printed_words(book_path(d.app.tablet, HULL, day.view().job.id).read_bytes())
    close_app(d.app)
