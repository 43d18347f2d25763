"""JSON out of text that came from elsewhere: the same limit of nesting on every Python.

Up to Python 3.13 the reader gives up at about a thousand levels; from 3.14 on it reads as deep as its stack allows,
and what walks the result then fails. So the limit is ours, below both.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

from garboard.faults import GarboardError

DEEPEST_JSON = 200
"""Levels of lists and objects: ten times more than anything this program writes."""


class NestedTooDeep(GarboardError, ValueError):
    """JSON of more levels than DEEPEST_JSON."""

    def __init__(self) -> None:
        super().__init__(f"it nests deeper than {DEEPEST_JSON} levels")


def read_json(text: str | bytes, **options: Any) -> Any:  # as json.loads has it
    """What `json.loads` makes of a text. Raises ValueError for every text it cannot read."""
    return _read(text, lambda: json.loads(text, **options))


def read_json_by(decoder: json.JSONDecoder, text: str) -> Any:  # as json.loads has it
    """As `read_json`, many times over: `json.loads` takes as long to set up its options as to read a short text."""
    return _read(text, lambda: decoder.decode(text))


def _read(text: str | bytes, reading: Callable[[], Any]) -> Any:
    try:
        found = reading()
    except RecursionError:
        raise NestedTooDeep from None
    if _opened(text) > DEEPEST_JSON and _is_deeper(found):
        raise NestedTooDeep
    return found


def _opened(text: str | bytes) -> int:
    return text.count("[") + text.count("{") if isinstance(text, str) else text.count(b"[") + text.count(b"{")


def line_nested_too_deep(text: str) -> int:
    """The line where brackets nest deeper than DEEPEST_JSON, 0 where they do not. For text that JSON is read from."""
    level, line = 0, 1
    for piece in _MARKS.findall(text):
        if piece == "\n":
            line += 1
        elif piece in "[{":
            level += 1
            if level > DEEPEST_JSON:
                return line
        elif piece in "]}":
            level -= 1
    return 0


_MARKS = re.compile(r'"(?:[^"\\\n]|\\.)*"?|[\[\]{}\n]')


def _is_deeper(found: object) -> bool:
    """Whether it has more levels, told level by level: a walk down would itself fail there."""
    level, levels = [found] if isinstance(found, dict | list) else [], 0
    while level and levels <= DEEPEST_JSON:
        levels += 1
        inner = (one.values() if isinstance(one, dict) else one for one in level)
        level = [item for items in inner for item in items if isinstance(item, dict | list)]
    return levels > DEEPEST_JSON
