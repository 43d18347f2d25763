"""Decisions written as two halves, one in each of two hull files: two numbers are one boat, or a job moved.

A full disk, a kill or half a sync can leave one half alone. Nothing is lost then, since `boat` shows a job where it was
until both files say that it left. Here the missing half is found, and written from the one that is there.

No clock decides: a half belongs to another when both carry the id of their decision. Halves without one, as older
versions wrote them, are counted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress

import attrs

from garboard import hull_number
from garboard.disk.entries import Entry, make_entry
from garboard.disk.storage import NewerFormat, NotSaved
from garboard.faults import InputError
from garboard.history.moves import LEAVING, named_hull
from garboard.history.registers import Register, RegisterKey
from garboard.history.replay import HullState, replay
from garboard.history.values import member
from garboard.records import JsonValue

DECISION = "decision"
"""Further field of both halves: the id of the decision they write down."""

TOGETHER_FOLDER = "together"
"""In the folder of a shop's own files: a file for each decision that its server noted and has not kept whole yet."""

EntriesOf = Callable[[str], Sequence[Entry]]
"""Gives the entries written under a hull number's key."""


class HalfSaved(NotSaved):
    """One half of a decision is on the disk, the other is not."""


@attrs.frozen
class MissingHalf:
    """One half of a decision that is not here.

    half    : the one that is
    entry   : what makes it whole
    is_sure : whether it can be written without asking. The half with the job's entries is not: where the job went since
              may stand in a file that has not come yet
    """

    half: Entry
    entry: Entry
    is_sure: bool

    def __str__(self) -> str:
        return f"{self.decision}. So far only the file of {self.half.hull_key} says so"

    @property
    def decision(self) -> str:
        """What was decided, in words."""
        here, there = self.half.hull_key, self.entry.hull_key
        if self.half.kind == "alias":
            return f"{here} and {there} are one boat"
        if self.half.kind == "retract":
            return f"{here} and {there} are two boats"
        if self.half.subject == LEAVING:
            return f"job {self.half.job} moves from {here} to {there}"
        return f"job {self.half.job} moves from {there} to {here}"


def missing_halves(entries_of: EntriesOf, hull: str) -> tuple[MissingHalf, ...]:
    """Halves that are missing of the decisions a hull's file holds a half of.

    hull : its key
    """
    entries = entries_of(hull)
    if not any(entry.kind in ("alias", "move") for entry in entries):
        return ()
    here = _decisions(hull, entries)
    found: list[MissingHalf] = []
    for key in sorted(here.registers):
        for other in sorted(_others(here, key)):
            with suppress(InputError, NewerFormat, OSError):  # a half that says no time, a file that cannot be read
                found += _missing_of(here, key, other, entries_of(other))
    return tuple(found)


def _missing_of(here: HullState, key: RegisterKey, other: str, entries: Sequence[Entry]) -> list[MissingHalf]:
    there = _decisions(other, entries)
    if key.kind == "alias":
        return [*_of_same_boat(here, there)]
    if not key.is_arrival:
        return [*_of_leaving(here, there, key)]
    holds_the_job = any(entry.job == key.job and entry.kind != "move" for entry in entries)
    return [*_of_arrival(here, there, key)] if holds_the_job else []


def save_in_turn(save: Callable[[Entry], object], entries: Iterable[Entry]) -> None:
    """Save the halves of a decision one after the other.

    errors : NotSaved when nothing is saved; HalfSaved when one half is
    """
    saved = ""
    for entry in entries:
        try:
            save(entry)
        except NotSaved as error:
            if not saved:
                raise
            raise HalfSaved(
                f"Only half of this is saved, with hull {saved}: {error}. Nothing is lost. The next command or "
                "decision about that hull writes the other half, and so does 'garboard repair'"
            ) from error
        saved = entry.hull_key


def _decisions(hull: str, entries: Iterable[Entry]) -> HullState:
    return replay(hull, (entry for entry in entries if entry.kind in ("alias", "move", "retract")))


def _others(here: HullState, key: RegisterKey) -> set[str]:
    """Keys of the hulls whose files hold the other halves of what is in a register."""
    if key.kind == "alias":
        named = {hull_number.key(key.first)} if key.first else set()
    elif key.is_arrival or (key.kind == "move" and key.subject == LEAVING):
        named = {named_hull(entry) for entry in here.current(key)}
        named = named if len(named) == 1 else set()  # two that disagree: a person decides first
    else:
        named = set()
    return named - {"", here.hull}


def _of_same_boat(one: HullState, other: HullState) -> Iterator[MissingHalf]:
    for here, there in ((one, other), (other, one)):
        mine, theirs = (
            state.register(RegisterKey("alias", "", (another.hull,)))
            for state, another in ((here, there), (there, here))
        )
        if theirs.current or not mine.current:
            continue
        unmatched = [head for head in mine.heads if head.kind == "alias" and not _has_half(head, mine, theirs)]
        for head in unmatched[:1]:
            value: JsonValue = {"hull": here.hull, "reason": _reason(head)}
            yield MissingHalf(head, _written(head, there, (here.hull,), value, theirs), is_sure=True)
        if not unmatched:  # it was joined in both and is parted in the other
            parting = theirs.heads[-1]
            yield MissingHalf(parting, _written(parting, here, (there.hull,), parting.value, mine), is_sure=True)


def _of_leaving(here: HullState, there: HullState, key: RegisterKey) -> Iterator[MissingHalf]:
    (half,) = here.current(key)
    theirs = there.register(RegisterKey("move", half.job, ("from", here.hull)))
    if not theirs.current and not _has_half(half, here.register(key), theirs):
        value: JsonValue = {"hull": here.hull, "reason": _reason(half)}
        yield MissingHalf(half, _written(half, there, ("from", here.hull), value, theirs), is_sure=True)


def _of_arrival(here: HullState, there: HullState, key: RegisterKey) -> Iterator[MissingHalf]:
    (half,) = here.current(key)
    theirs = there.register(RegisterKey("move", half.job, LEAVING))
    if not theirs.entries:  # where anything stands there, that says where the job is
        value: JsonValue = {"hull": here.hull, "reason": _reason(half)}
        yield MissingHalf(half, _written(half, there, LEAVING, value, theirs), is_sure=False)


def _has_half(half: Entry, mine: Register, theirs: Register) -> bool:
    """Whether a half's other half was ever written, also when it was replaced or taken back since."""
    if any(_decision(other) == _decision(half) for other in theirs.entries.values() if other.kind == half.kind):
        return True
    alike = [one for one in _without_id(mine, half.kind) if named_hull(one) == named_hull(half)]
    return DECISION not in half.more and len(alike) <= len(_without_id(theirs, half.kind))


def _without_id(register: Register, kind: str) -> list[Entry]:
    return [entry for entry in register.entries.values() if entry.kind == kind and DECISION not in entry.more]


def _decision(half: Entry) -> str:
    """A half that an older version wrote is named by its own id."""
    stated = half.more.get(DECISION)
    return stated if isinstance(stated, str) else half.id


def _written(half: Entry, state: HullState, subject: tuple[str, ...], value: JsonValue, register: Register) -> Entry:
    """The other half: by whoever decided, when they did, on their tablet."""
    return make_entry(
        half.kind,
        state.hull_number,
        dev=half.tablet or "unknown",
        by=half.by or "unknown",
        clock=half.clock,
        at=half.at,
        job=half.job,
        subject=subject,
        value=value,
        replaces=register.head_ids,
        plugins={name: str(version) for name, version in half.plugins.items()},
        more={DECISION: _decision(half)},
    )


def _reason(half: Entry) -> str:
    return str(member(half.value, "reason"))
