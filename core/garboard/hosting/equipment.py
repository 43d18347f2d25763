"""Kinds of equipment in the words people say: the program's own, and those that plugins declare."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from garboard.job_view import JobView
from garboard.records import EQUIPMENT, JsonValue, Vessel, is_own_kind
from garboard.steps import NOT_ABOARD, EquipmentKind, Step, not_aboard, state_shown

Kinds = Mapping[str, EquipmentKind]
"""Kinds that plugins at work declare, by key, in order: `PluginHost.equipment`."""

MOST_KINDS = 20
"""Kinds of equipment one plugin may declare."""

KIND_TITLES: Mapping[str, str] = {
    "engines": "Engines",
    "propellers": "Propellers tried",
    "tanks": "Fuel tanks",
    "batteries": "Batteries",
    "circuits": "Circuits",
    "heading_sensors": "Heading sensors",
    "networks": "Instrument networks",
    "devices": "Devices",
}
_PIECES: Mapping[str, str] = {
    "engines": "{} engine",
    "propellers": "propeller {}",
    "tanks": "fuel tank {}",
    "batteries": "{} battery",
    "circuits": "circuit {}",
    "heading_sensors": "heading sensor {}",
    "networks": "instrument network {}",
    "devices": "device {}",
}


def kind_title(kind: str, kinds: Kinds) -> str:
    """A list of equipment as people read it; where the plugin of a kind is not at work, by the kind's own word.

    >>> kind_title("tanks", {}), kind_title("our_yard.trailers", {})
    ('Fuel tanks', 'Trailers')
    """
    if kind in kinds:
        return kinds[kind].title
    return KIND_TITLES.get(kind) or _word_of(kind).capitalize()


def piece_title(kind: str, name: str, kinds: Kinds) -> str:
    """One piece of equipment as a person calls it.

    >>> piece_title("engines", "port", {}), piece_title("circuits", "Deck wash", {})
    ('port engine', 'circuit Deck wash')
    >>> piece_title("our_yard.trailers", "road", {})
    'road (trailers)'
    """
    if kind in kinds:
        one = kinds[kind].one
        return name if one.casefold() == name.casefold() else f"{one} {name}"
    return _PIECES[kind].format(name) if kind in _PIECES else f"{name} ({_word_of(kind)})"


def none_aboard(view: JobView, step: Step, kinds: Kinds) -> str:
    """Why a step does not apply to a boat, and what to do where it does: "" of a step that is to be done."""
    absent = not_aboard(view, step) if state_shown(view, step) == NOT_ABOARD else ()
    ones = [kinds[kind].one if kind in kinds else _word_of(kind) for kind in absent]
    which = "it" if len(ones) == 1 else "what it has"
    return f"No {' and no '.join(ones)} on this boat. If it has one, enter {which}." if ones else ""


def _word_of(kind: str) -> str:
    return kind.rpartition(".")[2].replace("_", " ")


def kinds_shown(vessel: Vessel, kinds: Kinds) -> tuple[str, ...]:
    """Every kind of equipment to show of a boat: the program's, those declared, then what needs a plugin."""
    return (*EQUIPMENT, *kinds, *(kind for kind in vessel.pieces if is_own_kind(kind) and kind not in kinds))


def plugin_needed(kind: str, kinds: Kinds) -> str:
    """The plugin that a kind aboard needs and that is not at work; "" where none is missing.

    >>> plugin_needed("our_yard.trailers", {}), plugin_needed("engines", {})
    ('our_yard', '')
    """
    return kind.partition(".")[0] if is_own_kind(kind) and kind not in kinds else ""


def facts_without_plugin(vessel: Vessel, kinds: Kinds) -> Iterator[tuple[str, str, str, JsonValue]]:
    """What is kept of equipment that no plugin at work declares: kind, piece, field and value."""
    for kind, pieces in vessel.pieces.items():
        for name, piece in pieces.items() if plugin_needed(kind, kinds) else ():
            yield from ((kind, name, field, value) for field, value in piece.more.items())
