"""Everything the tablet asks for, one value at a time: a step's fields, and the equipment's."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

import attrs

from garboard import records
from garboard.findings import is_numbered
from garboard.fittings import CAME_WITH, next_row
from garboard.history.registers import RegisterKey
from garboard.hosting.equipment import KIND_TITLES, Kinds
from garboard.job_view import FieldKey, JobView, place_of
from garboard.records import EQUIPMENT, JsonValue, Vessel, is_own_kind, unit_of
from garboard.steps import Field, Kind, Step
from garboard_tablet.language import phrase


@attrs.frozen(kw_only=True)
class Ask:
    """One value to enter.

    key     : the register it is kept in
    field   : what it takes
    context : what tells it from others with the same title ("port, row 2")
    table   : name of the table it belongs to, or ""
    """

    key: RegisterKey
    field: Field
    context: str = ""
    table: str = ""

    @property
    def row(self) -> str:
        return self.key.subject[2] if self.key.kind == "measure" else ""

    @property
    def place(self) -> FieldKey:
        """Where a measurement belongs: step, field, row, of."""
        step, field, row, of = self.key.subject
        return step, field, row, of

    @property
    def of(self) -> str:
        return self.key.subject[3] if self.key.kind == "measure" else ""

    @property
    def line(self) -> tuple[str, str, str]:
        """Asks of one line of a table share it; an ask outside tables has its own."""
        if not self.table:
            return (self.field.name, "", self.of)
        return (self.table, self.row, "" if self.row else self.of)


def pieces(vessel: Vessel, kind: str) -> tuple[str, ...]:
    """Names of the pieces of one kind of equipment the vessel has."""
    return tuple(vessel.of_kind(kind))


def asks_of_step(
    step: Step, view: JobView, *, open_tables: tuple[str, ...] = (), aside: bool = False
) -> tuple[Ask, ...]:
    """All values a step takes, in the order to enter them.

    open_tables : tables that offer a further row after those they have; an empty table always does
    aside       : also those nobody is led to
    """
    found: list[Ask] = []
    for field in step.fields:
        if field.kind is Kind.TABLE:
            found.extend(_asks_of_table(step, field, view, field.name in open_tables))
        else:
            found.extend(_asks_of_field(step, field, view, row=""))
    return tuple(ask for ask in found if aside or not ask.field.aside)


def table_rows(step: Step, table: Field, view: JobView) -> tuple[str, ...]:
    """Rows a table has, in the order they were first written."""
    columns = {column.name for column in table.columns}
    return tuple(dict.fromkeys(m.row for m in view.measurements if m.step == step.key and m.row and m.field in columns))


def next_row_ask(step: Step, table: Field, view: JobView) -> Ask | None:
    """The first value of a further row of a table; None where a row is offered already, or is a piece of equipment."""
    rows = table_rows(step, table, view)
    if table.each or not rows:
        return None
    row = next_row(rows)
    return next((ask for ask in _asks_of_table(step, table, view, True) if ask.row == row), None)


def missing_equipment(step: Step, vessel: Vessel) -> tuple[str, ...]:
    """Kinds of equipment a step asks about of which the vessel has none yet."""
    kinds = dict.fromkeys(field.each for field in step.all_fields() if field.each)
    return tuple(kind for kind in kinds if not pieces(vessel, kind))


def _asks_of_table(step: Step, table: Field, view: JobView, is_open: bool) -> Iterator[Ask]:
    if table.each:
        for piece in pieces(view.vessel, table.each):
            for column in table.columns:
                yield _ask(step, column, view, row="", of=piece, context=piece, table=table.name)
        return
    rows = table_rows(step, table, view)
    further = (next_row(rows),) if is_open or not rows else ()
    for row in (*rows, *further):
        named = row_name(step, table, view, row)
        for column in table.columns:
            yield from _asks_of_field(step, column, view, row=row, named=named, table=table.name)


def row_name(step: Step, table: Field, view: JobView, row: str) -> str:
    """What a person calls a row: by what its first column names ("Forward"), else by its number.

    A choice alone does not name a row, as two rows may have the same: it stands behind the number ("row 3, with").
    """
    first = next((column for column in table.columns if column.kind in (Kind.TEXT, Kind.CHOICE)), None)
    is_name = first is not None and first is table.columns[0] and not first.each
    value = view.value(step.key, first.name, row=row) if first is not None and is_name else None
    if not isinstance(value, str) or not value or first is None:
        return row_called(row)
    return value if first.kind is Kind.TEXT else f"{row_called(row)}, {value}"


def row_called(row: str) -> str:
    """A row by its number; one that a job file calls by a word, by that.

    >>> row_called("3"), row_called("aft")
    ('row 3', 'aft')
    """
    return phrase("row {row}", row=row) if is_numbered(row) else row


def _asks_of_field(
    step: Step, field: Field, view: JobView, *, row: str, named: str = "", table: str = ""
) -> Iterator[Ask]:
    if field.of_several and len(pieces(view.vessel, field.of_several)) < 2 and not _is_entered(view, step, field):
        return
    if not field.each:
        yield _ask(step, field, view, row=row, of="", context=named, table=table)
        return
    for piece in pieces(view.vessel, field.each):
        context = ", ".join(filter(None, (piece, named)))
        yield _ask(step, field, view, row=row, of=piece, context=context, table=table)


def _is_entered(view: JobView, step: Step, field: Field) -> bool:
    """Whether anything is entered in a field, in any row and of any piece."""
    places = (*map(place_of, view.measurements), *(one.place for one in view.disagreements))
    return any(place[:2] == (step.key, field.name) for place in places)


def _ask(step: Step, field: Field, view: JobView, *, row: str, of: str, context: str, table: str) -> Ask:
    key = RegisterKey("measure", "", (step.key, field.name, row, of))
    field = naming_propellers(field, view.vessel)
    usual = field.plausible_for(view.vessel, of) if field.plausible_for else None
    if usual:  # what is usual for this very piece: it is shown beside the pad, and what lies outside is asked again
        field = attrs.evolve(field, plausible=usual, plausible_for=None)
    return Ask(key=key, field=field, context=context, table=table)


def naming_propellers(field: Field, vessel: Vessel) -> Field:
    """A field that names a propeller, with those of the boat to choose from."""
    is_of_run = field.begins == ("engines", "fitted")
    if not is_of_run and (field.name, field.kind) != ("fitted", Kind.TEXT):
        return field
    return attrs.evolve(field, offers=(CAME_WITH, *pieces(vessel, "propellers")))


def before(asks: tuple[Ask, ...], ask: Ask) -> Iterator[Ask]:
    """Asks for the same thing earlier in the list, nearest first: what "same as before" would repeat."""
    place = next((i for i, other in enumerate(asks) if other.key == ask.key), 0)
    earlier = [other for other in asks[:place] if other.field.name == ask.field.name]
    same_piece = [other for other in earlier if other.of == ask.of and ask.row]
    return reversed(same_piece or earlier)


# Equipment


_RECORDS: Mapping[str, type[attrs.AttrsInstance]] = {
    "engines": records.Engine,
    "propellers": records.NamedPropeller,
    "tanks": records.Tank,
    "batteries": records.Battery,
    "circuits": records.Circuit,
    "heading_sensors": records.HeadingSensor,
    "networks": records.NetworkBus,
    "devices": records.NetworkDevice,
}


@lru_cache(maxsize=1)
def asks_of_vessel() -> tuple[Ask, ...]:
    """What is asked about the boat itself, without equipment."""
    return tuple(_asks_of_record(Vessel, (), "", leave_out=frozenset({"hull_number"})))


def asks_of_piece(path: tuple[str, ...], kinds: Kinds) -> tuple[Ask, ...]:
    """What is asked about one piece of equipment; nothing of a kind whose plugin is not at work.

    path  : kind and name ("engines", "port"), or a network's device ("networks", "main", "devices", "plotter")
    kinds : those that plugins declare
    """
    if not is_own_kind(path[0]):
        return _asks_of_piece(path)
    fields = kinds[path[0]].fields if path[0] in kinds else ()
    return tuple(
        Ask(
            key=RegisterKey("field", "", (*path, field.name)),
            field=attrs.evolve(field, required=False),
            context=path[-1],
        )
        for field in fields
    )


@lru_cache(maxsize=256)
def _asks_of_piece(path: tuple[str, ...]) -> tuple[Ask, ...]:
    kind, name = path[-2:]
    return tuple(_asks_of_record(_RECORDS[kind], path, name, leave_out=frozenset({EQUIPMENT.get(kind, "name")})))


def titles_of(name: str, steps: Iterable[Step]) -> tuple[str, ...]:
    """How every field of a name is called on screen, in steps and in the vessel's equipment; each title once."""
    in_steps = [field for step in steps for field in step.all_fields()]
    in_vessel = [ask.field for ask in asks_of_vessel()]
    in_pieces = [ask.field for kind in KIND_TITLES for ask in _asks_of_piece((kind, ""))]
    return tuple(dict.fromkeys(one.title for one in (*in_steps, *in_vessel, *in_pieces) if one.name == name))


def _asks_of_record(
    record: type[attrs.AttrsInstance], path: tuple[str, ...], context: str, leave_out: frozenset[str] = frozenset()
) -> Iterator[Ask]:
    hints = get_type_hints(record)
    for attribute in attrs.fields(record):
        if attribute.name in leave_out or attribute.name in ("more", *KIND_TITLES):
            continue
        kind = _without_none(hints[attribute.name])
        here = (*path, attribute.name)
        if attrs.has(kind) and "quantity" not in attribute.metadata:
            yield from _asks_of_record(kind, here, f"{attribute.name}, {context}")
        else:
            field = _field_of(attribute, kind)
            yield Ask(key=RegisterKey("field", "", here), field=field, context=context)


def _field_of(attribute: attrs.Attribute[Any], kind: object) -> Field:
    metadata = attribute.metadata
    taken = ("title", "help", "offers", "said", "unless", "heard")
    asked = {name: metadata[name] for name in taken if name in metadata}
    asked = {"title": attribute.name.replace("_", " ").capitalize(), **asked, "required": False}
    ranges = {name: metadata[name] for name in ("plausible", "hard") if name in metadata}
    if "quantity" in metadata:
        quantity, unit = metadata["quantity"], unit_of(metadata)
        return Field(name=attribute.name, kind=Kind.AMOUNT, quantity=quantity, unit=unit, **ranges, **asked)
    if "choices" in metadata:
        return Field(name=attribute.name, kind=Kind.CHOICE, choices=metadata["choices"], **asked)
    plain = {bool: Kind.YES_NO, int: Kind.COUNT}.get(kind, Kind.TEXT)  # type: ignore[call-overload]  # any type
    return Field(name=attribute.name, kind=plain, **ranges, **asked)


def _without_none(hint: Any) -> Any:
    if get_origin(hint) in (Union, UnionType):
        return next(part for part in get_args(hint) if part is not NoneType)
    return hint


def shown_of(field: Field, value: JsonValue) -> str:
    """A field's value as people say it.

    >>> cable = Field(name="cable", title="Cable", kind=Kind.CHOICE, choices=("light", "mid"), said=("micro", "mid"))
    >>> shown_of(cable, "light"), shown_of(cable, "thick")
    ('micro', 'thick')
    """
    return dict(zip(field.choices, field.said, strict=False)).get(str(value)) or shown(value)


def shown(value: JsonValue) -> str:
    """A value as a person reads it.

    >>> shown(True), shown("38.20 kn"), shown({"file": "a.log", "name": "sea trial"})
    ('yes', '38.20 kn', 'sea trial')
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return str(value.get("name") or "kept")
    if isinstance(value, list):
        return ", ".join(map(shown, value))
    return "" if value is None else str(value)
