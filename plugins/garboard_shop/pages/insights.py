"""The page of insight: a sentence above each chart, and each chart's marks as links."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

import attrs
from markupsafe import Markup

from garboard.faults import in_number
from garboard.hosting.host import PluginHost
from garboard_shop.board import NOBODY
from garboard_shop.boat_rows import DEVIATION, ECONOMY, SLIP
from garboard_shop.insight import MOST_DOTS_OF_A_WEEK, Grid, Insight, Spread, Tally, board, insight_from
from garboard_shop.memory import Memory
from garboard_shop.pages import charts
from garboard_shop.pages.wording import day_of

UNITS = {SLIP: "%", ECONOMY: "nm/gal", DEVIATION: "°"}
TITLES = {SLIP: "Slip", ECONOMY: "Economy at best cruise", DEVIATION: "Largest compass deviation"}
FACET_TITLES = {"model": "By model", "engine": "By engine", "technician": "By rigger"}
SHADES = 4
COUNTED_AT_ONCE = 1_000
"""Boats: of more the page does not wait for the first count."""


@attrs.frozen
class Entry:
    """A line of the list under a chart: what a mark says, and where it leads."""

    words: str
    href: str


@attrs.frozen(kw_only=True)
class Cell:
    """A count in a table, with its rows and how dark it is, from 0."""

    number: int
    href: str
    shade: int


@attrs.frozen(kw_only=True)
class CountTable:
    """Failures by something of a job."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, tuple[Cell, ...]], ...]


@attrs.frozen(kw_only=True)
class Chart:
    """One chart.

    sentence : what it says, before it is looked at
    narrow   : its drawing for a phone, where it has one of its own
    is_by_time : the newest stands on the right
    listed   : its marks once more, in words
    """

    title: str
    sentence: str
    drawing: Markup
    narrow: Markup | None = None
    is_by_time: bool = False
    listed: tuple[Entry, ...] = ()
    tables: tuple[CountTable, ...] = ()


@attrs.frozen
class Shown:
    """The page as it was counted and drawn last."""

    counted: Insight
    charts: tuple[Chart, ...]


class Insights:
    """The page, told anew when a row changed. Over many boats the first count is made beside the server's work."""

    def __init__(self, host: PluginHost, now: Callable[[], int]) -> None:
        self._host, self._now = host, now
        self._guard = threading.Lock()
        self._shown: tuple[Memory, int, Shown] | None = None
        self._thread: threading.Thread | None = None

    def of(self, memory: Memory) -> Shown | None:
        """What was counted last, with its time; None where the first is still counted."""
        with self._guard:
            if self._shown is not None and self._is_fresh(memory, *self._shown):
                return self._shown[2]
            if memory.counts is not None or len(memory) <= COUNTED_AT_ONCE:
                return self._count(memory)
            if self._thread is None or not self._thread.is_alive():
                self._thread = threading.Thread(
                    target=self._count, args=(memory,), name="garboard-insight", daemon=True
                )
                self._thread.start()
            return self._shown[2] if self._shown else None

    def wait(self) -> None:
        """Until what is being counted is counted."""
        if self._thread is not None:
            self._thread.join()

    def _is_fresh(self, memory: Memory, of: Memory, changes: int, shown: Shown) -> bool:
        return memory is of and memory.changes == changes and day_of(shown.counted.at) == day_of(self._now())

    def _count(self, memory: Memory) -> Shown:
        changes = memory.changes
        counted = insight_from(memory.count(), memory.score(), self._now())
        shown = Shown(counted, charts_of(counted, self._host))
        self._shown = memory, changes, shown
        return shown


def code_in_words(code: str, host: PluginHost, most: int = 200) -> str:
    """A code of a finding as people say it: the title of the check or step that gives it, and what it found.

    most : letters; of more the title is cut, as what was found tells one failure of a check from another

    A code that is no check's or step's own, such as "handover.check.failed", is told by its own words; one of a
    plugin that is not here stays as it is.
    """
    key, _, found = code.rpartition(".")
    titles = [(one.key, one.title) for one in host.calculators] + [(one.key, one.title) for one in host.steps]
    of = next((title for name, title in titles if code.startswith(f"{name}.")), "")
    if not of and not any(one.key.partition(".")[0] == code.partition(".")[0] for one in host.steps):
        return code
    title, said = of or key.replace(".", " ").replace("_", " ").capitalize(), found.replace("_", " ")
    room = max(0, most - len(said) - 2)
    return f"{title if len(title) <= room else f'{title[: room - 1]}…'}: {said}"


def charts_of(found: Insight, host: PluginHost) -> tuple[Chart, ...]:
    """The charts of the page in their order."""
    return (
        _failures(found.whole, host, "What fails first"),
        _failures(found.lately, host, "What failed in jobs of the last three months"),
        _months(found),
        _days(found),
        _waits(found),
        _forecasts(found),
        *(_spread(one) for one in found.spreads),
    )


def _failures(found: Tally, host: PluginHost, title: str) -> Chart:
    bars = [
        charts.Bar(
            code_in_words(one.code, host, charts.LONGEST_LABEL),
            found.address(failed=one.code),
            one.ever,
            one.still,
            f"{one.ever}, {one.still} still",
        )
        for one in found.failures
    ]
    sentence = f"No check has failed in {in_number(found.jobs, 'job')}." if found.jobs else "There is no job to count."
    if bars:
        sentence = (
            f"{bars[0].label} fails most: in {found.failures[0].ever} of {in_number(found.jobs, 'job')}, "
            f"and in {found.failures[0].still} it still does. Outline: ever failed; filled: still open."
        )
        if found.codes > len(bars):
            sentence += f" {in_number(found.codes - len(bars), 'rarer failure')} left out."
    tables = tuple(_table(found, grid, host) for grid in found.grids if grid.names)
    return _of_bars(title, sentence, title, bars, tables)


def _of_bars(
    title: str, sentence: str, label: str, bars: Sequence[charts.Bar], tables: tuple[CountTable, ...] = ()
) -> Chart:
    drawing, narrow = (charts.bars(label, bars), charts.narrow_bars(label, bars)) if bars else (Markup(""), None)
    return Chart(title=title, sentence=sentence, drawing=drawing, narrow=narrow, tables=tables)


def _table(found: Tally, grid: Grid, host: PluginHost) -> CountTable:
    most = max((number for row in grid.rows for number in row), default=1) or 1

    def cell(name: str, code: str, number: int) -> Cell:
        href = found.address(failed=code, **{grid.facet: name})
        return Cell(number=number, href=href, shade=-(-SHADES * number // most))

    rows = tuple(
        (name, tuple(cell(name, code, number) for code, number in zip(grid.codes, numbers, strict=True)))
        for name, numbers in zip(grid.names, grid.rows, strict=True)
    )
    headings = tuple(code_in_words(code, host) for code in grid.codes)
    return CountTable(title=FACET_TITLES[grid.facet], headings=headings, rows=rows)


def _months(found: Insight) -> Chart:
    last = next((span for span in reversed(found.months) if span.share is not None), None)
    jobs, right = (sum(getattr(span, name) for span in found.months) for name in ("jobs", "right"))
    if not jobs:
        sentence = "Nothing was handed over in twelve months."
    elif last is None:
        sentence = f"{in_number(jobs, 'job')} handed over in twelve months, {right} right the first time. "
        sentence += "No month has five, so no per cent is told."
    else:
        sentence = (
            f"In {last.begins:%B %Y}, {last.right} of {in_number(last.jobs, 'job')} were handed over without a fail at "
            f"any judging: {last.share} %. Under five jobs no per cent is told."
        )
    listed = tuple(
        Entry(f"{span.begins:%B %Y}: {words}", board(view="all", handed=span.key, right=is_right))
        for span in found.months
        for is_right, jobs, words in (
            ("yes", span.jobs, f"{span.right} of {span.jobs} right the first time"),
            ("no", span.jobs - span.right, f"{span.jobs - span.right} not right the first time"),
        )
        if jobs
    )
    sentence += " Under each month stands how many were handed over in it."
    drawing = charts.months("Share right the first time, by month", found.months)
    return Chart(title="Right the first time", sentence=sentence, drawing=drawing, is_by_time=True, listed=listed)


def _days(found: Insight) -> Chart:
    jobs, longest = sum(span.jobs for span in found.by_week), max((span.longest for span in found.by_week), default=0.0)
    sentence = "Nothing was handed over in half a year."
    if jobs:
        took = f"half of {jobs} jobs took {in_number(int(found.half), 'day')} or less, the longest {int(longest)}"
        if jobs == 1:
            took = f"the one job took {in_number(int(longest), 'day')}"
        sentence = f"From first ashore to handed over, {took}. A dot a job, a line for the median of the week."
        if any(span.jobs > MOST_DOTS_OF_A_WEEK for span in found.by_week):
            sentence += " Of a week with many jobs some dots are left out."
    listed = tuple(
        Entry(
            f"Week of {span.begins.day} {span.begins:%B}: {in_number(span.jobs, 'job')}, median "
            f"{charts.days_in_words(span.median)}",
            board(view="all", handed=span.key),
        )
        for span in found.by_week
        if span.median is not None
    )
    drawing = charts.days_by_week("Days from opening to hand over, by week", found.by_week)
    return Chart(title="Days to hand over", sentence=sentence, drawing=drawing, is_by_time=True, listed=listed)


def _waits(found: Insight) -> Chart:
    bars = [
        charts.Bar(
            one.waits_for,
            board(waiting=one.waits_for),
            int(one.days),
            int(one.days),
            f"{int(one.days) or 'under 1'} d, {in_number(one.jobs, 'job')}",
        )
        for one in found.waits
    ]
    days = int(sum(bar.whole for bar in bars))  # as they are told, so that they add up
    sentence = "No job is open."
    if bars and not days:
        sentence = "No open jobs have waited for a whole day together."
    elif bars:
        first = found.waits[0]
        who = "no one in particular" if first.waits_for == NOBODY else f"the {first.waits_for}"
        sentence = f"Open jobs have been in their state for {in_number(days, 'day')} together, "
        sentence += f"{int(first.days)} of them waiting for {who}. Whole days only."
    return _of_bars("Where days go", sentence, "Days by whom jobs wait for", bars)


def _forecasts(found: Insight) -> Chart:
    score = found.score
    sentence = "No forecast of a propeller was put to the test yet."
    if score.forecasts:
        sentence = f"{score.held} of {in_number(score.forecasts, 'forecast')} held; 19 of 20 should."
        if score.is_too_narrow:
            sentence += " So few seldom hold by chance: the forecasts are too narrow."
        elif not score.is_judged:
            sentence += " Too few to judge the forecasts by."
        sentence += " A line from end to end of what was foreseen, in rev/min; a square where the propeller turned "
        sentence += "outside it."
    drawing, narrow = _wide_and_narrow(
        charts.forecasts, "Engine speeds foreseen and reached [rev/min]", found.forecasts
    )
    shown = found.forecasts[-charts.MOST_FORECASTS :]
    return Chart(
        title="Propellers, foreseen and reached",
        sentence=sentence,
        drawing=drawing if found.forecasts else Markup(""),
        narrow=narrow if found.forecasts else None,
        listed=tuple(Entry(charts.dot_in_words(dot, "rev/min"), f"/boats/{dot.hull}") for dot in shown),
    )


def _wide_and_narrow(draw: Callable[..., Markup], *of: object) -> tuple[Markup, Markup]:
    """A drawing for a desk, and the same as narrow as a phone: what is beside the screen is not seen."""
    return draw(*of), draw(*of, width=charts.NARROW)


def _spread(found: Spread) -> Chart:
    unit = UNITS[found.what]
    if not found.boats:
        sentence = "No boat has this number yet."
    elif found.middle is None or found.low is None or found.high is None:
        sentence = f"{in_number(found.boats, 'boat')} so far: too few for a usual range."
    else:
        sentence = (
            f"Of {found.boats} boats, 8 in 10 lie from {charts.in_digits(found.low)} to "
            f"{charts.with_unit(charts.in_digits(found.high), unit)}; the median is "
            f"{charts.in_digits(found.middle)}."
        )
    if found.outside:
        are = "lies" if found.outside == 1 else "lie"
        sentence += f" {found.outside} {are} outside what the check takes for usual, drawn as squares."
    if len(found.dots) < found.boats:
        sentence += f" Drawn are {len(found.dots)}, the newest and what is unusual first."
    drawing, narrow = _wide_and_narrow(charts.strip, f"{TITLES[found.what]}, a dot a boat", found, unit)
    listed = tuple(Entry(charts.dot_in_words(dot, unit), f"/boats/{dot.hull}") for dot in found.dots)
    title, is_any = TITLES[found.what], found.boats > 0
    return Chart(
        title=title,
        sentence=sentence,
        drawing=drawing if is_any else Markup(""),
        narrow=narrow if is_any else None,
        listed=listed,
    )
