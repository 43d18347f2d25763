"""When the owner's boat is due for service, and how to break its engines in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from garboard.findings import NotEnoughData, Table, Verdict, in_full
from garboard.job_view import JobView
from garboard.owner_pages import CARE, HELM, Digits, card_of
from garboard.steps import YOUR_BOAT, Assessed, Block, ReportSection
from garboard_engine_trial.after import RUN_IN, STILL_RUNNING_IN, Service, hours_run, services_of
from garboard_engine_trial.after_steps import AFTER
from garboard_engine_trial.fit_out_steps import LAW
from garboard_engine_trial.points import day_opened

_TABLES = ("engine_trial.break_in", "engine_trial.records")
"""Whose tables the owner gets as well; the break-in plan is a card to cut out."""


def care(view: JobView, assessed: Sequence[Assessed]) -> Iterator[Block]:
    """The next service, the calendar with room to write in, and what was filed. The break-in plan is a card."""
    if view.state_of(AFTER) == "not fitted":
        return
    try:
        services = services_of(view)
    except NotEnoughData:
        services = []
    opened, run = day_opened(view), hours_run(view)
    if services:
        to_come = [one for one in services if not _is_past(one, opened, run)]
        first = min(to_come or services, key=lambda one: (one.day is None, one.day or opened, one.hours or 0.0))
        yield _next(first, is_past=not to_come)
        rows = tuple(
            (one.name, "" if one.hours is None else in_full(one.hours), one.day_in_words, "", "") for one in services
        )
        yield Table("Service: whichever comes first", ("Service", "Engine hours", "Or on", "Done on", "By"), rows)
    codes = {one.finding.code for one in assessed if one.calculator in _TABLES}
    is_run_in = RUN_IN in codes and STILL_RUNNING_IN not in codes
    tables = [
        table
        for one in assessed
        if one.calculator in _TABLES and one.finding.verdict is not Verdict.NOT_ENOUGH_DATA
        if not (is_run_in and one.finding.code == RUN_IN)
        for table in one.finding.tables
    ]
    if plan := next((table.title for table in tables if table.card), ""):
        yield f"New engines are broken in by a plan: see the card {card_of(plan)}."
    yield from tables


def _is_past(one: Service, opened: date, run: float) -> bool:
    """Whether a service was due before the job was opened, by its day or by the hours run [h]."""
    return (one.day is not None and one.day < opened) or (one.hours is not None and one.hours < run)


def _next(first: Service, is_past: bool) -> Digits:
    """What is due first, by hours and by day: nobody knows which comes first."""
    due = [f"{in_full(first.hours)}\u00a0h"] if first.hours is not None else []
    due += [first.day_in_words] if first.day is not None else []
    of_hours = ("by the engines' hour meters",) if first.hours is not None else ()
    name = "next service, whichever comes first" if len(due) > 1 else "next service"
    if is_past:
        name = "was due before this work began"
    return Digits(" or ".join(due), name, (first.name, *of_hours))


def capacity(view: JobView, _assessed: Sequence[Assessed]) -> Iterator[Block]:
    """What the capacity label allows, as it was read."""
    persons = view.value(LAW, "label_persons")
    of_persons, whole = (view.value(LAW, field) for field in ("label_persons_weight", "label_weight"))
    if isinstance(persons, int):
        people = f"{persons} {'person' if persons == 1 else 'people'}"
        weight = f" or {of_persons}" if isinstance(of_persons, str) else ""
        in_all = f"; people, motors and gear {whole}" if isinstance(whole, str) else ""
        yield f"The capacity label allows {people}{weight}{in_all}."


SECTIONS = (
    ReportSection(
        key="engine_trial.capacity", title=HELM, order=250, part=YOUR_BOAT, build=lambda v, a: [*capacity(v, a)]
    ),
    ReportSection(key="engine_trial.care", title=CARE, order=900, part=YOUR_BOAT, build=lambda v, a: [*care(v, a)]),
)
