"""After the trial: the break-in plan by hours, the service calendar, and who filed what when."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import pairwise

import attrs

from garboard.faults import in_number
from garboard.fields import FAR_AHEAD
from garboard.findings import (
    Finding,
    Lack,
    Missing,
    NotEnoughData,
    Number,
    Table,
    Verdict,
    in_full,
    not_enough_data,
    row_in_words,
)
from garboard.job_view import JobView, nothing_at
from garboard.record_types import frozen
from garboard.steps import Calculator
from garboard.units import day_in_words
from garboard_engine_trial.after_steps import AFTER
from garboard_engine_trial.bases import MAKER, practice
from garboard_engine_trial.points import day_opened, is_entered, is_left_out, long_ago, row_name, rows_of
from garboard_engine_trial.settings import FIRST_CHECK
from garboard_engine_trial.steps import table_of

EARLIEST = 2020
"""A tablet whose clock says an earlier year was never set: it judges no day [year]."""
LATEST_FIRST_CHECK = 183
"""A first check on a later day is asked about [days]: a boat in use runs its first hours within months. Common
practice, no source."""
FIRST_SERVICE = practice("a new engine is checked after its first hours", "the engine maker's manual decides")
FILED = practice("warranty and registration are filed by the shop or the owner, and it is noted who did")
COMPLETE = "engine_trial.calendar.complete"
RUN_IN, STILL_RUNNING_IN = "engine_trial.break_in.run", "engine_trial.break_in.band"
BREAK_IN, SERVICES, RECORDS = (table_of(AFTER, name) for name in ("break_in", "services", "records"))


@frozen
class Band:
    """One band of a break-in plan: what load is allowed until so many engine hours [h]."""

    load: str
    until: float


def band_at(bands: list[Band], hours: float) -> Band | None:
    """The band an engine is in after so many hours [h]; None once the plan is run.

    >>> band_at([Band("slow", 1.0), Band("half", 3.0)], 1.0)
    Band(load='half', until=3.0)
    """
    return next((band for band in bands if hours < band.until), None)


def _plan(view: JobView) -> list[Band]:
    """The bands, in order of their rows. Raises NotEnoughData for one that is incomplete, or ends before the last."""
    asking = view.asking()
    rows = rows_of(view, AFTER, BREAK_IN)
    bands = [Band(asking.choice(AFTER, "band", row=row), asking.amount(AFTER, "until", "h", row=row)) for row in rows]
    for row, (before, after) in zip(rows[1:], pairwise(bands), strict=True):
        asking.need(
            not after.until <= before.until,
            f"break-in plan, {row_in_words(row)}: it ends no later than the row before; correct one",
            lack=Lack.CONTRADICTS,
            step=AFTER,
            field="until",
            row=row,
        )
    asking.check()
    return bands


def break_in_plan(view: JobView) -> tuple[tuple[str, str], ...]:
    """Engine hours and the load allowed, band by band. Raises NotEnoughData."""
    bands = _plan(view)
    ends = [0.0, *(band.until for band in bands)]
    return tuple(
        (f"{in_full(begin)} to {in_full(band.until)}", band.load) for begin, band in zip(ends, bands, strict=False)
    )


def _break_in(view: JobView) -> Iterator[Finding]:
    if view.state_of(AFTER) == "not fitted" or not rows_of(view, AFTER, BREAK_IN):
        return
    bands = _plan(view)
    plan = Table("Break-in plan", ("Engine hours [h]", "Load allowed"), break_in_plan(view), card=True)
    tables: tuple[Table, ...] = (plan,)
    for engine in view.vessel.engines:
        if engine.hours is None:
            text = "hours are not entered"
            lacking = Missing(text, lack=Lack.NOT_ENTERED, field="engines.hours", of=engine.position)
            yield not_enough_data(f"{engine.position} engine", (lacking,), (MAKER,))
            continue
        hours = engine.hours.to("h")
        band = band_at(bands, hours)
        yield Finding(
            code=RUN_IN if band is None else STILL_RUNNING_IN,
            verdict=Verdict.PASS,
            about=f"{engine.position} engine",
            sentence=(
                f"The break-in plan is run at {in_full(hours)} h."
                if band is None
                else f"At {in_full(hours)} h: {band.load}, until {in_full(band.until)} h."
            ),
            basis=(MAKER,),
            numbers=(Number("engine hours", hours, "h"),),
            tables=tables,
            of=engine.position,
        )
        tables = ()  # one plan holds for every engine, and stands once


@frozen
class Service:
    """A service with when it is due: at engine hours [h], on a day, or both."""

    name: str
    hours: float | None
    day: date | None

    @property
    def day_in_words(self) -> str:
        """ "15 June 2026"; "" for none."""
        return "" if self.day is None else day_in_words(self.day)


def services_of(view: JobView) -> list[Service]:
    """What is due, by hours. Raises NotEnoughData."""
    missing: list[Missing] = []
    found = []
    for row in rows_of(view, AFTER, SERVICES):
        name = row_name(view, AFTER, SERVICES, row)
        missing += [
            nothing_at(view, AFTER, field, row=row)
            for field in ("service", "due_hours")
            if view.in_dispute(AFTER, field, row=row)
        ]
        hours = view.amount(AFTER, "due_hours", "h", row=row)
        day = _day(view, "due_date", row, name, missing)
        if not is_entered(view, AFTER, "due_hours", "due_date", row=row):
            place = nothing_at(view, AFTER, "due_hours", row=row)
            missing.append(attrs.evolve(place, text=f"{name}: when it is due is not entered, as hours or as a day"))
        found.append(Service(name, hours, day))
    if not found:
        text = "no service is entered; take the first check and the yearly one from the maker's manual"
        missing.append(Missing(text, lack=Lack.NOT_ENTERED, step=AFTER, field="service", row="1"))
    if missing:
        raise NotEnoughData(*missing)
    return sorted(found, key=lambda one: (one.hours is None, one.hours or 0.0, one.day or date.max))


def _day(view: JobView, field: str, row: str, name: str, missing: list[Missing]) -> date | None:
    """The day in a field; None where it is empty. What is no day is added to what is missing."""
    said = view.value(AFTER, field, row=row)
    if view.in_dispute(AFTER, field, row=row):
        missing.append(nothing_at(view, AFTER, field, row=row))
        return None
    if said is None:
        return None
    try:
        return date.fromisoformat(str(said).strip())
    except ValueError:
        text = f"{name}: {str(said)[:40]!r} is no day; write it as 2027-05-01"
        missing.append(Missing(text, lack=Lack.UNREADABLE, step=AFTER, field=field, row=row))
        return None


def _calendar(view: JobView) -> Iterator[Finding]:
    if is_left_out(view, AFTER):
        return
    services = services_of(view)
    code, sentence = _of_calendar(view, services)
    yield Finding(
        code=code,
        verdict=Verdict.PASS if code == COMPLETE else Verdict.ADVISE,
        about="Service calendar",
        sentence=sentence,
        basis=(FIRST_SERVICE, MAKER),
        tables=(
            Table(
                "Service calendar",
                ("Service", "At engine hours [h]", "Or on"),
                tuple(
                    (one.name, "" if one.hours is None else in_full(one.hours), one.day_in_words) for one in services
                ),
            ),
        ),
    )


def _of_calendar(view: JobView, services: Sequence[Service]) -> tuple[str, str]:
    """What is wrong with the services that are due, or that nothing is: its code and a sentence."""
    hours, run = view.setting_value(FIRST_CHECK, "h"), hours_run(view)
    is_early = run > hours or any(one.hours is not None and one.hours <= hours for one in services)
    passed = [one.name for one in services if one.day is not None and one.day < day_opened(view)]
    run_past = [one.name for one in services if one.hours is not None and one.hours < run]
    late = [one for one in services if _is_late(one, hours, day_opened(view))]
    far = [one for one in services if one.day is not None and _years_ahead(view, one.day)]
    early = [after for before, after in pairwise(services) if before.day and after.day and after.day < before.day]
    if passed or run_past:
        by_day = f"Due before this job was opened: {', '.join(passed)}. Correct the day." if passed else ""
        by_hours = (
            f"Due already, at {in_full(run)} engine hours: {', '.join(run_past)}. Do it now, or correct the hours."
        )
        told = " ".join(filter(None, (by_day, by_hours if run_past else "")))
        return "engine_trial.calendar.in_the_past", told
    if far:  # first: a slip in one year puts the days of others out of order
        told = f"Due years after this job was opened: {', '.join(map(_on_its_day, far))}. Is the year right?"
        return "engine_trial.calendar.year_in_doubt", told
    if early:
        told = f"Due at more hours, but on an earlier day: {', '.join(map(_on_its_day, early))}. Correct one."
        return "engine_trial.calendar.out_of_order", told
    if late:
        told = (
            f"A first check within {in_full(hours)} engine hours, but more than half a year away: "
            f"{', '.join(map(_on_its_day, late))}. See the maker's manual, and correct the day."
        )
        return "engine_trial.calendar.first_check_late", told
    if not is_early:
        told = f"No check is due by {in_full(hours)} engine hours. See the maker's manual, and add the first one."
        return "engine_trial.calendar.no_first_check", told
    due = "it is" if len(services) == 1 else "they are"
    return COMPLETE, f"{in_number(len(services), 'service')} with when {due} due."


def _is_late(one: Service, hours: float, opened: date) -> bool:
    """Whether it is a first check that a boat in use would reach by its hours long before its day."""
    is_first = one.hours is not None and one.hours <= hours
    return is_first and one.day is not None and opened > date.min and (one.day - opened).days > LATEST_FIRST_CHECK


def _years_ahead(view: JobView, day: date) -> bool:
    """Whether a day lies further ahead of the job than any service is planned."""
    opened = day_opened(view)
    return opened > date.min and day - opened > FAR_AHEAD


def _on_its_day(one: Service) -> str:
    return f"{one.name}, {one.day_in_words}"


def hours_run(view: JobView) -> float:
    """Hours that every engine has run [h]; 0 where those of one are not known, as it may be new."""
    return min((0.0 if one.hours is None else one.hours.to("h") for one in view.vessel.engines), default=0.0)


def _not_yet(view: JobView, day: date | None, row: str, name: str) -> tuple[Missing, ...]:
    """What is said to be filed on a day to come when it was entered. One day more is let pass: time zones."""
    entered = view.find(AFTER, "filed_on", row=row)
    try:
        on = date.fromisoformat(entered.at[:10]) if entered else date.max
    except ValueError:
        return ()
    if day is None or on.year < EARLIEST or day <= on or (day - on).days <= 1:
        return ()
    days = f"filed on {day_in_words(day)}, and entered on {day_in_words(on)}, before"
    text = f"{name}: {days}; correct the day, or the tablet's clock"
    return (Missing(text, lack=Lack.CONTRADICTS, step=AFTER, field="filed_on", row=row),)


def _records(view: JobView) -> Iterator[Finding]:
    if is_left_out(view, AFTER):
        return
    asking = view.asking()
    missing: list[Missing] = []
    rows = rows_of(view, AFTER, RECORDS)
    asking.need(
        bool(rows),
        "no record of warranty or registration is entered",
        lack=Lack.NOT_ENTERED,
        step=AFTER,
        field="record",
        row="1",
    )
    filed, doubted = [], []
    for row in rows:
        what = asking.choice(AFTER, "record", row=row)
        by, _ = asking.choice(AFTER, "filed_by", row=row), asking.choice(AFTER, "filed_on", row=row)
        day = _day(view, "filed_on", row, what, missing)
        missing += _not_yet(view, day, row, what)
        on = "" if day is None else day_in_words(day)
        doubted += [f"{what}, {on}"] if day is not None and long_ago(view, day) else []
        filed.append((what, by, on, str(view.value(AFTER, "reference", row=row) or "")))
    asking.missing += [one for one in missing if one.lack is not Lack.DISAGREES]
    asking.check()
    told = f"{in_number(len(filed), 'record')} filed."
    if doubted:
        told += f" Years before this job was opened: {'; '.join(doubted)}. Is the year right?"
    yield Finding(
        code="engine_trial.records.year_in_doubt" if doubted else "engine_trial.records.filed",
        verdict=Verdict.ADVISE if doubted else Verdict.PASS,
        about="Warranty and registration",
        sentence=told,
        basis=(FILED,),
        tables=(_filed(filed),),
    )


def _filed(rows: Sequence[tuple[str, ...]]) -> Table:
    """What was filed; a column for references only where one is entered."""
    heads = ("What", "By", "On", "Reference")
    columns = len(heads) if any(row[-1] for row in rows) else len(heads) - 1
    return Table("Filed for the owner", heads[:columns], tuple(row[:columns] for row in rows))


CALCULATORS = (
    Calculator(
        key="engine_trial.break_in", title="Break-in plan", step=AFTER, order=200, compute=_break_in, basis=(MAKER,)
    ),
    Calculator(
        key="engine_trial.calendar",
        title="Service calendar",
        step=AFTER,
        order=300,
        compute=_calendar,
        basis=(FIRST_SERVICE, MAKER),
    ),
    Calculator(
        key="engine_trial.records",
        title="Warranty and registration",
        step=AFTER,
        order=400,
        compute=_records,
        basis=(FILED,),
    ),
)
