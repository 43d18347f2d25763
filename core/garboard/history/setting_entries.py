"""Settings as entries: which values stand for a job and for the shop, and who set them.

The shop's settings are entries of a record of its own, kept, merged and sent like a hull's. Its key is longer than
any hull number, so that nothing takes it for a boat; a program that does not know the kind passes the entries on.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from garboard.disk.entries import SHOP_RECORD, Entry
from garboard.faults import Fault, InputError
from garboard.history.authority import ListNotRead, Managers, is_managers
from garboard.history.registers import Register, RegisterKey
from garboard.history.replay import HullState, replay
from garboard.settings import JOB, SETTING, SHOP, SettingSet

if TYPE_CHECKING:
    from garboard.history.authoring import Author
    from garboard.records import JsonValue


def setting_register(key: str, job: str = "") -> RegisterKey:
    """The register of a job's setting; with no job, of the shop's in its record."""
    return RegisterKey(SETTING, job, (key,))


def settings_of(state: HullState, job: str = "", managers: Managers = None) -> tuple[SettingSet, ...]:
    """Every value that stands for a job, or in the shop's record; several of one key are not settled."""
    keys = sorted(key for key in state.registers if key.kind == SETTING and key.job == state.joined(job))
    return tuple(
        found for key in keys if key.subject for found in _in_register(state.registers[key], key.subject[0], managers)
    )


def _in_register(register: Register, key: str, managers: Managers) -> Iterator[SettingSet]:
    """What stands in a register as managers wrote it, then what others wrote and nobody replaced.

    What others wrote replaces nothing: the manager's value before it still holds.
    """
    yield from (_set_by(entry, key) for entry in _proved(register, managers).current)
    for entry in register.current:
        if not _is_proved(entry, managers):
            yield _set_by(entry, key, proved=False, is_list_read=not isinstance(managers, ListNotRead))


def _proved(register: Register, managers: Managers) -> Register:
    """A register as if only managers had written in it."""
    proved = Register(register.key)
    for entry in register.entries.values():
        if _is_proved(entry, managers):
            proved.add(entry)
    return proved


def _is_proved(entry: Entry, managers: Managers) -> bool:
    return managers is None or is_managers(entry, managers)


def holding_entries(state: HullState, managers: Managers = None) -> tuple[str, ...]:
    """Ids of the setting entries that decide what holds now, those that take a setting back among them."""
    found = (_proved(register, managers).head_ids for key, register in state.registers.items() if key.kind == SETTING)
    return tuple(sorted({name for names in found for name in names}))


def shop_settings(entries: Iterable[Entry], managers: Managers = None) -> tuple[SettingSet, ...]:
    """Every value that stands in the shop's record."""
    return settings_of(replay(SHOP_RECORD, entries), managers=managers)


def set_setting(
    author: Author,
    state: HullState,
    key: str,
    value: JsonValue,
    reason: str,
    job: str = "",
    managers: Managers = None,
) -> Entry:
    """A value that replaces what stands, for a job or in the shop's record.

    managers : whose settings hold; what they set stands even where somebody else replaced it, and is replaced, too
    """
    if not reason.strip():
        raise InputError("settings", [Fault("reason", "why it is set", "nothing")])
    replaced = _heads(state, setting_register(key, job), managers)
    hull = state.hull_number_of(job)
    return author.write(state, SETTING, (key,), value, job=job, replaces=replaced, more={"reason": reason}, hull=hull)


def reset_setting(
    author: Author, state: HullState, key: str, reason: str, job: str = "", managers: Managers = None
) -> Entry:
    """Take back everything that stands, for a job or in the shop's record; arguments as for `set_setting`."""
    if not reason.strip():
        raise InputError("settings", [Fault("reason", "why it is taken back", "nothing")])
    replaced = _heads(state, setting_register(key, job), managers)
    value: JsonValue = {"kind": SETTING, "reason": reason}
    return author.write(state, "retract", (key,), value, job=job, replaces=replaced, hull=state.hull_number_of(job))


def _heads(state: HullState, key: RegisterKey, managers: Managers) -> tuple[str, ...]:
    register = state.register(key)
    return tuple(sorted(register.head_ids | _proved(register, managers).head_ids))


def _set_by(entry: Entry, key: str, *, proved: bool = True, is_list_read: bool = True) -> SettingSet:
    reason = entry.more.get("reason")
    return SettingSet(
        key=key,
        value=entry.value,
        source=JOB if entry.job else SHOP,
        by=entry.by,
        at=entry.at,
        reason=reason if isinstance(reason, str) else "",
        proved=proved,
        is_list_read=is_list_read,
    )
