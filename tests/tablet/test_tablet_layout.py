"""Every page of the app, with the real plugins and a sample job, in all four sizes, by day and in the last by night.

Colours are the same in every size, and sizes the same in every colour: so each is looked at, and not each in each.
The README's run looks at the smallest and the largest, `pytest --long` at all.
"""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator, Sequence
from typing import Any

import pytest

import examples
from garboard.steps import Assessed
from garboard_tablet import gallery
from garboard_tablet.models.session import HOME, Route
from garboard_tablet.models.tablet import Tablet
from garboard_tablet.system.guest import within_layout
from memory import give_back
from tablet.driver import close_app
from tablet.layout_lint import faults
from tablet.pseudo import longer

VESSEL = "kittiwake"
SMALLEST = (1024, 600)
LONG = "saltgrass"
LONG_PAGES = ("_covers", "_missing", "_punch_list", "_hand_over", "_rows_circuits")
"""Pages on which more stands for a job with much open; the others are held to what the first job shows."""


@pytest.fixture(scope="module")
def app(kivy_window: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    from kivy.base import runTouchApp
    from kivy.metrics import Metrics

    from garboard.demo.samples_folder import sample_jobs_folder
    from garboard.history import exchange
    from garboard.job_files.job_file import read_job_file
    from garboard_tablet.app import GarboardApp
    from garboard_tablet.models.tablet import Tablet, open_tablet
    from garboard_tablet.ui.theme import theme

    tablet = open_tablet(tmp_path_factory.mktemp("demo"))
    for vessel in (VESSEL, LONG):
        job = sample_jobs_folder() / vessel / "job.json"
        exchange.import_job(tablet.files, read_job_file(job), job.parent, tablet.author(by="Robin"))
    assess, found = Tablet.assess, {}

    def assess_once(tablet: Tablet, hull: str, job: str, steps: Sequence[str] | None = None) -> tuple[Assessed, ...]:
        """The same values in each of the four sizes: what is found in them is worked out in the first."""
        key = (tablet.folder, hull, job, tablet.size(hull, job), tuple(steps or ()))
        if key not in found:
            found[key] = assess(tablet, hull, job, steps)
        return found[key]

    patch = pytest.MonkeyPatch()
    patch.setattr(Tablet, "assess", assess_once)
    patch.setattr(gallery, "_run", to_the_end)
    app = GarboardApp(tablet, threads=False, files=gallery.ToShow())
    app._run_prepare()
    runTouchApp(embedded=True)

    yield app
    patch.undo()
    gc.unfreeze()
    Metrics.density = Metrics.fontscale = 1.0
    theme.use(dark=False)
    close_app(app)
    give_back()
    gc.freeze()  # or each search in the tablet's tests to come goes through all there is


def to_the_end(page: Any, seconds: float) -> None:
    """A live guide as it stands after so long. The gallery draws it at each tick; here the last alone is looked at."""
    now = [0.0]
    page.live.time = lambda: now[0]
    page = page.screen.page
    page._start()
    for tick in range(1, round(seconds * 4)):
        now[0] = tick * 0.25
        page.run.tick(now[0])
    now[0] = seconds
    page._tick(0.25)


def faults_of_all_pages(app: Any) -> list[str]:
    return faults_of(app, list(gallery.scenes(app.tablet)))


def faults_of(
    app: Any, scenes: Sequence[tuple[str, Route, gallery.Act]], least: int = 100, *, may_break: bool = False
) -> list[str]:
    """Faults of the pages of scenes, of which there are more than so many."""
    from kivy.base import EventLoop
    from kivy.core.window import Window

    found, count = list[str](), 0
    for name, route, act in scenes:
        if name.startswith(LONG) and not any(part in name for part in LONG_PAGES):
            continue
        gallery.show(app, route, act)
        found.extend(f"{name}: {fault}" for fault in faults(app.shell, Window, may_break=may_break))
        count += 1
        EventLoop.idle()  # what waits for the next frame holds the page
        if count % 2 == 0:
            gc.collect()
        if count % 40 == 1:  # what every page needs is not looked through again after each; few widgets stay with it
            gallery.show(app, HOME, gallery.nothing)
            EventLoop.idle()
            gc.collect()
            gc.freeze()
    give_back()
    assert count > least
    return found


@pytest.mark.parametrize(
    "screen",
    [pytest.param(size, marks=[pytest.mark.long] if size[:2] != SMALLEST else []) for size in gallery.SIZES[:-1]],
    ids=lambda screen: f"{screen[0]}x{screen[1]}",
)
def test_every_page_fits_and_can_be_pressed_and_read(app: Any, screen: tuple[int, int, float]) -> None:
    """No target too small, too close or at the edge; no words cut, over each other, outside, or too faint."""
    gallery.set_screen(app, *screen)
    found = faults_of_all_pages(app)
    assert not found, "\n".join(found)


SOME = 6


def test_every_page_fits_the_largest_screen_and_can_be_read_by_night(app: Any) -> None:
    """The same in the last size, and in the dark colours; every sixth page from one drawn anew, all in a long run."""
    from garboard_tablet.ui.theme import theme

    theme.use(dark=True)
    gallery.set_screen(app, *gallery.SIZES[-1])
    scenes = list(gallery.scenes(app.tablet))
    looked_at = [scene for begin in examples.anew(SOME) for scene in scenes[begin::SOME]]
    found = faults_of(app, looked_at, least=15 * len(examples.anew(SOME)))
    theme.use(dark=False)
    assert not found, "\n".join(found)


ONE_IN = 30
"""Of so many pages one is looked at in other words, another in each size; all of them in a long run."""
TALLEST = f"{VESSEL}_heading_calibration_steady_turn"
"""Number, limits and sentence of its worst finding stand higher together than the lowest screen: always looked at."""


def some(app: Any, first: int) -> list[tuple[str, Route, gallery.Act]]:
    scenes = list(gallery.scenes(app.tablet))
    if examples.LONG in os.environ:
        return scenes
    return [*scenes[first::ONE_IN], *(scene for scene in scenes if scene[0] == TALLEST)]


@pytest.mark.parametrize("number", range(len(gallery.SIZES)))
def test_pages_have_room_for_a_language_with_longer_words(app: Any, number: int) -> None:
    """Every word, also those of the core and the plugins, 30 % longer and accented: nothing is cut.

    A word stands on two lines only where it is too long for its place in the least size.
    """
    from garboard_tablet.language import Language

    gallery.set_screen(app, *gallery.SIZES[number])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Language, "translate", staticmethod(longer))
        patch.setattr(Language, "is_another", True)
        found = faults_of(app, some(app, number * 7), 4, may_break=True)
        gallery.show(app, HOME, gallery.nothing)
        assert longer("Vessels") in [widget.text for widget in app.shell.children if hasattr(widget, "text")]
    assert not found, "\n".join(found)


@pytest.mark.parametrize("number", range(len(gallery.SIZES)))
def test_pages_have_room_for_the_largest_words_a_person_may_set(app: Any, number: int) -> None:
    from kivy.metrics import Metrics

    width, height, density = gallery.SIZES[number]
    Metrics.fontscale = within_layout(9.0, min(width, height) / density)
    gallery.set_screen(app, width, height, density)
    found = faults_of(app, some(app, number * 7 + 3), 4, may_break=True)
    Metrics.fontscale = 1.0
    assert not found, "\n".join(found)
