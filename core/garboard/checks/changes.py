"""What a later version of a check file changes, one sentence for each change."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from garboard.checks.file import plain_of
from garboard.checks.refused import CheckRefused

_NAMED_BY = ("name", "code", "number", "setting", "step")
_LONGEST_SHOWN = 120


def changes(before: bytes, now: bytes) -> tuple[str, ...]:
    """What differs from an earlier version, in the order of the file; nothing where one of the two cannot be read.

    >>> changes(b'edition = "1"\\n[[value]]\\nname="a"', b'edition = "2"\\n[[value]]\\nname="b"\\ntitle="Play"')
    ("edition was '1' and is '2'", 'value Play (b) is new', 'value a is gone')
    """
    try:
        old, new = plain_of(before)[1], plain_of(now)[1]
    except CheckRefused:
        return ()
    return tuple(_between(old, new, ""))


def _between(old: Mapping[str, Any], new: Mapping[str, Any], where: str) -> Iterator[str]:
    for key in dict.fromkeys((*new, *old)):
        one, other = old.get(key), new.get(key)
        if one == other:
            continue
        if is_list_of_tables(one if other is None else other):
            yield from _in_list(one or [], other or [], f"{where}{key}")
        elif isinstance(one, dict) and isinstance(other, dict):
            yield from _between(one, other, f"{where}{key}, ")
        else:
            yield f"{where}{key} was {_shown(one)} and is {_shown(other)}"


def is_list_of_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, dict) for one in value)


def _in_list(old: list[Any], new: list[Any], where: str) -> Iterator[str]:
    """Tables of a list, matched by their names; one that was renamed by the name it had."""
    before = {_name(one): one for one in old if isinstance(one, dict)}
    for one in new:
        name = _name(one)
        former = next((each for each in one.get("renamed_from", ()) if each in before and name not in before), "")
        if former:
            yield f"{where} {_called(one, former)} is now called {name}, and keeps its values"
        known = before.pop(former or name, None)
        if known is None:
            yield f"{where} {_called(one, name)} is new"
        else:
            left_out = ("name", "renamed_from") if former else ()
            within = f"{where} {_called(one, name)}, "
            yield from _between(_without(known, left_out), _without(one, left_out), within)
    yield from (f"{where} {_called(one, name)} is gone" for name, one in before.items())


def _without(table: Mapping[str, Any], keys: Collection[str]) -> Mapping[str, Any]:
    return {key: value for key, value in table.items() if key not in keys}


def _name(table: Mapping[str, Any]) -> str:
    return next((str(table[key]) for key in _NAMED_BY if key in table), "")


def _called(table: Mapping[str, Any], name: str) -> str:
    """What a person calls a table of the file: its title, with the name in the file behind it."""
    title = table.get("title")
    return f"{title} ({name})" if isinstance(title, str) and title else name


def _shown(value: object) -> str:
    text = "not there" if value is None else repr(value)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 3]}..."
