"""Whether a recording's dates fit the job it is attached to: an old file taken for today's run passes everything else.

Nothing decides by these dates. They only make a question.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta

from garboard.samples import Recording
from garboard.units import day_in_words

LONG_BEFORE = timedelta(days=30)  # a recording so much older than its job is asked about; common practice, no source
ZONES = timedelta(days=1)  # a date without its time zone may be another day's
FIRST_DATED = 1e8  # times below are seconds since the first line: such a recording carries no date [s]


def question_of_dates(recording: Recording, opened: str, entered: str, today: date) -> str:
    """A question about a recording dated long before its job was opened, or after today; "" where there is none.

    opened  : when the job was opened, a date or a time of ISO 8601; anything else asks nothing
    entered : when the recording was attached, likewise
    today   : by this machine's clock. Where that runs behind the job and the person, theirs counts
    """
    times = [
        time for stream in recording.streams.values() if len(stream) for time in (stream.times[0], stream.times[-1])
    ]
    if not times or min(times) < FIRST_DATED:
        return ""
    try:
        first, last = (datetime.fromtimestamp(time, UTC).date() for time in (min(times), max(times)))
    except (ValueError, OverflowError, OSError):
        return f"{recording.name} carries dates that no calendar has. Is it of this job?"
    until = "" if last == first else f" to {day_in_words(last)}"
    dated = f"{recording.name} is dated {day_in_words(first)}{until}"
    known = dict(_dates({"opened": opened, "entered": entered}.items()))
    if "opened" in known and last < known["opened"] - LONG_BEFORE:
        day = day_in_words(known["opened"])
        return f"{dated}, long before the job was opened on {day}. Is it of this job, or was a clock wrong?"
    if last > max((today, *known.values())) + ZONES:
        return f"{dated}, after today. Is it of this job, or was a clock wrong?"
    return ""


def _dates(texts: Iterable[tuple[str, str]]) -> Iterable[tuple[str, date]]:
    for name, text in texts:
        try:
            yield name, datetime.fromisoformat(text).date()
        except ValueError:
            continue
