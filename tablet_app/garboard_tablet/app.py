"""The tablet app: one window, one page at a time, everything it needs handed in."""

from __future__ import annotations

import contextlib
import gc
import logging
import os
import sys
import time
from collections.abc import Callable, Collection, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

os.environ.setdefault("KIVY_NO_ARGS", "1")
os.environ.setdefault("KIVY_NO_FILELOG", "1")
os.environ.setdefault("KIVY_NO_CONFIG", "1")
os.environ.setdefault("KIVY_LOG_MODE", "PYTHON")

from kivy.app import App
from kivy.clock import Clock
from kivy.core.window import Window

from garboard.disk.storage import NotSaved
from garboard_tablet.models.ashore import PAIRED_FILE, AshoreMarks
from garboard_tablet.models.keys import ENTER, of_keyboard
from garboard_tablet.models.session import Place
from garboard_tablet.models.tablet import Tablet, open_tablet
from garboard_tablet.models.vessels import VesselList, printed
from garboard_tablet.pages.table import page_class
from garboard_tablet.ui.shell import Page, Shell
from garboard_tablet.ui.theme import sp, theme
from garboard_tablet.ui.widgets import Press, act

if TYPE_CHECKING:
    from garboard.recordings.boat_network import BoatNetwork, Where
    from garboard.shop_link.ashore import ComingAshore, State
    from garboard.shop_link.pairing import PairedShop
    from garboard.steps import Assessed, Guidance, LiveGuide
    from garboard_tablet.models.sources import SampleSource
    from garboard_tablet.ui.inputs import NumberPad

log = logging.getLogger("garboard.tablet")


def _worth_saying(record: logging.LogRecord) -> bool:
    """Kivy prints two tracebacks where the desktop's selection tools are missing; the app has no use for them."""
    return not str(record.msg).startswith("Cutbuffer")


logging.getLogger("kivy").addFilter(_worth_saying)

AFTER_A_CHANGE = 0.3
"""For so long after a new page nothing can be pressed on it [s]."""
NEXT_FIELD_FIRST = 0.1
"""An assessment begins so long after it was asked for, so that the next field is on the screen before [s]."""
THREADS_TAKE_TURNS = 0.0005
"""How soon the drawing thread gets its turn back from an assessment [s]; Python's usual 5 ms is felt at every save."""
TIDY = 0.4
"""So long after a page has come up the one before is cleared away [s]: then, and not in the middle of a press."""
SELDOM = 100
"""How seldom Python looks through everything by itself: it is a fallback, since each page that goes is cleared away."""
SETTLE = 0.5
"""So long after the start the list of vessels is looked through [s]."""


class GarboardApp(App):
    """The app at work on one tablet.

    in_background : runs a function and hands its result to another, later, on the drawing thread
    """

    title = "Garboard"
    kv_directory = str(Path(__file__).parent / "fonts")  # holds no kv file: theme.kv is loaded by hand, once

    def __init__(self, tablet: Tablet, *, demo: bool = False, threads: bool = True) -> None:
        super().__init__()
        sys.setswitchinterval(THREADS_TAKE_TURNS)
        gc.set_threshold(*gc.get_threshold()[:2], SELDOM)
        self._tidying = Clock.create_trigger(self._tidy, TIDY)
        self._modules = 0
        self.tablet, self.demo = tablet, demo
        self.vessels = VesselList(tablet)
        self.files_come_from = Path(os.environ.get("GARBOARD_FILES", tablet.folder / "inbox"))
        self.time: Callable[[], float] = time.monotonic
        self._threads = threads
        self._found: dict[tuple[str, str, str], tuple[Assessed, ...]] = {}
        self._waiting: set[tuple[str, str, str]] = set()
        self._at_work: set[tuple[str, str, str]] = set()
        self._found_at: dict[tuple[str, str, str], int] = {}
        self.marks = AshoreMarks(tablet)
        self._workers = ThreadPoolExecutor(2, "in the background")  # one for findings, one left for a book or a list
        self._coming: ComingAshore | None = None
        self.simulated = demo
        self.replayed: Path | None = None
        self.network: BoatNetwork | None = None
        self._pads: dict[tuple[bool, bool, float], NumberPad] = {}

    # Life

    def build(self) -> Shell:
        Press.refused = self._not_saved
        theme.use(dark=self.tablet.settings.dark)
        Window.clearcolor = theme.ground
        self.shell = Shell(self.back)
        self.vessels.read()
        self.marks.read()
        self._show()
        # counted from the first frame on, however long the start took
        Clock.schedule_once(lambda _dt: Clock.schedule_once(lambda _dt: self._settled(), SETTLE), 0)
        Window.bind(on_keyboard=self._on_keyboard)
        return self.shell

    def _settled(self) -> None:
        """The first page is up and answers: what can wait begins now."""
        self._look_for_news()
        if self._threads and (self.tablet.folder / PAIRED_FILE).exists():
            self.bring_ashore_now()

    def on_pause(self) -> bool:
        """Everything is on the disk already."""
        return True

    def on_stop(self) -> None:
        if self.shell.page is not None:
            self.shell.page.leave()
        Window.unbind(on_keyboard=self._on_keyboard)
        self._listen_no_more()
        if self._coming is not None:
            self._coming.stop(patience=5.0)
        self._workers.shutdown(wait=False, cancel_futures=True)
        self.tablet.close()

    def _on_keyboard(
        self, _window: Any, key: int, _code: int = 0, text: str | None = None, held: Collection[str] = ()
    ) -> bool:
        """The tablet's own back key, and escape on a desktop, do what Back does. A desktop's keys drive the pads."""
        if key == 27:
            self.back()
            return True
        meant, page = of_keyboard(key, text), self.shell.page
        if not meant or page is None or not {"ctrl", "alt", "meta"}.isdisjoint(held):
            return False
        if meant == ENTER and Press.now() < Press.quiet_until:
            return True  # a key held down must not answer the next question as well
        taken: list[bool] = []
        act(lambda: taken.append(page.keyed(meant)))
        return not taken or taken[0]

    # Where we are

    def go(self, place: Place) -> None:
        self.tablet.session.go(place)
        self._show()

    def go_named(self, place: Place) -> None:
        """To a page where entries are made; who makes them is asked first, once."""
        if self.tablet.settings.working:
            self.go(place)
        else:
            self.tablet.session.way.append(place)
            self.go(place.to("who"))

    def instead(self, place: Place) -> None:
        self.tablet.session.instead(place)
        self._show()

    def back(self) -> None:
        self.tablet.session.back()
        self._show()

    def back_to(self, page: str) -> None:
        self.tablet.session.back_to(page)
        self._show()

    def redraw(self) -> None:
        """Draw the page anew; a live guide goes on as it was."""
        page = self.shell.page
        if page is not None and page.place == self.tablet.session.here:
            self.redraw_as(self._same_or_new(page))
        else:
            self._show()

    def redraw_as(self, page: Page) -> None:
        """Draw a page that keeps what it knows."""
        self.shell.show(page, first=len(self.tablet.session.way) == 1)
        self._tidying()

    def _same_or_new(self, page: Page) -> Page:
        from garboard_tablet.pages.live import LivePage

        return page if isinstance(page, LivePage) else self._page(page.place)

    def _show(self) -> None:
        if self.shell.page is not None:
            self.shell.page.leave()
        Press.quiet_until = Press.now() + AFTER_A_CHANGE
        self.redraw_as(self._page(self.tablet.session.here))
        self.shell.say_saved(self.saved_words())

    def _tidy(self, _dt: float) -> None:
        """Clear away what is no longer needed. What was loaded meanwhile stays for good, and is not looked through."""
        if len(sys.modules) == self._modules:
            gc.collect()
            return
        self._modules = len(sys.modules)
        gc.unfreeze()
        gc.collect()
        gc.freeze()

    def _not_saved(self, failure: NotSaved) -> None:
        """Say that the disk refused. Nothing that was typed is lost while the app is open."""
        from garboard_tablet.pages.job import NotSavedPage

        log.error("not saved: %s", failure)
        self.shell.show(NotSavedPage(self, self.tablet.session.here, str(failure)), first=True)
        self.shell.say_saved("NOT saved")

    def try_again(self) -> None:
        """Back to the page where the disk refused."""
        self._show()

    def _page(self, place: Place) -> Page:
        return page_class(place.page)(self, place)

    def open_step(self, place: Place, step_key: str) -> None:
        """Open a step: at its cautions when it is new, else at what has been entered."""
        from garboard_tablet.models.entry import first_place
        from garboard_tablet.models.pages import asks_here

        step = self.tablet.step(step_key)
        target = place.to("step", step=step_key)
        self.tablet.session.way.append(target)
        begun = self.tablet.view(place.hull, place.job).state_of(step_key) != "to do"
        if step is not None and not begun:
            first = first_place(self.tablet, target, asks_here(self.tablet, place.hull, place.job, step))
            if step.cautions or step.at_hand:
                self.tablet.session.way.append(target.to("cautions"))
            elif first is not None:
                self.tablet.session.way.append(first)
        self.tablet.session.save()
        self._show()

    def next_step(self, place: Place) -> str | None:
        """The first step neither done nor not fitted."""
        from garboard_tablet.models.pages import open_steps

        steps = open_steps(self.tablet, place.hull, place.job)
        return steps[0].key if steps else None

    def number_pad(
        self, press: Callable[[str], object], next: Callable[[], object], point: bool, sign: bool
    ) -> NumberPad:
        """The one number pad of its kind, at work for the page that asks."""
        from garboard_tablet.ui.inputs import NumberPad

        key = (point, sign, sp(1))  # a window moved to another screen needs keys of its size
        if key not in self._pads:
            self._pads[key] = NumberPad(press, next, point=point, sign=sign)
        pad = self._pads[key]
        pad.serve(press, next)
        return pad

    # Findings

    def verdicts(self, place: Place) -> tuple[Assessed, ...]:
        """What was last found for a step, or for the whole job where the place names none."""
        return self._found.get((place.hull, place.job, place.step), ())

    def assess_now(self, place: Place) -> tuple[Assessed, ...]:
        """Assess before going on."""
        steps = [place.step] if place.step else None
        self._found[place.hull, place.job, place.step] = self.tablet.assess(place.hull, place.job, steps)
        return self.verdicts(place)

    def assess_soon(self, place: Place) -> None:
        """Assess in the background; the page that shows it is drawn anew when something has changed."""
        key = (place.hull, place.job, place.step)
        if key not in self._waiting:
            self._waiting.add(key)
            Clock.schedule_once(lambda _dt: self._assess(key), NEXT_FIELD_FIRST if self._threads else 0)

    def _assess(self, key: tuple[str, str, str]) -> None:
        """One assessment of a step at a time: one that is asked for meanwhile waits, and sees the newest values."""
        if key in self._at_work:
            return
        self._waiting.discard(key)
        hull, job, step = key
        size = self.tablet.size(hull, job)
        if self._found_at.get(key) == size:
            return
        self._at_work.add(key)
        self._found_at[key] = size
        view, host = self.tablet.view(hull, job), self.tablet.host
        self.in_background(
            lambda: host.assess(view, [step] if step else None),
            lambda found: self._assessed(key, found),
            lambda _failure: self._at_work.discard(key),
        )

    def _assessed(self, key: tuple[str, str, str], found: tuple[Assessed, ...]) -> None:
        self._at_work.discard(key)
        if key in self._waiting:
            self._assess(key)
        if self._found.get(key) == found:
            return
        self._found[key] = found
        page = self.shell.page
        if page is not None and (page.place.hull, page.place.job, page.place.step) == key:
            page.refill()

    def _soon(self, work: Callable[[], object]) -> None:
        """Have work done on the drawing thread; any thread may ask."""
        Clock.schedule_once(lambda _dt: work())

    def in_background(
        self,
        work: Callable[[], Any],
        done: Callable[[Any], None],
        failed: Callable[[Exception], None] = lambda _failure: None,
    ) -> None:
        """Have work done beside the drawing thread; then `done` with its result, or `failed`, on the drawing thread."""
        if not self._threads:
            done(work())
            return

        def run() -> None:
            try:
                result = work()
            except Exception as failure:
                log.exception("work in the background failed")
                self._soon(partial(failed, failure))
            else:
                self._soon(partial(done, result))

        with contextlib.suppress(RuntimeError):  # the app is being closed: nobody waits for the result
            self._workers.submit(run)

    # Vessels

    def _look_for_news(self) -> None:
        """See which lines of the list are no longer true: after a merge, or when the app starts for the first time."""
        self.in_background(self.vessels.stale, lambda stale: self._refresh_vessels(list(stale)))

    def _refresh_vessels(self, stale: list[str]) -> None:
        """Put one line right at a time, so that a finger never waits."""
        if not stale:
            return
        self.vessels.refresh(stale.pop())
        if stale:
            Clock.schedule_once(lambda _dt: self._refresh_vessels(stale), 0)
            return
        self.vessels.keep()
        page = self.shell.page
        if page is not None and page.place.page == "vessels":
            self.redraw()

    def vessel_changed(self, hull: str) -> None:
        """Something the list of vessels shows has changed."""
        self.vessels.refresh(hull)
        self.vessels.keep()

    def vessel_name(self, hull: str) -> str:
        vessel, _ = self.tablet.fold(hull).vessel()
        return vessel.name or self.hull_number(hull)

    def hull_number(self, hull: str) -> str:
        return printed(self.tablet.fold(hull).hull_number)

    def whose(self, place: Place) -> str:
        if not place.hull:
            return ""
        name, number = self.vessel_name(place.hull), self.hull_number(place.hull)
        return f"{name}, {number}" if name != number else number

    def saved_words(self) -> str:
        return f"Saved {self.tablet.last_saved}" if self.tablet.last_saved else "All is saved"

    # Bringing ashore

    def paired_shop(self) -> PairedShop | None:
        from garboard.shop_link.pairing import kept

        return kept(self.tablet.folder)

    def ashore_state(self) -> State:
        """How bringing ashore stands."""
        from garboard.shop_link.ashore import State

        return self._coming.state if self._coming is not None else State()

    def bring_ashore_now(self) -> None:
        """Try at once. From the first time on it is also tried by itself, in a thread of its own."""
        from garboard.shop_link.ashore import ComingAshore

        if self._coming is None:
            self._state_who_writes()
            self._coming = ComingAshore(self.tablet.files, lambda state: self._soon(partial(self._came_ashore, state)))
            self._coming.start()
        else:
            self._coming.now()

    def _state_who_writes(self) -> None:
        """The shop must know what entries written here say of the tablet; settings that were lost have a new name."""
        from attrs import evolve

        from garboard.shop_link import pairing

        shop, writes_as = pairing.kept(self.tablet.folder), self.tablet.settings.tablet
        if shop is not None and shop.device != writes_as:
            with contextlib.suppress(NotSaved):
                pairing.keep(self.tablet.folder, evolve(shop, device=writes_as))

    def pair(self, code: str, done: Callable[[PairedShop | None, str], None]) -> None:
        """Pair with the shop a code names; `done` gets the shop, or why not."""
        name = f"{self.tablet.settings.working or 'tablet'}, {self.tablet.settings.tablet[:4]}"

        def work() -> tuple[PairedShop | None, str]:
            from garboard.disk.storage import NotSaved
            from garboard.faults import InputError
            from garboard.shop_link import pairing, sync
            from garboard.shop_link.shop_line import NotTheShop, ShopAway, ShopRefused

            try:
                shop = sync.pair(code, name, self.tablet.settings.tablet)
                pairing.keep(self.tablet.folder, shop)
            except (InputError, NotTheShop, ShopAway, ShopRefused, NotSaved) as failure:
                return None, str(failure)
            return shop, ""

        def paired(result: tuple[PairedShop | None, str]) -> None:
            done(*result)
            if result[0] is not None:
                self.bring_ashore_now()

        self.in_background(work, paired)

    def _came_ashore(self, state: State) -> None:
        if state.report is not None and state.word == "ashore":
            self.tablet.look_again([merged.hull for merged in state.report.hulls])
            self.marks.note(state.report, self.vessels)
            self._found_at.clear()  # a recording may have come that was missing
            self._look_for_news()
        page = self.shell.page
        if page is not None and page.place.page in ("ashore", "vessels"):
            page.refill()

    # Live guides

    def guide_of(self, place: Place) -> LiveGuide[Any] | None:
        step = self.tablet.step(place.step)
        return self.tablet.host.live_guides.get(step.guide) if step and step.guide else None

    def replay(self, recording: Path | None) -> None:
        """Feed live guides from a recording from now on; None for the simulated boat. Holds until the app is closed."""
        self.replayed, self.simulated = recording, recording is None
        self._listen_no_more()

    def listen(self, where: Where) -> None:
        """Feed live guides from the boat's network from now on. Holds until the app is closed."""
        from garboard.recordings.boat_network import BoatNetwork

        self.replayed, self.simulated = None, False
        if self.network is None or self.network.where != where:
            self._listen_no_more()
            self.network = BoatNetwork(where)
            self.network.start()

    def _listen_no_more(self) -> None:
        if self.network is not None:
            self.network.stop()
            self.network = None

    def source_for(self, guide: LiveGuide[Any]) -> SampleSource | None:
        """Where a guide's samples come from; None until somebody has chosen. A demo begins with the simulated boat."""
        from garboard_tablet.models.sources import Heard, RecordingFile, Replay, simulated_for

        if self.network is not None:
            return Heard(self.network)
        if self.replayed is not None:
            file = RecordingFile(self.replayed)
            return Replay(self.replayed.name, file, is_simulated=file.is_simulated)
        return simulated_for(guide.quantities, start=time.time()) if self.simulated else None

    def sound(self, guidance: Guidance) -> None:
        from garboard_tablet.ui.sound import play

        play(guidance)


def run(folder: Path, demo: bool = False, replay: Path | None = None, listen: Where | None = None) -> None:
    """Start the app in a window.

    folder : the tablet's own; made when it is not there
    demo   : with the sample jobs and the simulated boat, in a folder of their own beside it
    replay : a recording that feeds the live guides
    listen : where the boat's network is heard, which then feeds them
    """
    tablet = open_tablet(folder.with_name(f"{folder.name}-demo") if demo else folder)
    if demo:
        from garboard_tablet.demo import fill

        fill(tablet)
    app = GarboardApp(tablet, demo=demo)
    if replay is not None:
        app.replay(replay)
    if listen is not None:
        app.listen(listen)
    app.run()


__all__: Sequence[str] = ("GarboardApp", "run")
