"""Tablets whose clocks are apart: the list of vessels claims no time and chooses no job by a clock."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from garboard.disk.clock import HybridClock, wall_milliseconds
from garboard.disk.entries import Entry
from garboard.history.authoring import Author, measure
from garboard.history.replay import HullState
from garboard_tablet.models.tablet import Tablet, open_tablet
from garboard_tablet.models.vessels import VesselList, vessel_line
from tablet.driver import dock_host

HULL = "XYZAB123F526"


@pytest.fixture
def tablet(tmp_path: Path) -> Iterator[Tablet]:
    found = open_tablet(tmp_path / "tablet", dock_host)
    yield found
    found.close()


def other_tablet(off: timedelta) -> Author:
    """Somebody else's, with a clock that is off."""
    wall = datetime.now().astimezone() + off
    milliseconds = wall_milliseconds() + int(off.total_seconds() * 1000)
    return Author("other", "Kim", HybridClock(wall=lambda: milliseconds), wall=lambda: wall.isoformat("T", "seconds"))


def brought(tablet: Tablet, *entries: Entry) -> None:
    for entry in entries:
        tablet.files.save(entry)
    tablet.look_again([HULL])


@pytest.mark.parametrize("off", [timedelta(hours=2), timedelta(days=1)])
def test_a_time_ahead_of_this_clock_says_so_and_one_behind_does_not(tablet: Tablet, off: timedelta) -> None:
    _, job = tablet.open_job(HULL)
    assert "ahead" not in vessel_line(tablet, HULL).saved_words
    for sign in (-1, 1):
        value = measure(other_tablet(sign * off), HullState(HULL), job, "dock.full", "speed", f"{30 + sign} kn")
        brought(tablet, value)
        assert ("(by a clock ahead of this one)" in vessel_line(tablet, HULL).saved_words) is (sign > 0)


@pytest.mark.parametrize("off", [timedelta(hours=-2), timedelta(days=1)])
def test_with_several_jobs_open_a_press_asks_which_whatever_the_clocks_say(tablet: Tablet, off: timedelta) -> None:
    _, job = tablet.open_job(HULL)
    assert vessel_line(tablet, HULL).job_meant == job
    author = other_tablet(off)
    opened = author.write(HullState(HULL), "job", ("opened",), author.wall()[:10], job="other job")
    brought(tablet, opened, author.write(HullState(HULL), "job", ("kind",), "repair", job="other job"))
    line = vessel_line(tablet, HULL)
    assert (line.open, line.job_meant) == (2, "")
    tablet.sign(HULL, "other job", "technician", "Kim", b"a signature")
    tablet.sign(HULL, "other job", "owner", "A. Marsh", b"a signature")
    line = vessel_line(tablet, HULL)
    assert line.open == 1


def test_a_list_kept_by_an_older_version_opens_as_it_did(tablet: Tablet) -> None:
    _, job = tablet.open_job(HULL)
    vessels = VesselList(tablet)
    vessels.refresh(HULL)
    vessels.keep()
    rows = vessels.document.rows("lines")
    vessels.document.table("lines").truncate()
    vessels.document.table("lines").insert_multiple({k: v for k, v in row.items() if k != "open"} for row in rows)
    again = VesselList(tablet)
    again.read()
    assert again.lines[HULL].job_meant == job
