"""A driver for the tablet app: real window off screen, real touches, frames stepped by hand."""

from __future__ import annotations

import itertools
import logging
import os
import sys
import time
from pathlib import Path

os.environ.setdefault("SDL_VIDEODRIVER", "offscreen")
os.environ.setdefault("SDL_AUDIODRIVER", "dummy")
for switch in ("KIVY_NO_ARGS", "KIVY_NO_FILELOG", "KIVY_NO_CONFIG"):
    os.environ.setdefault(switch, "1")

os.environ.setdefault("KIVY_LOG_MODE", "PYTHON")
os.environ.setdefault("LP_NUM_THREADS", "0")  # drawing by processor takes no threads, and 100 MB less

import pytest  # noqa: E402  # the environment comes first

logging.getLogger("kivy").disabled = True

sys.path.insert(0, str(Path(__file__).parent))
PLUGIN = Path(__file__).with_name("dock_plugin.py")


def dock_host():
    """A plugin host with the invented plugin alone."""
    from garboard.hosting.host import make_host

    return make_host(built_in=(), entry_points=False, files=[PLUGIN])


class Driver:
    """Presses, types and looks, as a person does. `touches` counts what the person had to do.

    A page is drawn when another kind of page comes up, and for a picture: without a graphics card, drawing each
    frame is nine tenths of what a touch costs.
    """

    def __init__(self, app, size=(1280, 800)):
        from kivy.base import EventLoop, runTouchApp
        from kivy.core.window import Window

        from garboard_tablet.ui.widgets import Press

        self.app, self.loop, self.window, self.touches, self.drawn = app, EventLoop, Window, 0, None
        ticks = itertools.count(1)
        Press.now = staticmethod(lambda: float(next(ticks)))  # no press comes too soon after another
        Press.quiet_until = 0.0
        self.resize(*size)
        app._run_prepare()
        runTouchApp(embedded=True)
        self.step(3)

    def step(self, frames=1):
        for _ in range(frames):
            self.loop.idle()
        shell = getattr(self.app, "shell", None)  # none before the app runs
        if shell and type(shell.page) is not self.drawn:
            self.drawn = type(shell.page)
            self.window.draw()

    def wait(self, condition, seconds=10.0):
        end = time.monotonic() + seconds
        while not condition():
            if time.monotonic() > end:
                raise AssertionError(f"not reached; the page shows: {self.words()}")
            self.step()

    def resize(self, width, height):
        self.window.size = (width, height)
        self.step(2)

    def widgets(self):
        waiting = [self.app.shell]
        while waiting:
            widget = waiting.pop()
            yield widget
            waiting.extend(widget.children)

    def words(self):
        """Everything written on the page."""
        return [w.text for w in self.widgets() if getattr(w, "text", "")]

    def says(self, words):
        return any(words in text for text in self.words())

    def find(self, name):
        """What has a name and can be pressed."""
        found = [w for w in self.widgets() if getattr(w, "name", None) == name]
        if not found:
            names = [w.name for w in self.widgets() if getattr(w, "name", None)]
            raise AssertionError(f"no press named {name!r} on {self.app.tablet.session.here}; there are {names}")
        return found[0]

    def has(self, name):
        return any(getattr(w, "name", None) == name for w in self.widgets())

    def press(self, *names):
        for name in names:
            widget = self.find(name)
            self.tap_at(widget.center_x, widget.center_y)

    def seek(self, name):
        """Turn pages of a list until a name is in sight, then press it."""
        while not self.has(name) and self.has("page down"):
            self.press("page down")
        self.press(name)

    def tap_at(self, x, y):
        from kivy.tests.common import UnitTestTouch

        touch = UnitTestTouch(x, y)
        touch.touch_down()
        self.step()
        touch.touch_up()
        self.step(2)
        self.touches += 1

    def number(self, digits):
        self.press(*(f"key {digit}" for digit in digits), "next")

    def write(self, text):
        """Tap the box for words and type."""
        from kivy.uix.textinput import TextInput

        box = next(w for w in self.widgets() if isinstance(w, TextInput))
        self.tap_at(box.center_x, box.center_y)
        for character in text:
            self.window.dispatch("on_textinput", character)
        self.step()

    def type_keys(self, *keys, held=()):
        """Keys of a desktop's keyboard: a character, or the window's number for a key that prints nothing."""
        for key in keys:
            number, text = (ord(key), key) if isinstance(key, str) else (key, None)
            if not self.window.dispatch("on_key_down", number, 0, text, list(held)):
                self.window.dispatch("on_keyboard", number, 0, text, list(held))
            self.step()

    def draw_line(self, widget):
        from kivy.tests.common import UnitTestTouch

        touch = UnitTestTouch(widget.x + 40, widget.center_y)
        touch.touch_down()
        for share in (0.3, 0.5, 0.8):
            touch.touch_move(widget.x + widget.width * share, widget.center_y + 20 * share)
            self.step()
        touch.touch_up()
        self.step()
        self.touches += 1

    def shot(self, path):
        from kivy.graphics.opengl import GL_RGB, GL_UNSIGNED_BYTE, glReadPixels

        self.step(2)
        self.window.draw()
        width, height = self.window.size
        data = glReadPixels(0, 0, width, height, GL_RGB, GL_UNSIGNED_BYTE)
        self.window._win.save_bytes_in_png(str(path), data, width, height)

    def restart(self):
        """Close the app and start it again on the same folder."""
        from garboard_tablet.app import GarboardApp
        from garboard_tablet.models.tablet import open_tablet

        folder, plugins = self.app.tablet.folder, self.app.tablet.make_plugins
        self.close()
        Driver.__init__(self, GarboardApp(open_tablet(folder, plugins), threads=False))
        return self

    def close(self):
        from kivy.base import stopTouchApp

        self.app.dispatch("on_stop")
        for child in list(self.window.children):
            self.window.remove_widget(child)
        stopTouchApp()
        type(self.app)._running_app = None


def off_screen_window():
    """The window of this process, which draws when it is told to: see Driver."""
    from kivy.config import Config

    for key, value in (("width", "1280"), ("height", "800"), ("maxfps", "0"), ("multisamples", "0")):
        Config.set("graphics", key, value)
    for key, _ in Config.items("input"):
        Config.remove_option("input", key)
    from kivy.core.window import Window

    Window.draw = Window.on_draw
    Window.on_draw = Window.on_flip = lambda: None
    return Window


@pytest.fixture(scope="session")
def kivy_window():
    return off_screen_window()


@pytest.fixture
def drive(kivy_window, tmp_path):
    """Start the app on a folder with the invented plugin, or with a host of the test's own."""
    made = []

    def start(folder=None, size=(1280, 800), make_host=dock_host, working="Robin", threads=False, demo=False):
        from garboard_tablet.app import GarboardApp
        from garboard_tablet.models.tablet import open_tablet

        tablet = open_tablet(folder or tmp_path / "tablet", make_host)
        if working and not tablet.settings.working:
            tablet.change_settings(tablet.settings.with_person(working))
        driver = Driver(GarboardApp(tablet, threads=threads, demo=demo), size)
        made.append(driver)
        return driver

    yield start
    for driver in made:
        driver.close()
