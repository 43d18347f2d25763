"""For the left thumb every page is mirrored: what is next stands at the lower left, the keys beside it."""

from __future__ import annotations

import pytest

from garboard_tablet.models.session import HOME, Route
from tablet.driver import Drive, Driver, new_job
from tablet.layout_lint import faults

SPEED = ("measure", "dock.full", "speed", "", "")


@pytest.fixture
def d(drive: Drive) -> Driver:
    found = drive()
    new_job(found)
    return found


def pages(d: Driver) -> list[tuple[Route, str]]:
    """Pages with each kind of thumb's corner, and what stands in it."""
    (hull,) = d.app.tablet.files.boats()
    job = Route(page="job", hull=hull, job=d.app.tablet.boat(hull).jobs[0])
    return [
        (HOME, "new job"),
        (HOME.to("new job"), ""),
        (job, "next step"),
        (job.to("step", step="dock.horn"), "continue"),
        (job.to("entry", *SPEED, step="dock.full"), "next"),
        (job.to("entry", "measure", "dock.horn", "heard", "", "", step="dock.horn"), "choice No"),
    ]


def test_what_is_next_stands_in_the_corner_of_the_thumb(d: Driver) -> None:
    d.app.way.go(HOME.to("settings"))
    assert d.app.tablet.settings.thumb_left is False
    sizes = {"Left thumb": ((1280, 800), (800, 1280), (1024, 600)), "Right thumb": ((1280, 800),)}
    for thumb in sizes:
        d.press(f"set {thumb}")
        for size in sizes[thumb]:
            d.resize(*size)
            for route, name in pages(d):
                d.app.way.go(route)
                d.step()
                assert not faults(d.app.shell, d.window), (thumb, size, route)
                if name:
                    one = d.find(name)
                    corner = [w for w in d.widgets() if getattr(w, "name", "") and w.y <= one.y + 1 and w is not one]
                    beside = [w.name for w in corner if (w.x < one.x if thumb == "Left thumb" else w.x > one.x)]
                    assert not beside, (thumb, size, route.page, beside)
                d.app.way.back()
        d.resize(1280, 800)


def test_the_thumb_is_kept_for_the_next_start(d: Driver) -> None:
    from garboard_tablet.ui.theme import theme

    d.app.way.go(HOME.to("settings"))
    d.press("set Left thumb")
    d.restart()
    assert (d.app.tablet.settings.thumb_left, theme.left) == (True, True)
    d.app.way.go(HOME.to("settings"))
    d.press("set Right thumb")
    assert theme.left is False


def test_fails_are_counted_on_top_of_the_rail_where_there_is_room_else_under_the_title(d: Driver) -> None:
    d.press("step dock.horn", "choice No", "back")
    for size, in_rail in (((1280, 800), True), ((800, 1280), False)):
        d.resize(*size)
        counts = [w for w in d.widgets() if getattr(w, "text", "") == "1 fail" and hasattr(w, "fit")]
        assert bool(counts) is in_rail, size
        assert d.says("1 fail. ") is not in_rail, "said once"
        if in_rail:
            assert counts[0].x > d.window.width * 0.8
