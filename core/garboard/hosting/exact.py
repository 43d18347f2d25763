"""What a plugin hands over, as the program's own types: nothing of a plugin's classes runs after its code has ended."""

from __future__ import annotations

from typing import TypeVar

import attrs

from garboard.findings import (
    Axis,
    Band,
    Basis,
    Doubt,
    Figure,
    Finding,
    Limit,
    Marker,
    Missing,
    Number,
    Series,
    Table,
)

T = TypeVar("T")

_RECORDS: tuple[type, ...] = (Finding, Basis, Number, Limit, Table, Missing, Doubt, Figure, Axis, Series, Band, Marker)
_FIELDS = {kind: tuple(field.name for field in attrs.fields(kind)) for kind in _RECORDS}
_PLAIN = frozenset((str, float, int, bool, type(None)))


def exact(value: T) -> T:
    """The value itself, or the same made anew where it or a part of it is of a class derived from the program's.

    A derived class may do anything when it is printed, long after the plugin ended; a list may change. What it makes
    anew is checked as when it was made.
    """
    return _exact(value)  # type: ignore[return-value]  # a record of the same kind


def _exact(value: object) -> object:
    kind = type(value)
    if kind in _PLAIN:
        return value
    if isinstance(value, tuple | list):
        parts = [part if type(part) in _PLAIN else _exact(part) for part in value]
        same = kind is tuple and all(made is part for made, part in zip(parts, value, strict=True))
        return value if same else tuple(parts)
    for record in _RECORDS:
        if isinstance(value, record):
            made = {name: _exact(getattr(value, name)) for name in _FIELDS[record]}
            same = kind is record and all(made[name] is getattr(value, name) for name in made)
            return value if same else record(**made)
    # Not by the class's own methods, which may be the plugin's. A float of numpy is one of these.
    if isinstance(value, str):
        return str.__str__(value)
    if isinstance(value, float):
        return float.__float__(value)
    return int.__int__(value) if isinstance(value, int) else value
