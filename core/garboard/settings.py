"""What a shop may decide: one declaration a setting, with its unit, its range and where its default comes from."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

import attrs

from garboard.faults import GarboardError, ValueRefused, one_of
from garboard.fields import Field, Kind, amount_field, check_value, typed_value
from garboard.findings import Basis, BasisKind, Lack, Missing, NotEnoughData, in_full
from garboard.record_types import frozen, typed
from garboard.records import JsonValue
from garboard.units import Amount

__all__ = [
    "DEFAULT",
    "JOB",
    "SET",
    "SETTING",
    "SHOP",
    "SIGNED",
    "STRICTER",
    "UNSETTLED",
    "NoSuchSetting",
    "ReadSettings",
    "Setting",
    "SettingSet",
    "SettingUsed",
    "Signed",
    "amount_setting",
    "basis_used",
    "binding",
    "check_pairs",
    "in_force",
    "picture_in",
    "refuse_looser",
    "setting_number",
]

SETTING = "setting"
"""The kind of the entries by which settings are set."""

JOB, SHOP, SIGNED = "job", "shop", "signed"
"""Where a value comes from."""

STRICTER = ("", "lower", "higher")
"""Which value of a setting is the stricter one; "" where neither is."""


@frozen(kw_only=True)
class SettingSet:
    """A value somebody set.

    source : JOB for one job, SHOP for all of the shop's, SIGNED for what a technician signed the job under
    proved : whether a manager set it, as far as this machine can know; else it is shown and not used
    is_list_read : whether this machine could read the list of managers, where it is not proved
    """

    key: str
    value: JsonValue
    source: str = JOB
    by: str = ""
    at: str = ""
    reason: str = ""
    proved: bool = True
    is_list_read: bool = True


@frozen(kw_only=True, field_transformer=typed)
class Setting:
    """Something a shop decides once, such as how long full throttle may be held.

    key      : "<plugin>.<setting>"
    field    : what kind of value it is; an amount or a count needs `hard`, the range its value must lie in
    default  : used until the shop decides, and while two values stand unsettled of which neither is stricter
    basis    : where the default comes from
    stricter : "lower" or "higher" where that value asks more of a boat; it holds while two stand unsettled
    at_most  : keys of settings of the same unit whose value this one must not lie above: the upper end of its range
    asked    : a stricter value that a check file of the shop's asks for; filled in by the host
    is_picture : it is a text that holds a picture; `garboard settings picture` makes it of a file
    """

    key: str
    field: Field
    default: JsonValue
    basis: Basis
    stricter: str = ""
    at_most: tuple[str, ...] = ()
    asked: SettingSet | None = None
    is_picture: bool = False

    def __attrs_post_init__(self) -> None:
        if "." not in self.key:
            raise ValueError(f"setting {self.field.title!r}: key must read '<plugin>.<setting>', got {self.key!r}")
        if self.stricter not in STRICTER:
            raise ValueError(f'setting {self.key!r}: stricter must be "lower", "higher" or "", got {self.stricter!r}')
        if self.field.kind in (Kind.AMOUNT, Kind.COUNT):
            self._check_range()
        elif self.stricter:
            raise ValueError(
                f"setting {self.key!r}: stricter says which number asks more of a boat, and a {self.field.kind.value} "
                "is none; leave stricter out"
            )
        self._check_default()

    def _check_range(self) -> None:
        if self.field.hard is None:
            raise ValueError(
                f"setting {self.key!r} has no range; give its field hard=(low, high) in {self.unit_in_words}, "
                "the values a shop may choose from"
            )

    def _check_default(self) -> None:
        try:
            check_value(attrs.evolve(self.field, hard=None), self.default)
        except ValueRefused as refused:
            raise ValueError(f"setting {self.key!r}: the default: {refused}; change it in the plugin's file") from None
        if self.field.kind not in (Kind.AMOUNT, Kind.COUNT) or self.field.hard is None:
            return
        low, high = self.field.hard
        if not low <= (default := self.number(self.default)) <= high:
            raise ValueError(
                f"setting {self.key!r}: the default {self.default!r} lies outside its range "
                f"{in_full(low)} to {in_full(high)} {self.field.unit}, it is {in_full(default)}; change one of them"
            )

    @property
    def unit_in_words(self) -> str:
        return self.field.unit or "plain numbers"

    def number(self, value: JsonValue) -> float:
        """A value of an amount or a count as a number, in the unit declared. Raises ValueError when it is none."""
        return Amount.parse(str(value)).to(self.field.unit)

    @property
    def allowed(self) -> str:
        """What may be set, in words: "between 0.5 and 20 %"."""
        if self.is_picture:
            return "a picture: PNG, JPEG or SVG"
        if self.field.hard is not None:
            low, high = self.field.hard
            return f"between {in_full(low)} and {in_full(high)} {self.field.unit}".rstrip()
        if self.field.pattern:
            return f"text such as {self.field.offers[0]!r}"
        return one_of(self.field.choices) if self.field.choices else self.field.kind.value

    def typed(self, text: str) -> JsonValue:
        """What a person typed, as the kind of value the setting takes; a bare number is in the setting's own unit."""
        if self.field.kind is Kind.AMOUNT and self.field.unit and _BARE_NUMBER.fullmatch(text.strip()):
            return f"{text.strip()} {self.field.unit}"
        return typed_value(self.field, text)

    def takes(self, value: JsonValue) -> bool:
        """Whether a value can be used; `fields.check_value` says why not."""
        try:
            check_value(self.field, value)
        except ValueRefused:
            return False
        return not self.is_picture or value == "" or picture_in(value) is not None

    def is_looser(self, one: JsonValue, other: JsonValue) -> bool:
        """Whether a value asks less of a boat than another; never where neither way is the stricter one."""
        if not self.stricter or self.same(one, other):
            return False
        return (self.number(one) > self.number(other)) is (self.stricter == "lower")

    def same(self, one: JsonValue, other: JsonValue) -> bool:
        """Whether two values ask the same: "20 %" and "20.0 %" do, and "1 m" and "100 cm"."""
        if self.field.kind in (Kind.AMOUNT, Kind.COUNT):
            try:
                return abs(self.number(one) - self.number(other)) <= _ROUNDING * abs(self.number(one))
            except ValueError:
                return False
        return type(one) is type(other) and one == other


_PICTURE = re.compile(r"data:image/(png|jpeg|svg\+xml);base64,([A-Za-z0-9+/]{1,60000}={0,2})")


def picture_in(value: object) -> tuple[str, str] | None:
    """Kind and content, as base64, of a picture that a setting holds; None for any other value.

    >>> picture_in("data:image/png;base64,iVBORw0KGgo=")
    ('png', 'iVBORw0KGgo=')
    """
    found = _PICTURE.fullmatch(value) if isinstance(value, str) else None
    return (found[1], found[2]) if found else None


_BARE_NUMBER = re.compile(r"-?[0-9]*\.?[0-9]+")
_ROUNDING = 1e-12
"""What converting between units may cost."""


def amount_setting(
    plugin: str,
    name: str,
    title: str,
    quantity: str,
    unit: str,
    default: str,
    hard: tuple[float, float],
    basis: Basis,
    stricter: str = "",
    at_most: tuple[str, ...] = (),
    help: str = "",
) -> Setting:
    """A setting that is an amount, the commonest kind.

    plugin  : whose setting it is
    name    : of the setting, and of those in `at_most`, without the plugin's
    default : as text with its unit [unit]
    hard    : lowest and highest value a shop may set [unit]
    errors  : ValueError where the default lies outside the range, or the range is no range

    The other arguments are those of `Field` and `Setting`.
    """
    field = amount_field(name, title, quantity, unit, None, hard, help=help)
    return Setting(
        key=f"{plugin}.{name}",
        field=field,
        default=default,
        basis=basis,
        stricter=stricter,
        at_most=tuple(f"{plugin}.{each}" for each in at_most),
    )


DEFAULT, SET, UNSETTLED = "default", "set", "unsettled"


@frozen(kw_only=True)
class SettingUsed:
    """A setting to be named beside a finding: it is not at its default, or something about it is open.

    value     : what is used
    state     : DEFAULT; SET; UNSETTLED where several values stand and a manager has to choose
    set       : the values it comes from; several while they are not settled
    not_used  : values that stand and cannot be used: out of range, or not proved to be a manager's
    shop_now  : what the shop's setting has changed to since the job was signed
    """

    key: str
    title: str
    value: JsonValue
    default: JsonValue
    state: str = SET
    set: tuple[SettingSet, ...] = ()
    not_used: tuple[SettingSet, ...] = ()
    shop_now: tuple[SettingSet, ...] = ()


Signed = Mapping[str, SettingSet | None]
"""What one signature says the job was signed under, by key; what it does not name was at its default.

None for a setting of the job that was set or taken back after the signature: that one follows the job and the shop.
"""


def binding(signed: Sequence[Signed], key: str) -> list[Signed]:
    """The signatures that say what a setting stays at."""
    return [one for one in signed if key not in one or one[key] is not None]


def in_force(
    declared: Iterable[Setting], values: Iterable[SettingSet], signed: Sequence[Signed] = ()
) -> tuple[dict[str, JsonValue], dict[str, SettingUsed]]:
    """Which value of each setting holds.

    declared : the settings of the plugins at work
    values   : what stands, of the job and of the shop; several of one key and source are not settled
    signed   : for each technician's signature that covers the whole job, what it was given under
    returns  : every value by key, and those to be named beside a finding

    The job's own value comes first, or what a job file says it was signed under. A signed job keeps what it was signed
    under; any other follows the shop's. While several values stand the stricter holds where the setting says which one
    that is, else the default. A value that is out of range, or not proved to be a manager's, is never used.
    """
    of_key: dict[str, list[SettingSet]] = {}
    for one in values:
        of_key.setdefault(one.key, []).append(one)
    used: dict[str, SettingUsed] = {}
    for setting in declared:
        named = _used(setting, of_key.get(setting.key, []), signed)
        if named is not None:
            used[setting.key] = named
    defaults = {setting.key: setting.default for setting in declared}
    unknown = {one.key: one.value for several in of_key.values() for one in several if one.key not in defaults}
    return {**unknown, **defaults, **{key: one.value for key, one in used.items()}}, used


def _used(setting: Setting, values: Sequence[SettingSet], signed: Sequence[Signed]) -> SettingUsed | None:
    signed = binding(signed, setting.key)
    if not values and setting.asked is None and not any(setting.key in one for one in signed):
        return None  # all say the default, as nearly every setting does in each check
    usable = [one for one in values if one.proved and setting.takes(one.value)]
    not_used = [one for one in values if not (one.proved and setting.takes(one.value))]
    own = [one for one in usable if one.source != SHOP]
    shop = [one for one in usable if one.source == SHOP]
    signed_values = [_signed_under(setting, one) for one in signed]
    value, state, chosen = _holding(setting, _none_looser(setting, own or signed_values or shop))
    now, _, of_shop = _holding(setting, _none_looser(setting, shop))
    has_changed = not own and bool(signed) and not setting.same(value, now)
    if state == DEFAULT and not not_used and not has_changed:
        return None
    at_default = [SettingSet(key=setting.key, value=setting.default, source=SHOP)]
    return SettingUsed(
        key=setting.key,
        title=setting.field.title,
        value=value,
        default=setting.default,
        state=state,
        set=tuple(chosen),
        not_used=tuple(not_used),
        shop_now=tuple(of_shop or at_default) if has_changed else (),
    )


def _none_looser(setting: Setting, standing: Sequence[SettingSet]) -> Sequence[SettingSet]:
    """What stands, without what is looser than a check of the shop's asks; what was signed under stays."""
    asked = setting.asked
    if asked is None or any(one.source == SIGNED for one in standing):
        return standing
    kept = [one for one in standing if not setting.is_looser(one.value, asked.value)]
    return kept if kept and len(kept) == len(standing) else [*kept, asked]


def _signed_under(setting: Setting, signed: Signed) -> SettingSet:
    found = signed.get(setting.key)
    if found is None or not setting.takes(found.value):
        return SettingSet(key=setting.key, value=setting.default, source=SIGNED)
    return found


def _holding(setting: Setting, standing: Sequence[SettingSet]) -> tuple[JsonValue, str, list[SettingSet]]:
    """The value that holds of those that stand, its state, and the different values it comes from."""
    different: list[SettingSet] = []
    for one in standing:
        if not any(setting.same(one.value, other.value) for other in different):
            different.append(one)
    if len(different) > 1:
        return _meanwhile(setting, different), UNSETTLED, different
    if not different or setting.same(different[0].value, setting.default):
        return setting.default, DEFAULT, []
    return different[0].value, SET, different


def _meanwhile(setting: Setting, different: Sequence[SettingSet]) -> JsonValue:
    """What holds while several values stand."""
    if not setting.stricter:
        return setting.default
    choose = min if setting.stricter == "lower" else max
    return choose(different, key=lambda one: setting.number(one.value)).value


def check_pairs(declared: Iterable[Setting], values: Mapping[str, JsonValue], key: str) -> None:
    """Raise ValueRefused, naming the other, where a setting and one it is paired with are the wrong way round.

    values : what would hold, by key
    key    : the setting that is changed
    """
    by_key = {setting.key: setting for setting in declared}
    pairs = ((low, by_key[high]) for low in by_key.values() for high in low.at_most if high in by_key)
    for low, high in pairs:
        if key in (low.key, high.key) and low.number(values[low.key]) > low.number(values[high.key]):
            other, limit = (high, "at most") if key == low.key else (low, "at least")
            raise ValueRefused(
                f"{limit} {values[other.key]}, the value of {other.field.title!r} ({other.key})",
                str(values[key]),
                cure=f"change {other.key} first, or choose another value",
            )


def refuse_looser(declared: Iterable[Setting], value: JsonValue, key: str) -> None:
    """Raise ValueRefused for a value that is looser than what a check of the shop's asks for."""
    setting = next((one for one in declared if one.key == key), None)
    if setting is None or setting.asked is None or not setting.is_looser(value, setting.asked.value):
        return
    limit = "at most" if setting.stricter == "lower" else "at least"
    expected = f"{limit} {setting.asked.value}, asked for by {setting.asked.by}"
    raise ValueRefused(expected, str(value), cure="change that check first, or choose a stricter value")


def basis_used(text: str, *used: tuple[Setting, float]) -> Basis:
    """Where the values in force come from: the default's own basis, or once another holds a rule of the shop.

    text : the rule with the values in force
    used : the settings it rests on, each with its value in its own unit
    """
    default = used[0][0].basis
    if all(math.isclose(setting.number(setting.default), value, rel_tol=_ROUNDING) for setting, value in used):
        return default
    return Basis(BasisKind.SHOP_RULE, text, default.note)


class NoSuchSetting(GarboardError, KeyError):
    """No plugin declares a setting of this key."""

    def __str__(self) -> str:
        return f"no plugin at work declares the setting {self.args[0]!r}"


class ReadSettings(Mapping[str, JsonValue]):
    """Settings that remember which of them were read, so that a finding names those it used."""

    def __init__(self, values: Mapping[str, JsonValue]) -> None:
        self._values = values
        self.read: set[str] = set()

    def __getitem__(self, key: str) -> JsonValue:
        self.read.add(key)
        if key not in self._values:
            raise NoSuchSetting(key)
        return self._values[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)


def setting_number(settings: Mapping[str, JsonValue], key: str, unit: str) -> float:
    """A setting that is an amount or a count [unit].

    Raises NotEnoughData for a value that is no amount, and ValueError for a unit of another quantity: whoever asks
    in it never gets an answer.
    """
    try:
        amount = Amount.parse(str(settings[key]))
    except ValueError as unreadable:
        text = f"the shop's setting {key}: {unreadable}"
        raise NotEnoughData(Missing(text, lack=Lack.UNREADABLE)) from None
    return amount.to(unit)
