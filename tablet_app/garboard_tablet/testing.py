"""The tablet app as a process of its own, off screen: `garboard tablet` as a person starts it, driven by touches.

What a finger would do arrives as orders, one line of JSON each, and comes to the app the way a screen's touches do: as
an input provider of Kivy's. Nothing is pressed before it can be seen and pressed; each order is answered with what the
page then shows.

For the tests of a plugin as much as for the project's own; the app itself never imports this. It needs Kivy.

    with TouchedApp(tmp_path, plugins=[Path("my_checks.py")]) as app:
        app.press("new job")
        assert app.stop() == 0

Run:  python -m garboard_tablet.testing FOLDER [PLUGIN...], then orders such as {"press": ["new job"]} on standard input
"""

from __future__ import annotations

import json
import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from garboard.faults import GarboardError, in_words

PATIENCE = 180.0
"""So long the finger waits for what it is told to press or to see [s]."""
OFF_SCREEN = {
    "SDL_VIDEODRIVER": "offscreen",
    "SDL_AUDIODRIVER": "dummy",
    "KIVY_NO_ARGS": "1",
    "KIVY_NO_CONFIG": "1",
    "KIVY_NO_FILELOG": "1",
    "KIVY_LOG_MODE": "PYTHON",
}


class TouchedApp:
    """The running app. Left without `stop`, it is killed.

    folder  : where it keeps its data
    plugins : files of plugins that it runs besides those that come with the program
    """

    def __init__(self, folder: Path, plugins: Sequence[Path] = ()) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "garboard_tablet.testing", str(folder), *map(str, plugins)],
            env={**os.environ, **OFF_SCREEN},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._process.poll() is None:
            self._process.kill()
        self._process.wait()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                stream.close()

    @property
    def process(self) -> int:
        """Its process number."""
        return self._process.pid

    def press(self, *names: str) -> list[str]:
        """Press one thing after the other, each as soon as it is there; the words then on the page."""
        return self._order({"press": names})

    def hull_number(self, number: str) -> list[str]:
        """Type a hull number on the pad of letters and digits."""
        return self._order({"hull number": number})

    def write(self, text: str) -> list[str]:
        """Tap the box for words and type."""
        return self._order({"write": text})

    def until(self, words: str) -> list[str]:
        """Wait until the page says something."""
        return self._order({"until": words})

    def stop(self) -> int:
        """Close the window; the exit code."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        return self._process.wait(PATIENCE)

    def _order(self, order: dict[str, object]) -> list[str]:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        if not line:
            raise RuntimeError(f"the app ended by itself with {self._process.wait()} instead of {order}")
        answer = json.loads(line)
        if answer["late"]:
            raise AssertionError(f"{order} could not be done: no {answer['late']!r}; the page shows {answer['words']}")
        words: list[str] = answer["words"]
        return words


class Late(GarboardError):
    """What was waited for did not come."""


class Finger:
    """An input provider that carries out orders, a frame at a time, and answers each on standard output."""

    def __init__(self, orders: queue.SimpleQueue[dict[str, Any] | None]) -> None:
        self._orders = orders
        self._doing: Iterator[None] = iter(())
        self._dispatch: Callable[..., None] = lambda *_: None

    def start(self) -> None:
        """Called by Kivy; the app is about to begin."""

    def stop(self) -> None:
        """Called by Kivy; the app has ended."""

    def update(self, dispatch_fn: Callable[..., None]) -> None:
        """Called by Kivy at every frame."""
        self._dispatch = dispatch_fn
        if next(self._doing, self) is self and not self._orders.empty():
            self._doing = self._carry_out(self._orders.get())

    def _carry_out(self, order: dict[str, Any] | None) -> Iterator[None]:
        if order is None:
            _app().stop()
            return
        late = ""
        try:
            for name in order.get("press", ()):
                yield from self._press(name)
            for character in order.get("hull number", ""):
                yield from self._press_letter(character)
            if "write" in order:
                yield from self._write(order["write"])
            if "until" in order:
                yield from _waiting(lambda: any(order["until"] in text for text in _words()) or None, order["until"])
        except Late as missed:
            late = in_words(missed)
        print(json.dumps({"late": late, "words": _words()}), flush=True)

    def _press(self, name: str) -> Iterator[None]:
        yield from self._tap(lambda: _named(name), name)

    def _press_letter(self, character: str) -> Iterator[None]:
        key = f"key {character}"
        yield from _waiting(lambda: _named("key erase"), key)
        for side in ("side A", "side N", "side 1"):  # a small window shows the pad in three parts
            if _named(key) is None and _named(side) is not None:
                yield from self._press(side)
        yield from self._press(key)

    def _write(self, text: str) -> Iterator[None]:
        from kivy.core.window import Window
        from kivy.uix.textinput import TextInput

        def box() -> Any:
            return next((one for one in _widgets() if isinstance(one, TextInput)), None)

        yield from _waiting(lambda: box() or _named("other") or _named("find"), "box")
        if box() is None:  # behind a list of words, or of boats
            yield from self._press("other" if _named("other") else "find")
        yield from self._tap(box, "box")
        for character in text:
            Window.dispatch("on_textinput", character)
            yield

    def _tap(self, look: Callable[[], Any], name: str) -> Iterator[None]:
        from kivy.tests.common import UnitTestTouch

        yield from _waiting(lambda: _ready(look()), name)
        found = look()
        touch = UnitTestTouch(*found.to_window(*found.center))
        self._dispatch("begin", touch)
        yield
        self._dispatch("end", touch)
        yield


def _waiting(condition: Callable[[], object], what: str) -> Iterator[None]:
    """Frames until something is so."""
    end = time.monotonic() + PATIENCE
    while not condition():
        if time.monotonic() > end:
            raise Late(what)
        yield


def _ready(widget: Any) -> bool:
    """Whether a press counts now: it is there, stands there as long as it takes to see it, and was not just pressed."""
    from garboard_tablet.ui.widgets import Press, Touched, stood_before

    if widget is None or widget.width <= 1:
        return False
    if not isinstance(widget, Touched):
        return Press.now() >= Press.quiet_until
    return not stood_before.is_new(widget) and Press.now() - widget.standing.pressed >= widget.bounce


def _app() -> Any:
    from kivy.app import App

    return App.get_running_app()


def _widgets() -> Iterator[Any]:
    waiting = [_app().shell]
    while waiting:
        widget = waiting.pop()
        yield widget
        waiting.extend(widget.children)


def _named(name: str) -> Any:
    """What has a name and can be pressed; None when it is not on the page."""
    return next((one for one in _widgets() if getattr(one, "name", "") == name), None)


def _words() -> list[str]:
    """Everything written on the page."""
    return [one.text for one in _widgets() if getattr(one, "text", "")]


def main() -> None:
    from kivy.base import EventLoop
    from kivy.config import Config

    for side, length in (("width", "1280"), ("height", "800")):  # a tablet's screen
        Config.set("graphics", side, length)

    orders: queue.SimpleQueue[dict[str, Any] | None] = queue.SimpleQueue()

    def listen() -> None:
        for line in sys.stdin:
            orders.put(json.loads(line))
        orders.put(None)

    threading.Thread(target=listen, daemon=True).start()
    EventLoop.add_input_provider(Finger(orders))
    from garboard.commands.cli import main as garboard

    folder, *plugins = sys.argv[1:]
    chosen = [word for plugin in plugins for word in ("--plugin", plugin)]
    sys.argv = ["garboard", *chosen, "tablet", "--folder", folder]
    garboard()


if __name__ == "__main__":
    main()
