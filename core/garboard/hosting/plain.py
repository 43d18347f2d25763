"""What a plugin declares and finds, as plain data and back: how it comes over from the process it runs in.

Nothing of it decides: the records check their own types when they are made anew, and the host checks findings after.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import Any, TypeVar, get_args, get_origin

import attrs
from cattrs import Converter
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override

from garboard.fields import Field
from garboard.findings import Figure, Finding, Missing, Number, Table
from garboard.owner_pages import OWNER_BLOCKS
from garboard.steps import Block

Plain = dict[str, Any]
T = TypeVar("T")
PIPE_CLOSED = 74
"""The status by which the process ends that can say nothing more."""

_BLOCKS: Mapping[str, type[Any]] = {kind.__name__: kind for kind in (Table, Figure, Finding, Number, *OWNER_BLOCKS)}


def as_bytes(message: Mapping[str, Any]) -> bytes:
    """A message as it goes over: JSON, and text that is no text as marks that a record then refuses."""
    return json.dumps(message, ensure_ascii=False, separators=(",", ":")).encode(errors="surrogatepass")


def from_bytes(content: bytes) -> Plain:
    """A message as it came over. Raises ValueError for anything that is none."""
    message = json.loads(content.decode(errors="surrogatepass"))
    if not isinstance(message, dict):
        raise ValueError(f"expected a JSON object, got {type(message).__name__}")
    return message


def plain(record: object) -> Any:
    """A finding, a part of one, or a tuple of such, as plain data."""
    return _converter().unstructure(record)


def made(value: object, kind: type[T]) -> T:
    """A record of plain data. Raises an Exception where the data is none of it."""
    return _converter().structure(value, kind)


def declared(item: Any) -> Plain:
    """What a plugin registers, without its functions."""
    values = {field.name: getattr(item, field.name) for field in attrs.fields(type(item)) if field.init}
    return {name: plain(value) for name, value in values.items() if not callable(value)}


def anew(value: Mapping[str, Any], kind: type[T], **functions: Callable[..., Any]) -> T:
    """The same registered here, its functions replaced by others."""
    attrs.resolve_types(kind)  # type: ignore[type-var]  # an attrs class, each of them
    fields = attrs.fields_dict(kind)  # type: ignore[arg-type]
    values = {name: made(value[name], field.type) for name, field in fields.items() if name in value and field.type}
    return kind(**{**values, **functions})


def plain_block(block: Block) -> Plain:
    """One block of a section, with its kind."""
    return {"text": block} if isinstance(block, str) else {"kind": type(block).__name__, "block": plain(block)}


def block_of(value: Mapping[str, Any]) -> Block:
    """A block of plain data."""
    return str(value["text"]) if "text" in value else made(value["block"], _BLOCKS[str(value["kind"])])


def missing_of(values: Sequence[Mapping[str, Any]]) -> list[Missing]:
    """What is missing, of plain data."""
    return [made(value, Missing) for value in values]


def _as_it_is(value: object, _kind: object) -> object:
    return value


def _holds_any_json(kind: Any) -> bool:
    """Whether a field takes whatever JSON holds (`records.JsonValue`)."""
    return any(get_origin(one) is dict for one in get_args(kind))


@lru_cache(maxsize=1)
def _converter() -> Converter:
    converter = Converter(detailed_validation=False)
    for kind in (str, int, float, bool):  # never 5 into "5": what is of a wrong type is for the record to refuse
        converter.register_structure_hook(kind, _as_it_is)
    converter.register_structure_hook_func(_holds_any_json, _as_it_is)
    attrs.resolve_types(Field)
    left_out: Any = {"plausible_for": override(omit=True)}
    converter.register_unstructure_hook(Field, make_dict_unstructure_fn(Field, converter, **left_out))
    converter.register_structure_hook(Field, make_dict_structure_fn(Field, converter, **left_out))
    return converter
