"""What a manager plans for a job: who has it, when it is promised, whom it waits for, comments; that it is set aside.

A plan is no finding and nothing measured. Its entries name the job in their subject and belong to none: so that no
signature covers them, and none becomes stale because a promise was moved. Of a boat's several numbers they are kept
under the one the job was opened under: so that it has its plan where the numbers turn out to be two boats.

A job set aside, such as that of a boat that was withdrawn, is never finished. It stays so until a manager takes it up
again, or something comes from a tablet that the manager had not seen. No clock tells that: the entry says how many
entries of tablets it saw, and gives a digest of them. A program that does not know of it keeps it as a plan it shows.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Mapping
from datetime import date
from itertools import chain
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import attrs

from garboard.disk.entries import PLAN
from garboard.faults import Fault, InputError, in_number
from garboard.history.authority import THE_SHOP_ITSELF
from garboard.history.registers import RegisterKey

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard.history.authoring import Author
    from garboard.history.replay import HullState
    from garboard.records import JsonValue

ASSIGNED, PROMISED, WAITING_FOR, COMMENT = "assigned", "promised", "waiting_for", "comment"
SET_ASIDE = "set_aside"
_SEEN = "seen"
WAITS_FOR = ("rigger", "owner", "parts", "manager")
"""Whom a job may wait for."""
LONGEST = 500
"""Characters of what is planned."""
FIRST_YEAR, LAST_YEAR = 2000, 2099
"""Of a day that is promised: one of the year 26 is a slip."""


@attrs.frozen(kw_only=True)
class Plan:
    """What a manager plans for a job; "" for what nobody said.

    promised    : a day, "2026-05-14"
    waiting_for : one of `WAITS_FOR`
    comment     : the one written last, with who wrote it
    """

    assigned: str = ""
    promised: str = ""
    waiting_for: str = ""
    comment: str = ""
    comment_by: str = ""


@attrs.frozen(kw_only=True)
class SetAside:
    """That a manager set a job aside.

    came : how many entries came from tablets since, as far as their number tells; the manager had not seen them
    """

    by: str
    at: str
    reason: str
    came: int
    holds: bool

    @property
    def in_words(self) -> str:
        """By whom and why; and what came since, where the job is open again.

        >>> aside = SetAside(by="M. Office", at="", reason="sold unrigged.", came=2, holds=True)
        >>> aside.in_words
        'Set aside by M. Office: sold unrigged.'
        >>> attrs.evolve(aside, holds=False).in_words
        'Was set aside by M. Office: sold unrigged. Open again, as 2 entries came since.'
        """
        said = f"et aside by {self.by}: {self.reason.rstrip('.')}."
        came = in_number(self.came, "entry", "entries") if self.came else "other entries"
        return f"S{said}" if self.holds else f"Was s{said} Open again, as {came} came since."


def set_aside_of(state: HullState, jobs: Iterable[str]) -> SetAside | None:
    """Whether a job is set aside, or was until something came; None where nobody did, or it was taken up again.

    Of two that stand, the one written last holds.

    jobs : the job, and those joined into it
    """
    named = {*jobs}
    keys = [key for key in state.registers if key.kind == PLAN and key.subject[1:] == (SET_ASIDE,)]
    said = [entry for key in keys if key.subject[0] in named for entry in state.current(key)]
    last = max(said, key=lambda entry: (entry.clock, entry.id), default=None)
    if last is None or not last.value:
        return None
    now, then = _seen_now(state, named), last.more.get(_SEEN)
    before = then.get("entries") if isinstance(then, dict) else None
    came = now["entries"] - before if type(before) is int else 0
    return SetAside(by=last.by, at=last.at, reason=str(last.value), came=max(0, came), holds=then == now)


def aside_in(state: HullState, job: str) -> SetAside | None:
    """`set_aside_of` a job and those joined into it."""
    return set_aside_of(state, (job, *state.parts(job)))


def set_aside(author: Author, state: HullState, jobs: Iterable[str], reason: str) -> Entry:
    """The entry that sets a job aside, with the reason; jobs as for `set_aside_of`, the job first.

    errors : InputError
    """
    named, told = [*jobs], " ".join(reason.split())
    if not told:
        raise InputError("set aside", [Fault("reason", "why the job will not be finished", "nothing")])
    _refuse_long("reason", told)
    seen: dict[str, JsonValue] = {_SEEN: {**_seen_now(state, {*named})}}
    return author.write(state, PLAN, (named[0], SET_ASIDE), told, more=seen, hull=state.hull_number_of(named[0]))


def seen_by_now(state: HullState, jobs: Iterable[str]) -> str:
    """A short name of all that tablets brought of some jobs: what whoever sets one aside has seen."""
    return str(_seen_now(state, {*jobs})["digest"])


def taken_up(author: Author, state: HullState, jobs: Iterable[str], reason: str = "") -> list[Entry]:
    """Entries that take a job up again, one for each of those joined into it that was set aside."""
    more = {"reason": reason} if reason else {}
    keys = [(job, SET_ASIDE) for job in jobs]
    aside = [key for key in keys if any(entry.value for entry in state.current(RegisterKey(PLAN, "", key)))]
    return [author.write(state, PLAN, key, "", more=more, hull=state.hull_number_of(key[0])) for key in aside]


def _seen_now(state: HullState, jobs: Collection[str]) -> dict[str, Any]:
    """What came from tablets of some jobs: how many entries, and a digest of their ids. What a manager writes at the
    shop, and that a book was issued, is no work. What this program does not know may be work, and counts as it will
    where it is known.
    """
    known = (entry for register in state.registers.values() for entry in register.entries.values())
    ids = sorted(
        entry.id
        for entry in chain(known, state.unknown.values())
        if entry.job in jobs and entry.tablet not in THE_SHOP_ITSELF
    )
    return {"entries": len(ids), "digest": hashlib.sha256("".join(ids).encode()).hexdigest()[:32]}


def plan_of(state: HullState, jobs: Iterable[str]) -> Plan:
    """The plan of a job, and of those joined into it. Of two that stand, the one written last holds."""
    named = {*jobs}
    last: dict[str, Entry] = {}
    for key in state.registers:
        if key.kind == PLAN and key.subject[:1] and key.subject[0] in named and len(key.subject) > 1:
            for entry in state.current(key):
                before = last.get(key.subject[1])
                if not entry.value:
                    continue  # taken back, for this job of those joined
                if before is None or (before.clock, before.id) < (entry.clock, entry.id):
                    last[key.subject[1]] = entry
    said = {what: str(entry.value) for what, entry in last.items()}
    return Plan(
        assigned=said.get(ASSIGNED, ""),
        promised=said.get(PROMISED, "") if _is_day(said.get(PROMISED, "")) else "",
        waiting_for=said.get(WAITING_FOR, "") if said.get(WAITING_FOR) in WAITS_FOR else "",
        comment=said.get(COMMENT, ""),
        comment_by=last[COMMENT].by if said.get(COMMENT) else "",
    )


def planned_for(state: HullState, jobs: Iterable[str]) -> list[Entry]:
    """What managers planned for a job, and for those joined into it, as it stands: the first written first.

    What was taken back is left out.
    """
    named = {*jobs}
    found = [
        entry
        for key in state.registers
        if key.kind == PLAN and len(key.subject) > 1 and key.subject[0] in named
        for entry in state.current(key)
        if entry.value
    ]
    return sorted(found, key=lambda entry: (entry.clock, entry.id))


def plan_entries(author: Author, state: HullState, job: str, said: Mapping[str, str]) -> list[Entry]:
    """Entries for what is new in a plan; none for what is said already. A comment stands beside those before it.

    said   : by ASSIGNED, PROMISED, WAITING_FOR or COMMENT; "" takes it back, but for a comment, which stays
    errors : InputError
    """
    before = plan_of(state, (job, *state.parts(job)))
    written = []
    for what, typed in said.items():
        value = " ".join(typed.split())
        _refuse(what, value)
        if value == getattr(before, what) or (what == COMMENT and not value):
            continue
        subject = (job, what, uuid4().hex[:12]) if what == COMMENT else (job, what)
        if what != COMMENT:  # of a part it is taken back: no clock decides which of the two was planned last
            parts = [(part, what) for part in state.parts(job)]
            stated = [part for part in parts if any(one.value for one in state.current(RegisterKey(PLAN, "", part)))]
            written += [author.write(state, PLAN, part, "", hull=state.hull_number_of(part[0])) for part in stated]
        written.append(author.write(state, PLAN, subject, value, hull=state.hull_number_of(job)))
    return written


def _refuse(what: str, value: str) -> None:
    if what not in (ASSIGNED, PROMISED, WAITING_FOR, COMMENT):
        raise InputError("plan", [Fault("plan", "assigned, promised, waiting_for or comment", what)])
    _refuse_long(what, value)
    if what == PROMISED and value and not (_is_day(value) and FIRST_YEAR <= int(value[:4]) <= LAST_YEAR):
        expected = f"a day from {FIRST_YEAR} to {LAST_YEAR}, such as 2026-05-14"
        raise InputError("plan", [Fault("promised", expected, value)])
    if what == WAITING_FOR and value and value not in WAITS_FOR:
        raise InputError("plan", [Fault("waiting for", ", ".join(WAITS_FOR), value)])


def _refuse_long(what: str, value: str) -> None:
    if len(value) > LONGEST:
        raise InputError("plan", [Fault(what, f"at most {LONGEST} characters", f"{len(value)}")])


def _is_day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text > "0002"  # and no week, "2026-W50-1"
    except ValueError:
        return False
