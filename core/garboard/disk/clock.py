"""The tablets' clocks: a hybrid logical clock that orders what is shown, and never decides what is true.

[1] S. Kulkarni and others, "Logical Physical Clocks", 2014: the hybrid logical clock, wall time with a counter.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from itertools import filterfalse
from typing import NamedTuple

from garboard.units import day_in_words

FURTHEST_AHEAD = 5 * 60 * 1000
"""A clock further ahead than this is not followed [ms]: one tablet a day ahead would drag all the others."""

LAST_MILLISECOND = 253_402_300_799_999
"""The end of the year 9999 [ms since 1970-01-01 UTC]: no clock has shown a later time, whatever an entry says."""
LARGEST_COUNTER = 2**53 - 1
"""An entry holds no larger whole number."""

EARLIEST_YEAR = 2000
FURTHEST_YEARS_AHEAD = 1
"""Times before the one, or further ahead of this machine's clock than the other, are no times anything was done at."""


_LENGTH, _SIGNS = len("2026-05-14T09:30:00+02:00"), ("--T::+:", "--T::-:")
"""Of a wall time as we spell it: its signs are every third of its characters."""


class Stamp(NamedTuple):
    """One reading of the clock: wall time since 1970-01-01 UTC [ms], and a counter within the millisecond."""

    milliseconds: int
    counter: int


ZERO = Stamp(0, 0)


def wall_milliseconds() -> int:
    """What this machine believes the time is, since 1970-01-01 UTC [ms]."""
    return time.time_ns() // 1_000_000


def wall_text() -> str:
    """The local wall time to the second with its UTC offset, for people to read: 2026-05-14T09:30:00+02:00."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def moment_in_words(at: str) -> str:
    """A wall time as people write it, to the minute; a date alone gets no time, text that is no time stays as it is.

    >>> moment_in_words("2026-05-14T16:20:31+02:00"), moment_in_words("1970-01-01T00:04:10+00:00")
    ('14 May 2026, 16:20', '1 January 1970, 00:04 (clock wrong)')
    >>> moment_in_words("2026-05-14"), moment_in_words("Thursday")
    ('14 May 2026', 'Thursday')
    """
    moment = _moment(at)
    if moment is None:
        return at
    hour = f", {moment:%H:%M}" if len(at) > len("2026-05-14") else ""
    return f"{day_in_words(moment)}{hour}{clock_mark(at)}"


def is_beyond_reason(at: str) -> bool:
    """Whether a wall time is none that anything can have been done at: a clock was not set, or it is no time.

    >>> is_beyond_reason("2026-05-14T16:20+02:00"), is_beyond_reason("9999-01-01T00:00Z"), is_beyond_reason("noon")
    (False, True, True)
    """
    moment = _moment(at)
    return moment is None or not EARLIEST_YEAR <= moment.year <= datetime.now().year + FURTHEST_YEARS_AHEAD


def _moment(at: str) -> datetime | None:
    """A wall time read, however another program spells it; None for text that is none."""
    try:
        return datetime.fromisoformat(at)
    except ValueError:
        pass
    try:
        return datetime.fromisoformat(f"{at[:-1]}Z") if at.endswith("z") else None  # as RFC 3339 allows
    except ValueError:
        return None


def latest_here(times: Iterable[str]) -> str:
    """The latest of wall times, as this machine's clock would say it, to the minute; "" where none has reason.

    >>> latest_here(["noon", "9999-01-01T00:00:00+00:00"])
    ''
    """
    by_offset: dict[str, list[str]] = {}
    to_read: list[str] = []
    for at in times:
        if len(at) == _LENGTH and at[4::3] in _SIGNS:
            by_offset.setdefault(at[-6:], []).append(at)
        else:
            to_read.append(at)
    # as we spell it, the text decides within one offset, so that only the latest of each is read
    to_read += [next(filterfalse(is_beyond_reason, sorted(of_one, reverse=True)), "") for of_one in by_offset.values()]
    moments = [moment.astimezone() for at in to_read if not is_beyond_reason(at) and (moment := _moment(at))]
    return f"{max(moments):%Y-%m-%d %H:%M}" if moments else ""


def is_ahead(at: str) -> bool:
    """Whether a local wall time lies ahead of this machine's clock: one of the two clocks is wrong then.

    >>> is_ahead("2026-05-14 16:20"), is_ahead("9998-01-01 00:00"), is_ahead("noon")
    (False, True, False)
    """
    moment = _moment(at)
    if moment is None:
        return False
    return moment.replace(tzinfo=None) > datetime.now() + timedelta(milliseconds=FURTHEST_AHEAD)


def clock_mark(at: str) -> str:
    """What stands behind a time that a wrong clock gave; nothing behind any other, nor behind what is no time."""
    return " (clock wrong)" if at[:4].isdigit() and is_beyond_reason(at) else ""


class HybridClock:
    """Stamps for one tablet. They never run backwards, whatever the wall clock does.

    last : the latest stamp this tablet has used; later stamps come after it
    wall : gives the wall time [ms]
    """

    def __init__(self, last: Stamp = ZERO, wall: Callable[[], int] = wall_milliseconds) -> None:
        self._last = last
        self._wall = wall

    def now(self) -> Stamp:
        """A stamp later than all this clock has given or followed."""
        self._last = max(Stamp(self._wall(), 0), after(self._last))
        return self._last

    def follow(self, other: Stamp, *, own: bool = False) -> bool:
        """Keep later than a stamp.

        own     : it is of this tablet, so it is followed however far ahead: its wall clock may have jumped back since
        returns : False when another's clock is more than FURTHEST_AHEAD ahead of this wall clock, or its own past
                  LAST_MILLISECOND, and is not followed
        """
        if other.milliseconds > (LAST_MILLISECOND if own else self._wall() + FURTHEST_AHEAD):
            return False
        self._last = max(self._last, other)
        return True


def after(stamp: Stamp) -> Stamp:
    """The next stamp: within the same millisecond, as long as an entry can hold its counter.

    >>> after(Stamp(1000, 0)), after(Stamp(1000, LARGEST_COUNTER))
    (Stamp(milliseconds=1000, counter=1), Stamp(milliseconds=1001, counter=0))
    """
    if stamp.counter >= LARGEST_COUNTER:
        return Stamp(stamp.milliseconds + 1, 0)
    return Stamp(stamp.milliseconds, stamp.counter + 1)


def order_key(own: Stamp, replaced: Iterable[Stamp]) -> Stamp:
    """Where an entry is shown: by its own stamp, yet always after the entries it replaces.

    own      : the entry's stamp
    replaced : the order keys of the entries it replaces, as far as they are here

    >>> order_key(Stamp(1000, 0), [Stamp(5000, 2)])
    Stamp(milliseconds=5000, counter=3)
    """
    return max([own, *map(after, replaced)])
