"""The book's page on what was tried aboard and what the owner was shown."""

from __future__ import annotations

from collections.abc import Sequence

from garboard.faults import in_number
from garboard.findings import Number, Verdict
from garboard.job_view import JobView
from garboard.owner_pages import BEFORE_YOU_GO, CARE
from garboard.steps import YOUR_BOAT, Assessed, Block, ReportSection
from garboard_handover import steps
from garboard_handover.calculators import named_in


def _walk_through(_view: JobView, assessed: Sequence[Assessed]) -> Sequence[Block]:
    """How many of the systems that are fitted were tried and in order, and which were not."""
    own = [one for one in assessed if one.step.startswith("handover.") and one.step != steps.OWNER_BRIEFING]
    systems: dict[str, list[Verdict]] = {}
    for one in own:
        if one.calculator.endswith(".check"):
            systems.setdefault(one.title, []).append(one.finding.verdict)
    begun = any(verdict is not Verdict.NOT_ENOUGH_DATA for found in systems.values() for verdict in found)
    figures = [one.finding for one in own if one.finding.figures]
    if not begun:
        return tuple(figures)
    in_order = [title for title, found in systems.items() if set(found) == {Verdict.PASS}]
    to_try = [title for title, found in systems.items() if set(found) == {Verdict.NOT_ENOUGH_DATA}]
    wrong = [
        one.finding
        for one in own
        if one.title in systems and one.finding.verdict not in (Verdict.PASS, Verdict.NOT_ENOUGH_DATA)
    ]
    told = (("In order", in_order), ("Not tried yet", to_try))
    return (
        Number(
            "tried and in order",
            len(in_order),
            f"of {in_number(len(systems), 'system')} of the walk-through",
            decimals=0,
        ),
        *(f"{words}: {'; '.join(titles)}." for words, titles in told if titles),
        *wrong,
        *figures,
    )


def _starts_by_itself(view: JobView, _assessed: Sequence[Assessed]) -> Sequence[Block]:
    """Pumps that were seen to start with the batteries switched off."""
    named = [
        named_in(view, steps.BILGE_PUMPS, "pump", row)
        for row in view.rows(steps.BILGE_PUMPS, "pump")
        if view.value(steps.BILGE_PUMPS, "by_float", row=row) is True
    ]
    told = ", ".join(dict.fromkeys(filter(None, named)))
    return (f"Bilge pumps that start by themselves, also with the battery switches off: {told}.",) if told else ()


def _put_right(view: JobView, _assessed: Sequence[Assessed]) -> Sequence[Block]:
    """Faults that were found, put right and tried again: the owner may want to look there."""
    done = [
        named_in(view, steps.PUNCH_LIST, "fault", row)
        for row in view.rows(steps.PUNCH_LIST, "fault")
        if view.value(steps.PUNCH_LIST, "put_right", row=row) is True
        and str(view.value(steps.PUNCH_LIST, "retested_by", row=row) or "").strip()
    ]
    told = "; ".join(dict.fromkeys(filter(None, done)))
    return (f"Found by us, put right, and tried again: {told}.",) if told else ()


def _briefing(view: JobView, _assessed: Sequence[Assessed]) -> Sequence[Block]:
    rows = view.rows(steps.OWNER_BRIEFING, "topic")
    if not rows:
        return ()
    tried: dict[bool, list[str]] = {True: [], False: []}
    for row in rows:
        topic = named_in(view, steps.OWNER_BRIEFING, "topic", row)
        topics = tried[view.value(steps.OWNER_BRIEFING, "understood", row=row) is True]
        if topic and topic not in topics:
            topics.append(topic)
    has_manuals = view.value(steps.OWNER_BRIEFING, "manuals_handed_over") is True
    told = (
        f"{words} {'; '.join(topics)}."
        for words, topics in (
            ("Before you took the boat over you were shown these, and went through them yourself:", tried[True]),
            ("You have not gone through these yet; ask us to show you again:", tried[False]),
        )
        if topics
    )
    return (*told, *(["You were given the manuals."] if has_manuals else []))


SECTIONS = (
    ReportSection(key="handover.pumps", title=BEFORE_YOU_GO, order=95, part=YOUR_BOAT, build=_starts_by_itself),
    ReportSection(key="handover.put_right", title=CARE, order=915, part=YOUR_BOAT, build=_put_right),
    ReportSection(key="handover.walk_through", title="Walk-through: systems aboard", order=500, build=_walk_through),
    ReportSection(key="handover.briefing", title=CARE, order=920, part=YOUR_BOAT, build=_briefing),
)
