"""What is typed and not yet saved: where it is kept, and how it is said back."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from garboard.steps import Kind
from garboard.units import Amount
from garboard_tablet.models.asks import asks_of_step, shown

if TYPE_CHECKING:
    from garboard.records import JsonValue
    from garboard.steps import Field, Step
    from garboard_tablet.models.asks import Ask
    from garboard_tablet.models.session import Route
    from garboard_tablet.models.tablet import Tablet

NOT_SAVED = "typed, not saved"


def draft_key(hull: str, job: str, ask: Ask) -> str:
    """What is typed is kept under this. A vessel's field is one for all its jobs."""
    return "/".join((hull, "" if ask.key.kind == "field" else job, ask.key.kind, *ask.key.subject))


def unit_key(key: str) -> str:
    """A unit chosen and not yet saved is kept under this."""
    return f"{key} unit"


def opening_unit(tablet: Tablet, field: Field, saved: JsonValue) -> str:
    """The unit before one is chosen: that of the saved value, else the one this tablet offers first."""
    if field.kind is Kind.AMOUNT and isinstance(saved, str):
        return Amount.parse(saved).unit
    return tablet.settings.unit_for(field)


def draft_of(tablet: Tablet, hull: str, job: str, ask: Ask) -> str:
    """What is typed for a value and not saved, with its unit; "" where nothing is, or it says what is saved."""
    key = draft_key(hull, job, ask)
    typed = tablet.session.typed.get(key, "").strip()
    if not typed:
        return ""
    saved = tablet.value(hull, job, ask)
    if ask.field.kind is Kind.AMOUNT:
        typed = f"{typed} {tablet.session.typed.get(unit_key(key)) or opening_unit(tablet, ask.field, saved)}"
    return "" if typed == shown(saved) else typed


def drafts(tablet: Tablet, route: Route, asks: Iterable[Ask]) -> list[tuple[Ask, str]]:
    """Those of the values asked for that are typed and not saved, each with what is typed."""
    if not tablet.session.typed:
        return []
    found = [(ask, draft_of(tablet, route.hull, route.job, ask)) for ask in asks]
    return [(ask, typed) for ask, typed in found if typed]


def drafts_in_step(tablet: Tablet, route: Route, step: Step) -> list[tuple[Ask, str]]:
    """Values of a step that are typed and not saved, those of a further row of its tables too."""
    if not tablet.session.typed:
        return []
    tables = tuple(field.name for field in step.fields if field.kind is Kind.TABLE)
    return drafts(tablet, route, asks_of_step(step, tablet.view(route.hull, route.job), open_tables=tables, aside=True))
