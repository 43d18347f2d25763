"""When the owner's boat is due for service, and how to break its engines in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from garboard.findings import NotEnoughData, Table, Verdict
from garboard.job_view import JobView
from garboard.owner_pages import CARE, Digits
from garboard.steps import YOUR_BOAT, Assessed, Block, ReportSection
from garboard_engine_trial.after import Service, break_in_plan, day_opened, services_of
from garboard_engine_trial.after_steps import AFTER

_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)


_TABLES = ("engine_trial.break_in", "engine_trial.calendar", "engine_trial.records")
"""Whose tables the owner gets as well: two are cards to cut out."""


def care(view: JobView, assessed: Sequence[Assessed]) -> Iterator[Block]:
    """The next service, the calendar with room to write in, the break-in plan, and what was filed."""
    if view.state_of(AFTER) == "not fitted":
        return
    try:
        services = services_of(view)
    except NotEnoughData:
        services = []
    opened = day_opened(view)
    if services:
        to_come = [one for one in services if one.day is None or one.day >= opened]
        first = min(to_come or services, key=lambda one: (one.day is None, one.day or opened, one.hours or 0.0))
        yield _next(first)
        rows = tuple((one.name, "" if one.hours is None else f"{one.hours:g}", _day(one), "", "") for one in services)
        yield Table("Service: whichever comes first", ("Service", "Engine hours", "Or on", "Done on", "By"), rows)
    try:
        plan = break_in_plan(view)
    except NotEnoughData:
        plan = ()
    if plan:
        yield Table("Breaking the engines in", ("Engine hours", "Load allowed"), plan)
    for one in assessed:
        if one.calculator in _TABLES and one.finding.verdict is not Verdict.NOT_ENOUGH_DATA:
            yield from one.finding.tables


def _next(first: Service) -> Digits:
    hours = f"or at {first.hours:g} engine hours" if first.hours is not None else ""
    if first.day is None:
        return Digits(f"{first.hours:g}\u00a0h", "engine hours: next service", (first.name,))
    lines = tuple(filter(None, (first.name, f"{hours}, whichever comes first" if hours else "")))
    return Digits(_day(first), "next service", lines)


def _day(one: Service) -> str:
    return "" if one.day is None else f"{one.day.day} {_MONTHS[one.day.month - 1]} {one.day.year}"


SECTIONS = (
    ReportSection(key="engine_trial.care", title=CARE, order=900, part=YOUR_BOAT, build=lambda v, a: [*care(v, a)]),
)
