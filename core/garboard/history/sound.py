"""Records from plain data that may be partly wrong: one bad value must not hide the rest."""

from __future__ import annotations

import re
from typing import TypeVar

from garboard.faults import Fault, InputError
from garboard.job_files.convert import structure
from garboard.records import JsonValue

Record = TypeVar("Record")

_WHAT = "hull file"
_NUMBER = re.compile(r"\[(\d+)\]")


def sound_part(plain: dict[str, JsonValue], kind: type[Record]) -> tuple[Record, tuple[Fault, ...]]:
    """A record from the values it takes, and a fault for each value it does not; those are taken out of `plain`.

    errors : InputError when nothing that can be taken out makes a record of it
    """
    found: list[Fault] = []
    while True:
        try:
            return structure(plain, kind, _WHAT), tuple(found)
        except InputError as failure:
            before = len(found)
            last_first = sorted(failure.faults, key=lambda fault: _numbers_in(fault.where), reverse=True)
            taken = {fault for fault in last_first if _take_out(plain, fault.where)}
            found.extend(fault for fault in failure.faults if fault in taken)
            if len(found) == before:
                raise


def sound_whole(plain: dict[str, JsonValue], kind: type[Record]) -> tuple[Record, ...]:
    """One record, or none where a value is wrong, such as a state only a newer version knows."""
    try:
        return (structure(plain, kind, _WHAT),)
    except InputError:
        return ()


def _numbers_in(path: str) -> list[int]:
    """Taking an item out of a list moves those behind it: the last goes first."""
    return [int(number) for number in _NUMBER.findall(path)]


def _take_out(plain: JsonValue, path: str) -> bool:
    """Take the value at a path ("engines[0].gear_ratio") out of plain data; False when it is not there."""
    *parents, last = path.replace("[", ".[").split(".")
    for part in parents:
        if part.startswith("[") and isinstance(plain, list) and int(part[1:-1]) < len(plain):
            plain = plain[int(part[1:-1])]
        elif isinstance(plain, dict):
            plain = plain.get(part)
    if isinstance(plain, dict) and last in plain:
        del plain[last]
        return True
    if isinstance(plain, list) and last.startswith("[") and int(last[1:-1]) < len(plain):
        del plain[int(last[1:-1])]
        return True
    return False
