"""A table of circuits taken into a boat's record."""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from garboard.faults import Fault, InputError
from garboard.history.registers import RegisterKey
from garboard.history.values import same_value
from garboard.labels import is_as_printed

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard.history.authoring import Author
    from garboard.history.replay import HullState
    from garboard.records import JsonValue

_KIND, _NAME = "circuits", "name"


def take_in_circuits(author: Author, state: HullState, said: Mapping[tuple[str, str], JsonValue]) -> list[Entry]:
    """The entries that make a boat's circuits as a table says; nothing for what stands so already.

    A circuit is found by its name as it is spelled, else by one that differs in capitals, blanks or how an accent is
    written: a spreadsheet changes those unseen. One that was removed and stands in the table comes back. That a label
    is printed is said where it is printed: a table that went from another boat, or is older than the label, says
    nothing of it.

    state  : of the hull that holds what is known of the boat's circuits
    said   : by name and column, as `circuit_table.circuits_in_csv` reads it
    errors : InputError where the table would decide between values that disagree, or has one circuit twice; nothing is
             written then
    """
    faults: list[Fault] = []
    written: list[Entry] = []
    named = _names_here(state, dict.fromkeys(name for name, _ in said), faults)
    for name in named.values():
        if any(entry.value is True for entry in state.current(RegisterKey("field", "", (_KIND, name, "removed")))):
            written.append(author.write(state, "field", (_KIND, name, "removed"), False))
    for (typed, column), said_value in said.items():
        if column == "label" and is_as_printed(str(said_value)):
            continue
        name = named[typed]
        value = name if column == _NAME else said_value
        key = RegisterKey("field", "", (_KIND, name, column))
        current = state.current(key)
        if len(current) > 1:
            values = " or ".join(str(entry.value) for entry in current)
            expected = f"one value, where {values} disagree"
            faults.append(Fault(column, expected, str(value), about=name, cure="settle them first"))
        elif not current or not same_value(current[0].value, value):
            written.append(author.write(state, "field", key.subject, value))
    if faults:
        raise InputError("circuits", faults)
    return written


def _names_here(state: HullState, typed: Iterable[str], faults: list[Fault]) -> dict[str, str]:
    """What each circuit of a table is called on the boat. Two that are one there are added to the faults."""
    of_circuits = (key for key in state.registers if key.kind == "field" and key.first == _KIND)
    here = {key.subject[1] for key in of_circuits if len(key.subject) > 1}
    alike: dict[str, list[str]] = defaultdict(list)
    for name in sorted(here):
        alike[_as_heard(name)].append(name)
    named: dict[str, str] = {}
    in_table: dict[str, str] = {}
    for name in typed:
        heard = _as_heard(name)
        there = alike[heard]
        named[name] = name if name in here else there[0] if there else _tidied(name)
        before = in_table.setdefault(heard, name)
        is_twice = before != name and not {before, name} <= here
        if is_twice or (name not in here and len(there) > 1):
            got = " and ".join(repr(each) for each in dict.fromkeys([before, name, *there]))
            faults.append(Fault(_NAME, "each circuit once, in one spelling", got, about=name))
    return named


def _tidied(name: str) -> str:
    """A name on one line, each letter written in one way."""
    return " ".join(unicodedata.normalize("NFC", name).split())


def _as_heard(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())
