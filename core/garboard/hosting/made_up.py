"""Jobs made up of a plugin's own fields, empty, half filled and full: what its author forgets shows on them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import attrs

from garboard.fields import Field, Kind
from garboard.hosting.host import PluginHost
from garboard.job_view import JobView
from garboard.records import JsonValue, Measurement, Vessel
from garboard.steps import EquipmentKind, Step

MADE_UP = 4
"""So many jobs are made up of a plugin."""
_ROWS = ("1", "2", "3")
_PIECE = "made up"


def made_up_jobs(host: PluginHost, plugin: str, like: JobView) -> Iterator[JobView]:
    """Jobs of a boat like another, with values in the plugin's own steps alone: none, either half, and all."""
    vessel = like.vessel
    for kind in host.equipment.values():
        if kind.plugin == plugin:
            vessel = _with_piece(vessel, kind)
    steps = [step for step in host.steps if host.owner_of("register_steps", step.key) == plugin]
    values = [value for step in steps for value in _values_of(step, vessel)]
    for number, some in enumerate(([], values[::2], values[1::2], values), 1):
        job = attrs.evolve(like.job, id=f"made up {number}")
        yield JobView(vessel=vessel, job=job, measurements=tuple(some))


def _with_piece(vessel: Vessel, kind: EquipmentKind) -> Vessel:
    name = kind.one if kind.only_one else next(iter(kind.names), _PIECE)
    facts = {field.name: value for field in kind.fields if (value := _value_of(field)) is not None}
    return attrs.evolve(vessel, more={**vessel.more, kind.key: [{"name": name, **facts}]})


def _values_of(step: Step, vessel: Vessel) -> Iterator[Measurement]:
    for field in step.fields:
        for inner in field.columns or (field,):
            value = _value_of(inner)
            if value is None:
                continue
            each = inner.each or field.each
            rows: Sequence[str] = _ROWS if field.columns and not field.each else ("",)
            for of in vessel.of_kind(each) if each else ("",):
                yield from (
                    Measurement(step=step.key, field=inner.name, row=row, of=of, value=value, by=_PIECE) for row in rows
                )


def _value_of(field: Field) -> JsonValue:
    """A usual value of a field; None where only a file will do."""
    low, high = field.plausible or field.hard or (1.0, 1.0)
    middle = (low + high) / 2
    made: dict[Kind, JsonValue] = {
        Kind.AMOUNT: f"{middle:.6f} {field.unit}".rstrip(),
        Kind.COUNT: round(middle),
        Kind.CHOICE: next(iter(field.choices), ""),
        Kind.YES_NO: True,
        Kind.TEXT: next(iter(field.offers), _PIECE),
        Kind.PHOTO: {"file": "made up.jpg"},
    }
    return made.get(field.kind)
