"""How a recording tells the time of its values, and the time of what is heard live."""

from __future__ import annotations

from enum import Enum

import attrs

from garboard.recordings.notes import ReadingNotes

DAY = 86400.0
MOST_DELAY = 5.0  # what is heard live and seems later than this [s] says that its sender's clock was set
DATED_FROM = 1e9
"""Seconds from here on are a date, 2001 or later; smaller ones count from a start that nobody knows."""


class Times(Enum):
    """What the times of a form are."""

    DATED = "seconds since 1970"
    OF_DAY = "time of day, without a date"
    RUNNING = "seconds from an arbitrary start, or since 1970"
    NONE = "no times, only an order"


@attrs.define
class FileClock:
    """Time of what stands in a file: since 1970 where the file has a date, otherwise from its first time.

    A file without times has only an order: every value then has the time 0, and the notes say so.
    """

    times: Times
    notes: ReadingNotes
    _first: float | None = None
    _last: float = 0.0

    def at(self, told: float | None, arrived: float | None) -> float:
        """The time to give to a line [s].

        told    : by the line itself, None when it tells none [s]
        arrived : not used; a file's lines do not arrive
        """
        if told is None or self.times is Times.NONE:
            if self._first is None:
                self.notes.timed = self.notes.dated = False
                if self.times is not Times.OF_DAY:  # a time of day counts from the first one: this may be a cut line
                    self.times = Times.NONE
            return self._last
        if self._first is None:
            self.notes.timed = True
            self.notes.dated = self.times is Times.DATED or (self.times is Times.RUNNING and told >= DATED_FROM)
            self._first = 0.0 if self.notes.dated else told
        elif self.times is Times.OF_DAY:  # the day that brings it closest: a log may run past midnight
            told += DAY * round((self._last + self._first - told) / DAY)
        self._last = told - self._first
        return self._last


@attrs.define
class Arrivals:
    """Time of what one sender sends, heard as it is sent: when it arrived, by this machine's own clock.

    Where a line carries its own time, what it was delayed more than the quickest one so far is taken off, as far as
    MOST_DELAY: the sender's clock itself is not used.
    """

    _least: float | None = None

    def at(self, told: float | None, arrived: float | None) -> float:
        """The time to give to a line [s].

        told    : by the line itself, None when it tells none [s]
        arrived : by this machine's clock [s]
        """
        arrived = arrived or 0.0
        if told is None:
            return arrived
        lag = (arrived - told) % DAY  # this machine's clock may stand anywhere: only differences count
        delay = 0.0 if self._least is None else (lag - self._least + DAY / 2) % DAY - DAY / 2
        if self._least is None or not 0 <= delay <= MOST_DELAY:
            self._least, delay = lag, 0.0
        return arrived - delay


Clock = FileClock | Arrivals
