"""Two tablets began one row of a table at sea, each for a run of its own: both are kept, the other as a row after it.

A row is named by its number, so two tablets that have not met give one name to two runs. Nothing tells that from one
run typed twice but a person who was there: until one says so the values disagree, and none of them is used.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import attrs

from garboard.disk.entries import Entry
from garboard.faults import Fault, InputError
from garboard.fittings import next_row, row_order
from garboard.history.authoring import Author, retract, settle
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState

FEWEST_VALUES = 2
"""So many values of a row a tablet must have written for it to be a row of its own; fewer are a value typed again."""


def may_be_two_rows(state: HullState, key: RegisterKey) -> bool:
    """Whether tablets that disagree about a value each wrote a row of their own around it."""
    return len(_writers(state, key)) > 1


def both_rows_count(author: Author, state: HullState, key: RegisterKey, reason: str) -> list[Entry]:
    """What keeps the row of the tablet shown first as it is, and gives those of the others rows after the last one.

    state  : that holds the job; it is not changed
    key    : a value of the row that disagrees
    reason : how somebody knows that these were two runs
    Raises InputError where nobody could have written two rows. To be saved together.
    """
    stays, *others = _writers(state, key) or ("",)
    if not others:
        got = f"{'/'.join(key.subject).rstrip('/')}, which one tablet wrote"
        raise InputError("two rows", [Fault("row", "a row that two tablets began", got)])
    row, free = key.subject[2], next_row([one.subject[2] for one in _of_step(state, key)])
    numbers = {tablet: str(int(free) + place) for place, tablet in enumerate(others)}
    why = f"{reason.strip()} (both count: rows {' and '.join((row, *numbers.values()))})"
    return [entry for one in _of_row(state, key) for entry in _parted(author, state, one, stays, numbers, why)]


def _parted(
    author: Author, state: HullState, key: RegisterKey, stays: str, numbers: Mapping[str, str], reason: str
) -> Iterator[Entry]:
    """One value of the row: the others' into their rows, and here what stays; each with who measured it and when."""
    step, field, _, of = key.subject
    heads = [one for one in state.register(key).heads if one.kind == key.kind]
    for one in heads:
        if one.tablet in numbers:
            own = attrs.evolve(author, by=one.by)
            place = (step, field, numbers[one.tablet], of)
            yield own.write(state, key.kind, place, one.value, job=key.job, more=one.more, at=one.at)
    kept = [one for one in heads if one.tablet not in numbers]
    if not kept and heads:
        yield retract(author, state, key, reason)
    elif state.disagrees(key):
        chosen = next((one for one in kept if one.tablet == stays), kept[0])
        yield settle(author, state, key, chosen.value, reason)


def _writers(state: HullState, key: RegisterKey) -> tuple[str, ...]:
    """The tablets that disagree about a value and wrote a row around it, in order of display."""
    if not key.is_measurement or row_order(key.subject[2])[0]:
        return ()
    rivals = dict.fromkeys(one.tablet for one in state.current(key))
    heads = [one.tablet for each in _of_row(state, key) for one in state.register(each).heads if one.kind == key.kind]
    return tuple(tablet for tablet in rivals if heads.count(tablet) >= FEWEST_VALUES)


def _of_row(state: HullState, key: RegisterKey) -> list[RegisterKey]:
    return [one for one in _of_step(state, key) if one.subject[2] == key.subject[2]]


def _of_step(state: HullState, key: RegisterKey) -> list[RegisterKey]:
    """Every value that ever stood in the rows of its step."""
    measured = (one for one in state.registers if one.is_measurement and one.job == key.job)
    return sorted(one for one in measured if one.subject[0] == key.subject[0] and one.subject[2])
