"""What is done between the press that saves a value and the frame that shows the next question. Counted, not timed."""

from __future__ import annotations

from collections import Counter
from functools import wraps
from typing import Any

import pytest

from tablet.driver import Drive, new_job, view_of

NEW = "new panels drawn"
"""Those that have stood before are drawn again as they are pressed, once or twice, as fast as the machine is."""
MOST = {
    "words made": 1,
    "words drawn": 6,
    NEW: 1,
    "lists filled": 1,
    "limits drawn": 1,
    "views of the job": 1,
    "fields gone through": 0,
}
"""Before what stands on one page after the other was kept: 18, 19, 6, 1, 3, 1 and 3."""


@pytest.fixture
def done(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often each was done."""
    from kivy.core.text import LabelBase

    from garboard.history.boat import Boat
    from garboard_tablet.ui.limit_bar import LimitBar
    from garboard_tablet.ui.widgets import Column, _Panelled, _Text

    times: Counter[str] = Counter()
    drawn: list[Any] = []

    def count(of: type[Any], name: str, what: str) -> None:
        work = getattr(of, name)

        @wraps(work)  # Kivy finds methods by their names
        def once_more(self: Any, *args: Any, **more: Any) -> Any:
            times[what] += what != NEW or self not in drawn
            if what == NEW:
                drawn.append(self)
            return work(self, *args, **more)

        monkeypatch.setattr(of, name, once_more)

    count(_Text, "_create_label", "words made")
    count(LabelBase, "refresh", "words drawn")
    count(_Panelled, "_draw_panel", NEW)
    count(Column, "_stand", "lists filled")
    count(Boat, "view", "views of the job")
    count(Boat, "fields", "fields gone through")
    count(LimitBar, "_draw", "limits drawn")
    return times


def test_a_save_does_no_more_than_the_next_question_needs(
    drive: Drive, done: Counter[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a number in the middle of a step, whose pad is there from the one before."""
    d = drive()
    new_job(d)
    for position in ("port", "centre", "starboard"):
        d.app.tablet.add_piece(d.app.tablet.session.here.hull, ("engines", position))
    d.press("tab under way", "step dock.full", "begin")
    d.number("5800")
    d.press(*(f"key {digit}" for digit in "5810"))
    monkeypatch.setattr(type(d.app.findings), "soon", lambda *_: None)  # what is found comes later
    done.clear()
    d.press("next")
    assert view_of(d).value("dock.full", "engine_speed", of="centre") == "5810 rev/min"
    assert d.app.shell.page.form.ask.of == "starboard"
    assert d.says("5810 rev/min saved")
    assert {what: times for what, times in done.items() if times > MOST[what]} == {}
