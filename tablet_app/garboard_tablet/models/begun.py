"""What a row takes over as it is begun: the propeller now fitted, the load of the day."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from garboard.fittings import value_to_begin
from garboard.history.values import member
from garboard.records import JsonValue
from garboard.steps import Field, Kind, Step
from garboard_tablet.models.asks import pieces, table_rows

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard.job_view import FieldKey, JobView


PROPELLERS = "propellers"
"""What the value of a recording says of them, by engine."""


def begun_with(
    step_of: Callable[[str], Step | None], view: JobView, entries: Sequence[Entry]
) -> Iterator[tuple[FieldKey, JsonValue]]:
    """Values that go with entries: of each row that has none yet, and of a recording that comes to count."""
    measured = [entry for entry in entries if entry.kind == "measure"]
    written = {entry.subject for entry in measured}
    of_recording = [propellers for entry in measured if isinstance(propellers := member(entry.value, PROPELLERS), dict)]
    known = of_recording[0] if of_recording else {}
    done: set[tuple[str, str, str]] = set()
    for key, field, row in sorted((step, field, row) for step, field, row, _ in written):
        step = step_of(key)
        table = _table_of(step, field) if step else None
        where = (key, "" if row else field, row)
        if step is None or where in done or (row and (table is None or row in table_rows(step, table, view))):
            continue
        done.add(where)
        columns = table.columns if table and row else [one for one in step.fields if field and one.of_run == field]
        for column in columns:
            yield from _values(view, column, (key, row), written, known)
        if table and table.each and not row:
            yield from _of_pieces(view, table, key, written)


def _of_pieces(
    view: JobView, table: Field, step: str, written: Collection[tuple[str, ...]]
) -> Iterator[tuple[FieldKey, JsonValue]]:
    """The same of a table that has a line for each piece of equipment: its line begins with its first value."""
    names = {column.name for column in table.columns}
    for of in dict.fromkeys(place[3] for place in written if place[0] == step and place[1] in names):
        if any((one.step, one.of) == (step, of) and one.field in names for one in view.measurements):
            continue
        for column in table.columns:
            place = (step, column.name, "", of)
            value = value_to_begin(view, column, step, of) if column.begins else None
            if value is not None and place not in written:
                yield place, value


def _table_of(step: Step, field: str) -> Field | None:
    tables = (one for one in step.fields if one.kind is Kind.TABLE)
    return next((table for table in tables if any(column.name == field for column in table.columns)), None)


def _values(
    view: JobView,
    field: Field,
    where: tuple[str, str],
    written: Collection[tuple[str, ...]],
    known: Mapping[str, JsonValue],
) -> Iterator[tuple[FieldKey, JsonValue]]:
    """known : the propellers a recording was made with, by engine, where it says so"""
    step, row = where
    if not field.begins:
        return
    for of in pieces(view.vessel, field.each) if field.each else ("",):
        place = (step, field.name, row, of)
        value = known.get(of) if field.begins == ("engines", "fitted") else None
        value = value or value_to_begin(view, field, step, of)
        if value is not None and place not in written:
            yield place, value
