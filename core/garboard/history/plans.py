"""What a manager plans for a job: who has it, when it is promised, whom it waits for, and comments.

A plan is no finding and nothing measured. Its entries name the job in their subject and belong to none: so that no
signature covers them, and none becomes stale because a promise was moved.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import TYPE_CHECKING
from uuid import uuid4

import attrs

from garboard.disk.entries import PLAN
from garboard.faults import Fault, InputError

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard.history.authoring import Author
    from garboard.history.replay import HullState

ASSIGNED, PROMISED, WAITING_FOR, COMMENT = "assigned", "promised", "waiting_for", "comment"
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


def plan_of(state: HullState, jobs: Iterable[str]) -> Plan:
    """The plan of a job, and of those joined into it. Of two that stand, the one written last holds."""
    named = {*jobs}
    last: dict[str, Entry] = {}
    for key in state.registers:
        if key.kind == PLAN and key.subject[:1] and key.subject[0] in named and len(key.subject) > 1:
            for entry in state.current(key):
                before = last.get(key.subject[1])
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
    before = plan_of(state, (job,))
    written = []
    for what, typed in said.items():
        value = " ".join(typed.split())
        _refuse(what, value)
        if value == getattr(before, what) or (what == COMMENT and not value):
            continue
        subject = (job, what, uuid4().hex[:12]) if what == COMMENT else (job, what)
        written.append(author.write(state, PLAN, subject, value))
    return written


def _refuse(what: str, value: str) -> None:
    if what not in (ASSIGNED, PROMISED, WAITING_FOR, COMMENT):
        raise InputError("plan", [Fault("plan", "assigned, promised, waiting_for or comment", what)])
    if len(value) > LONGEST:
        raise InputError("plan", [Fault(what, f"at most {LONGEST} characters", f"{len(value)}")])
    if what == PROMISED and value and not (_is_day(value) and FIRST_YEAR <= int(value[:4]) <= LAST_YEAR):
        expected = f"a day from {FIRST_YEAR} to {LAST_YEAR}, such as 2026-05-14"
        raise InputError("plan", [Fault("promised", expected, value)])
    if what == WAITING_FOR and value and value not in WAITS_FOR:
        raise InputError("plan", [Fault("waiting for", ", ".join(WAITS_FOR), value)])


def _is_day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text > "0002"  # and no week, "2026-W50-1"
    except ValueError:
        return False
