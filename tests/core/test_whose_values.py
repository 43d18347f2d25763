"""Values of nobody, and of a day before any clock was set, are asked about once a job."""

from __future__ import annotations

import attrs
import pytest

from builders import boat, job_view
from garboard.hosting.host import make_host
from garboard.job_view import Disagreement
from garboard.judging.assessing import questions

HOST = make_host(entry_points=False)


def _asked(**stated: str) -> list[str]:
    values = {("prop_check.full_throttle", "speed", str(row), ""): f"{row} kn" for row in (30, 31)}
    view = job_view(boat(), dict(values))
    by, at = stated.get("by", "R. Vane"), stated.get("at", "")
    entered = tuple(attrs.evolve(one, by=by, at=at) for one in view.measurements)
    view = attrs.evolve(view, measurements=entered)
    return [one.text for one in questions(view, HOST) if "without a person" in one.text or "dated" in one.text]


@pytest.mark.parametrize("by", ["", "  "])
def test_values_of_nobody_are_asked_about_once(by: str) -> None:
    assert _asked(by=by) == ["2 values without a person. Who entered them? Put the name."]


@pytest.mark.parametrize("at", ["0001-01-01T00:00:00+00:00", "00010101T000000Z", "1999-12-31T23:00:00-05:00"])
def test_days_before_any_clock_was_set_are_asked_about_once(at: str) -> None:
    assert _asked(at=at) == ["2 values dated before 2000. Put the right day, and set the clock."]


@pytest.mark.parametrize("at", ["", "2000-01-01T00:00:00+00:00", "2026-05-14T09:30:00+02:00"])
def test_a_name_and_a_likely_day_are_not_asked_about(at: str) -> None:
    assert _asked(at=at) == []


def test_values_that_disagree_are_told_with_the_day_as_people_write_it() -> None:
    place = ("prop_check.full_throttle", "speed", "1", "")
    view = job_view(boat(), {place: "30 kn"})
    (one,) = view.measurements
    values = (attrs.evolve(one, by="R. Vane", at="2026-05-14T16:20:31+02:00"), attrs.evolve(one, by="B. Rask", at=""))
    view = attrs.evolve(view, disagreements=(Disagreement(place=place, values=values),))
    (asked,) = [one.text for one in questions(view, HOST) if "until someone chooses" in one.text]
    assert "30 kn (R. Vane, 14 May 2026, 16:20) or 30 kn (B. Rask)?" in asked
