"""The board: the rows of all jobs as columns, so that a page of them takes hardly longer the more there are.

Filters look at groups of rows that are alike; a time or a word is looked up in a column, whole, at once. Of rows only
those of the page are looked at. Groups, orders and words are kept ready; a row that changes takes its place in each.
"""

from __future__ import annotations

import re
import threading
from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

import attrs

from garboard import hull_number
from garboard.findings import rounded
from garboard.history.plans import WAITS_FOR
from garboard_shop.board_groups import Groups
from garboard_shop.board_words import Words
from garboard_shop.job_rows import A_DAY, LONGEST_NAME, JobRow, State

if TYPE_CHECKING:
    import numpy as np

PAGE = 50
NOBODY = "nobody"
"""Asks for jobs that wait for nobody in particular."""
_PIECE = 4096
MOST_NAMES = 12
"""Of a facet: the others are found by a search."""
FEWEST_FOR_A_SHARE = 5
"""Jobs: of fewer no per cent is told."""
WEEKS = 8
SILENT_DAYS = 3
"""A tablet not heard of for longer is marked [days]."""

OPEN, ALL, STUCK, DUE, LATE, CHANGED, OPEN_POINTS, SILENT, STALE = (
    "open", "all", "stuck", "due", "late", "changed", "open-fails", "silent", "stale",
)  # fmt: skip
VIEWS = (OPEN, ALL, STUCK, DUE, LATE, CHANGED, OPEN_POINTS, SILENT, STALE)

URGENCY = (
    *(State.TO_SETTLE, State.FAILING, State.READY, State.IN_WORK, State.NOT_BEGUN),
    *(State.HANDED_OVER, State.SET_ASIDE),
)
"""What a person must act on first."""

SORTS: Mapping[str, Callable[[JobRow], tuple[Any, ...]]] = {
    "urgent": lambda row: (
        URGENCY.index(State(row.state)),
        -row.since if row.is_closed else row.since,
    ),
    "days": lambda row: (row.since,),
    "boat": lambda row: ((row.name or row.number).casefold(), row.hull),
    "phase": lambda row: (row.phases.count("done"), row.phases.count("in work"), row.since),
    "technician": lambda row: (not row.technician, row.technician.casefold(), row.since),
    "promised": lambda row: (row.promised or "9", row.since),
    "changed": lambda row: (-row.changed,),
    "took": lambda row: (-row.days_to_hand_over, row.since),
}

_NAMED = ("state", "waiting_for", "technician", "model", "engine", "tablet")
_GROUPED = ("state", "waiting_for", "technician", "model", "has_points", "is_stale")
"""What makes a group: what lists are asked for and counted by, and that few rows have to themselves."""
FACETS = {"state": "state", "waiting": "waiting_for", "technician": "technician", "model": "model"}
"""Names in the address, each with what it asks of a row."""


@attrs.frozen(kw_only=True)
class Asked:
    """What somebody asks of the board; all of it lives in the address.

    view    : one of VIEWS
    state, waiting, technician, model, engine : "" for any
    failing : a code of what fails now; failed: of what ever failed here
    handed  : when the shop knew it handed over: a month "2026-05", a day, or a day and so many days "2026-05-04+7"
    known   : the same, of when the shop came to know of it
    right   : "yes" or "no": whether it was right the first time
    q       : words searched for
    sort    : one of SORTS, with "-" in front the other way round
    page    : from 1
    """

    view: str = OPEN
    state: str = ""
    waiting: str = ""
    technician: str = ""
    model: str = ""
    engine: str = ""
    failing: str = ""
    failed: str = ""
    handed: str = ""
    known: str = ""
    right: str = ""
    q: str = ""
    sort: str = "urgent"
    page: int = 1

    @classmethod
    def of(cls, query: Mapping[str, str]) -> Asked:
        """Out of an address. What it does not know it leaves out."""
        said = {
            name: query[name].strip()[:LONGEST_NAME]
            for name in attrs.fields_dict(cls)
            if name != "page" and name in query
        }
        if said.get("view") not in VIEWS:
            said.pop("view", None)
        if said.get("sort", "").removeprefix("-") not in SORTS:
            said.pop("sort", None)
        page = query.get("page", "")
        number = int(page) if page.isascii() and page.isdigit() and len(page) < 7 else 1
        return cls(**said, page=max(1, number))

    def address(self, **other: Any) -> str:
        """The board's address with something else asked; from the first page on."""
        told = attrs.asdict(attrs.evolve(self, **{"page": 1, **other}))
        plain = attrs.asdict(Asked())
        query = urlencode({name: value for name, value in told.items() if value != plain[name]})
        return f"/board?{query}" if query else "/board"


@attrs.frozen(kw_only=True)
class Times:
    """What the time is, for what is asked by it [ms since 1970-01-01 UTC].

    looked  : when whoever asks last looked
    stuck   : days in a state from which on a job is stuck
    sunday  : the last day of this week
    weeks   : when each of the last weeks began, and last when this one ends
    heard   : when each tablet was last heard of, by what stands for it in entries
    limits  : when a day begins and ends, for a span of days handed over
    """

    now: int
    looked: int = 0
    stuck: int = 14
    sunday: date = date(1970, 1, 4)
    weeks: tuple[int, ...] = ()
    heard: Mapping[str, int] = attrs.field(factory=dict)
    limits: Callable[[date], tuple[int, int]] = lambda day: (
        (day.toordinal() - date(1970, 1, 1).toordinal()) * A_DAY,
        (day.toordinal() - date(1970, 1, 1).toordinal() + 1) * A_DAY - 1,
    )


@attrs.frozen
class Found:
    """A page of what was asked for.

    rows    : of the page
    total   : how many fit on all pages
    facets  : for each, the values with how many would fit, of which the page shows those chosen
    instead : for a word nothing has, the words one slip away that were searched for in its place
    """

    rows: tuple[JobRow, ...]
    total: int
    page: int
    pages: int
    facets: Mapping[str, tuple[tuple[str, int], ...]]
    instead: Mapping[str, tuple[str, ...]]

    @property
    def first(self) -> int:
        return (self.page - 1) * PAGE + 1 if self.total else 0

    @property
    def last(self) -> int:
        return min(self.page * PAGE, self.total)


@attrs.frozen
class Week:
    """Of the jobs handed over in a week: how many, how many right at first, and the median of the whole days taken."""

    jobs: int
    right: int
    days: float


@attrs.frozen
class Headline:
    """Six numbers over the whole shop.

    weeks : of the last weeks, this one last; `whole` of all of them together
    """

    to_settle: int
    failing: int
    late: int
    ready: int
    whole: Week
    weeks: tuple[Week, ...]


class _Names:
    """Texts by number, so that a column of them holds numbers."""

    def __init__(self, first: Iterable[str] = ()) -> None:
        self.all: list[str] = []
        self._number: dict[str, int] = {}
        for name in first:
            self.number(name)

    def number(self, name: str) -> int:
        if name not in self._number:
            self._number[name] = len(self.all)
            self.all.append(name)
        return self._number[name]

    def known(self, name: str) -> int:
        """-1 for a text that no row ever had."""
        return self._number.get(name, -1)


class _Order:
    """Places of rows by a key. One that comes or goes moves the others along, which costs what copying bytes costs."""

    def __init__(self, key: Callable[[JobRow], tuple[Any, ...]], rows: Iterable[tuple[int, JobRow]]) -> None:
        import numpy as np

        self._key = key
        self._keys = sorted((*key(row), place) for place, row in rows)
        self.places: np.ndarray[Any, Any] = np.array([one[-1] for one in self._keys], dtype=np.int32)

    def add(self, place: int, row: JobRow) -> None:
        import numpy as np

        key = (*self._key(row), place)
        at = bisect_left(self._keys, key)
        self._keys.insert(at, key)
        self.places = np.insert(self.places, at, place)

    def first(
        self, fits: Any, places: Any, span: tuple[int, int], *, backwards: bool, rows: Sequence[JobRow | None]
    ) -> list[int]:
        """Those of a span, of the places that fit, in this order.

        fits   : says which of some places do
        places : all that fit where they are few; None where they are many
        """
        if places is not None:
            keys = sorted(((*self._key(row), at) for at in places.tolist() if (row := rows[at])), reverse=backwards)
            return [key[-1] for key in keys[slice(*span)]]
        return _first(self.places[::-1] if backwards else self.places, fits, span)

    def remove(self, place: int, row: JobRow) -> None:
        import numpy as np

        at = bisect_left(self._keys, (*self._key(row), place))
        del self._keys[at]
        self.places = np.delete(self.places, at)


class Board:
    """The rows of all jobs.

    also : further words a boat's jobs are found by, by hull: the owners' references, which no row holds
    """

    def __init__(self, rows: Iterable[JobRow] = (), also: Callable[[str], Iterable[str]] = lambda _: ()) -> None:
        self._guard, self._learning = threading.RLock(), threading.Lock()
        self._told: tuple[object, Headline] | None = None
        self._meanwhile: dict[int, tuple[str, ...]] = {}
        """Words of rows that changed since those of all were last gone through."""
        self._also = also
        self.rows: list[JobRow | None] = [*rows]
        self._places: dict[str, list[int]] = {}
        self._free: list[int] = []
        self._names = {name: _Names() for name in _NAMED}
        self._names["state"] = _Names(map(str, State))
        self._names["waiting_for"] = _Names(("", *WAITS_FOR))
        self._columns: dict[str, Any] = {}
        self._groups = Groups(_GROUPED)
        self._codes: dict[tuple[str, str], Any] = {}
        self._orders: dict[str, _Order] = {}
        self._grow(max(64, len(self.rows)))
        for place, row in enumerate(self.rows):
            if row is not None:
                self._places.setdefault(row.hull, []).append(place)
                self._write(place, row)
        self._order("urgent")
        self._words = Words((place, self._words_of(row)) for place, row in enumerate(self.rows) if row is not None)

    def __len__(self) -> int:
        return len(self.rows) - len(self._free)

    def jobs_of(self, hull: str) -> tuple[JobRow, ...]:
        """The rows of a boat's jobs, by the key of its row."""
        with self._guard:
            return tuple(row for place in self._places.get(hull, ()) if (row := self.rows[place]) is not None)

    def take(self, hull: str, jobs: Iterable[JobRow]) -> None:
        """The rows of a boat's jobs, in the place of those it had."""
        with self._guard:
            self._told = None
            for place in self._places.pop(hull, ()):
                self._remove(place)
            for row in jobs:
                place = self._room()
                self.rows[place] = row
                self._places.setdefault(hull, []).append(place)
                self._write(place, row)
                for order in self._orders.values():
                    order.add(place, row)
                self._put_words(place, self._words_of(row))

    @property
    def words_are_due(self) -> bool:
        """Whether so many rows changed that their words should be put in order anew."""
        return self._words.is_due

    def learn_words(self) -> None:
        """Put the words that rows are found by in order anew, with further ones that came to be known. It takes a while
        with many rows; meanwhile pages are answered with the words as they were.
        """
        with self._learning:
            with self._guard:
                rows = [(place, row) for place, row in enumerate(self.rows) if row is not None]
                self._meanwhile = {}
            words = Words((place, self._words_of(row)) for place, row in rows)
            with self._guard:
                for place, changed in self._meanwhile.items():
                    words.put(place, changed)
                self._words = words

    def _put_words(self, place: int, words: tuple[str, ...]) -> None:
        self._meanwhile[place] = words
        self._words.put(place, words)

    def _remove(self, place: int) -> None:
        row = self.rows[place]
        if row is None:
            return
        for order in self._orders.values():
            order.remove(place, row)
        self._columns["is_here"][place] = False
        self._groups.drop(place)
        self.rows[place] = None
        self._free.append(place)
        self._put_words(place, ())

    def _room(self) -> int:
        if self._free:
            return self._free.pop()
        self.rows.append(None)
        if len(self.rows) > len(self._columns["is_here"]):
            self._grow(2 * len(self.rows))
        return len(self.rows) - 1

    def _grow(self, size: int) -> None:
        import numpy as np

        kinds: dict[str, Any] = dict.fromkeys(_NAMED, np.int64)  # as counting takes them
        kinds |= {"is_here": bool, "has_points": bool, "is_right": bool, "is_stale": bool, "due": np.int32}
        kinds |= {
            "since": np.int64,
            "changed": np.int64,
            "handed": np.int64,
            "known": np.int64,
            "settled": np.int64,
            "days": np.float64,
        }
        for name, kind in kinds.items():
            self._columns[name] = _longer(self._columns.get(name), size, kind)
        self._groups.grow(size)
        for key, column in self._codes.items():
            self._codes[key] = _longer(column, size, bool)

    def _write(self, place: int, row: JobRow) -> None:
        import numpy as np

        columns = self._columns
        for name in _NAMED:
            columns[name][place] = self._names[name].number(getattr(row, name))
        columns["is_here"][place] = True
        columns["has_points"][place] = row.points > 0
        columns["is_right"][place] = row.was_right_first
        columns["is_stale"][place] = bool(row.stale)
        self._groups.put(place, {name: int(columns[name][place]) for name in _GROUPED})
        columns["due"][place] = date.fromisoformat(row.promised).toordinal() if row.promised else 0
        for name in ("since", "changed", "known", "settled"):
            columns[name][place] = getattr(row, name)
        columns["handed"][place] = row.handed if row.is_handed_over else 0
        columns["days"][place] = row.days_to_hand_over
        for column in self._codes.values():
            column[place] = False
        for what, codes in (("failing", row.failing), ("failed", row.ever_failed)):
            for code in () if row.is_set_aside else codes:  # as Insight, which counts none of it
                if (what, code) not in self._codes:
                    self._codes[what, code] = np.zeros(len(columns["is_here"]), dtype=bool)
                self._codes[what, code][place] = True

    def _words_of(self, row: JobRow) -> tuple[str, ...]:
        texts = (row.hull, row.number, *row.numbers, row.name, row.job, row.kind, row.model, row.engine)
        codes = (part for code in row.failing for part in (code, *code.split("."), *re.split("[._]", code)))
        texts += (row.technician, row.assigned, *row.propellers, *codes, *self._also(row.hull))
        return words_in(" ".join(texts))

    def _order(self, sort: str) -> _Order:
        if sort not in self._orders:
            rows = ((place, row) for place, row in enumerate(self.rows) if row is not None)
            self._orders[sort] = _Order(SORTS[sort], rows)
        return self._orders[sort]

    def settled_last(self) -> JobRow | None:
        """The job in which a disagreement was settled last; None where none ever was."""
        with self._guard:
            settled = self._columns["settled"] * self._columns["is_here"]
            return self.rows[int(settled.argmax())] if settled.any() else None

    # --- what is asked

    def find(self, asked: Asked, times: Times) -> Found:
        """A page of the rows that fit, and how many would for each value of a facet."""
        import numpy as np

        with self._guard:
            groups, of = self._groups, self._groups.of
            alike, rows, instead = self._fitting(asked, times)
            counts = groups.counts(None if rows is None else np.flatnonzero(rows)) * alike
            chosen = {name: self._having(name, getattr(asked, name)) for name in FACETS}
            facets = {name: self._counts(name, counts, chosen) for name in FACETS}
            for mask in chosen.values():
                alike = alike & mask
            total = int(counts[alike].sum())
            pages = max(1, -(-total // PAGE))
            page = min(asked.page, pages)

            def fits(places: Any) -> Any:
                return alike[of[places]] if rows is None else alike[of[places]] & rows[places]

            few = np.flatnonzero(fits(slice(None))) if total <= PAGE else None
            span = ((page - 1) * PAGE, page * PAGE)
            order = self._order(asked.sort.removeprefix("-"))
            here = order.first(fits, few, span, backwards=asked.sort.startswith("-"), rows=self.rows)
            found = tuple(row for place in here if (row := self.rows[place]) is not None)
        return Found(found, total, page, pages, facets, instead)

    def _fitting(self, asked: Asked, times: Times) -> tuple[Any, Any, Mapping[str, tuple[str, ...]]]:
        """Which groups fit, which rows do (None for all), and the words that were searched for instead."""
        columns, masks = self._columns, self._rows_in_view(asked.view, times)
        if asked.engine:
            masks.append(columns["engine"] == self._names["engine"].known(asked.engine))
        for what in ("failing", "failed"):
            if code := getattr(asked, what):
                masks.append(self._codes.get((what, code), columns["is_here"] & False))
        if asked.right:
            masks.append((columns["handed"] > 0) & (columns["is_right"] == (asked.right == "yes")))
        for what in ("handed", "known"):
            if span := getattr(asked, what):
                low, high = handed_within(span, times)
                masks.append((columns[what] >= low) & (columns[what] <= high))
        instead: dict[str, tuple[str, ...]] = {}
        for word in words_in(asked.q):
            has, others = self._words.having(word, len(columns["is_here"]))
            masks.append(has)
            if others:
                instead[word] = others
        rows = None
        for mask in masks:
            rows = mask if rows is None else rows & mask
        return self._groups_in_view(asked.view), rows, instead

    def _groups_in_view(self, view: str) -> Any:
        """Which groups a view shows, as far as that hangs on nothing else."""
        groups, state = self._groups, self._names["state"]
        states = groups.column("state")
        is_handed = states == state.known(State.HANDED_OVER)
        is_closed = is_handed | (states == state.known(State.SET_ASIDE))
        if view == OPEN_POINTS:
            return is_handed & (groups.column("has_points") > 0)
        if view == STALE:
            return (groups.column("is_stale") > 0) & (states != state.known(State.SET_ASIDE))
        if view in (ALL, CHANGED):
            return states >= 0
        if view == LATE:
            return ~is_closed & (states >= 0) & (states != state.known(State.READY))
        return ~is_closed & (states >= 0)

    def _rows_in_view(self, view: str, times: Times) -> list[Any]:
        """What a view asks of each row besides."""
        columns = self._columns
        if view == CHANGED:
            return [columns["changed"] > times.looked]
        if view == STUCK:
            return [columns["since"] < times.now - times.stuck * A_DAY]
        if view in (DUE, LATE):
            return [(columns["due"] > 0) & (columns["due"] <= times.sunday.toordinal())]
        if view == SILENT:
            return [self._silent(times)[columns["tablet"]]]
        return []

    def _silent(self, times: Times) -> Any:
        """By tablet, whether it was not heard of for long; not of one that nobody knows."""
        import numpy as np

        heard = [times.heard.get(name, times.now) for name in self._names["tablet"].all] or [times.now]
        return np.array(heard) < times.now - SILENT_DAYS * A_DAY

    def _having(self, facet: str, value: str) -> Any:
        """Which groups have what somebody chose of a facet; all where they chose nothing."""
        column = self._groups.column(FACETS[facet])
        if not value:
            return column >= 0
        name = "" if facet == "waiting" and value == NOBODY else value
        return (column == self._names[FACETS[facet]].known(name)) & (column >= 0)

    def _counts(self, name: str, counts: Any, chosen: Mapping[str, Any]) -> tuple[tuple[str, int], ...]:
        """How many fit each value of a facet, with what the other facets ask.

        counts : how many fit of each group
        """
        import numpy as np

        fits = counts > 0
        for other, mask in chosen.items():
            if other != name:
                fits = fits & mask
        names = self._names[FACETS[name]].all
        column = self._groups.column(FACETS[name])
        numbers = np.bincount(column[fits], weights=counts[fits], minlength=len(names))
        found = [(names[at], int(numbers[at])) for at in np.flatnonzero(numbers) if names[at]]
        if name in ("state", "waiting"):
            found = sorted(found, key=lambda one: names.index(one[0]))
            nobody = int(numbers[names.index("")]) if name == "waiting" else 0
            return (*found, (NOBODY, nobody)) if nobody else tuple(found)
        return tuple(sorted(found, key=lambda one: (-one[1], one[0])))

    def headline(self, times: Times) -> Headline:
        """Six numbers over the whole shop, counted once after each change."""
        import numpy as np

        with self._guard:
            asked = (times.sunday, times.weeks)
            if self._told is not None and self._told[0] == asked:
                return self._told[1]
            columns, here = self._columns, self._columns["is_here"]
            states = np.bincount(columns["state"][here], minlength=len(State))
            counts = {state: int(states[self._names["state"].known(state)]) for state in State}
            (due,) = self._rows_in_view(LATE, times)
            late = int(np.count_nonzero(due & self._groups_in_view(LATE)[self._groups.of]))
            first, end = (times.weeks[0], times.weeks[-1]) if times.weeks else (0, 0)
            lately = np.flatnonzero(here & (columns["handed"] >= first) & (columns["handed"] < end))
            handed, right, days = (columns[name][lately] for name in ("handed", "is_right", "days"))
            spans = list(zip(times.weeks, times.weeks[1:], strict=False))
            weeks = [_week((handed >= begins) & (handed < ends), right, days) for begins, ends in spans]
            whole = _week(np.ones(len(lately), dtype=bool), right, days)
            settle, failing, ready = (counts[state] for state in (State.TO_SETTLE, State.FAILING, State.READY))
            told = Headline(settle, failing, late, ready, whole, tuple(weeks))
            self._told = asked, told
            return told


def _first(places: Any, fits: Callable[[Any], Any], span: tuple[int, int]) -> list[int]:
    """Of an order's places that fit, those of a span; it is looked through piece by piece, no further than need be."""
    found: list[int] = []
    passed, (begins, ends) = 0, span
    for begin in range(0, len(places), _PIECE):
        piece = places[begin : begin + _PIECE]
        here = piece[fits(piece)]
        if passed + len(here) > begins:
            found += here[max(0, begins - passed) : ends - passed].tolist()
        passed += len(here)
        if passed >= ends:
            break
    return found


def _week(of: Any, right: Any, days: Any) -> Week:
    import numpy as np

    jobs = int(np.count_nonzero(of))
    return Week(jobs, int(np.count_nonzero(right[of])), float(np.median(np.floor(days[of]))) if jobs else 0.0)


def _longer(column: Any, size: int, kind: Any) -> Any:
    import numpy as np

    longer: np.ndarray[Any, Any] = np.zeros(size, dtype=kind)
    if column is not None:
        longer[: len(column)] = column
    return longer


_WORD = re.compile(r"[^\s,;()]+")


def words_in(text: str) -> tuple[str, ...]:
    """The words of a text, each once.

    >>> words_in("2 x Northlight NL150, (port)")
    ('2', 'x', 'northlight', 'nl150', 'port')
    """
    return tuple(dict.fromkeys(_WORD.findall(hull_number.sought(hull_number.scanned(text)))))


def handed_within(text: str, times: Times) -> tuple[int, int]:
    """From when to when a span of days is [ms]; one that nothing lies in for what is no span."""
    try:
        span = days_of(text)
        return (times.limits(span[0])[0], times.limits(span[1])[1]) if span else (1, 0)
    except (OverflowError, OSError, ValueError):
        return 1, 0


def days_of(text: str) -> tuple[date, date] | None:
    """The first and the last day of a span as the address has it; None for what is none.

    >>> days_of("2026-05-04+7"), days_of("2026-02")
    ((datetime.date(2026, 5, 4), datetime.date(2026, 5, 10)), (datetime.date(2026, 2, 1), datetime.date(2026, 2, 28)))
    """
    begins, _, days = text.partition("+")
    try:
        if len(begins) == 7:
            first = date.fromisoformat(f"{begins}-01")
            return first, date.fromordinal(_next_month(first).toordinal() - 1)
        first = date.fromisoformat(begins)
        count = int(days) if days.isdecimal() and days.isascii() and len(days) < 4 else 1
        return first, date.fromordinal(first.toordinal() + count - 1)
    except (ValueError, OverflowError):
        return None


def _next_month(day: date) -> date:
    return date(day.year + day.month // 12, day.month % 12 + 1, 1)


def share_of(right: int, jobs: int) -> int | None:
    """The per cent of jobs that was right the first time; None of too few to tell. All are 100, and none is 0, alone.

    >>> share_of(199, 200), share_of(1, 300), share_of(5, 5), share_of(0, 5), share_of(4, 4)
    (99, 1, 100, 0, None)
    """
    if jobs < FEWEST_FOR_A_SHARE or right in (0, jobs):
        return None if jobs < FEWEST_FOR_A_SHARE else 100 if right else 0
    return max(1, min(99, int(rounded(100 * right / jobs))))


def shares(week: Week) -> int | None:
    """`share_of` a week's jobs."""
    return share_of(week.right, week.jobs)
