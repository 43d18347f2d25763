"""Where in a job file's text each part of it stands: asked only when something is wrong with the file.

JSON is also one Python expression, but for its three names, and `ast` keeps the line of every part. What it does not
read gets no line: none rather than a wrong one.

[1] Python Library Reference, "ast": a node's lineno counts from 1.
"""

from __future__ import annotations

import ast
import re
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence

import attrs

from garboard.faults import Fault
from garboard.record_types import frozen

_TELLS_APART = ("step", "field", "row", "of", "name", "position")
_LAST_STEP_OF_A_PATH = re.compile(r"(\.[^.\[\]]*|\[\d+\])$")
_WHITE = " \t\r\n"


@frozen
class Part:
    """One value in the file.

    path  : as faults name it: "measurements[3].value"
    line  : where its key stands, or the value itself in a list
    about : the names that tell it from its neighbours: step, field, row, of, or its name
    value : as Python reads it
    """

    path: str
    line: int
    about: str
    value: ast.expr


def with_lines(faults: Iterable[Fault], text: str) -> list[Fault]:
    """Faults with their lines, in the order of the file; a missing key's is that of what it is missing in.

    >>> fault = Fault("measurements[0].value", "a value")
    >>> print(with_lines([fault], '{"measurements": [\\n {"step": "a.b", "field": "c"}]}')[0])
    line 2, measurements[0].value (a.b, c): expected a value
    """
    parts: dict[str, tuple[int, Part | None]] = {}
    for number, part in enumerate(parts_of(text)):
        parts[part.path] = number, None if part.path in parts else part  # two of one path: which is meant is not known
    placed = sorted((_placed(fault, parts) for fault in faults), key=lambda found: (found[1].line, found[0]))
    return [fault for _, fault in placed]


def _placed(fault: Fault, parts: Mapping[str, tuple[int, Part | None]]) -> tuple[int, Fault]:
    """The fault with its line, and which part of the file it is about: a line can hold many."""
    path = fault.where
    while path not in parts and (shorter := _LAST_STEP_OF_A_PATH.sub("", path)) != path:
        path = shorter
    number, part = parts.get(path, (0, None))
    return number, fault if part is None or fault.line else attrs.evolve(fault, line=part.line, about=part.about)


def parts_of(text: str) -> Sequence[Part]:
    """Every part of a JSON text in its order; none where the text cannot be followed."""
    start = text.lstrip(_WHITE)
    above = len(f"{text[: len(text) - len(start)]}|".splitlines()) - 1
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # "\/" is an escape in JSON only
            return [*_walk(ast.parse(start.rstrip(_WHITE), mode="eval").body, "", "", above)]
    except (SyntaxError, ValueError, MemoryError, RecursionError):
        return []


def _walk(value: ast.expr, path: str, about: str, above: int, line: int = 0) -> Iterator[Part]:
    yield Part(path, (line or value.lineno) + above, about, value)
    if isinstance(value, ast.Dict):
        for key, inner in zip(value.keys, value.values, strict=True):
            if isinstance(key, ast.Constant):
                name = str(key.value)
                yield from _walk(inner, f"{path}.{name}" if path else name, about, above, key.lineno)
    elif isinstance(value, ast.List):
        for index, inner in enumerate(value.elts):
            yield from _walk(inner, f"{path}[{index}]", _names(inner) or about, above)


def _names(value: ast.expr) -> str:
    if not isinstance(value, ast.Dict):
        return ""
    texts = {
        key.value: inner.value
        for key, inner in zip(value.keys, value.values, strict=True)
        if isinstance(key, ast.Constant) and isinstance(inner, ast.Constant) and isinstance(inner.value, str)
    }
    told = [f"row {texts[name]}" if name == "row" else texts[name] for name in _TELLS_APART if texts.get(name)]
    return ", ".join(told)
