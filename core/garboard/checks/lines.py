"""The line of every key in a TOML file: what reads the file does not tell it, and a fault is told with its line."""

from __future__ import annotations

import re
from collections.abc import Mapping

Path = tuple[str | int, ...]
"""Keys and places in lists that lead to a value."""

_LISTED = re.compile(r"\s*\[\[\s*([^\[\]]+?)\s*\]\]")
_TABLE = re.compile(r"\s*\[\s*([^\[\]]+?)\s*\]\s*(#.*)?$")
_KEY = re.compile(r"""\s*["']?([A-Za-z0-9_-]+)["']?\s*=""")
_LONG_TEXT = re.compile(r'"""|' + r"'''")


def lines_of(text: str) -> Mapping[Path, int]:
    """The line of each heading and key, from 1.

    >>> lines_of('a = 1\\n[[step]]\\nname = "x"\\n[[step]]\\n[[step.field]]\\nunit = "in"\\n')[
    ...     "step", 1, "field", 0, "unit"]
    6
    """
    found: dict[Path, int] = {}
    last: dict[Path, int] = {}
    here: Path = ()
    is_in_text = False
    for number, line in enumerate(text.split("\n"), 1):
        if not is_in_text:
            listed = _LISTED.match(line)
            if heading := listed or _TABLE.match(line):
                here = _below(heading[1], last, is_listed=listed is not None)
                found.setdefault(here, number)
            elif key := _KEY.match(line):
                found.setdefault((*here, key[1]), number)
        is_in_text ^= len(_LONG_TEXT.findall(line)) % 2 == 1
    return found


def _below(heading: str, last: dict[Path, int], *, is_listed: bool) -> Path:
    """Where a heading leads: of a list, to its last table so far or to a new one."""
    here: Path = ()
    words = [word.strip(" \"'") for word in heading.split(".")]
    for place, word in enumerate(words):
        here = (*here, word)
        if is_listed and place == len(words) - 1:
            last[here] = last.get(here, -1) + 1
        if here in last:
            here = (*here, last[here])
    return here


def line_of(lines: Mapping[Path, int], path: Path) -> int:
    """The line of a value, or of the nearest thing it stands in; 0 where that is the file."""
    while path and path not in lines:
        path = path[:-1]
    return lines.get(path, 0)


def in_words(path: Path) -> str:
    """A path as a person finds it.

    >>> in_words(("step", 1, "field", 0, "unit"))
    'step[2].field[1].unit'
    """
    return "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in path).lstrip(".")
