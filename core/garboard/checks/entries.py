"""Values taken out of a file's tables, each with its type, its bounds and its line. Faults are kept, none is raised."""

from __future__ import annotations

import enum
import math
from collections.abc import Callable, Collection, Iterator, Mapping
from difflib import get_close_matches
from typing import Any, TypeVar

import attrs

from garboard.checks.lines import Path, in_words, line_of
from garboard.checks.refused import CheckFault
from garboard.faults import Fault, ValueRefused, one_of

MOST_FAULTS = 30
"""A file with more is told these."""
LONGEST_TEXT = 600
"""Letters that one text may have, as everywhere."""

T = TypeVar("T")
E = TypeVar("E", bound=enum.Enum)


@attrs.define
class Faults:
    """The faults found so far."""

    lines: Mapping[Path, int]
    found: list[CheckFault] = attrs.field(factory=list)

    def add(self, path: Path, expected: str, got: str, cure: str = "", code: str = "wrong_value") -> None:
        if len(self.found) < MOST_FAULTS:
            fault = Fault(in_words(path) or "file", expected, got, line=line_of(self.lines, path), cure=cure)
            if fault not in [one.fault for one in self.found]:
                self.found.append(CheckFault(fault, code))

    def attempt(self, path: Path, work: Callable[[], T], stand_in: T) -> T:
        """What a work gives; where it refuses a value, that is kept and something stands in."""
        try:
            return work()
        except ValueRefused as refused:
            self.add(path, refused.fault.expected, refused.fault.got, refused.fault.cure)
        except ValueError as refused:  # a record of ours says what it takes
            self.add(path, "values that fit one another", "", str(refused))
        return stand_in


def _is_line(text: object) -> bool:
    """Whether it is one line that can be printed: none that runs the other way, and no letter that cannot be seen."""
    return isinstance(text, str) and 0 < len(text) <= LONGEST_TEXT and bool(text.strip()) and text.isprintable()


def _shown(value: object) -> str:
    words = {True: "true", False: "false"}
    text = words[value] if isinstance(value, bool) else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


@attrs.define
class Entry:
    """One table of the file, of which keys are taken; `end` tells those that nobody took."""

    table: Mapping[str, Any]
    path: Path
    faults: Faults
    taken: set[str] = attrs.field(factory=set)

    def at(self, name: str) -> Path:
        return (*self.path, name)

    def refuse(self, name: str, expected: str, got: str = "", cure: str = "", code: str = "wrong_value") -> None:
        self.faults.add(self.at(name) if name else self.path, expected, got, cure, code)

    def _take(self, name: str, default: T | None, kind: tuple[type[Any], ...], expected: str) -> Any:
        """The value of a key; the default where none is there; None where what stands there is not of the kind."""
        self.taken.add(name)
        if name not in self.table:
            if default is None:
                self.refuse(name, expected, "nothing", f"add {name} = ...")
            return default
        value = self.table[name]
        if not isinstance(value, kind) or (isinstance(value, bool) and bool not in kind):
            self.refuse(name, expected, _shown(value))
            return None
        return value

    def text(self, name: str, default: str | None = None, longest: int = LONGEST_TEXT) -> str:
        value = self._take(name, default, (str,), "text in quotes")
        if value is None:
            return default or ""
        if name in self.table and (len(value) > longest or not value.strip() or not value.isprintable()):
            self.refuse(name, f"one line of 1 to {longest} letters", _shown(value))
        return str(value)

    def number(self, name: str, default: float | None = None) -> float:
        value = self._take(name, default, (int, float), "a number without quotes")
        if value is not None and not abs(value) < 1e15:
            self.refuse(name, "a number of a boat's size", _shown(value))
            return 0.0
        return float(value or 0)

    def whole(self, name: str, default: int | None, low: int, high: int) -> int:
        value = self._take(name, default, (int,), "a whole number without quotes")
        if value is not None and not low <= value <= high:
            self.refuse(name, f"a whole number from {low} to {high}", _shown(value))
            return low
        return value if value is not None else low

    def flag(self, name: str, default: bool) -> bool:
        value = self._take(name, default, (bool,), "true or false")
        return default if value is None else bool(value)

    def word(self, name: str, kind: type[E], default: E | None = None, but: Collection[E] = ()) -> E:
        """One of an enum's words."""
        words = {one.value: one for one in kind if one not in but}
        text = self._take(name, default.value if default else None, (str,), one_of(words))
        if text is not None and text not in words:
            near = get_close_matches(str(text), words, n=1)
            self.refuse(name, one_of(words), _shown(text), f"write {near[0]!r}" if near else "")
        return words.get(text, default or next(iter(words.values())))

    def texts(self, name: str, most: int = 20) -> tuple[str, ...]:
        value = self._take(name, [], (list,), "a list of texts")
        if value is None:
            return ()
        if len(value) > most or not all(map(_is_line, value)):
            self.refuse(
                name, f"a list of at most {most} texts, each a line of 1 to {LONGEST_TEXT} letters", _shown(value)
            )
            return ()
        return tuple(value)

    def ends(self, name: str) -> tuple[float, float] | None:
        """A range, low first; None where none is given."""
        value = self._take(name, [], (list,), "two numbers, low first")
        if not value:
            return None
        is_right = len(value) == 2 and all(type(one) in (int, float) and math.isfinite(one) for one in value)
        if not is_right or value[0] > value[1]:
            self.refuse(name, "two numbers, low first, such as [2, 20]", _shown(value))
            return None
        return float(value[0]), float(value[1])

    def inner(self, name: str) -> Entry | None:
        """A table in this one; None where there is none."""
        value = self._take(name, {}, (dict,), "a table")
        return Entry(value, self.at(name), self.faults) if value else None

    def entries(self, name: str, most: int) -> Iterator[Entry]:
        """The tables of a list, at most so many."""
        value = self._take(name, [], (list,), f"a list of tables, each under [[{name}]]")
        if value is None:
            return
        if len(value) > most:
            self.refuse(name, f"at most {most}", str(len(value)), "make two checks of it", "too_large")
        for place, one in enumerate(value[:most]):
            path = (*self.at(name), place)
            if isinstance(one, dict):
                yield Entry(one, path, self.faults)
            else:
                self.faults.add(path, f"a table under [[{name}]]", _shown(one))

    def end(self) -> None:
        """Tell the keys that mean nothing here."""
        for name in self.table:
            if name not in self.taken:
                near = get_close_matches(name, self.taken, n=1)
                known = ", ".join(sorted(self.taken))
                cure = f"perhaps {near[0]!r} is meant" if near else "take it out"
                self.refuse(name, f"one of {known}", _shown(name), cure)
