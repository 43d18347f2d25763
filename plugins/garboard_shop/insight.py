"""What the shop's jobs teach, counted over all rows: what fails first, what is right the first time, where days go.

Everything is counted from rows alone, so that no boat is assessed for it. Over many rows it is counted beside the
server's work, and the page shows what was counted last.
"""

from __future__ import annotations

import statistics
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from urllib.parse import urlencode

import attrs

from garboard_shop.board import NOBODY
from garboard_shop.job_rows import JobRow, State
from garboard_shop.memory import DEVIATION, ECONOMY, FORECAST, SLIP, Row, Score, Seen

FEWEST_FOR_A_SHARE = 5
"""Jobs: of fewer no per cent is told."""
MOST_CODES, MOST_NAMES = 10, 8
MONTHS, WEEKS = 12, 26
LATELY = 91
"""Days: three months."""
MOST_DOTS = 80
"""Drawn of one kind; the ranges are over all."""
KINDS = (SLIP, ECONOMY, DEVIATION)


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
    """Jobs handed over in a month or a week: how many, how many right the first time, and the days each took.

    key : as the board's address asks for it
    """

    key: str
    begins: date
    jobs: int
    right: int
    days: tuple[tuple[float, str], ...] = ()

    @property
    def share(self) -> int | None:
        """[%]; None of too few."""
        return round(100 * self.right / self.jobs) if self.jobs >= FEWEST_FOR_A_SHARE else None

    @property
    def median(self) -> float | None:
        return statistics.median(day for day, _ in self.days) if self.days else None


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
    by_week : of jobs handed over, with the days each took
    """

    at: int
    whole: Tally = attrs.field(factory=Tally)
    lately: Tally = attrs.field(factory=Tally)
    months: tuple[Span, ...] = ()
    by_week: tuple[Span, ...] = ()
    waits: tuple[Wait, ...] = ()
    score: Score = attrs.field(factory=lambda: Score(0, 0))
    forecasts: tuple[Dot, ...] = ()
    spreads: tuple[Spread, ...] = ()


GRIDS: Mapping[str, Callable[[JobRow], str]] = {
    "model": lambda row: row.model,
    "engine": lambda row: row.engine,
    "technician": lambda row: row.technician,
}


def board(**asked: str) -> str:
    """The board's address for some of its rows."""
    return f"/board?{urlencode(asked)}"


def insight_of(rows: Sequence[Row], score: Score, now: int) -> Insight:
    """Count over all rows.

    now : the shop's wall time since 1970-01-01 UTC [ms]
    """
    jobs = [job for row in rows for job in row.jobs]
    handed = [job for job in jobs if job.is_handed_over and job.handed]
    seen, first = _seen(rows), _day(now) - timedelta(days=LATELY - 1)
    return Insight(
        at=now,
        whole=_tally(jobs),
        lately=_tally([job for job in jobs if _day(job.known) >= first], f"{first}+{LATELY}"),
        months=_months(handed, now),
        by_week=_weeks(handed, now),
        waits=_waits(jobs, now),
        score=score,
        forecasts=tuple(seen[FORECAST][-MOST_DOTS:]),
        spreads=tuple(_spread(what, seen[what]) for what in KINDS),
    )


def _tally(jobs: Sequence[JobRow], span: str = "") -> Tally:
    ever = Counter(code for job in jobs for code in set(job.ever_failed))
    still = Counter(code for job in jobs for code in set(job.failing))
    commonest = sorted(ever, key=lambda code: (-ever[code], code))
    shown = commonest[:MOST_CODES]
    return Tally(
        span=span,
        jobs=len(jobs),
        failures=tuple(Failure(code, ever[code], still[code]) for code in shown),
        codes=len(commonest),
        grids=tuple(_grid(facet, of, jobs, shown[:MOST_NAMES]) for facet, of in GRIDS.items()),
    )


def _grid(facet: str, of: Callable[[JobRow], str], jobs: Iterable[JobRow], codes: Sequence[str]) -> Grid:
    counted: dict[str, Counter[str]] = defaultdict(Counter)
    for job in jobs:
        if job.ever_failed and of(job):
            counted[of(job)].update(code for code in set(job.ever_failed) if code in codes)
    names = sorted(counted, key=lambda name: (-counted[name].total(), name))
    named = tuple(name for name in names[:MOST_NAMES] if counted[name].total())
    return Grid(facet, named, tuple(codes), tuple(tuple(counted[name][code] for code in codes) for name in named))


def _day(at: int) -> date:
    return datetime.fromtimestamp(at / 1000).date()


def _months(handed: Iterable[JobRow], now: int) -> tuple[Span, ...]:
    by_month: dict[str, list[JobRow]] = defaultdict(list)
    for job in handed:
        by_month[f"{_day(job.handed):%Y-%m}"].append(job)
    first = _day(now).replace(day=1)
    months = [first]
    while len(months) < MONTHS:
        months.insert(0, (months[0] - timedelta(days=1)).replace(day=1))
    return tuple(_span(f"{month:%Y-%m}", month, by_month[f"{month:%Y-%m}"]) for month in months)


def _weeks(handed: Iterable[JobRow], now: int) -> tuple[Span, ...]:
    by_week: dict[date, list[JobRow]] = defaultdict(list)
    for job in handed:
        day = _day(job.handed)
        by_week[day - timedelta(days=day.weekday())].append(job)
    today = _day(now)
    last = today - timedelta(days=today.weekday())
    weeks = [last - timedelta(weeks=number) for number in reversed(range(WEEKS))]
    return tuple(_span(f"{week}+7", week, by_week.get(week, [])) for week in weeks)


def _span(key: str, begins: date, jobs: Sequence[JobRow]) -> Span:
    days = tuple(sorted((job.days_to_hand_over, job.hull) for job in jobs))
    return Span(key, begins, len(jobs), sum(job.was_right_first for job in jobs), days)


def _waits(jobs: Iterable[JobRow], now: int) -> tuple[Wait, ...]:
    counted: dict[str, list[float]] = defaultdict(list)
    for job in jobs:
        if job.state != State.HANDED_OVER:
            counted[job.waiting_for or NOBODY].append(job.days_in_state(now))
    found = [Wait(name, len(days), sum(days)) for name, days in counted.items()]
    return tuple(sorted(found, key=lambda one: (-one.days, one.waits_for)))


def _seen(rows: Iterable[Row]) -> dict[str, list[Dot]]:
    """The numbers of every boat by what they are, the boat whose job changed last coming last."""
    found: dict[str, list[tuple[int, str, Dot]]] = {what: [] for what in (*KINDS, FORECAST)}
    for row in rows:
        changed = max((job.changed for job in row.jobs), default=0)
        name = next((job.name or job.number for job in row.jobs), row.hull)
        for seen in row.seen:
            found.setdefault(seen.what, []).append((changed, row.hull, Dot(row.hull, name, seen)))
    return {what: [dot for *_, dot in sorted(dots, key=lambda one: one[:2])] for what, dots in found.items()}


def _spread(what: str, dots: Sequence[Dot]) -> Spread:
    values = sorted(dot.seen.value for dot in dots)
    outside = sum(dot.seen.is_outside for dot in dots)
    if len(values) < FEWEST_FOR_A_SHARE:
        return Spread(what, len(values), outside, None, None, None, tuple(dots[-MOST_DOTS:]))
    cuts = statistics.quantiles(values, n=10, method="inclusive")
    return Spread(what, len(values), outside, cuts[0], cuts[4], cuts[8], tuple(dots[-MOST_DOTS:]))
