"""The book's page on breaking the engines in, their service, and what was filed for the owner."""

from __future__ import annotations

from collections.abc import Sequence

from garboard.findings import Table, Verdict
from garboard.job_view import JobView
from garboard.steps import Assessed, Block, ReportSection

_IN_THE_BOOK = ("engine_trial.break_in", "engine_trial.calendar", "engine_trial.records")


def _service(_view: JobView, assessed: Sequence[Assessed]) -> Sequence[Block]:
    tables: dict[str, Table] = {}
    for key in _IN_THE_BOOK:
        for one in assessed:
            if one.calculator == key and one.finding.verdict is not Verdict.NOT_ENOUGH_DATA:
                tables |= {table.title: table for table in one.finding.tables}
    return tuple(tables.values())


SECTIONS = (ReportSection(key="engine_trial.service", title="Engines, rigging and service", order=480, build=_service),)
