"""A finger already on its way presses nothing that comes up beneath it; what stood there before is pressed at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tablet.driver import Drive, Driver, new_job, view_of
from tablet.fake_files import FakeFiles, picture

HELD, LONG = 0.05, 0.2
"""A quick tap holds the finger down for so long, and a thumb in a glove [s]."""
DOUBLE, SEEN = 0.12, 0.5
"""From one tap to the next: of a double tap, and of somebody who has seen what is there [s]."""


class Hand:
    """Taps at its own pace, by the app's clock, which it moves; wherever it tapped, whatever lies there."""

    def __init__(self, d: Driver) -> None:
        from garboard_tablet.ui.widgets import Press

        self.d, self.now = d, Press.now() + SEEN
        Press.now = staticmethod(lambda: self.now)
        d.step()
        self.now += SEEN

    def at(self, name: str) -> tuple[float, float]:
        widget = self.d.find(name)
        return widget.center_x, widget.center_y

    def down(self, place: tuple[float, float], held: float = HELD) -> Any:
        from kivy.tests.common import UnitTestTouch

        touch = UnitTestTouch(*place)
        touch.touch_down()
        self.d.step()
        self.now += held
        return touch

    def tap(self, name: str, *, times: int = 1, then: float = SEEN, held: float = HELD) -> None:
        """then : what passes after each tap but the last; after that one it has seen what is there"""
        place = self.at(name)
        for _ in range(times):
            self.down(place, held).touch_up()
            self.d.step()
            self.now += then
        self.now += SEEN


@pytest.fixture
def full_throttle(drive: Drive) -> Driver:
    """At the cautions of the step, on the tab of what is done under way."""
    d = drive()
    new_job(d)
    d.press("tab under way", "step dock.full")
    return d


def test_a_double_tap_answers_one_question(drive: Drive) -> None:
    """The next has other answers in the same places."""
    d = drive()
    new_job(d)
    d.press("step dock.horn")
    hand = Hand(d)
    hand.tap("choice Yes", times=2, then=DOUBLE, held=LONG)
    assert view_of(d).value("dock.horn", "heard") is True
    assert view_of(d).value("dock.horn", "tone") is None
    assert d.app.shell.page.form.field.name == "tone"
    hand.tap("choice clear")
    assert view_of(d).value("dock.horn", "tone") == "clear"


def test_a_double_tap_on_next_does_not_press_what_the_next_page_has_there(full_throttle: Driver) -> None:
    d = full_throttle
    hand = Hand(d)
    hand.tap("begin", times=2, then=DOUBLE, held=LONG)
    assert d.app.shell.page.form.field.name == "speed"
    assert d.app.shell.page.form.text == "", "a key of the pad came up where the first tap was"
    for key in ("key 4", "key 0"):
        hand.tap(key)
    hand.tap("next", times=2, then=DOUBLE, held=LONG)
    assert view_of(d).value("dock.full", "speed") == "40 kn"
    assert d.app.shell.page.route.page == "step"


def test_a_question_that_comes_up_is_not_answered_by_the_tap_that_asked_it(full_throttle: Driver) -> None:
    """The page is the same, and the large key says something else: it would wipe what was typed."""
    d = full_throttle
    hand = Hand(d)
    for name in ("begin", "key 9", "key 9"):
        hand.tap(name)
    hand.tap("next", times=2, then=0.27)  # more than a bounce
    assert d.has("yes, save it")
    assert d.app.shell.page.form.text == "99"
    hand.tap("next")
    assert d.app.shell.page.form.text == ""


def test_what_takes_a_value_back_is_not_pressed_by_the_tap_that_offers_it(drive: Drive) -> None:
    """The page is the same; the reasons to take it back lie where it was pressed."""
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice Yes", "back", "value Heard from the end of the dock", "change")
    hand = Hand(d)
    place = hand.at("take back")
    hand.tap("take back")
    reasons = [w for w in d.widgets() if getattr(w, "name", "").startswith("back ")]
    assert any(w.collide_point(*place) for w in (*reasons, d.find("keep")))
    hand.tap("keep")
    hand.tap("change")
    hand.tap("take back", times=2, then=DOUBLE)
    assert d.has("keep"), "it still asks why"
    assert view_of(d).value("dock.horn", "heard") is True


def test_cautions_are_read_to_their_end(full_throttle: Driver) -> None:
    """Where "Read on" was, the end says that all of it was read."""
    from garboard_tablet.ui.widgets import words

    d = full_throttle
    d.app.shell.page._column.show([words(f"Line {number}") for number in range(40)])
    d.step()
    assert d.find("begin").text == "Read on"
    hand = Hand(d)
    hand.tap("begin", times=2, then=0.27)  # more than a bounce
    assert d.find("begin").text == "I have read this"
    hand.tap("begin")
    assert d.app.shell.page.route.page == "entry"


def test_what_comes_up_by_itself_is_not_pressed_by_a_tap_on_its_way(drive: Drive) -> None:
    d = drive()
    new_job(d)
    hand = Hand(d)
    d.app.screen.redraw()
    hand.tap("step dock.horn")
    assert d.app.shell.page.route.page == "entry", "the same stands there as before"
    d.app.way.go(d.app.tablet.session.here.to("settings"))
    d.step()
    for there in ("settings", "entry"):
        hand.tap("back")
        assert d.app.shell.page.route.page == there, "another page had a press of that name there"


def test_the_first_digit_of_the_next_value_is_not_lost(full_throttle: Driver) -> None:
    """The pad stays; whoever types fast has the next digit down before the page could be looked at."""
    d = full_throttle
    hand = Hand(d)
    hand.tap("begin")
    first = d.app.shell.page
    d.app.way.instead(first.route)
    d.step()
    hand.tap("key 5")
    assert d.app.shell.page is not first
    assert d.app.shell.page.form.text == "5"


def test_keys_are_pressed_as_fast_as_a_finger_can(full_throttle: Driver) -> None:
    d = full_throttle
    hand = Hand(d)
    hand.tap("begin")
    hand.tap("key 3", times=4, then=DOUBLE)
    assert d.app.shell.page.form.text == "3333"


def _at_an_arrow(drive: Drive) -> Driver:
    d = drive(files=FakeFiles(camera=picture(2400, 1600)))
    new_job(d)
    d.press("step dock.horn", "photos", "take picture")
    left, bottom, wide, high = d.app.screen.page._view.place
    d.tap_at(left + 0.5 * wide, bottom + 0.5 * high)
    return d


def test_each_nudge_of_an_arrow_counts(drive: Drive) -> None:
    """The page is drawn anew at each; with two thumbs the second is down before the first is up."""
    d = _at_an_arrow(drive)
    hand = Hand(d)
    before = d.app.shell.page.pointing.arrow.x
    hand.tap("nudge left", times=4, then=DOUBLE)
    step = (before - d.app.shell.page.pointing.arrow.x) / 4
    assert step == pytest.approx(0.02 / 1.5, abs=0.002)
    first, second = hand.down(hand.at("nudge left")), hand.down(hand.at("nudge up"))
    x, y = d.app.shell.page.pointing.arrow.x, d.app.shell.page.pointing.arrow.y
    first.touch_up()
    second.touch_up()
    arrow = d.app.shell.page.pointing.arrow
    assert arrow.x < x
    assert arrow.y < y


def test_a_bounce_counts_once_though_the_page_was_drawn_anew(drive: Drive) -> None:
    """Undo takes back one thing, not two."""
    d = _at_an_arrow(drive)
    d.press("nudge left", "nudge left")
    hand = Hand(d)
    x = d.app.shell.page.pointing.arrow.x
    hand.tap("undo", times=2, then=DOUBLE)
    assert d.app.shell.page.pointing.arrow.x == pytest.approx(x + 0.02 / 1.5, abs=0.002)


def test_of_two_fingers_the_second_does_not_press_what_the_first_took_away(drive: Drive) -> None:
    """It was held down for long; as it goes up, what it was on is gone."""
    d = drive()
    new_job(d)
    d.press("step dock.horn")
    hand = Hand(d)
    first, second = hand.down(hand.at("choice Yes")), hand.down(hand.at("choice No"))
    first.touch_up()
    d.step()
    hand.now += SEEN
    second.touch_up()
    d.step()
    assert view_of(d).value("dock.horn", "heard") is True
    assert d.app.shell.page.form.field.name == "tone"


@pytest.mark.parametrize("turned", ["page down", "page up"])
def test_a_list_is_turned_as_fast_as_a_finger_can(drive: Drive, turned: str) -> None:
    from garboard_tablet.models.session import HOME
    from garboard_tablet.ui.widgets import Column, words

    d = drive()
    d.app.way.go(HOME.to("settings"))
    d.step()
    column = Column()
    d.app.shell.body.add_widget(column)
    column.show([words(f"Line {number}") for number in range(90)])
    column.size, column.pos = (600, 400), (0, 0)
    while turned == "page up" and column.turn():
        pass
    hand = Hand(d)
    moved: list[int] = []
    column.turned = lambda: moved.append(1)
    hand.tap(turned, times=3, then=DOUBLE)
    assert len(moved) == 3


def test_nothing_is_drawn_on_a_place_to_sign_that_has_just_come_up(drive: Drive) -> None:
    from garboard_tablet.ui.inputs import SignaturePad

    d = drive()
    new_job(d)
    d.press("tab hand over", "step dock.brief", "choice Yes", "skip")
    pad = next(w for w in d.widgets() if isinstance(w, SignaturePad))
    hand = Hand(d)
    d.app.way.instead(d.app.shell.page.route)
    d.step()
    pad = next(w for w in d.widgets() if isinstance(w, SignaturePad))
    for strokes in (0, 1):
        hand.down(pad.center).touch_up()
        d.step()
        assert len(pad.strokes) == strokes
        hand.now += SEEN


def test_a_page_is_looked_over_once_it_has_changed_and_not_in_each_frame(
    drive: Drive, monkeypatch: pytest.MonkeyPatch
) -> None:
    from garboard_tablet.ui import on_its_way
    from garboard_tablet.ui.widgets import stood_before

    d = drive()
    new_job(d)
    d.step(3)
    looked: list[float] = []
    look: Callable[[Any, float], None] = on_its_way.StoodBefore._look

    def counted(self: Any, now: float) -> None:
        looked.append(now)
        look(self, now)

    monkeypatch.setattr(on_its_way.StoodBefore, "_look", counted)
    d.press("step dock.horn")
    d.step(5)
    assert 1 <= len(looked) <= 2, "what the press changed, and where the panels then stand"
    assert not stood_before.has_changed
