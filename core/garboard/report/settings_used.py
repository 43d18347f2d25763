"""What to say of the settings a verdict used, where they are not at their default."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from garboard.disk.clock import moment_in_words
from garboard.records import JsonValue
from garboard.settings import DEFAULT, JOB, SIGNED, UNSETTLED, SettingSet, SettingUsed, picture_in
from garboard.steps import Assessed
from garboard.units import Amount

FROM_MEMORY = "from memory)"
"""How the name of a choice ends whose figures nobody has compared with the text they come from."""


def settings_in_words(found: Iterable[Assessed]) -> tuple[str, ...]:
    """A line for each setting that checks used, in order of keys, with the checks that used it."""
    titles: dict[str, list[str]] = {}
    used: dict[str, SettingUsed] = {}
    for one in found:
        for setting in one.settings_used:
            used[setting.key] = setting
            titles.setdefault(setting.key, []).append(one.title)
    return tuple(
        f"{setting_in_words(used[key])} Used for: {', '.join(dict.fromkeys(titles[key]))}." for key in sorted(used)
    )


def setting_in_words(used: SettingUsed) -> str:
    """A setting that is not simply at its default: the value, who set it, and what is open about it."""
    return " ".join([f"{used.title}: {_value(used)}.", *_open_about(used)])


def _value(used: SettingUsed) -> str:
    value = _said(used.value)
    if used.state == DEFAULT:
        return f"{value}, the default"
    if used.state == UNSETTLED:
        values = " or ".join(f"{_said(one.value)}{_by(one)}" for one in used.set)
        which = "the default" if used.value == used.default else "the stricter"
        return f"{value}, {which} while it is not settled between {values}; a manager chooses"
    (one,) = used.set
    ours = "our limit" if _is_number(used.default) else "ours"
    whose = {JOB: "set for this job", SIGNED: f"{ours} when the job was signed"}.get(one.source, ours)
    return f"{value}, {whose}{_by(one)}; the default is {_said(used.default)}"


def _is_number(default: JsonValue) -> bool:
    """Whether a setting is a count or an amount, and so may be a limit; a telephone, a logo and a choice are none."""
    if not isinstance(default, str):
        return isinstance(default, int | float) and not isinstance(default, bool)
    try:
        Amount.parse(default)
    except ValueError:
        return False
    return True


def _open_about(used: SettingUsed) -> Iterator[str]:
    if used.shop_now:
        values = " or ".join(f"{_said(one.value)}{_by(one)}" for one in used.shop_now)
        yield f"The shop's setting has changed since the job was signed, to {values}."
    for one in used.not_used:
        yield f"Not used: {_said(one.value)}{_by(one)}; {_why_not(one)}."


def _why_not(one: SettingSet) -> str:
    if one.proved:
        return "it is out of range"
    if one.is_list_read:
        return "no manager is known to have set it"
    return "the list of managers cannot be read; a tablet makes it again when it comes ashore, a shop when it starts"


def _said(value: JsonValue) -> str:
    return memory_in_words(value_in_words(value))


def memory_in_words(choice: str) -> str:
    """A choice as people read it who need not type it. Entries of shops hold choices called "from memory".

    >>> memory_in_words("at any voltage (factors from memory)")
    'at any voltage (factors not compared with the printed text)'
    """
    return choice.replace(FROM_MEMORY, "not compared with the printed text)")


def value_in_words(value: JsonValue) -> str:
    """A setting's value as a person reads it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if picture := picture_in(value):
        return f"a picture ({_FORMS[picture[0]]}, {-(-len(picture[1]) * 3 // 4000)} kB)"
    return "nothing" if value == "" else str(value)


_FORMS = {"png": "PNG", "jpeg": "JPEG", "svg+xml": "SVG"}


def _by(one: SettingSet) -> str:
    when = f" on {moment_in_words(one.at)}" if one.at else ""
    return f", set by {one.by}{when}" if one.by else ""
