"""What a shop may decide: one declaration a setting, with its unit, its range and where its default comes from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import attrs

from garboard.faults import ValueRefused
from garboard.fields import Field, Kind, check_value
from garboard.findings import Basis, Lack, Missing, NotEnoughData
from garboard.records import JsonValue
from garboard.units import Amount

__all__ = [
    "JOB",
    "SHOP",
    "STRICTER",
    "ReadSettings",
    "Setting",
    "SettingSet",
    "SettingUsed",
    "in_force",
    "setting_number",
]

JOB, SHOP = "job", "shop"
"""Whose value it is: the job's own comes before the shop's."""

STRICTER = ("", "lower", "higher")
"""Which value of a setting is the stricter one; "" where neither is."""


@attrs.frozen(kw_only=True)
class Setting:
    """Something a shop decides once, such as how long full throttle may be held.

    key      : "<plugin>.<setting>"
    field    : what kind of value it is; an amount or a count needs `hard`, the range its value must lie in
    default  : used until the shop decides, and while two values stand unsettled
    basis    : where the default comes from
    stricter : "lower" or "higher" where that value asks more of a boat; it holds while two stand unsettled
    """

    key: str
    field: Field
    default: JsonValue
    basis: Basis
    stricter: str = ""

    def __attrs_post_init__(self) -> None:
        if self.stricter not in STRICTER:
            raise ValueError(f'setting {self.key!r}: stricter must be "lower", "higher" or "", got {self.stricter!r}')
        if self.field.kind not in (Kind.AMOUNT, Kind.COUNT):
            return
        if self.field.hard is None:
            raise ValueError(
                f"setting {self.key!r} has no range; give its field hard=(low, high) in {self.unit_in_words}, "
                "the values a shop may choose from"
            )
        low, high = self.field.hard
        if not low <= (default := self.number(self.default)) <= high:
            raise ValueError(
                f"setting {self.key!r}: the default {self.default!r} lies outside its range "
                f"{low:g} to {high:g} {self.field.unit}, it is {default:g}; change one of them"
            )

    @property
    def unit_in_words(self) -> str:
        return self.field.unit or "plain numbers"

    def number(self, value: JsonValue) -> float:
        """A value of an amount or a count as a number, in the unit declared. Raises ValueError when it is none."""
        return Amount.parse(str(value)).to(self.field.unit)

    def takes(self, value: JsonValue) -> bool:
        """Whether a value can be used; `fields.check_value` says why not."""
        try:
            check_value(self.field, value)
        except ValueRefused:
            return False
        return True

    def same(self, one: JsonValue, other: JsonValue) -> bool:
        """Whether two values ask the same: "20 %" and "20.0 %" do, and "1 m" and "100 cm"."""
        if self.field.kind in (Kind.AMOUNT, Kind.COUNT):
            try:
                return abs(self.number(one) - self.number(other)) <= _ROUNDING * abs(self.number(one))
            except ValueError:
                return False
        return type(one) is type(other) and one == other


_ROUNDING = 1e-12
"""What converting between units may cost."""


@attrs.frozen(kw_only=True)
class SettingSet:
    """A value somebody set, for one job or for all the shop's jobs.

    source : JOB or SHOP
    """

    key: str
    value: JsonValue
    source: str = JOB
    by: str = ""
    at: str = ""
    reason: str = ""


@attrs.frozen(kw_only=True)
class SettingUsed:
    """A setting that is not simply at its default: what is used, and what somebody set.

    value : what is used
    set   : the values that were set; several when they are not settled
    state : "set"; "unsettled" where several values stand; "unusable" where the one that stands is out of range
    """

    key: str
    title: str
    value: JsonValue
    default: JsonValue
    set: tuple[SettingSet, ...]
    state: str = "set"


def in_force(
    declared: Iterable[Setting], values: Iterable[SettingSet]
) -> tuple[dict[str, JsonValue], dict[str, SettingUsed]]:
    """Which value of each setting holds.

    declared : the settings of the plugins at work
    values   : what stands, of the job and of the shop; several of one key and source are not settled
    returns  : every value by key, and those to be named beside a finding: not at their default, or in doubt

    The job's own value comes before the shop's. While several stand the stricter holds where the setting says which
    one that is, else the default. A value out of range is never used: it came past the check, from elsewhere.
    """
    of_key: dict[str, list[SettingSet]] = {}
    for one in values:
        of_key.setdefault(one.key, []).append(one)
    used = {
        setting.key: found for setting in declared if (found := _used(setting, of_key.get(setting.key, []))) is not None
    }
    defaults = {setting.key: setting.default for setting in declared}
    unknown = {one.key: one.value for found in of_key.values() for one in found if one.key not in defaults}
    return {**unknown, **defaults, **{key: one.value for key, one in used.items()}}, used


def _used(setting: Setting, values: list[SettingSet]) -> SettingUsed | None:
    standing = [one for one in values if one.source == JOB] or values
    if not standing:
        return None
    usable = [one for one in standing if setting.takes(one.value)]
    different: list[SettingSet] = []
    for one in usable:
        if not any(setting.same(one.value, other.value) for other in different):
            different.append(one)
    state = "unusable" if not usable else "set" if len(different) == 1 else "unsettled"
    value = different[0].value if state == "set" else _meanwhile(setting, different)
    if state == "set" and setting.same(value, setting.default):
        return None
    return SettingUsed(
        key=setting.key,
        title=setting.field.title,
        value=value,
        default=setting.default,
        set=tuple(different if usable else standing),
        state=state,
    )


def _meanwhile(setting: Setting, different: list[SettingSet]) -> JsonValue:
    """What holds while several values stand."""
    if not different or not setting.stricter:
        return setting.default
    choose = min if setting.stricter == "lower" else max
    return choose(different, key=lambda one: setting.number(one.value)).value


class ReadSettings(Mapping[str, JsonValue]):
    """Settings that remember which of them were read, so that a finding names those it used."""

    def __init__(self, values: Mapping[str, JsonValue]) -> None:
        self._values = values
        self.read: set[str] = set()

    def __getitem__(self, key: str) -> JsonValue:
        self.read.add(key)
        return self._values[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)


def setting_number(settings: Mapping[str, JsonValue], key: str, unit: str) -> float:
    """A setting that is an amount or a count [unit]. Raises NotEnoughData for a value that is no such amount."""
    try:
        return Amount.parse(str(settings[key])).to(unit)
    except ValueError as unreadable:
        text = f"the shop's setting {key}: {unreadable}"
        raise NotEnoughData(Missing(text, lack=Lack.UNREADABLE)) from None
