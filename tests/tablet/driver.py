"""A driver for the tablet app: real window off screen, real touches, frames stepped by hand."""

from __future__ import annotations

import gc
import itertools
import logging
import os
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, Protocol

from garboard.hosting.host import PluginHost
from garboard.job_view import JobView
from garboard.steps import Step
from garboard_tablet.models.session import HOME
from garboard_tablet.models.tablet import Tablet
from garboard_tablet.system.files import Files

os.environ.setdefault("SDL_VIDEODRIVER", "offscreen")
os.environ.setdefault("SDL_AUDIODRIVER", "dummy")
for switch in ("KIVY_NO_ARGS", "KIVY_NO_FILELOG", "KIVY_NO_CONFIG"):
    os.environ.setdefault(switch, "1")

os.environ.setdefault("KIVY_LOG_MODE", "PYTHON")
os.environ.setdefault("LP_NUM_THREADS", "0")  # drawing by processor takes no threads, and 100 MB less

logging.getLogger("kivy").disabled = True

MANY_PAGES = 4
"""After so many touches and pages come up, those left meanwhile are cleared away.

Each is some 3 MB. Of more at once, Python finds nothing in the processor's cache any more, and takes twice as long.
"""

_kivys_own: list[Any] = []
"""What Kivy's clock had to do before there was an app."""

_ticks = itertools.count(1)
"""The clock of presses. An app that starts again goes on with it: no clock of this kind ever goes back."""

PLUGIN = Path(__file__).with_name("dock_plugin.py")


def dock_host() -> PluginHost:
    """A plugin host with the invented plugin alone."""
    from garboard.hosting.host import make_host

    return make_host(built_in=(), entry_points=False, files=[PLUGIN])


class Drive(Protocol):
    """Starts the app; see the fixture of that name."""

    def __call__(
        self,
        folder: Path | None = None,
        size: tuple[int, int] = ...,
        make_host: Callable[[], PluginHost] | None = ...,
        working: str = ...,
        threads: bool = ...,
        demo: bool = ...,
        files: Files | None = ...,
    ) -> Driver: ...


class Driver:
    """Presses, types and looks, as a person does. `touches` counts what the person had to do.

    A page is drawn when a kind of page comes up that did not yet, and for a picture: without a graphics card, drawing
    each frame is nine tenths of what a touch costs.
    """

    app: Any  # pages differ, and each test knows which one is up
    window: Any
    now: list[float]  # the clock of a live guide, where a test holds it

    def __init__(self, app: Any, size: tuple[int, int] = (1280, 800)) -> None:
        from kivy.base import EventLoop, runTouchApp
        from kivy.core.window import Window

        from garboard_tablet.ui.widgets import Press

        self.app, self.loop, self.window, self.touches = app, EventLoop, Window, 0
        self.drawn: set[type] = set()
        self.left, self.shown = 0, 0
        Press.now = staticmethod(lambda: float(next(_ticks)))  # no press comes too soon after another
        Press.quiet_until = 0.0
        self.resize(*size)
        app._run_prepare()
        runTouchApp(embedded=True)
        self.step(3)

    def step(self, frames: int = 1) -> None:
        for _ in range(frames):
            self.loop.idle()
        shell = getattr(self.app, "shell", None)  # none before the app runs
        if shell and type(shell.page) not in self.drawn:
            self.drawn.add(type(shell.page))
            self._draw_a_corner()
        if shell and id(shell.page) != self.shown:
            self.shown = id(shell.page)
            self._clear_away()

    def _clear_away(self) -> None:
        self.left += 1
        if self.left % MANY_PAGES == 0:
            gc.collect()

    def _draw_a_corner(self) -> None:
        """Every instruction of the page is carried out, for one pixel: all of them take four times as long."""
        from kivy.graphics.opengl import GL_SCISSOR_TEST, glDisable, glEnable, glScissor

        glEnable(GL_SCISSOR_TEST)
        glScissor(0, 0, 1, 1)
        self.window.draw()
        glDisable(GL_SCISSOR_TEST)

    def wait(self, condition: Callable[[], bool], seconds: float = 60.0) -> None:
        end = time.monotonic() + seconds
        while not condition():
            if time.monotonic() > end:
                raise AssertionError(f"not reached; the page shows: {self.words()}")
            self.step()
            time.sleep(0.001)  # what is waited for happens in another thread

    def resize(self, width: float, height: float) -> None:
        self.window.size = (width, height)
        self.step(2)

    def widgets(self) -> Iterator[Any]:
        waiting = [self.app.shell]
        while waiting:
            widget = waiting.pop()
            yield widget
            waiting.extend(widget.children)

    def words(self) -> list[str]:
        """Everything written on the page."""
        return [w.text for w in self.widgets() if getattr(w, "text", "")]

    def says(self, words: str) -> bool:
        return any(words in text for text in self.words())

    def find(self, name: str) -> Any:
        """What has a name and can be pressed."""
        found = [w for w in self.widgets() if getattr(w, "name", None) == name]
        if not found:
            names = [w.name for w in self.widgets() if getattr(w, "name", None)]
            raise AssertionError(f"no press named {name!r} on {self.app.tablet.session.here}; there are {names}")
        return found[0]

    def has(self, name: str) -> bool:
        return any(getattr(w, "name", None) == name for w in self.widgets())

    def press(self, *names: str) -> None:
        for name in names:
            self._see()
            widget = self.find(name)
            self.tap_at(widget.center_x, widget.center_y)

    def seek(self, name: str) -> None:
        """Turn pages of a list until a name is in sight, then press it."""
        while not self.has(name) and self.has("page down"):
            self.press("page down")
        self.press(name)

    def _see(self) -> None:
        """What came up is seen before it is looked for and tapped: another thread may have the page drawn anew."""
        from garboard_tablet.ui.widgets import stood_before

        while stood_before.has_changed:
            self.step()

    def tap_at(self, x: float, y: float) -> None:
        from kivy.tests.common import UnitTestTouch

        self._see()
        touch = UnitTestTouch(x, y)
        touch.touch_down()
        self.step()
        touch.touch_up()
        self.step(2)
        self.touches += 1
        self._clear_away()

    def number(self, digits: str) -> None:
        self.press(*(f"key {digit}" for digit in digits), "next")

    def write(self, text: str) -> None:
        """Tap the box for words and type; from a list that holds other words, press what leads to the box."""
        from kivy.uix.textinput import TextInput

        way = next((name for name in ("other", "find") if self.has(name)), "")
        if way and not any(isinstance(w, TextInput) for w in self.widgets()):
            self.press(way)
        box = next(w for w in self.widgets() if isinstance(w, TextInput))
        self.tap_at(box.center_x, box.center_y)
        for character in text:
            self.window.dispatch("on_textinput", character)
        self.step()

    def type_keys(self, *keys: str | int, held: Sequence[str] = ()) -> None:
        """Keys of a desktop's keyboard: a character, or the window's number for a key that prints nothing."""
        for key in keys:
            number, text = (ord(key), key) if isinstance(key, str) else (key, None)
            if not self.window.dispatch("on_key_down", number, 0, text, list(held)):
                self.window.dispatch("on_keyboard", number, 0, text, list(held))
            self.step()

    def draw_line(self, widget: Any) -> None:
        from kivy.tests.common import UnitTestTouch

        touch = UnitTestTouch(widget.x + 40, widget.center_y)
        touch.touch_down()
        for share in (0.3, 0.5, 0.8):
            touch.touch_move(widget.x + widget.width * share, widget.center_y + 20 * share)
            self.step()
        touch.touch_up()
        self.step()
        self.touches += 1

    def restart(self) -> Driver:
        """Close the app and start it again on the same folder."""
        from garboard_tablet.app import GarboardApp
        from garboard_tablet.models.tablet import open_tablet

        folder, plugins, files = self.app.tablet.folder, self.app.tablet.make_plugins, self.app.context.files
        self.close()
        Driver.__init__(self, GarboardApp(open_tablet(folder, plugins), threads=False, files=files))
        return self

    def close(self) -> None:
        close_app(self.app)


def close_app(app: Any) -> None:
    """End an app, and let go of it: what still holds it keeps its pages to the end of all tests."""
    from kivy.app import App
    from kivy.base import EventLoop, stopTouchApp
    from kivy.clock import Clock
    from kivy.core.window import Window
    from kivy.metrics import Metrics

    from garboard_tablet.ui.widgets import Press

    app.dispatch("on_stop")
    Metrics.fontscale = 1.0  # the app took it from its system: the next app has another
    for child in list(Window.children):
        Window.remove_widget(child)
    EventLoop.idle()
    for event in Clock.get_events():
        if event not in _kivys_own:  # what still waits for its time holds the page
            event.cancel()
    Clock.tick()  # it holds what it did last
    _let_go_of_the_last()
    stopTouchApp()
    App._running_app = None
    Press.refused = Press.failed = staticmethod(_no_app)


def _let_go_of_the_last() -> None:
    """The photos shown last hold their tablet, and Kivy's box for words the one in use last: its trigger keeps it."""
    from kivy.uix.textinput import TextInput

    from garboard_tablet.ui import picture

    picture._kept.clear()
    for cell in TextInput._adjust_viewport.__closure__:
        if isinstance(cell.cell_contents, list):
            cell.cell_contents.clear()


def _no_app(failure: Exception) -> None:
    raise failure


def off_screen_window() -> Any:
    """The window of this process, which draws when it is told to: see Driver."""
    from kivy.config import Config

    for key, value in (("width", "1280"), ("height", "800"), ("maxfps", "0"), ("multisamples", "0")):
        Config.set("graphics", key, value)
    for key, _ in Config.items("input"):
        Config.remove_option("input", key)
    from kivy.clock import Clock
    from kivy.core.window import Window

    Clock._max_fps = 0.0  # a test that imported Kivy before made a clock that keeps each frame waiting for its time
    _kivys_own.extend(Clock.get_events())
    Window.draw = Window.on_draw
    Window.on_draw = Window.on_flip = lambda: None
    return Window


def new_job(d: Driver, number: str = "XYZAB123F526") -> None:
    """From the list of vessels, as the page of a new job does it.

    That page, with a key for every letter, is half of what most tests would do: test_tablet_new_job.py has it.
    """
    hull, job = d.app.tablet.open_job(number)
    d.app.vessels.refresh(hull)
    d.app.way.go(HOME.to("job", hull=hull, job=job))
    d.step()


def type_hull(d: Driver, number: str) -> None:
    for character in number:
        if not d.has(f"key {character}"):
            d.press("side 1" if character.isdigit() else "side A")
        d.press(f"key {character}")


def view_of(d: Driver) -> JobView:
    here = d.app.tablet.session.here
    view: JobView = d.app.tablet.view(here.hull, here.job)
    return view


def sign(d: Driver) -> None:
    from garboard_tablet.ui.inputs import SignaturePad

    d.draw_line(next(w for w in d.widgets() if isinstance(w, SignaturePad)))
    d.press("next")


def declared(tablet: Tablet, key: str) -> Step:
    """The step a plugin declares under a key."""
    step = tablet.step(key)
    assert step is not None
    return step
