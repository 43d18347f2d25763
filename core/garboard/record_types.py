"""Records: their types are checked, and one function prints them all.

What a plugin declares has the types it is declared with: one check, read from the annotations.

Whoever writes a plugin may not check its types. A wrong one is refused where the record is made, in words, so that
nothing of the program meets it later.
"""

from __future__ import annotations

import enum
import math
import re
import types
from collections.abc import Callable, Mapping
from functools import cache, lru_cache, partial, reduce
from reprlib import recursive_repr
from typing import TYPE_CHECKING, Any, Union, get_args, get_origin, get_type_hints

import attrs

from garboard.faults import ValueRefused, shown

__all__ = ["WrongType", "frozen", "is_text", "typed"]

_LONGEST_SHOWN = 60


_Check = Callable[[Any, "attrs.Attribute[Any]", Any], None]
_Hints = Callable[[], Mapping[str, Any]]


@recursive_repr("...")
def _printed(record: Any) -> str:
    """A record as attrs prints it: "Amount(text='38.20', unit='kn')"."""
    shown = (one for one in attrs.fields(type(record)) if one.repr)
    values = ((one, getattr(record, one.name, attrs.NOTHING)) for one in shown)
    told = (f"{one.name}={repr(value) if one.repr is True else one.repr(value)}" for one, value in values)
    return f"{type(record).__qualname__.rpartition('>.')[2]}({', '.join(told)})"


if TYPE_CHECKING:
    from attrs import frozen as frozen  # so that types are checked as attrs has them
else:

    def frozen(cls: type[Any] | None = None, /, **options: Any) -> Any:
        """`attrs.frozen` without the function that prints a record: to compile one for each class takes a twelfth of
        the time an assessment takes, and hardly any is ever called."""
        if cls is None:
            return partial(frozen, **options)
        if "__repr__" not in vars(cls) and options.keys().isdisjoint({"repr", "str"}):
            cls.__repr__ = _printed
        return attrs.frozen(cls, **options)


class WrongType(ValueRefused, TypeError):
    """A field of a record is not what the record takes."""


def typed(cls: type[Any], fields: list[attrs.Attribute[Any]]) -> list[attrs.Attribute[Any]]:
    """A field transformer: `attrs.frozen(field_transformer=typed)` checks the type of every field."""
    hints = cache(lambda: get_type_hints(cls))  # each field asks, and the hints of all are read from text at once
    return [field.evolve(validator=_checker(cls, hints, field.name, field.validator)) for field in fields]


def _checker(cls: type[Any], hints: _Hints, name: str, further: _Check | None) -> _Check:
    """A check of one field's type, and after it what else is asked of its value."""
    fits: Callable[[object], bool] | None = None

    def check(record: Any, field: attrs.Attribute[Any], value: object) -> None:
        nonlocal fits
        if fits is None:  # when the first record is made: a record may hold others of its own kind
            fits = _test_of(hints()[name])
        if not fits(value):
            expected = f"{_in_words(hints()[name])} as {name} of {_whose(cls.__name__, record)}"
            raise WrongType(expected, _shown(value), _what_to_do(name, value))
        if further is not None:
            further(record, field, value)

    return check


def _what_to_do(name: str, value: object) -> str:
    if isinstance(value, types.GeneratorType):  # a function that was called where it is to be handed over
        return f"write {name}={value.__name__} in the plugin's file, without brackets"
    return f"correct {name} in the plugin's file"


def _whose(kind: str, record: object) -> str:
    name = getattr(record, "key", None) or getattr(record, "name", None)
    return (
        f"{kind} {shown(name)}" if name and isinstance(name, str) else f"{'an' if kind[0] in 'AEIOU' else 'a'} {kind}"
    )


def _shown(value: object) -> str:
    try:
        text = repr(value)
    except Exception:  # what a plugin gives may fail in saying what it is
        text = "something"
    text = text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 3]}..."
    return f"{text} of type {type(value).__name__}"


@lru_cache(maxsize=512)
def _test_of(kind: Any) -> Callable[[object], bool]:
    """Whether a value is of a kind, made once of its annotation."""
    origin, inner = get_origin(kind) or kind, get_args(kind)
    if origin in (Union, types.UnionType):
        tests = sorted(map(_test_of, inner), key=lambda test: test is not _is_none)  # the quick one first
        return reduce(_either, tests)
    if origin is tuple:
        return _test_of_each(inner)
    if origin is Callable:
        return callable
    if origin in _PLAIN:
        return _PLAIN[origin][1]
    return lambda value: isinstance(value, origin)


def _either(one: Callable[[object], bool], other: Callable[[object], bool]) -> Callable[[object], bool]:
    return lambda value: one(value) or other(value)


def _test_of_each(inner: tuple[Any, ...]) -> Callable[[object], bool]:
    """The same of a tuple. A list does what a tuple does, and plugins at work give one."""
    if inner[-1] is Ellipsis:
        test = _test_of(inner[0])
        return lambda value: isinstance(value, tuple | list) and all(map(test, value))
    tests = [_test_of(one) for one in inner]
    return lambda value: (
        isinstance(value, tuple | list)
        and len(value) == len(tests)
        and all(test(one) for test, one in zip(tests, value, strict=True))
    )


def is_text(value: object) -> bool:
    """Whether a value is text. Half of a surrogate pair is no character: no file, terminal or page can take it."""
    return isinstance(value, str) and (value.isascii() or _HALF_CHARACTER.search(value) is None)


_HALF_CHARACTER = re.compile("[\ud800-\udfff]")


def _is_none(value: object) -> bool:
    return value is None


def _is_number(value: object) -> bool:
    """A whole number or another: an order of 2.5 stands between 2 and 3."""
    return isinstance(value, (float, int)) and not isinstance(value, bool) and not math.isnan(value)


_PLAIN: Mapping[Any, tuple[str, Callable[[object], bool]]] = {
    str: ("text", is_text),
    int: ("a number", _is_number),
    float: ("a finite number", _is_number),
    bool: ("True or False", lambda value: isinstance(value, bool)),
    types.NoneType: ("None", _is_none),
    list: ("a list", lambda value: isinstance(value, list)),
    dict: ("a dict", lambda value: isinstance(value, dict)),
}


def _in_words(kind: Any) -> str:
    """What a field takes, as a plugin's author writes it."""
    origin, inner = get_origin(kind) or kind, get_args(kind)
    if origin in (Union, types.UnionType):
        return " or ".join(dict.fromkeys(map(_in_words, inner)))
    if origin is tuple and inner[-1] is Ellipsis:
        return f"a tuple whose items are each {_in_words(inner[0])}"
    if origin is tuple:
        return f"a tuple of {len(inner)} items, {' and '.join(map(_in_words, inner))}"
    if origin is Callable:
        return "a function"
    if origin in _PLAIN:
        return _PLAIN[origin][0]
    if issubclass(origin, enum.Enum):
        return f"one of {', '.join(map(str, origin))}"
    return f"a {origin.__name__}"
