"""Records from plain data and back: strict on the way in, every fault at once, unknown keys kept."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any, TypeVar, cast

import attrs
from cattrs import ClassValidationError, Converter, IterableValidationError
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override

from garboard.faults import Fault, InputError, ValueRefused, one_of, shown
from garboard.fields import amount_as_text
from garboard.records import RECORD_OF, JsonValue, number_of, unit_of
from garboard.units import Amount, in_full, in_own_spelling, parse_amount

if TYPE_CHECKING:
    from collections.abc import Callable

Record = TypeVar("Record")


def structure(plain: JsonValue, kind: type[Record], source: str, root: str = "") -> Record:
    """Make a record, or a tuple of records, from plain data.

    source : what was read, for the error
    root   : path of `plain` within it
    Raises InputError with every fault and its path.
    """
    try:
        return _converter().structure(plain, kind)
    except Exception as failure:
        raise InputError(source, sorted(_faults(failure, root))) from None


def unstructure(record: object) -> dict[str, JsonValue]:
    """A record as plain data: amounts as text, empty values left out, unknown keys put back."""
    return cast("dict[str, JsonValue]", _converter().unstructure(record))


@lru_cache(maxsize=1)
def _converter() -> Converter:
    converter = Converter(detailed_validation=True, prefer_attrib_converters=False)
    for kind, example in ((bool, "true or false"), (int, "a whole number"), (str, "text in quotes")):
        converter.register_structure_hook(kind, _exactly(kind, example))
    converter.register_structure_hook_factory(_is_record, lambda kind: _structure_record(kind, converter))
    converter.register_unstructure_hook_factory(_is_record, lambda kind: _unstructure_record(kind, converter))
    converter.register_structure_hook_factory(_is_tuple, lambda kind: _structure_list(kind, converter))
    converter.register_unstructure_hook(Amount, str)
    return converter


def _is_record(kind: Any) -> bool:
    return isinstance(kind, type) and attrs.has(kind) and kind is not Amount


def _is_tuple(kind: Any) -> bool:
    return getattr(kind, "__origin__", None) is tuple


def _exactly(kind: type, example: str) -> Callable[[object, object], object]:
    def check(value: object, _kind: object) -> object:
        if type(value) is not kind:
            raise ValueRefused(example, shown(value))
        return value

    return check


def _amount_of(quantity: str) -> Callable[[object, object], Amount | None]:
    def read(value: object, _kind: object) -> Amount | None:
        if value is None:
            return None
        if not isinstance(value, str):
            raise amount_as_text(value, quantity)
        return parse_amount(in_own_spelling(value, quantity), quantity)

    return read


def _within(
    metadata: Mapping[str, Any], read: Callable[[object, object], Any]
) -> Callable[[object, object], Amount | int | None]:
    """What is read, refused where no boat has it."""
    if "hard" not in metadata:
        return read
    (low, high), unit = metadata["hard"], unit_of(metadata)

    def within(value: object, kind: object) -> Amount | int | None:
        fact: Amount | int | None = None if value is None else read(value, kind)
        if fact is not None and not low <= number_of(fact, unit) <= high:
            raise ValueRefused(f"between {in_full(low)} and {in_full(high)} {unit}".rstrip(), shown(value))
        return fact

    return within


def _plain_of(shape: object) -> Callable[[object, object], object]:
    """Any plain data, or plain data of one shape: dict or list."""

    def read(value: object, _kind: object) -> object:
        if shape is dict and not isinstance(value, dict):
            raise ValueRefused("an object", shown(value))
        if shape is list and not isinstance(value, list):
            raise ValueRefused("a list", shown(value))
        return value

    return read


def _choice_of(choices: tuple[str, ...]) -> Callable[[object, object], object]:
    def read(value: object, _kind: object) -> object:
        if value not in choices:
            raise ValueRefused(one_of(choices), shown(value))
        return value

    return read


def _structure_list(kind: Any, converter: Converter) -> Callable[[object, object], object]:
    inner = kind.__args__[0]

    def read(value: object, _kind: object) -> object:
        if not isinstance(value, list):
            raise ValueRefused("a list", shown(value))
        return tuple(converter.structure(value, list[inner]))  # type: ignore[valid-type]

    return read


def _structure_record(kind: type[Any], converter: Converter) -> Callable[[Any, Any], Any]:
    fields = attrs.fields_dict(attrs.resolve_types(kind))
    overrides = {name: override(struct_hook=hook) for name, hook in _hooks_by_metadata(fields.values())}

    def may_be_null(field: attrs.Attribute[Any]) -> bool:
        """Whether null counts as not entered, as in a blank job file."""
        return kind in RECORD_OF.values() and field.default is not attrs.NOTHING

    build = make_dict_structure_fn(kind, converter, _cattrs_detailed_validation=True, **overrides)  # type: ignore[arg-type]

    def read(value: object, _kind: object) -> Any:
        if not isinstance(value, dict):
            raise ValueRefused(f"an object with keys such as {', '.join(list(fields)[:3])}", shown(value))
        named = {key: item for key, item in value.items() if key in fields and key != "more"}
        known = named
        if None in named.values():
            known = {key: item for key, item in named.items() if item is not None or not may_be_null(fields[key])}
        if "more" not in fields:
            return build(known, kind)
        return build({**known, "more": {key: item for key, item in value.items() if key not in named}}, kind)

    return read


def _hooks_by_metadata(fields: Iterable[Any]) -> Iterator[tuple[str, Callable[[object, object], object]]]:
    for field in fields:
        if "quantity" in field.metadata:
            yield field.name, _within(field.metadata, _amount_of(field.metadata["quantity"]))
        elif "hard" in field.metadata:
            yield field.name, _within(field.metadata, _exactly(int, "a whole number"))
        elif "choices" in field.metadata:
            yield field.name, _choice_of(field.metadata["choices"])
        elif "plain" in field.metadata:
            yield field.name, _plain_of(field.metadata["plain"])


def _unstructure_record(kind: type[Any], converter: Converter) -> Callable[[Any], dict[str, Any]]:
    attrs.resolve_types(kind)
    plain = make_dict_unstructure_fn(kind, converter, _cattrs_omit_if_default=True)

    def write(record: Any) -> dict[str, Any]:
        written = dict(plain(record))
        rest = written.pop("more", {})
        return {**written, **rest}

    return write


def _faults(failure: BaseException, path: str) -> Iterator[Fault]:
    if isinstance(failure, ClassValidationError):
        noted, rest = failure.group_exceptions()
        for inner, note in noted:
            yield from _faults(inner, f"{path}.{note.name}" if path else note.name)
        for inner in rest:
            yield from _faults(inner, path)
    elif isinstance(failure, IterableValidationError):
        listed, rest = failure.group_exceptions()
        for inner, position in listed:
            yield from _faults(inner, f"{path}[{position.index}]")
        for inner in rest:
            yield from _faults(inner, path)
    elif isinstance(failure, KeyError):
        yield Fault(path, "a value", "nothing (the key is missing)")
    else:
        yield failure.at(path) if isinstance(failure, ValueRefused) else Fault(path, str(failure))


def faults_of_floats(plain: JsonValue | float, path: str = "") -> Iterator[Fault]:
    """A fault for every number with a fraction: amounts are text, so that they are kept as typed."""
    if isinstance(plain, float):
        yield Fault(path, f'a whole number, or text with its unit: "{plain} V" for a voltage', repr(plain))
    elif isinstance(plain, Mapping):
        for key, value in plain.items():
            yield from faults_of_floats(value, f"{path}.{key}" if path else str(key))
    elif isinstance(plain, list):
        for index, value in enumerate(plain):
            yield from faults_of_floats(value, f"{path}[{index}]")
