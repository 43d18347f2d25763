"""The list of boats: the worst beside the name, what is next, and those in order out of the way."""

from __future__ import annotations

from typing import Any

from garboard.history.authoring import Author
from garboard.history.plans import set_aside
from garboard.records import Job
from garboard.report.outline import hand_over as hand_over_of
from garboard.report.outline import punch_list
from garboard_tablet.models.pages import asked
from garboard_tablet.models.session import Route
from garboard_tablet.models.tablet import HANDED_OVER
from garboard_tablet.models.vessels import when_opened
from tablet.driver import Drive, Driver, new_job

NUMBERS = ("XYZAB123F526", "XYZAB124F526", "XYZAB125F526")


def rows(d: Driver) -> list[Any]:
    found = [w for w in d.widgets() if getattr(w, "name", "").startswith("vessel ")]
    return sorted(found, key=lambda row: (row.x, -row.y))


def hand_over(d: Driver, number: str, *, done: bool, remark: str = "") -> tuple[str, str]:
    """A boat signed over, with all its steps done or with all of them open, and a remark on its punch list."""
    tablet = d.app.tablet
    hull, job = tablet.open_job(number)
    if remark:
        tablet.note(hull, job, remark, punch_list=True)
    for step in tablet.host.steps if done else ():
        tablet.set_state(hull, job, step.key, "done")
    tablet.sign(hull, job, "technician", "R. Vane", b"<svg/>")
    tablet.sign(hull, job, "owner", "A. Marsh", b"<svg/>")
    d.app.vessels.refresh(hull)
    return hull, job


def test_a_boat_says_how_far_its_day_is_and_what_is_next(drive: Drive) -> None:
    """A segment a step; the first that is open is named, not the phase it is in."""
    d = drive()
    new_job(d)
    here, (first, second, *_) = d.app.tablet.session.here, d.app.tablet.host.steps
    d.app.tablet.set_state(here.hull, here.job, first.key, "done")
    d.app.vessels.refresh(here.hull)
    d.app.way.home()
    line = d.app.vessels.lines[here.hull]
    assert line.day == "x" + "-" * (len(d.app.tablet.host.steps) - 1)
    assert d.says(f"Next: {second.title}")
    assert d.says(line.share)


def test_boats_handed_over_in_order_share_a_row_and_no_other_boat_is_hidden(drive: Drive) -> None:
    """One that was signed over with open points stays in sight; the row shows the others."""
    d = drive()
    for number in NUMBERS[:2]:
        hand_over(d, number, done=True)
    hand_over(d, NUMBERS[2], done=False)
    d.app.screen.redraw()
    assert [row.name for row in rows(d)] == [f"vessel {NUMBERS[2]}"]
    assert d.says("2 handed over, in order")
    d.app.vessels.to_read[NUMBERS[1]] = None
    d.app.screen.redraw()
    assert d.says("2 handed over, 1 being read again")
    del d.app.vessels.to_read[NUMBERS[1]]
    d.press("in order")
    assert rows(d)[0].name == f"vessel {NUMBERS[2]}"
    assert len(rows(d)) == len(NUMBERS)


def test_a_single_boat_in_order_is_not_hidden_nor_is_one_that_is_searched_for(drive: Drive) -> None:
    d = drive()
    hand_over(d, NUMBERS[0], done=True)
    d.app.screen.redraw()
    assert len(rows(d)) == 1
    hand_over(d, NUMBERS[1], done=True)
    d.app.screen.redraw()
    assert not rows(d)
    d.write("124")
    assert [row.name for row in rows(d)] == [f"vessel {NUMBERS[1]}"]


def test_a_job_from_a_file_that_says_no_day_is_not_opened_on_nothing() -> None:
    assert [when_opened(Job(id="J-1", opened=day)) for day in ("2026-05-14", "")] == [
        "opened 14 May 2026",
        "no day of opening",
    ]


def test_a_boat_is_handed_over_with_as_many_points_open_as_its_book_counts(drive: Drive) -> None:
    """A remark on the punch list is one of them; and no boat is handed over that the owner alone signed for."""
    d = drive()
    hull, job = hand_over(d, NUMBERS[0], done=True, remark="Cleat is loose")
    line = d.app.vessels.lines[hull]
    assessed = d.app.tablet.assess(hull, job)
    view = d.app.tablet.view(hull, job)
    in_book = hand_over_of(view, assessed, punch_list(view, d.app.tablet.host, assessed)).words
    assert in_book != HANDED_OVER
    assert line.stands == in_book
    d.app.way.go(Route(page="hand over", hull=hull, job=job))
    d.wait(lambda: d.says(in_book.capitalize()))
    other, its_job = d.app.tablet.open_job(NUMBERS[1])
    d.app.tablet.sign(other, its_job, "owner", "A. Marsh", b"<svg/>")
    d.app.vessels.refresh(other)
    assert d.app.vessels.lines[other].phase != HANDED_OVER


def test_a_boat_whose_job_the_shop_set_aside_says_so_until_something_is_entered(drive: Drive) -> None:
    d = drive(working="Kim")
    tablet = d.app.tablet
    hull, job = tablet.open_job(NUMBERS[0])
    home = tablet.state_of(hull, job)
    tablet.save(set_aside(Author("shop page", "M. Office"), home, (job,), "sold unrigged"))
    d.app.vessels.refresh(hull)
    line = d.app.vessels.lines[hull]
    assert (line.phase, line.open, line.what_next) == ("set aside", 0, "Set aside")
    (told,) = [one.text for one in asked(tablet, hull, job) if "aside" in one.text]
    assert told == "Set aside by M. Office: sold unrigged. What you enter opens the job again."
    tablet.set_state(hull, job, tablet.host.steps[0].key, "done")
    d.app.vessels.refresh(hull)
    assert d.app.vessels.lines[hull].phase != "set aside"
    (told,) = [one.text for one in asked(tablet, hull, job) if "aside" in one.text]
    assert told == "Was set aside by M. Office: sold unrigged. Open again, as 1 entry came since."
