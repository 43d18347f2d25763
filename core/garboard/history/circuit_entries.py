"""A table of circuits taken into a boat's record."""

from __future__ import annotations

from collections.abc import Mapping
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

_KIND = "circuits"


def take_in_circuits(author: Author, state: HullState, said: Mapping[tuple[str, str], JsonValue]) -> list[Entry]:
    """The entries that make a boat's circuits as a table says; nothing for what stands so already.

    A circuit that was removed and stands in the table comes back. That a label is printed is said where it is printed:
    a table that went from another boat, or is older than the label, says nothing of it.

    state  : of the hull that holds what is known of the boat's circuits
    said   : by name and column, as `circuit_table.circuits_in_csv` reads it
    errors : InputError where the table would decide between values that disagree; nothing is written then
    """
    faults: list[Fault] = []
    written: list[Entry] = []
    for name in dict.fromkeys(name for name, _ in said):
        if any(entry.value is True for entry in state.current(RegisterKey("field", "", (_KIND, name, "removed")))):
            written.append(author.write(state, "field", (_KIND, name, "removed"), False))
    for (name, column), value in said.items():
        if column == "label" and is_as_printed(str(value)):
            continue
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
