"""What is asked about a job is asked on the tablet as by `garboard assess`, each with the way to its value."""

from __future__ import annotations

from garboard.history.authoring import measure
from garboard.history.replay import HullState
from garboard.judging.assessing import questions
from garboard_tablet.models.pages import asked
from tablet.driver import Drive, new_job


def test_an_odd_value_and_what_waits_are_asked_about_with_the_way_to_the_value(drive: Drive) -> None:
    d = drive()
    new_job(d)
    tablet, here = d.app.tablet, d.app.tablet.session.here
    assert not d.says("asked"), "nothing is odd yet"
    d.press("tab missing")
    assert not d.says("Look at these again")
    state, author = HullState(here.hull), tablet.author("Kim")
    tablet.save(
        measure(author, state, here.job, "dock.full", "speed", "95 kn"),
        author.write(state, "gadget", ("bow",), "fine", job=here.job),
    )
    d.press("tab alongside", "tab missing")
    assert d.says("2 asked")
    while not d.has("missing Full throttle: Boat speed: 95 kn is outside the usual 5 to 90 kn. Is it right?"):
        d.press("page down")
    waiting = "1 entry waits for what reads 'gadget', not at work here. What waits is kept, and not used."
    if not d.says(waiting):
        d.press("page down")
        assert d.says(waiting)
        d.press("page up")
    d.press("missing Full throttle: Boat speed: 95 kn is outside the usual 5 to 90 kn. Is it right?")
    assert d.app.tablet.session.here.subject == ("measure", "dock.full", "speed", "", "")
    d.number("59")
    assert d.says("1 asked"), "back on the list, one less"
    view = tablet.view(here.hull, here.job)
    assert [*questions(view, tablet.host)] == []
    assert [one.kind for one in view.waiting] == ["gadget"], "the book made here says so, too"
    assert [line.why for line in asked(tablet, here.hull, here.job)] == ["asked"]
