"""Words to take with one press: what a field offers, what the shop lists, what was entered before on this tablet."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import TYPE_CHECKING

import attrs

from garboard.fields import IN_A_MONTH, IN_A_YEAR, PEOPLE, TODAY
from garboard.records import is_equipment
from garboard.steps import Kind, Step
from garboard_tablet.models.asks import Ask, pieces, table_rows

if TYPE_CHECKING:
    from garboard.job_view import JobView
    from garboard.records import JsonValue
    from garboard_tablet.models.tablet import Tablet

MOST_OFFERED = 20
LONGEST_WORD = 40
"""What is longer is a remark, and of one boat."""
_MONTH, _YEAR = 31, 365


def with_offers(tablet: Tablet, ask: Ask, step: Step | None, view: JobView) -> Ask:
    """The ask with everything there is to take for it. What names a row is not offered again once a row has it."""
    if step is None or ask.field.kind is not Kind.TEXT:
        return ask
    named = _names_a_row(ask, step)
    words = [*_from_elsewhere(tablet, ask, view), *ask.field.offers]
    words += tablet.settings.words_of(_key(ask)) if named or ask.field.offers else ()
    taken = {value.casefold() for value in _taken(ask, step, view)} if named else set()
    once = {word.casefold(): word for word in reversed(words) if word and word.casefold() not in taken}
    return attrs.evolve(ask, field=attrs.evolve(ask.field, offers=tuple(reversed(once.values()))[:MOST_OFFERED]))


def keep_word(tablet: Tablet, ask: Ask, step: Step | None, value: JsonValue) -> None:
    """Remember what was entered, where it is offered the next time."""
    if step is None or ask.field.kind is not Kind.TEXT or not isinstance(value, str) or len(value) > LONGEST_WORD:
        return
    declared = next((one for one in step.all_fields() if one.name == ask.field.name), ask.field)
    if (_names_a_row(ask, step) or declared.offers) and value not in declared.offers:
        tablet.change_settings(tablet.settings.with_word(_key(ask), value))


def _key(ask: Ask) -> str:
    return f"{ask.place[0]}/{ask.place[1]}"


def _names_a_row(ask: Ask, step: Step) -> bool:
    """Whether it is the first column of a table that grows: the rows are called by it."""
    tables = (field for field in step.fields if field.kind is Kind.TABLE and not field.each)
    return any(table.columns[0].name == ask.field.name and not ask.field.pattern for table in tables)


def _taken(ask: Ask, step: Step, view: JobView) -> Iterator[str]:
    table = next(field for field in step.fields if ask.field.name in {column.name for column in field.columns})
    for row in table_rows(step, table, view):
        value = view.value(step.key, ask.field.name, row=row)
        if row != ask.row and isinstance(value, str):
            yield value


def _from_elsewhere(tablet: Tablet, ask: Ask, view: JobView) -> Iterator[str]:
    for source in ask.field.offers_from:
        if source == TODAY:
            yield date.today().isoformat()
        elif source == IN_A_MONTH:
            yield (date.today() + timedelta(days=_MONTH)).isoformat()
        elif source == IN_A_YEAR:
            yield (date.today() + timedelta(days=_YEAR)).isoformat()
        elif source == PEOPLE:
            yield from filter(None, (tablet.settings.working, view.job.owner))
        elif is_equipment(source) and source not in view.settings:
            yield from pieces(view.vessel, source)
        elif isinstance(listed := view.settings.get(source), str):
            yield from (word.strip() for word in listed.split(";"))
