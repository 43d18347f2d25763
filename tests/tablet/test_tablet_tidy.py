"""What has left the screen is cleared away soon after, and not in the middle of a press."""

from __future__ import annotations

import gc
import sys
import weakref
from collections import Counter
from collections.abc import Iterator
from functools import partial, wraps
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from tablet.driver import Drive, Driver, new_job

NEVER = 1e9
"""Longer than any test runs [s]."""


@pytest.fixture
def d(drive: Drive, monkeypatch: pytest.MonkeyPatch) -> Iterator[Driver]:
    """Python's own looking through everything is switched off meanwhile: it would come when it is felt."""
    from garboard_tablet.ui import tidy

    tidy.tidy_soon.cancel()  # what an app of another test waits for
    monkeypatch.setattr(tidy.tidy_soon, "timeout", 0.1)
    started = drive()
    monkeypatch.setattr(tidy, "_modules", len(sys.modules) + 100)  # what is set aside meanwhile would stay
    started.wait(lambda: not tidy.tidy_soon.is_triggered)
    tidy.tidy_soon.timeout = NEVER
    monkeypatch.setattr(started, "_clear_away", lambda: None)  # the app does it here, and not the driver
    gc.disable()
    yield started
    gc.enable()


def test_a_page_left_is_cleared_away_soon_after(d: Driver) -> None:
    d.press("settings")
    there = {weakref.ref(widget) for widget in d.widgets() if getattr(widget, "name", "") != "back"}
    d.press("back")
    left = [*there - {weakref.ref(widget) for widget in d.widgets()}]  # Back and the title are kept for the next page
    assert len(left) > 10
    assert any(ref() is not None for ref in left)
    soon_after(d, left)


def test_a_list_turned_on_is_cleared_away_soon_after(d: Driver) -> None:
    """Each turn of a long list leaves some 20 MB of widgets that hold each other."""
    from garboard_tablet.ui.widgets import Column, words

    column = Column()
    column.show([words(f"Line {number}") for number in range(40)])
    column.size = (600, 400)
    left = [weakref.ref(widget) for widget in column.children]
    assert column.turn()
    assert any(ref() is not None for ref in left)
    soon_after(d, left)


def test_a_list_makes_each_of_its_rows_once_wherever_it_is_moved_to(kivy_window: object) -> None:
    """A page is given its size and then its place, or the other way: each row of a step was made twice."""
    from garboard_tablet.ui.widgets import Column, Txt

    made: list[int] = []

    def row(number: int) -> Txt:
        made.append(number)
        return Txt(f"Line {number}")

    column, there = Column(), Column()
    for one in (column, there):
        one.show([partial(row, number) for number in range(40)])
    there.pos = (30, 70)
    there.size = column.size = (600, 400)
    column.pos = (30, 70)
    assert column.has_more
    assert made == [*range(len(made) // 2)] * 2
    assert [(*one.pos, *one.size) for one in column.children] == [(*one.pos, *one.size) for one in there.children]


def test_a_page_sets_its_words_once_and_draws_its_panels_once(d: Driver, monkeypatch: pytest.MonkeyPatch) -> None:
    """Words were set for each frame after a change of them once more, and a panel drawn at each move of its widget."""
    from kivy.core.text import LabelBase

    from garboard_tablet.ui.widgets import RowPress, _Panelled, _Text

    times: Counter[int] = Counter()
    kept: list[Any] = []

    def counted(of: type[Any], name: str) -> None:
        work = getattr(of, name)

        @wraps(work)  # Kivy finds methods by their names
        def once_more(self: Any, *args: Any, **more: Any) -> Any:
            times[id(self)] += 1
            kept.append(self)  # so that no other has its id
            return work(self, *args, **more)

        monkeypatch.setattr(of, name, once_more)

    counted(LabelBase, "refresh")
    counted(_Panelled, "_draw_panel")
    before = {*d.widgets()}
    d.press("settings")
    d.step(3)
    fresh = [one for one in d.widgets() if one not in before]
    words = [one._label for one in fresh if isinstance(one, _Text) and one.text]
    panels = [one for one in fresh if isinstance(one, RowPress)]
    assert len(words) > 10
    assert len(panels) > 3
    assert {times[id(one)] for one in (*words, *panels)} == {1}


def test_nothing_is_cleared_away_between_a_press_and_its_page(
    kivy_window: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not while a finger is down, nor just after a page came up; in the end it is, however fast somebody presses."""
    from garboard_tablet.ui import tidy

    now, collected, is_down = [0.0], list[float](), [False]
    monkeypatch.setattr(tidy, "time", SimpleNamespace(monotonic=lambda: now[0]))
    monkeypatch.setattr(tidy, "is_finger_down", lambda: is_down[0])
    monkeypatch.setattr(tidy, "_modules", len(sys.modules) + 100)
    monkeypatch.setattr(tidy, "_left", [])
    monkeypatch.setattr(tidy.tidy_soon, "timeout", tidy.TIDY)
    monkeypatch.setattr(gc, "collect", lambda: collected.append(now[0]))

    def come_due(at: float) -> None:
        now[0] = at
        tidy.tidy_soon.cancel()
        tidy._tidy(0.0)

    tidy.has_left()
    now[0] = 0.1
    tidy.has_left()
    come_due(0.2)
    assert (collected, tidy.tidy_soon.is_triggered) == ([], True)
    is_down[0] = True
    come_due(0.3)
    assert (collected, tidy.tidy_soon.is_triggered) == ([], True)
    is_down[0] = False
    come_due(0.4)
    assert (collected, tidy.tidy_soon.is_triggered) == ([0.4], False)
    for _ in range(tidy.MOST_LEFT):
        tidy.has_left()
    come_due(0.4)
    assert collected == [0.4, 0.4]


def test_python_looks_for_nothing_while_a_page_is_made(d: Driver) -> None:
    """It looked nine times, once through all that was a moment old."""
    from garboard_tablet.ui.tidy import look_seldom

    new_job(d)
    d.press("step dock.horn", "back", "back")
    before, looked = gc.get_threshold(), list[int]()

    def look(phase: str, about: dict[str, int]) -> None:
        if phase == "stop":
            looked.append(about["generation"])

    gc.collect()
    gc.callbacks.append(look)
    try:
        look_seldom()
        gc.enable()
        d.press("step dock.horn")
    finally:
        gc.disable()
        gc.set_threshold(*before)
        gc.callbacks.remove(look)
    assert d.app.shell.page.route.page == "entry"
    assert looked == []


def test_no_frame_of_a_test_waits_for_its_time(d: Driver, monkeypatch: pytest.MonkeyPatch) -> None:
    """A frame that is waited for is 17 ms: most of what a touch then took, and no test looks at it."""
    from kivy.clock import Clock

    waited: list[float] = []
    monkeypatch.setattr(Clock, "usleep", waited.append)
    d.press("settings", "back")
    assert waited == []


def soon_after(d: Driver, left: list[weakref.ref[Any]]) -> None:
    """It is asked for, and comes once the press is through: on a busy machine that may take longer than the moment."""
    from garboard_tablet.ui.tidy import tidy_soon

    assert tidy_soon.is_triggered
    tidy_soon.cancel()
    tidy_soon.timeout = 0.0
    tidy_soon()
    d.wait(lambda: all(ref() is None for ref in left))


@pytest.mark.parametrize(("modules", "expected"), [(1, False), (200, True)])
def test_only_where_much_was_loaded_all_is_looked_through(
    d: Driver, monkeypatch: pytest.MonkeyPatch, modules: int, expected: bool
) -> None:
    """Looking through everything that was ever loaded is felt as stutter: one module more is no reason to."""
    from garboard_tablet.ui import tidy

    asked = list[bool]()
    tidy.tidy_soon.timeout = 0.0
    monkeypatch.setattr(tidy, "_modules", len(sys.modules))
    monkeypatch.setattr(gc, "unfreeze", lambda: asked.append(True))
    for number in range(modules):
        monkeypatch.setitem(sys.modules, f"invented_{number}", ModuleType("invented"))
    tidy.tidy_soon()
    d.wait(lambda: not tidy.tidy_soon.is_triggered)
    assert bool(asked) == expected


@pytest.mark.parametrize(
    "changes",
    [
        {"text": "Kittiwake and two more words"},
        {"font_size": 41.0},
        {"font_name": "B612"},
        {"bold": True},
        {"color": (0.8, 0.1, 0.1, 1.0)},
        {"disabled": True, "disabled_color": (0.2, 0.6, 0.2, 1.0)},
        {"text_size": (90.0, None), "halign": "center"},
        {"text_size": (300.0, 200.0), "valign": "middle"},
        {"text": "[b]Kitti[/b]wake", "markup": True},
    ],
    ids=", ".join,
)
def test_a_text_that_watches_little_is_drawn_as_kivys_own(kivy_window: object, changes: dict[str, object]) -> None:
    """Whether it is made so or becomes so."""
    from kivy.uix.label import Label

    from garboard_tablet.ui.widgets import Txt

    start = {"text": "Kittiwake", "font_size": 30.0, "color": (0.0, 0.0, 0.0, 1.0)}
    kivys, became = Label(**start), Txt("Kittiwake")
    for name, value in (*start.items(), *changes.items()):
        setattr(kivys, name, value)
        setattr(became, name, value)
    for text in (kivys, became):
        text.texture_update()
    assert became.texture_size == kivys.texture_size
    assert became.texture.pixels == kivys.texture.pixels


def test_numbers_that_fill_the_page_and_change_keep_little_memory(kivy_window: object) -> None:
    """A guide shows another at every tick. What was drawn last is there, and the size is found without drawing it."""
    from garboard_tablet.ui import drawing, helm
    from garboard_tablet.ui.theme import DIGITS

    pictures = [drawing.texture(str(number), 200.0, DIGITS) for number in range(1000, 1060)]
    assert drawing.MOST_KEPT / 2 < sum(map(drawing._bytes_of, drawing._kept.values())) <= drawing.MOST_KEPT
    assert drawing.texture("1059", 200.0, DIGITS) is pictures[-1]
    size, drawn = helm._largest("1089", 400.0, 150.0), [*drawing._kept]
    assert [helm._largest(number, 400.0, 150.0) for number in ("7314", "5562")] == [size, size]
    assert {*drawing._kept} == {*drawn}
    assert drawing.texture("7314", 100.0, DIGITS).size == drawing.texture("0000", 100.0, DIGITS).size


def test_what_a_text_does_not_watch_is_refused(kivy_window: object) -> None:
    from garboard_tablet.ui.widgets import Txt

    with pytest.raises(TypeError, match="does not watch italic, shorten"):
        Txt("Kittiwake", italic=True, shorten=True)
