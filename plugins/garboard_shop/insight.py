"""What the shop's jobs teach, counted over all rows: what fails first, what is right the first time, where days go.

Everything is counted from rows alone, so that no boat is assessed for it. The counts are kept as rows change
(`insight_counts`); what is told here of them costs the same over any number of rows.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from urllib.parse import urlencode

import attrs

from garboard_shop.board import FEWEST_FOR_A_SHARE, NOBODY, share_of
from garboard_shop.boat_rows import DEVIATION, ECONOMY, FORECAST, SLIP, Seen
from garboard_shop.insight_counts import FACETS, Counts, Failures, Handed, Numbers, Taken, at_place, cut, day_of
from garboard_shop.memory import Score

MOST_CODES, MOST_NAMES = 10, 8
MONTHS, WEEKS = 12, 26
LATELY = 91
"""Days: three months."""
MOST_DOTS = 80
"""Drawn of one kind; the ranges are over all."""
MOST_DOTS_OF_A_WEEK = 16
"""More would lie on each other."""
KINDS = (SLIP, ECONOMY, DEVIATION)

Place = tuple[int, str, int]
"""Where a number stands: when its boat changed last, the boat, and which of its numbers it is."""


@attrs.frozen
class Failure:
    """A check that failed: in how many jobs ever, and in how many it still does."""

    code: str
    ever: int
    still: int


@attrs.frozen
class Grid:
    """How often the commonest failures came, by something of a job.

    facet : its name in the board's address
    names : the commonest first
    rows  : for each name, a number for each code
    """

    facet: str
    names: tuple[str, ...]
    codes: tuple[str, ...]
    rows: tuple[tuple[int, ...], ...]


@attrs.frozen
class Span:
    """Jobs handed over in a month or a week: how many, how many right the first time, and the days they took.

    key     : as the board's address asks for it
    median  : of the days; None where none was handed over
    days    : each took, with its boat, the quickest first: of many those that are drawn
    longest : [days]
    """

    key: str
    begins: date
    jobs: int
    right: int
    median: float | None = None
    days: tuple[tuple[float, str], ...] = ()
    longest: float = 0.0

    @property
    def share(self) -> int | None:
        """[%]; None of too few."""
        return share_of(self.right, self.jobs)


@attrs.frozen
class Wait:
    """For whom open jobs wait: how many, and the days they have been in their state together."""

    waits_for: str
    jobs: int
    days: float


@attrs.frozen
class Dot:
    """One boat's number."""

    hull: str
    name: str
    seen: Seen


@attrs.frozen
class Spread:
    """Numbers of one kind over all boats.

    low, middle, high : where 8 of 10 lie, and the one in the middle; None of too few
    dots              : those drawn
    """

    what: str
    boats: int
    outside: int
    low: float | None
    middle: float | None
    high: float | None
    dots: tuple[Dot, ...]


@attrs.frozen(kw_only=True)
class Tally:
    """What failed in some jobs, the commonest first.

    span  : when the shop came to know of them, as the board's address asks for it; "" for all jobs
    codes : how many checks ever failed, of which the commonest are listed
    """

    span: str = ""
    jobs: int = 0
    failures: tuple[Failure, ...] = ()
    codes: int = 0
    grids: tuple[Grid, ...] = ()

    def address(self, **asked: str) -> str:
        """The board's address for some of these jobs."""
        return board(view="all", **asked, **({"known": self.span} if self.span else {}))


@attrs.frozen(kw_only=True)
class Insight:
    """Everything the page shows.

    lately  : of the jobs that the shop came to know of in the last three months
    by_week : of jobs handed over, with the days they took
    half    : days in which half of these were handed over
    """

    at: int
    whole: Tally = attrs.field(factory=Tally)
    lately: Tally = attrs.field(factory=Tally)
    months: tuple[Span, ...] = ()
    by_week: tuple[Span, ...] = ()
    half: float = 0.0
    waits: tuple[Wait, ...] = ()
    score: Score = attrs.field(factory=lambda: Score(0, 0))
    forecasts: tuple[Dot, ...] = ()
    spreads: tuple[Spread, ...] = ()


def board(**asked: str) -> str:
    """The board's address for some of its rows."""
    return f"/board?{urlencode(asked)}"


def insight_from(counts: Counts, score: Score, now: int) -> Insight:
    """What the counts tell.

    now : the shop's wall time since 1970-01-01 UTC [ms]
    """
    with counts.guard:
        first, weeks = day_of(now) - timedelta(days=LATELY - 1), _weeks_to(now)
        taken = [counts.weeks.get(week, Taken()) for week in weeks]
        jobs = sum(one.jobs for one in taken)
        return Insight(
            at=now,
            whole=_tally(counts.whole),
            lately=_tally(counts.since(first), f"{first}+{LATELY}"),
            months=tuple(_month(counts, month) for month in _months_to(now)),
            by_week=tuple(map(_week, weeks, taken)),
            half=at_place([one.days.all for one in taken], (jobs - 1) // 2)[0] if jobs else 0.0,
            waits=_waits(counts, now),
            score=score,
            forecasts=_dots(counts, _newest(counts.numbers.get(FORECAST, Numbers()))),
            spreads=tuple(_spread(counts, what) for what in KINDS),
        )


def _tally(found: Failures, span: str = "") -> Tally:
    commonest = sorted(found.ever, key=lambda code: (-found.ever[code], code))
    shown = commonest[:MOST_CODES]
    return Tally(
        span=span,
        jobs=found.jobs,
        failures=tuple(Failure(code, found.ever[code], found.still[code]) for code in shown),
        codes=len(commonest),
        grids=tuple(_grid(facet, found.by[facet], shown[:MOST_NAMES]) for facet in FACETS),
    )


def _grid(facet: str, counted: Mapping[str, Counter[str]], codes: Sequence[str]) -> Grid:
    totals = {name: sum(of[code] for code in codes) for name, of in counted.items()}
    names = sorted((name for name, total in totals.items() if total), key=lambda name: (-totals[name], name))
    named = tuple(names[:MOST_NAMES])
    return Grid(facet, named, tuple(codes), tuple(tuple(counted[name][code] for code in codes) for name in named))


def _months_to(now: int) -> list[date]:
    months = [day_of(now).replace(day=1)]
    while len(months) < MONTHS:
        months.insert(0, (months[0] - timedelta(days=1)).replace(day=1))
    return months


def _month(counts: Counts, month: date) -> Span:
    key = f"{month:%Y-%m}"
    handed = counts.months.get(key, Handed())
    return Span(key, month, handed.jobs, handed.right)


def _weeks_to(now: int) -> list[date]:
    today = day_of(now)
    last = today - timedelta(days=today.weekday())
    return [last - timedelta(weeks=number) for number in reversed(range(WEEKS))]


def _week(week: date, taken: Taken) -> Span:
    days = taken.days.all
    if not days:
        return Span(f"{week}+7", week, 0, 0)
    median = sum(int(days[place][0]) for place in ((len(days) - 1) // 2, len(days) // 2)) / 2  # as each is told
    drawn = days[:: -(-len(days) // MOST_DOTS_OF_A_WEEK)]
    return Span(f"{week}+7", week, taken.jobs, taken.right, median, tuple(drawn), days[-1][0])


def _waits(counts: Counts, now: int) -> tuple[Wait, ...]:
    found = [
        Wait(name or NOBODY, jobs, counts.days_waited(name, now)) for name, (jobs, _) in counts.waits.items() if jobs
    ]
    return tuple(sorted(found, key=lambda one: (-one.days, one.waits_for)))


def _spread(counts: Counts, what: str) -> Spread:
    numbers = counts.numbers.get(what, Numbers())
    values, outside, drawn = numbers.values.all, len(numbers.outside), _dots(counts, _drawn(numbers))
    if len(values) < FEWEST_FOR_A_SHARE:
        return Spread(what, len(values), outside, None, None, None, drawn)
    return Spread(what, len(values), outside, cut(values, 1), cut(values, 5), cut(values, 9), drawn)


def _newest(numbers: Numbers) -> list[Place]:
    return sorted((*numbers.inside.all[-MOST_DOTS:], *numbers.outside.all[-MOST_DOTS:]))[-MOST_DOTS:]


def _drawn(numbers: Numbers) -> list[Place]:
    """The newest, and of those that lie outside as many as fit: they are what somebody looks for."""
    outside = numbers.outside.all[-MOST_DOTS // 2 :]
    return [*numbers.inside.all[-(MOST_DOTS - len(outside)) :], *outside]


def _dots(counts: Counts, places: Iterable[Place]) -> tuple[Dot, ...]:
    rows = [(counts.rows[hull], place) for _, hull, place in places]
    return tuple(
        Dot(row.hull, next((job.name or job.number for job in row.jobs), row.hull), row.seen[place])
        for row, place in rows
    )
