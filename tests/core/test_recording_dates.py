"""A recording of another year is asked about wherever it is attached; one of the job's days is not."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from garboard.fields import IN_A_MONTH, IN_A_YEAR, Field, Kind, implausible
from garboard.fields import TODAY as OF_TODAY
from garboard.hosting.host import make_host
from garboard.judging.assessing import assess_job_file, questions
from garboard.judging.recording_dates import question_of_dates
from garboard.recordings.times import parse_time
from garboard.records import JsonValue
from garboard.samples import Recording, Sample, gather
from garboard.testing import job_from

TODAY = date(2026, 6, 1)


def recorded(at: str) -> Recording:
    return gather("turn.csv", [Sample(parse_time(at) + second, "heading", 90.0) for second in (0.0, 60.0)])


@pytest.mark.parametrize(
    ("recording", "opened", "entered", "said"),
    [
        (
            recorded("2021-01-02T10:00:00Z"),
            "2026-05-14",
            "",
            "is dated 2 January 2021, long before the job was opened on 14 May 2026.",
        ),
        (recorded("2021-01-02T23:59:30Z"), "2026-05-14", "", "is dated 2 January 2021 to 3 January 2021, long before"),
        (
            recorded("2026-07-02T10:00:00Z"),
            "2026-05-14",
            "2026-05-14T10:00:00-04:00",
            "is dated 2 July 2026, after today",
        ),
        (recorded("2026-07-02T10:00:00Z"), "", "", "is dated 2 July 2026, after today"),
    ],
)
def test_dates_that_do_not_fit_the_job_are_asked_about(
    recording: Recording, opened: str, entered: str, said: str
) -> None:
    question = question_of_dates(recording, opened, entered, TODAY)
    assert question.startswith(f"turn.csv {said}")


@pytest.mark.parametrize(
    ("recording", "opened", "entered"),
    [
        (recorded("2026-05-14T10:00:00Z"), "2026-05-14", "2026-05-14T06:11:00-04:00"),
        (recorded("2026-05-01T10:00:00Z"), "2026-05-14", ""),  # recorded before the job was opened
        (recorded("2026-06-01T23:00:00Z"), "", ""),
        (recorded("2026-07-02T10:00:00Z"), "2026-05-14", "2026-07-02T12:00:00Z"),  # this machine's clock is behind
        (recorded("2021-01-02T10:00:00Z"), "", ""),
        (recorded("2021-01-02T10:00:00Z"), "spring", "noon"),
        (gather("turn.csv", [Sample(second, "heading", 90.0) for second in (0.0, 60.0)]), "2026-05-14", ""),
        (gather("turn.csv", []), "2026-05-14", ""),
    ],
)
def test_dates_that_fit_or_are_not_known_are_not(recording: Recording, opened: str, entered: str) -> None:
    assert question_of_dates(recording, opened, entered, TODAY) == ""


def test_a_time_that_no_calendar_has_is_asked_about() -> None:
    endless = gather("turn.csv", [Sample(1e300, "heading", 90.0)])
    assert "dates that no calendar has" in question_of_dates(endless, "2026-05-14", "", TODAY)


DONE = Field(name="filed_on", title="Filed on", kind=Kind.TEXT, offers_from=(OF_TODAY,))
DUE = Field(name="due", title="Due on", kind=Kind.TEXT, offers_from=(IN_A_MONTH, IN_A_YEAR))


@pytest.mark.parametrize(
    ("field", "typed", "asked"),
    [
        (DONE, "2016-06-01", "1 June 2016 is 10 years before 1 June 2026. Is the year right?"),
        (DONE, "2027-06-01", "1 June 2027 is after 1 June 2026. Is the year right?"),
        (DONE, "2036-06-01", "1 June 2036 is 10 years after 1 June 2026. Is the year right?"),
        (DUE, "2016-06-15", "15 June 2016 is 10 years before 1 June 2026. Is the year right?"),
        (DUE, "2036-06-15", "15 June 2036 is 10 years after 1 June 2026. Is the year right?"),
        (DONE, "2025-01-01", ""),
        (DONE, "2026-06-02", ""),  # another time zone's day
        (DUE, "2029-06-01", ""),
        (DUE, "in June", ""),  # the check that reads it says so
    ],
)
def test_a_day_years_away_is_asked_about_where_it_is_entered(field: Field, typed: str, asked: str) -> None:
    """A slip in the year reads as well as any other. Where nobody knows the day it is entered, nothing is asked."""
    assert implausible(field, typed, entered=TODAY) == asked
    assert implausible(field, typed) == ""


@pytest.mark.parametrize("at", ["2026-05-15T10:00:00Z", "", "1970-01-01T00:00:00Z"])
def test_a_job_with_a_day_years_away_raises_the_question(at: str) -> None:
    """Held against the day it was entered; against that of the job where nothing is stated, or no clock was set."""
    filed: JsonValue = {"step": "engine_trial.after", "field": "filed_on", "row": "1", "value": "2016-05-15", "at": at}
    vessel: JsonValue = {"hull_number": "ABC12345C393"}
    job: JsonValue = {"id": "J-1", "opened": "2026-05-14"}
    host = make_host(["garboard_engine_trial"], entry_points=False)
    view = job_from({"vessel": vessel, "job": job, "measurements": [filed]}, host)
    assert sum("is 10 years before" in one.text for one in questions(view, host)) == 1


@pytest.mark.parametrize(("year", "asked"), [("2021", True), ("2026", False)])
def test_a_job_with_an_old_recording_raises_the_question(tmp_path: Path, year: str, asked: bool) -> None:
    """The place and the file are named, whichever step the recording is of."""
    rows = [f"{year}-05-14T10:{n // 60:02d}:{n % 60:02d}Z,{n % 7 + 90}" for n in range(90)]
    (tmp_path / "hold.csv").write_text("\n".join(["time,heading magnetic@35 [deg]", *rows]) + "\n", encoding="utf-8")
    plain = {
        "format": "garboard job",
        "version": 1,
        "vessel": {"hull_number": "ABC12345C393"},
        "job": {"id": "J-1", "opened": "2026-05-14"},
        "measurements": [{"step": "handover.autopilot", "field": "hold_recording", "value": {"file": "hold.csv"}}],
    }
    (tmp_path / "job.json").write_text(json.dumps(plain), encoding="utf-8")
    host = make_host(["garboard_handover"], entry_points=False)
    found = [
        one for one in assess_job_file(tmp_path / "job.json", host).questions if "hold.csv is dated 14 May 2021" in one
    ]
    assert len(found) == asked
    assert all(one.startswith("Autopilot") for one in found)
