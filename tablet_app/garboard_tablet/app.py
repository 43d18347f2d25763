"""The tablet app: one window, one page at a time, everything it needs handed in."""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import garboard_tablet.ui.before_kivy  # noqa: F401

# isort: split
from kivy.app import App
from kivy.core.window import Window

from garboard.disk.entries import SHOP_RECORD
from garboard.disk.storage import NotSaved
from garboard.faults import in_words
from garboard.verdict import Verdict
from garboard_tablet.models.ashore import AshoreMarks
from garboard_tablet.models.assessor import Assessor
from garboard_tablet.models.background import Background
from garboard_tablet.models.backups import Backups
from garboard_tablet.models.files_amiss import files_gone
from garboard_tablet.models.keys import ENTER, of_keyboard
from garboard_tablet.models.live_source import LiveSource
from garboard_tablet.models.navigator import Navigator
from garboard_tablet.models.pointed import Pointed
from garboard_tablet.models.run_reviews import RunReviews
from garboard_tablet.models.session import Route
from garboard_tablet.models.shop_worker import ShopWorker
from garboard_tablet.models.step_ends import StepEnds
from garboard_tablet.models.tablet import Tablet, open_tablet
from garboard_tablet.models.uncaught import ShownOnce
from garboard_tablet.models.vessel_watch import VesselWatch
from garboard_tablet.models.vessels import VesselList
from garboard_tablet.pages.table import page_class
from garboard_tablet.system.guest import Guest
from garboard_tablet.system.services import Services
from garboard_tablet.system.this_machine import files_of_this_machine, services_of_this_machine
from garboard_tablet.ui.between_touches import BetweenTouches, is_finger_down
from garboard_tablet.ui.context import Context
from garboard_tablet.ui.in_sight import InSight
from garboard_tablet.ui.inputs import KeptPresses, KeptQuestion, NumberPads
from garboard_tablet.ui.run_clock import RunClock
from garboard_tablet.ui.screen import PageScreen
from garboard_tablet.ui.shaders import release_compiler
from garboard_tablet.ui.shell import Shell
from garboard_tablet.ui.theme import theme
from garboard_tablet.ui.uncaught import ShowsThem, guarded
from garboard_tablet.ui.widgets import Press, act

if TYPE_CHECKING:
    from garboard.history.merge import MergeReport
    from garboard.hosting.failures import PluginProblem
    from garboard.recordings.where import Where
    from garboard.shop_link.ashore import State
    from garboard.shop_link.sync import SyncReport
    from garboard_tablet.system.files import Files

log = logging.getLogger("garboard.tablet")


def _worth_saying(record: logging.LogRecord) -> bool:
    """Kivy prints two tracebacks where the desktop's selection tools are missing; the app has no use for them."""
    return not str(record.msg).startswith("Cutbuffer")


logging.getLogger("kivy").addFilter(_worth_saying)

THREADS_TAKE_TURNS = 0.0005
"""How soon the drawing thread gets its turn back from an assessment [s]; Python's usual 5 ms is felt at every save."""
SETTLE = 0.5
"""So long after the start the list of vessels is looked through [s]."""
ASK_AGAIN = 2.0
"""So long after a failure during a live run it is asked again whether it can be shown [s]."""
ESCAPE = 27
"""Kivy's number of the escape key, and of a tablet's own back key."""


class GarboardApp(App):
    """The parts of the app put together, and the life of its window."""

    title = "Garboard"
    kv_directory = str(Path(__file__).parent / "fonts")  # holds no kv file: theme.kv is loaded by hand, once

    def __init__(
        self,
        tablet: Tablet,
        *,
        demo: bool = False,
        threads: bool = True,
        data_problem: str = "",
        files: Files | None = None,
        services: Services | None = None,
    ) -> None:
        super().__init__()
        sys.setswitchinterval(THREADS_TAKE_TURNS)
        self.tablet, self.demo = tablet, demo
        self._shown = ShownOnce()
        self.between_touches = BetweenTouches()
        later = self.between_touches.later
        self.screen = PageScreen(tablet, lambda route: page_class(route.page)(self.context, route))
        self.way = Navigator(tablet, self.screen.show)
        self.vessels = VesselList(tablet)
        self.marks = AshoreMarks(self.vessels)
        self.vessels.read()
        self.marks.read()
        tablet.amiss = files_gone(tablet.files)
        self.background = Background(later, self.tell, threads=threads)
        self.findings = Assessor(tablet, self.background, self._findings_changed)
        self.ends = StepEnds(tablet)
        tablet.passed_over = lambda _plugin: later(self._plugin_passed_over)
        self.watch = VesselWatch(self.vessels, self.background, self._vessels_changed)
        self.shop = ShopWorker(tablet, self.background, self._came_ashore)
        self.live = LiveSource(tablet, simulated=demo)
        self.files = files or files_of_this_machine(later)
        self.backups = Backups(
            tablet,
            self.background,
            self.files,
            came=lambda report: came_in(self, report),
            changed=lambda: self.screen.refill(("backup",)),
        )
        self.guest = Guest(services or services_of_this_machine(), self.live, tablet.folder)
        self.live.changed = self.guest.settle
        self.sight = InSight(self.guest, self.live, self.screen, self.between_touches)
        self.sight.run_clock = self.run_clock = RunClock(tablet, self.live, self.sight.show_run)
        self.bind(on_resume=self.sight.resume)
        self.context = Context(
            tablet=tablet,
            way=self.way,
            findings=self.findings,
            ends=self.ends,
            shop=self.shop,
            live=self.live,
            runs=RunReviews(
                tablet, self.background, lambda: self.screen.refill(("run", "recordings", "step", "sensors"))
            ),
            vessels=self.vessels,
            marks=self.marks,
            background=self.background,
            screen=self.screen,
            between_touches=self.between_touches,
            pads=NumberPads(),
            presses=KeptPresses(),
            asked=KeptQuestion(),
            files=self.files,
            backups=self.backups,
            pointed=Pointed(tablet),
            run_clock=self.run_clock,
            guest=self.guest,
            files_come_from=Path(os.environ.get("GARBOARD_FILES", tablet.folder / "inbox")),
            data_problem=data_problem,
        )

    @property
    def shell(self) -> Shell:
        return self.screen.shell

    def build(self) -> Shell:
        Press.refused = self._not_saved
        self.sight.begin()
        theme.use(dark=self.tablet.settings.dark)
        theme.left = self.tablet.settings.thumb_left
        shell = self.screen.open(self.way.back)
        guarded(self.screen.show)
        later = self.between_touches.later
        later(lambda: later(self._settled, SETTLE))  # counted from the first frame on, however long the start took
        Window.bind(on_keyboard=self._on_keyboard)
        return shell

    def _settled(self) -> None:
        """The first page is up and answers: what can wait begins now."""
        release_compiler()
        self.watch.look()
        self.shop.begin()
        self.sight.settle()

    def on_pause(self) -> bool:
        """All that was entered is on the disk already."""
        self.watch.keep()
        self.sight.pause()
        return True

    def on_stop(self) -> None:
        self.sight.end()
        self.screen.close()
        self.watch.keep()
        Window.unbind(on_keyboard=self._on_keyboard)
        self.live.close()
        self.guest.leave()
        self.shop.stop()
        self.background.stop()
        self.tablet.close()

    def _on_keyboard(
        self, _window: Any, key: int, _code: int = 0, text: str | None = None, held: Collection[str] = ()
    ) -> bool:
        """The tablet's own back key, and escape on a desktop, do what Back does. A desktop's keys drive the pads."""
        if key == ESCAPE:
            if len(self.tablet.session.way) > 1 or not self.sight.step_back():
                self.way.back()
            return True
        meant, page = of_keyboard(key, text), self.screen.page
        if not meant or page is None or not {"ctrl", "alt", "meta"}.isdisjoint(held):
            return False
        if meant == ENTER and Press.now() < Press.quiet_until:
            return True  # a key held down must not answer the next question as well
        taken: list[bool] = []
        act(lambda: taken.append(page.keyed(meant)))
        return not taken or taken[0]

    def _findings_changed(self, key: tuple[str, str, str]) -> None:
        hull, job, step = key
        if not step:
            found = self.findings.of(Route(page="job", hull=hull, job=job))
            self.vessels.note_fails(hull, job, sum(one.finding.verdict is Verdict.FAIL for one in found))
            self.screen.refill(("vessels",))
        if self.ends.found(key, self.findings.of(Route(page="step", hull=hull, job=job, step=step))):
            self.vessels.refresh(hull)
        page = self.screen.page
        if page is not None and (page.route.hull, page.route.job, page.route.step) == key:
            page.refill()

    def _plugin_passed_over(self) -> None:
        """A plugin does not come back: the rest goes on without it, and its findings say so."""
        self.background.renew()
        self.findings.abandon()
        self.watch.abandon()

    def _vessels_changed(self) -> None:
        if self.screen.page is not None and self.screen.page.route.page == "vessels":
            self.screen.redraw()
        else:
            self.screen.say_saved()

    def _came_ashore(self, state: State) -> None:
        if state.report is not None and state.word == "ashore":
            came_in(self, state.report)
            self.marks.note(state.report)
        self.screen.refill(("ashore", "vessels"))

    def _not_saved(self, failure: NotSaved) -> None:
        """Say that the disk refused. Nothing that was typed is lost while the app is open."""
        from garboard_tablet.pages.trouble import NotSavedPage

        log.error("not saved: %s", failure, exc_info=failure)
        route = self.tablet.session.here.to("not saved")
        self.screen.interrupt(NotSavedPage(self.context, route, in_words(failure)))

    def tell(self, what: str, failure: BaseException) -> None:
        """Say that work in the background failed. A live run goes on until the person ends it; it is said then."""
        page, again = self.screen.page, partial(self.tell, what, failure)
        if page is not None and page.must_not_be_left:
            self.between_touches.later(again, ASK_AGAIN)
        elif is_finger_down():  # what failed as a page was drawn was not waited with
            self.between_touches.later(again)
        else:
            self.show_mistake(failure, what)

    def show_mistake(self, failure: BaseException, what: str, *, each_time: bool = False) -> None:
        """Show that the program made a mistake, and what to do; once, where it may repeat by itself."""
        from garboard_tablet.models.logbook import kind_of
        from garboard_tablet.pages.trouble import TroublePage

        if isinstance(failure, NotSaved):
            self._not_saved(failure)
        elif self._shown.is_new(failure) or each_time:
            route = self.tablet.session.here.to("trouble")
            self.screen.interrupt(TroublePage(self.context, route, what, kind_of(failure)))


def came_in(app: GarboardApp, report: SyncReport | MergeReport) -> None:
    """Entries came from elsewhere: from the shop, or out of a backup."""
    came = [merged.hull for merged in report.hulls]
    app.tablet.look_again(came)
    if SHOP_RECORD in came:
        app.screen.refill(("shop settings",))
    app.findings.look_again()  # a recording may have come that was missing
    app.watch.look()
    if app.screen.page is not None and app.screen.page.route.hull:
        app.findings.soon(app.screen.page.route)


@contextmanager
def watched(app: GarboardApp) -> Iterator[None]:
    """Keep a log in the tablet's folder, and show what nobody catches, as long as the app is at work."""
    from kivy.base import ExceptionManager

    from garboard_tablet.models.logbook import close_log, keep_log
    from garboard_tablet.models.uncaught import Uncaught

    shows = ShowsThem(lambda failure: app.tell("drawing a page", failure))

    def press_failed(failure: Exception) -> None:
        log.error("a press failed", exc_info=failure)
        app.show_mistake(failure, "answering a press", each_time=True)

    before, Press.failed = Press.failed, staticmethod(press_failed)
    handler = keep_log(app.tablet.folder)
    ExceptionManager.add_handler(shows)
    try:
        with Uncaught(app.between_touches.later, lambda failure: app.tell("work beside the pages", failure)):
            yield
    finally:
        Press.failed = staticmethod(before)
        ExceptionManager.remove_handler(shows)
        close_log(handler)


def run(
    folder: Path | None = None,
    demo: bool = False,
    replay: Path | None = None,
    listen: Where | None = None,
    own_plugins: Sequence[Path] = (),
    refused: Sequence[PluginProblem] = (),
    without: Sequence[str] = (),
) -> None:
    """Start the app in a window.

    folder : the tablet's own, made when it is not there; None for the one the system gives
    demo   : with the sample jobs and the simulated boat, in a folder of their own beside it
    replay : a recording that feeds the live guides
    listen : where the boat's network is heard, which then feeds them
    own_plugins : files of plugins chosen for this run
    refused     : what lies beside the data as a plugin and does not run for its name
    without     : names of plugins not to load
    errors : InputError for one that nobody has
    """
    from garboard_tablet.models.data_folder import DataFolder, find_data_folder

    services = services_of_this_machine()
    found = DataFolder(folder=folder) if folder is not None else find_data_folder(services.data_folder)
    own = found.folder.with_name(f"{found.folder.name}-demo") if demo else found.folder
    if without:
        _refuse_unknown(without, [*(file.stem for file in own_plugins), *(one.name for one in refused)], own)
    tablet = open_tablet(own, own_plugins=own_plugins, refused=refused, without=without)
    if demo:
        from garboard_tablet.demo import fill

        fill(tablet)
    app = GarboardApp(tablet, demo=demo, data_problem=found.problem, services=services)
    if replay is not None:
        app.live.replay(replay)
    if listen is not None:
        app.live.listen(listen)
    with watched(app):
        app.run()
    if tablet.minder is not None:
        tablet.minder.leave()


def _refuse_unknown(without: Sequence[str], here: Sequence[str], folder: Path) -> None:
    from garboard.hosting.host import refuse_unknown_names
    from garboard.shop_link.shop_plugins import kept

    refuse_unknown_names(without, (*here, *(one.name for one in kept(folder))))


__all__: Sequence[str] = ("GarboardApp", "run")
