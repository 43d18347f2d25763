"""What became of everything ever entered: what stands, what was replaced or taken back, what outlived a joining."""

from __future__ import annotations

from collections.abc import Iterator

import attrs

from garboard.disk.entries import Entry
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState

STANDS, DISAGREES, REPLACED = "stands", "disagrees", "replaced"
TAKEN_BACK, TAKING_BACK = "taken back", "taking back"


@attrs.frozen
class PastEntry:
    """One entry in the history of a value.

    became : STANDS, DISAGREES, REPLACED or TAKEN_BACK; TAKING_BACK where the entry takes others back
    """

    entry: Entry
    became: str
    reason: str


def history_of(state: HullState, key: RegisterKey) -> tuple[PastEntry, ...]:
    """Everything ever entered in a register, in order of display, and what became of it."""
    register = state.register(key)
    taken_back = {target for one in register.entries.values() if one.kind == "retract" for target in one.replaces}
    standing = DISAGREES if state.disagrees(key) else STANDS

    def became(entry: Entry) -> str:
        if entry.kind == "retract":
            return TAKING_BACK
        if entry.id in taken_back:
            return TAKEN_BACK
        return standing if entry.id in register.head_ids else REPLACED

    return tuple(PastEntry(entry, became(entry), reason_in(entry)) for entry in register.history)


def reason_in(entry: Entry) -> str:
    """The reason an entry gives, where it gives one."""
    inside = entry.value.get("reason") if isinstance(entry.value, dict) else None
    found = entry.more.get("reason") or inside
    return found if isinstance(found, str) else ""


def outlived_a_joining(state: HullState, elsewhere: HullState) -> Iterator[RegisterKey]:
    """Registers in which something took the place of an entry that now stands elsewhere.

    Two hull numbers, or two jobs, were one for a time. A value chosen then for both stays where it was written when
    they are parted, and the other has its own value again.

    elsewhere : the state of the other hull number; the state itself for two of its jobs
    """
    for key in sorted(state.registers):
        here = state.registers[key].entries
        if any(other not in here and other in elsewhere for entry in here.values() for other in entry.replaces):
            yield key
