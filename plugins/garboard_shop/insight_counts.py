"""What the page of insight counts, kept up to date row by row: a row that changes costs the same over any number.

Nothing here goes through all rows but the first count. What a day or a week brings in or leaves out is moved once, when
the day comes.
"""

from __future__ import annotations

import threading
from bisect import bisect_left, bisect_right, insort
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from garboard_shop.boat_rows import Row
from garboard_shop.job_rows import A_DAY, JobRow

FACETS: Mapping[str, Callable[[JobRow], str]] = {
    "model": lambda row: row.model,
    "engine": lambda row: row.engine,
    "technician": lambda row: row.technician,
}
"""What failures are counted by."""


def day_of(at: int) -> date:
    """The shop's day of a moment [ms since 1970-01-01 UTC]."""
    return datetime.fromtimestamp(at / 1000).date()


class Ordered:
    """Things in order. Many are put in order at once, one at a time takes its place."""

    def __init__(self) -> None:
        self._all: list[Any] = []
        self._is_sorted = False

    def __len__(self) -> int:
        return len(self._all)

    @property
    def all(self) -> Sequence[Any]:
        """The smallest first."""
        if not self._is_sorted:
            self._all.sort()
            self._is_sorted = True
        return self._all

    def add(self, one: Any) -> None:
        """One more."""
        if self._is_sorted:
            insort(self._all, one)
        else:
            self._all.append(one)

    def drop(self, one: Any) -> None:
        """One that is there, no more."""
        place = bisect_left(self.all, one)
        del self._all[place]


class Failures:
    """Of some jobs: how often each check failed ever and still does, and by model, engine and rigger."""

    def __init__(self) -> None:
        self.jobs = 0
        self.ever: Counter[str] = Counter()
        self.still: Counter[str] = Counter()
        self.by: dict[str, dict[str, Counter[str]]] = {facet: {} for facet in FACETS}

    def change(self, job: JobRow, by: int) -> None:
        """One job more, or less."""
        self.jobs += by
        _change(self.still, set(job.failing), by)
        codes = set(job.ever_failed)
        _change(self.ever, codes, by)
        for facet, name_of in FACETS.items() if codes else ():
            if name := name_of(job):
                named = self.by[facet].setdefault(name, Counter())
                _change(named, codes, by)
                if not named:
                    del self.by[facet][name]


def _change(counter: Counter[str], codes: Iterable[str], by: int) -> None:
    for code in codes:
        counter[code] += by
        if not counter[code]:
            del counter[code]


class Handed:
    """Jobs handed over in a month: how many, and how many right the first time."""

    def __init__(self) -> None:
        self.jobs = self.right = 0

    def change(self, job: JobRow, by: int) -> None:
        """One job more, or less."""
        self.jobs, self.right = self.jobs + by, self.right + by * job.was_right_first


class Taken(Handed):
    """The same of a week, with the days each took and its boat, the quickest first."""

    def __init__(self) -> None:
        super().__init__()
        self.days = Ordered()

    def change(self, job: JobRow, by: int) -> None:
        """One job more, or less."""
        super().change(job, by)
        (self.days.add if by > 0 else self.days.drop)((job.days_to_hand_over, job.hull))


class Numbers:
    """The numbers of one kind that were found of boats.

    values          : the lowest first
    inside, outside : of what its check takes for usual: when the boat changed, the boat, and which of its numbers
    """

    def __init__(self) -> None:
        self.values, self.inside, self.outside = Ordered(), Ordered(), Ordered()


class Counts:
    """Everything counted over the rows of all boats.

    guard : held while it is read, so that no row changes meanwhile
    """

    def __init__(self, rows: Iterable[Row] = ()) -> None:
        self.guard = threading.RLock()
        self.rows: dict[str, Row] = {}
        self.whole, self.lately = Failures(), Failures()
        self.months: dict[str, Handed] = {}
        self.weeks: dict[date, Taken] = {}
        self.waits: dict[str, list[int]] = {}
        """For each for whom open jobs wait: how many do, and the sum of the moments since when [ms]."""
        self.numbers: dict[str, Numbers] = {}
        self._first = date.max
        """The first day whose jobs are counted as lately."""
        self._known: dict[date, dict[str, None]] = {}
        """Boats with jobs that the shop came to know of on a day."""
        for row in rows:
            self.put(row)

    def put(self, row: Row) -> None:
        """Count a row, in the place of the one the boat had."""
        with self.guard:
            self.drop(row.hull)
            self.rows[row.hull] = row
            self._change(row, 1)

    def drop(self, hull: str) -> None:
        """Count a boat's row no more."""
        with self.guard:
            if (before := self.rows.pop(hull, None)) is not None:
                self._change(before, -1)

    def _change(self, row: Row, by: int) -> None:
        for job in row.jobs:
            self._change_job(row.hull, job, by)
        changed = changed_last(row)
        for place, seen in enumerate(row.seen):
            numbers = self.numbers.setdefault(seen.what, Numbers())
            side = numbers.outside if seen.is_outside else numbers.inside
            for ordered, one in ((numbers.values, seen.value), (side, (changed, row.hull, place))):
                (ordered.add if by > 0 else ordered.drop)(one)

    def _change_job(self, hull: str, job: JobRow, by: int) -> None:
        if job.is_set_aside:  # nobody will finish it
            return
        self.whole.change(job, by)
        known = day_of(job.known)
        if known >= self._first:
            self.lately.change(job, by)
        if by > 0:
            self._known.setdefault(known, {})[hull] = None
        else:
            self._known[known].pop(hull, None)
        if not job.is_handed_over:
            waits = self.waits.setdefault(job.waiting_for, [0, 0])
            waits[0], waits[1] = waits[0] + by, waits[1] + by * job.since
        elif job.handed:
            day = day_of(job.handed)
            self.months.setdefault(f"{day:%Y-%m}", Handed()).change(job, by)
            self.weeks.setdefault(date.fromordinal(day.toordinal() - day.weekday()), Taken()).change(job, by)

    def since(self, first: date) -> Failures:
        """Of the jobs that the shop came to know of from a day on."""
        if first == self._first:
            return self.lately
        earlier, later = sorted((self._first, first))
        by = 1 if first < self._first else -1
        for day in [day for day in self._known if earlier <= day < later]:
            for job in self._jobs_known_on(day):
                self.lately.change(job, by)
        self._first = first
        return self.lately

    def _jobs_known_on(self, day: date) -> Iterator[JobRow]:
        for hull in self._known[day]:
            yield from (job for job in self.rows[hull].jobs if day_of(job.known) == day and not job.is_set_aside)

    def days_waited(self, name: str, now: int) -> float:
        """Days that the open jobs which wait for someone have been in their state, together."""
        jobs, since = self.waits[name]
        return max(0, jobs * now - since) / A_DAY


def changed_last(row: Row) -> int:
    """When a boat's job last said something new [ms since 1970-01-01 UTC]."""
    return max((job.changed for job in row.jobs), default=0)


def at_place(lists: Sequence[Sequence[Any]], place: int) -> Any:
    """What stands at a place of several lists together, each of them in order.

    >>> at_place([[1, 4, 9], [2, 3], []], 2)
    3
    """
    spans = [(one, 0, len(one)) for one in lists if one]
    while True:
        one, low, high = max(spans, key=lambda span: span[2] - span[1])
        middle = one[(low + high) // 2]
        ends = [
            (bisect_left(each, middle, first, last), bisect_right(each, middle, first, last))
            for each, first, last in spans
        ]
        below = sum(left - first for (left, _), (_, first, _) in zip(ends, spans, strict=True))
        upto = sum(right - first for (_, right), (_, first, _) in zip(ends, spans, strict=True))
        if below <= place < upto:
            return middle
        if place < below:
            spans = [(each, first, left) for (left, _), (each, first, _) in zip(ends, spans, strict=True)]
        else:
            spans = [(each, right, last) for (_, right), (each, _, last) in zip(ends, spans, strict=True)]
            place -= upto


def cut(values: Sequence[float], tenths: int) -> float:
    """The value under which so many tenths of some lie, which are in order: by the inclusive way of `statistics`."""
    whole, part = divmod(tenths * (len(values) - 1), 10)
    if not part:
        return values[whole]
    return (values[whole] * (10 - part) + values[whole + 1] * part) / 10
