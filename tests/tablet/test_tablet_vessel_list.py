"""The list of boats: the worst beside the name, what is next, and those in order out of the way."""

from __future__ import annotations

from typing import Any

from garboard.records import Job
from garboard_tablet.models.vessels import when_opened
from tablet.driver import Drive, Driver, new_job

NUMBERS = ("XYZAB123F526", "XYZAB124F526", "XYZAB125F526")


def rows(d: Driver) -> list[Any]:
    found = [w for w in d.widgets() if getattr(w, "name", "").startswith("vessel ")]
    return sorted(found, key=lambda row: (row.x, -row.y))


def hand_over(d: Driver, number: str, *, done: bool) -> None:
    """A boat signed over, with all its steps done or with all of them open."""
    tablet = d.app.tablet
    hull, job = tablet.open_job(number)
    for step in tablet.host.steps if done else ():
        tablet.set_state(hull, job, step.key, "done")
    for role in ("technician", "owner"):
        tablet.sign(hull, job, role, "A. Marsh", b"<svg/>")
    d.app.vessels.refresh(hull)


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
        "opened 2026-05-14",
        "no day of opening",
    ]
