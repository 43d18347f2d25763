"""Settings as entries: which values stand for a job and for the shop, and who set them.

The shop's settings are entries of a record of its own, kept, merged and sent like a hull's. Its key is longer than
any hull number, so that nothing takes it for a boat; a program that does not know the kind passes the entries on.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from typing import TYPE_CHECKING

from garboard.disk.entries import SHOP_RECORD, Entry
from garboard.history.registers import Register, RegisterKey
from garboard.history.replay import HullState, replay
from garboard.settings import JOB, SHOP, SettingSet

if TYPE_CHECKING:
    from garboard.history.authoring import Author
    from garboard.records import JsonValue

SETTING = "setting"
Managers = Collection[str] | None
"""What stands in entries for those who may decide (their `dev`); None where everyone may."""


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
    proved = Register()
    for entry in register.entries.values():
        if _is_proved(entry, managers):
            proved.add(entry)
    yield from (_set_by(entry, key) for entry in proved.current)
    for entry in register.current:
        if not _is_proved(entry, managers):
            yield _set_by(entry, key, proved=False)


def _is_proved(entry: Entry, managers: Managers) -> bool:
    return managers is None or entry.tablet in managers


def shop_settings(entries: Iterable[Entry], managers: Managers = None) -> tuple[SettingSet, ...]:
    """Every value that stands in the shop's record."""
    return settings_of(replay(SHOP_RECORD, entries), managers=managers)


def set_setting(author: Author, state: HullState, key: str, value: JsonValue, reason: str, job: str = "") -> Entry:
    """A value that replaces what stands, for a job or in the shop's record."""
    return author.write(state, SETTING, (key,), value, job=job, more={"reason": reason})


def _set_by(entry: Entry, key: str, *, proved: bool = True) -> SettingSet:
    reason = entry.more.get("reason")
    return SettingSet(
        key=key,
        value=entry.value,
        source=JOB if entry.job else SHOP,
        by=entry.by,
        at=entry.at,
        reason=reason if isinstance(reason, str) else "",
        proved=proved,
    )
