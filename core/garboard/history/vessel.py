"""The vessel put together from its fields."""

from __future__ import annotations

from collections.abc import Iterable

from garboard.faults import Fault
from garboard.history.sound import sound_part
from garboard.records import EQUIPMENT, JsonValue, Vessel, is_own_kind, named_by

FieldValue = tuple[tuple[str, ...], JsonValue]
"""A field's path ("engines", "port", "gear_ratio") and its value."""


def assemble_vessel(fields: Iterable[FieldValue], hull_number: str) -> tuple[Vessel, tuple[Fault, ...]]:
    """The vessel, and a fault for each field that no record takes.

    fields      : in the order their equipment is listed
    hull_number : where no field gives one
    """
    tree: dict[str, JsonValue] = {}
    for path, value in fields:
        _plant(tree, path, value)
    plain = _lists_of_equipment(tree)
    if not isinstance(plain.get("hull_number"), str):
        plain["hull_number"] = hull_number
    return sound_part(plain, Vessel)


def _plant(tree: dict[str, JsonValue], path: tuple[str, ...], value: JsonValue) -> None:
    """Put a field in. Where one field's path leads through another's value, the longer path wins, in any order."""
    for name in path[:-1]:
        branch = tree.get(name)
        if not isinstance(branch, _Branch):
            branch = tree[name] = _Branch()
        tree = branch
    if path and not isinstance(tree.get(path[-1]), _Branch):
        tree[path[-1]] = value


class _Branch(dict[str, JsonValue]):
    """Fields below a name; told apart from a field whose value is an object."""


def _lists_of_equipment(tree: dict[str, JsonValue]) -> dict[str, JsonValue]:
    """Equipment kept by name turned into the lists the records have. A piece marked removed is left out."""
    plain = dict(tree)
    for kind, branch in tree.items():
        if kind in EQUIPMENT or (is_own_kind(kind) and isinstance(branch, _Branch)):
            plain[kind] = _pieces(branch, named_by(kind))
    networks = plain.get("networks")
    for network in networks if isinstance(networks, list) else []:
        if isinstance(network, dict) and "devices" in network:
            network["devices"] = _pieces(network["devices"], "name")
    return plain


def _pieces(branch: JsonValue, name: str) -> list[JsonValue]:
    pieces = branch.items() if isinstance(branch, dict) else ()
    return [
        {name: key, **{k: v for k, v in piece.items() if k != "removed" and (k != name or isinstance(v, str))}}
        for key, piece in pieces
        if isinstance(piece, dict) and piece.get("removed") is not True
    ]
