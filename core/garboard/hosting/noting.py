"""A vessel that notes which of its doubted facts are read. One without doubts is the vessel itself."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any, TypeVar, cast

import attrs

from garboard.hosting.vessel_facts import doubts_of
from garboard.job_view import FieldKey
from garboard.records import EQUIPMENT, Vessel

Record = TypeVar("Record", bound=attrs.AttrsInstance)


def noting(vessel: Vessel, facts: dict[FieldKey, None]) -> Vessel:
    """The same vessel; a read of a doubted fact puts its place into `facts`."""
    places = dict.fromkeys(doubt.place for doubt in doubts_of(vessel))
    if not places:
        return vessel
    lists: dict[str, Any] = {
        kind: tuple(_piece(piece, kind, places, facts) for piece in getattr(vessel, kind)) for kind in EQUIPMENT
    }
    of_whole = {place[1]: place for place in places if "." not in place[1]}  # its own are named without a record
    return _noting_record(attrs.evolve(vessel, **lists), of_whole, facts)


def _piece(piece: Any, kind: str, places: Mapping[FieldKey, None], facts: dict[FieldKey, None]) -> Any:
    return _noting_record(piece, _fields_of(kind, getattr(piece, EQUIPMENT[kind]), places), facts)


def _fields_of(kind: str, name: str, places: Mapping[FieldKey, None]) -> dict[str, FieldKey]:
    of_it = (place for place in places if place[3] == name and place[1].startswith(f"{kind}."))
    return {place[1].partition(".")[2]: place for place in of_it}


def _noting_record(record: Record, fields: Mapping[str, FieldKey], facts: dict[FieldKey, None]) -> Record:
    """A record that is the same in every way but this: a read of one of the fields is noted."""
    if not fields:
        return record
    copy = object.__new__(_noting_class(type(record)))
    for field in attrs.fields(type(record)):
        object.__setattr__(copy, field.name, getattr(record, field.name))
    object.__setattr__(copy, "noted", (fields, facts))
    return cast("Record", copy)


@lru_cache(maxsize=32)
def _noting_class(kind: type[Any]) -> type[Any]:
    """A class below the record's. It says that it is the record's: records compare as equal by that."""

    def read(self: Any, name: str) -> Any:
        get = object.__getattribute__
        fields, facts = get(self, "noted") if name not in _OWN else ({}, {})
        if name in fields:
            facts[fields[name]] = None
        return get(self, name)

    return type(kind.__name__, (kind,), {"__getattribute__": read, "__class__": property(lambda _: kind)})


_OWN = frozenset({"noted", "__class__", "__dict__", "__weakref__"})
