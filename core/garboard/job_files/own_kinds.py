"""Equipment of kinds that plugins declare, in a job file: what is wrong with it, and its facts put right."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import attrs

from garboard.faults import Fault, ValueRefused
from garboard.fields import check_value
from garboard.hosting.equipment import Kinds
from garboard.records import JsonValue, Vessel, is_own_kind

FactReader = Callable[[str, str, JsonValue], JsonValue]
"""What becomes of a fact, by its kind, its field and its value."""


def faults_of_own_kinds(vessel: Mapping[str, JsonValue], kinds: Kinds) -> Iterator[Fault]:
    """What of a vessel's equipment its kinds do not take. That of a kind no plugin at work declares passes.

    vessel : its plain data, or what of it is not of the program's own kinds
    """
    for key, kind in kinds.items():
        pieces = vessel.get(key)
        if pieces is not None and not isinstance(pieces, list):
            yield Fault(f"vessel.{key}", f"a list of {kind.title.lower()}, each in {{ }}", type(pieces).__name__)
        for index, piece in enumerate(pieces if isinstance(pieces, list) else ()):
            for name, value in piece.items() if isinstance(piece, dict) else ():
                where = f"vessel.{key}[{index}].{name}"
                field = kind.field(name)
                if field is None and name != "name":
                    known = ", ".join(field.name for field in kind.fields)
                    yield Fault(where, f"a fact of a {kind.one}: name, {known}", repr(name))
                elif field is not None and value is not None:
                    try:
                        check_value(field, value)
                    except ValueRefused as refused:
                        yield refused.at(where)


def with_facts_of_pieces(vessel: Vessel, read: FactReader) -> Vessel:
    """The vessel with each fact of a plugin's own kind read anew; null counts as not entered."""
    own = [kind for kind in vessel.more if is_own_kind(kind)]
    if not own:
        return vessel
    more = {kind: _read(kind, value, read) if kind in own else value for kind, value in vessel.more.items()}
    return attrs.evolve(
        vessel, more={kind: value for kind, value in more.items() if value is not None or kind not in own}
    )


def _read(kind: str, pieces: JsonValue, read: FactReader) -> JsonValue:
    if not isinstance(pieces, list):
        return pieces
    return [
        {name: read(kind, name, value) for name, value in piece.items() if value is not None}
        if isinstance(piece, dict)
        else piece
        for piece in pieces
    ]
