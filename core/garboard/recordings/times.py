"""Times as logs write them."""

from __future__ import annotations

from datetime import UTC, datetime

EARLIEST_MILLISECONDS = 1e11
"""Numbers from here on are milliseconds: as seconds they would lie after the year 5000."""


def parse_time(text: str) -> float:
    """Seconds since 1970-01-01 UTC of a written time [s].

    text : ISO 8601 date and time with "T", a space or "-" between them, with Z, an offset or neither
           (then UTC is assumed: a log's clock does not say where it stood); or seconds or milliseconds
           since 1970
    Raises ValueError saying what was expected.

    >>> parse_time("2014-08-15T19:00:00.5Z") - parse_time("2014-08-15 21:00:00+02:00")
    0.5
    >>> parse_time("1408129200500")
    1408129200.5
    """
    text = text.strip()
    try:
        if text[4:5] in ("-", "/"):
            moment = datetime.fromisoformat(text[:10].replace("/", "-") + "T" + text[11:])
            return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
        seconds = finite(text)
    except (ValueError, OverflowError):
        raise ValueError(f"expected a time such as 2026-05-04T09:30:00.25Z, got {text[:40]!r}") from None
    return seconds / 1000 if abs(seconds) >= EARLIEST_MILLISECONDS else seconds


def finite(text: str) -> float:
    """A number that is neither infinite nor "not a number". Raises ValueError for anything else.

    Python alone reads "1_2.5" as 12.5: no instrument writes so, and a point may have become a line.
    """
    try:
        value = float("" if "_" in text or not text.isascii() else text)
    except ValueError:
        value = float("nan")
    if value - value != 0:
        raise ValueError(f"expected a number, got {text[:40]!r}")
    return value
