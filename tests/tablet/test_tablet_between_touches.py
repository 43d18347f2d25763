"""What is drawn anew by itself waits while a finger is down: the press counts, and then the page shows what came."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import garboard_tablet
from garboard.shop_link.ashore import State
from garboard_tablet.models.session import HOME
from garboard_tablet.ui.between_touches import RESTING, BetweenTouches, is_finger_down
from tablet.driver import Drive, Driver, new_job


class Finger:
    """One that goes down on a press, and up when it is told to."""

    def __init__(self, d: Driver, name: str) -> None:
        from kivy.tests.common import UnitTestTouch

        self.d, widget = d, d.find(name)
        self.touch = UnitTestTouch(widget.center_x, widget.center_y)
        self.touch.touch_down()
        self.seen = list(d.widgets())

    def waits_for(self, work: Callable[[], object]) -> None:
        """Let work come due beneath it: nothing on the page is touched."""
        work()
        self.d.wait(lambda: bool(self.d.app.between_touches._due), 10)
        self.d.step(3)
        assert list(self.d.widgets()) == self.seen

    def up(self) -> None:
        self.touch.touch_up()
        self.d.step(3)


def test_a_press_counts_while_an_assessment_ends(drive: Drive) -> None:
    d = drive(threads=True)
    new_job(d)
    d.press("step dock.horn", "choice No", "back")
    d.wait(lambda: d.has("finding 0"), 20)
    route = d.app.shell.page.route
    d.app.findings._found.clear()
    d.app.findings.look_again()
    finger = Finger(d, "back")
    finger.waits_for(lambda: d.app.findings.soon(route))
    assert not d.app.findings.of(route)
    finger.up()
    assert d.app.shell.page.route.page == "job"
    d.wait(lambda: bool(d.app.findings.of(route)), 20)
    d.press("step dock.horn")
    assert d.has("finding 0")


def _shop_tells(d: Driver, word: str) -> None:
    d.app.shop._told(State(word=word))


@pytest.mark.parametrize(
    ("press", "came"),
    [
        ("a look at the tablet", lambda d: d.app.sight._looking._come_due(60)),
        ("work that failed", lambda d: d.app.background.run("making a list", _mistake, print)),
        ("the list of boats", lambda d: d.app.background.later(d.app._vessels_changed)),
        ("bringing ashore", lambda d: _shop_tells(d, "away")),
        ("a plugin passed over", lambda d: d.app.tablet.passed_over("dock")),
    ],
)
def test_each_source_waits_for_the_finger(drive: Drive, press: str, came: Callable[[Any], object]) -> None:
    d = drive(threads=True)
    d.step(2)
    d.app.sight.settle()
    d.app.guest._free = lambda _folder: 1  # something to say
    finger = Finger(d, "find")
    finger.waits_for(lambda: came(d))
    finger.up()
    if press == "work that failed":
        assert d.says("The program failed")
    else:
        assert d.app.shell.page._list._box.parent is not None, "the press counted"
    if press == "a look at the tablet":
        assert d.says("are free on this tablet")


def _mistake() -> None:
    raise RuntimeError


@pytest.mark.parametrize("page", ["sensors", "audit", "network"])
def test_a_page_that_looks_by_itself_waits_for_the_finger(drive: Drive, page: str) -> None:
    d = drive()
    new_job(d)
    d.app.way.go(d.app.tablet.session.here.to(page))
    d.step()
    page_shown, looked = d.app.shell.page, []
    page_shown._looking._do = lambda: looked.append(1)
    finger = Finger(d, "back")
    finger.waits_for(lambda: [page_shown._looking._come_due(2.0) for _ in range(5)])
    assert not looked
    finger.up()
    assert d.app.shell.page is not page_shown
    assert looked in ([], [1])  # left before it looked, it looks no more


def test_what_waits_keeps_its_order_and_survives_a_failure(drive: Drive) -> None:
    """A state of bringing ashore that came later is shown last."""
    d = drive()
    d.app.way.go(HOME.to("settings"))
    d.step(2)
    done: list[int] = []
    between: BetweenTouches = d.app.between_touches

    def fail() -> None:
        done.append(-1)
        raise ZeroDivisionError

    finger = Finger(d, "back")
    between.later(lambda: done.append(0))
    d.step(2)
    between.later(fail)
    between.later(lambda: done.append(1))
    d.step()
    between.later(lambda: done.append(2))
    d.step(2)
    assert done == []
    finger.touch.touch_up()
    with pytest.raises(ZeroDivisionError):
        d.step()
    d.step()
    assert done == [0, -1, 1, 2]


def test_water_on_the_screen_holds_up_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A touch that rests is no press; one that moves is, and so is one by a clock that was set back."""
    from kivy.base import EventLoop

    def touched(seconds_ago: float, *, is_touch: bool = True) -> SimpleNamespace:
        import time

        return SimpleNamespace(is_touch=is_touch, time_update=time.time() - seconds_ago)

    for touches, is_down in (
        ([], False),
        ([touched(0.2)], True),
        ([touched(RESTING + 1)], False),
        ([touched(RESTING + 1), touched(0.1)], True),
        ([touched(0.0, is_touch=False)], False),  # a mouse that hovers
        ([touched(-3600)], False),
    ):
        monkeypatch.setattr(EventLoop, "me_list", touches)
        assert is_finger_down() is is_down


TIMED = {
    "ui/between_touches.py": "what waits for fingers",
    "ui/run_clock.py": "a run is recorded whatever is touched",
    "ui/inputs.py": "the focus follows a press",
    "ui/on_its_way.py": "nothing is drawn: it looks at what was",
    "ui/sound.py": "nothing is drawn",
    "ui/widgets.py": "textures and panels, each in its own place",
    "ui/tidy.py": "only what has left the screen",
}


def test_nothing_else_is_timed_by_the_drawing_threads_clock() -> None:
    """What draws by itself goes through `BetweenTouches`."""
    root = Path(garboard_tablet.__file__).parent
    timed = {
        path.relative_to(root).as_posix()
        for path in root.rglob("*.py")
        if "from kivy.clock import" in path.read_text("utf-8")
    }
    assert timed == TIMED.keys()
