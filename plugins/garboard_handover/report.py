"""The book's page on what was tried aboard and what the owner was shown."""

from __future__ import annotations

from collections.abc import Sequence

from garboard.findings import Table, Verdict
from garboard.host import Assessed
from garboard.job_view import JobView
from garboard.steps import Block, ReportSection
from garboard_handover import steps

_WORDS = {True: "yes", False: "no", None: "-"}


def _walk_through(view: JobView, assessed: Sequence[Assessed]) -> Sequence[Block]:
    done = [
        one
        for one in assessed
        if one.step.startswith("handover.") and one.finding.verdict is not Verdict.NOT_ENOUGH_DATA
    ]
    figures = [figure for one in done for figure in one.finding.figures]
    tried = [
        (one.title, one.finding.verdict.value, one.finding.sentence)
        for one in done
        if one.calculator.endswith(".check")
    ]
    if not tried and not figures:
        return ()
    return (
        "Each system aboard was tried once before the boat was signed over.",
        *([Table("Systems tried", ("System", "Verdict", "What was found"), tuple(tried))] if tried else []),
        *figures,
    )


def _briefing(view: JobView, _assessed: Sequence[Assessed]) -> Sequence[Block]:
    rows = view.rows(steps.OWNER_BRIEFING, "topic")
    if not rows:
        return ()
    topics = tuple(
        (
            str(view.value(steps.OWNER_BRIEFING, "topic", row=row)),
            _WORDS[view.value(steps.OWNER_BRIEFING, "understood", row=row) in (True,)],
        )
        for row in rows
    )
    return (
        "These were shown to you, and you tried them yourself, before you took the boat over.",
        Table("Shown and tried", ("Topic", "Tried by the owner"), topics),
    )


SECTIONS = (
    ReportSection(key="handover.walk_through", title="Systems tried", order=500, build=_walk_through),
    ReportSection(key="handover.briefing", title="What you were shown", order=510, build=_briefing),
)
