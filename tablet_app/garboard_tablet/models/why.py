"""Why a finding came out as it did: its numbers with their limits, what is missing, and where the next fail is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import attrs

from garboard.findings import Finding, Limit, Missing, Number, Table, Verdict, end_beside
from garboard.records import is_equipment, is_own_kind
from garboard.steps import Assessed
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import pieces
from garboard_tablet.models.pages import ranked, why_subject
from garboard_tablet.models.session import Route
from garboard_tablet.models.step_page import headline
from garboard_tablet.models.tablet import Tablet


def limit_words(number: Number, limit: Limit) -> str:
    """A limit as people say it.

    >>> drop = Number("drop", 4.1, "%")
    >>> [limit_words(drop, limit) for limit in (Limit("drop", high=3.0), Limit("drop", low=1.5), Limit("drop", 1, 3))]
    ['at most 3 %', 'at least 1.5 %', '1 to 3 %']
    """
    low, high = (None if end is None else end_beside(number, end) for end in (limit.low, limit.high))
    said = (
        phrase("{low} to {high}", low=low, high=high)
        if low and high
        else phrase("at most {high}", high=high)
        if high
        else phrase("at least {low}", low=low)
    )
    return f"{said} {number.unit}".rstrip()


def numbers_table(finding: Finding) -> Table | None:
    """Every number of a finding with what it is held against; None where the card above says them all."""
    limits: dict[str, list[str]] = {}
    for number, limit in finding.bounded:
        limits.setdefault(number.name, []).append(limit_words(number, limit))
    rows = [(_begun(number.name), str(number), ", ".join(limits.get(number.name, ()))) for number in finding.numbers]
    if not rows or (len(rows) == 1 and headline(finding) is not None):
        return None
    if not limits:
        return Table("Numbers", ("Number", "Value"), tuple(row[:2] for row in rows))
    return Table("Numbers", ("Number", "Value", "Allowed"), tuple(rows))


def _begun(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


@attrs.frozen(kw_only=True)
class StillMissing:
    """One thing a finding lacks, and where it is entered; None where it is no one place."""

    text: str
    target: Route | None


def still_missing(tablet: Tablet, route: Route, finding: Finding) -> list[StillMissing]:
    """What keeps a finding from a result."""
    return [StillMissing(text=_begun(one.text), target=_where(tablet, route, one)) for one in finding.missing]


def _where(tablet: Tablet, route: Route, one: Missing) -> Route | None:
    step = tablet.step(one.step)
    if step is not None and any(field.name == one.field for field in step.all_fields()):
        if one.row or not any(one.field == column.name for field in step.fields for column in field.columns):
            return route.to("entry", "measure", one.step, one.field, one.row, one.of, step=one.step)
        return route.to("step", step=one.step)
    vessel = tablet.view(route.hull, route.job).vessel
    if one.field in tablet.host.equipment:  # none of it is entered
        return route.to("kind", one.field)
    own = one.field.rpartition(".")[0]
    kind = own if is_own_kind(own) else one.field.partition(".")[0]
    if is_equipment(kind):
        return route.to("piece", kind, one.of) if one.of in pieces(vessel, kind) else route.to("kind", kind)
    return route.to("piece") if one.field and hasattr(vessel, one.field) else None


def fails_after(
    tablet: Tablet, route: Route, here: Assessed | None, found: Sequence[Assessed], of_job: Sequence[Assessed]
) -> Iterator[tuple[str, Route]]:
    """Fails that follow one: in its step, then in the other steps, in their order. Each with what it is about.

    found  : of the step, as the page has it
    of_job : of the whole job, as last known
    """
    at = found.index(here) if here in found else -1
    for number, one in enumerate(found):
        if number > at and one.finding.verdict is Verdict.FAIL:
            yield one.finding.about, route.to("why", *why_subject(number, one))
    keys = [step.key for step in tablet.host.steps]
    first = keys.index(route.step) if route.step in keys else 0
    for key in (*keys[first + 1 :], *keys[:first]):
        for number, one in enumerate(ranked(tablet, [other for other in of_job if other.step == key])):
            if one.finding.verdict is Verdict.FAIL:
                yield one.finding.about, route.to("why", *why_subject(number, one), step=key)
