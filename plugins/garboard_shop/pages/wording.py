"""Times and values as people read them."""

from __future__ import annotations

from calendar import day_name, month_name
from datetime import date, datetime, time, timedelta

from garboard.disk.clock import clock_mark
from garboard.disk.entries import canonical_bytes
from garboard.records import JsonValue
from garboard.report.settings_used import value_in_words as setting_value_in_words
from garboard.settings import picture_in

_SECOND = 1000


def value_in_words(value: JsonValue) -> str:
    """An entered value.

    >>> value_in_words(True), value_in_words("38.2 kn"), value_in_words({"file": "ab12", "name": "trial.log"})
    ('yes', '38.2 kn', 'trial.log')
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        named = next((value[key] for key in ("name", "state", "text", "hull", "job", "reason") if value.get(key)), None)
        return value_in_words(named) if named is not None else canonical_bytes(value).decode()
    if value in (None, ""):
        return "nothing"
    if picture_in(value):
        return setting_value_in_words(value)
    return value if isinstance(value, str) else canonical_bytes(value).decode()


def day_in_words(day: date) -> str:
    """A day with its weekday.

    >>> day_in_words(date(2026, 5, 14))
    'Thursday 14 May 2026'
    """
    return f"{day_name[day.weekday()]} {day.day} {month_name[day.month]} {day.year}"


def written_at(text: str) -> str:
    """A wall time as it was written: "15 May 2026, 16:40"; what is no time stays as it is.

    >>> written_at("2026-05-15T16:40:00-04:00"), written_at("2026-05-15"), written_at("1970-01-01T00:04")
    ('15 May 2026, 16:40', '15 May 2026', '1 January 1970, 00:04 (clock wrong)')
    """
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return text
    clock = f", {found:%H:%M}{clock_mark(text)}" if "T" in text or " " in text else ""
    return f"{found.day} {month_name[found.month]} {found.year}{clock}"


def shop_time(at: int) -> str:
    """A time of this machine [ms since 1970-01-01 UTC] in its own time zone."""
    return written_at(datetime.fromtimestamp(at / 1000).isoformat(timespec="minutes"))


def hour_of(at: int) -> str:
    """The hour and minute of a time of this machine [ms since 1970-01-01 UTC]."""
    return f"{datetime.fromtimestamp(at / 1000):%H:%M}"


def second_of(at: int) -> str:
    """The hour, minute and second of a time of this machine [ms since 1970-01-01 UTC]."""
    return f"{datetime.fromtimestamp(at / 1000):%H:%M:%S}"


def day_of(at: int) -> date:
    """The day of a time of this machine [ms since 1970-01-01 UTC]."""
    return datetime.fromtimestamp(at / 1000).date()


def day_to_come(at: int) -> str:
    """The first day on which nobody can have worked by a time of this machine [ms since 1970-01-01 UTC], "2026-05-16":
    tomorrow has begun in other time zones.
    """
    return str(day_of(at) + timedelta(days=2))


def limits_of(day: date) -> tuple[int, int]:
    """First and last millisecond of a day on this machine [ms since 1970-01-01 UTC]."""
    begins = datetime.combine(day, time.min).timestamp()
    ends = datetime.combine(day + timedelta(days=1), time.min).timestamp()
    return int(begins * 1000), int(ends * 1000) - 1


def clock_in_words(offset: int) -> str:
    """How a tablet's clock stands; the offset is how far the shop's was ahead [ms].

    >>> clock_in_words(300), clock_in_words(-86_400_000), clock_in_words(90_000)
    ('right', '24 h ahead', '1 min 30 s behind')
    """
    seconds = abs(offset) // _SECOND
    if seconds < 1:
        return "right"
    parts = [(seconds // 3600, "h"), (seconds // 60 % 60, "min"), (seconds % 60, "s")]
    words = " ".join(f"{number} {unit}" for number, unit in parts if number)
    return f"{words} {'behind' if offset > 0 else 'ahead'}"


def number_differences(one: str, other: str) -> str:
    """Where two hull numbers' keys differ, so that an O is told from a 0.

    >>> number_differences("ABCO0001A526", "ABC00001A526")
    'Position 4: letter O in the first, numeral 0 in the second.'
    """
    if len(one) != len(other):
        return f"The first has {len(one)} characters, the second {len(other)}."
    places = [place for place, pair in enumerate(zip(one, other, strict=True)) if pair[0] != pair[1]]
    return " ".join(
        f"Position {place + 1}: {_named(one[place])} in the first, {_named(other[place])} in the second."
        for place in places
    )


def _named(character: str) -> str:
    return f"{'numeral' if character.isdigit() else 'letter'} {character}"
