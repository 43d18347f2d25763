"""What a plugin hands over, as the program's own types: nothing of a plugin's classes runs after its code has ended."""

from __future__ import annotations

import operator
from collections.abc import Sequence
from typing import TypeVar

import attrs

from garboard.findings import (
    Axis,
    Band,
    Basis,
    BasisKind,
    Doubt,
    Figure,
    Finding,
    Lack,
    Limit,
    Marker,
    Missing,
    Number,
    Series,
    Table,
    Verdict,
)
from garboard.owner_pages import OWNER_RECORDS

T = TypeVar("T")

_FOUND = (Finding, Basis, Number, Limit, Table, Missing, Doubt, Figure, Axis, Series, Band, Marker)
_RECORDS: tuple[type, ...] = (*_FOUND, *OWNER_RECORDS)
_FIELDS = {kind: tuple(field.name for field in attrs.fields(kind)) for kind in _RECORDS}
_PARTS = {kind: operator.attrgetter(*names) for kind, names in _FIELDS.items()}
_PLAIN = frozenset((str, float, int, bool, type(None), Verdict, BasisKind, Lack))


def exact(value: T) -> T:
    """The value itself, or the same made anew where it or a part of it is of a class derived from the program's.

    A derived class may do anything when it is printed, long after the plugin ended; a list may change. What it makes
    anew is checked as when it was made.
    """
    return _exact(value)  # type: ignore[return-value]  # a record of the same kind


def _exact_each(values: Sequence[object]) -> Sequence[object]:
    if _PLAIN.issuperset(map(type, values)):  # nearly always, and quick
        return values
    return [_exact(value) for value in values]


def _exact(value: object) -> object:
    kind = type(value)
    if kind in _PLAIN:
        return value
    if isinstance(value, (tuple, list)):
        parts = _exact_each(value)
        same = kind is tuple and all(map(operator.is_, parts, value))
        return value if same else tuple(parts)
    record = kind if kind in _PARTS else next((one for one in _RECORDS if isinstance(value, one)), None)
    if record is not None:
        given = _PARTS[record](value)
        made = _exact_each(given)
        same = kind is record and all(map(operator.is_, made, given))
        return value if same else record(**dict(zip(_FIELDS[record], made, strict=True)))
    # Not by the class's own methods, which may be the plugin's. A float of numpy is one of these.
    if isinstance(value, str):
        return str.__str__(value)
    if isinstance(value, float):
        return float.__float__(value)
    return int.__int__(value) if isinstance(value, int) else value
