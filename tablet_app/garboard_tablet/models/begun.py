"""What a row takes over as it is begun: the propeller now fitted, the load of the day."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

from garboard.fittings import value_to_begin
from garboard.records import JsonValue
from garboard.steps import Field, Kind, Step
from garboard_tablet.models.asks import pieces, table_rows

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard.job_view import FieldKey, JobView


def begun_with(
    step_of: Callable[[str], Step | None], view: JobView, entries: Sequence[Entry]
) -> Iterator[tuple[FieldKey, JsonValue]]:
    """Values that go with entries: of each row that has none yet, and of a recording that comes to count."""
    written = {entry.subject for entry in entries if entry.kind == "measure"}
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
            yield from _values(view, column, key, row, written)


def _table_of(step: Step, field: str) -> Field | None:
    tables = (one for one in step.fields if one.kind is Kind.TABLE)
    return next((table for table in tables if any(column.name == field for column in table.columns)), None)


def _values(
    view: JobView, field: Field, step: str, row: str, written: set[tuple[str, ...]]
) -> Iterator[tuple[FieldKey, JsonValue]]:
    if not field.begins:
        return
    for of in pieces(view.vessel, field.each) if field.each else ("",):
        place = (step, field.name, row, of)
        value = value_to_begin(view, field, step, of)
        if value is not None and place not in written:
            yield place, value
