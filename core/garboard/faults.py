"""Errors a person can act on: what is wrong, where, what was expected."""

from __future__ import annotations

import json
import stat
from collections.abc import Iterable, Sequence
from pathlib import Path

import attrs

__all__ = [
    "Fault",
    "GarboardError",
    "InputError",
    "ValueRefused",
    "in_number",
    "in_words",
    "one_of",
    "refusal",
    "refuse_endless",
    "shown",
]

_LONGEST_SHOWN = 60


@attrs.frozen(order=True)
class Fault:
    """One thing wrong with one place of an input.

    where    : path to the value ("measurements[3].value", "line 17", "position 9")
    expected : what would be right, with an example
    got      : what stands there now, as text
    line     : line of the file, from 1; 0 where it is not known
    about    : what the place belongs to, in words a person finds in the file ("prop_check.full_throttle, speed, 1")
    cure     : what to do, where that is more than to put what was expected ("write 'kn'")
    """

    where: str
    expected: str
    got: str = ""
    line: int = 0
    about: str = ""
    cure: str = ""

    @property
    def in_words(self) -> str:
        """The fault without its place: "expected 3, got 'three': write digits"."""
        got = f", got {self.got}" if self.got else ""
        return f"expected {self.expected}{got}" + (f": {self.cure}" if self.cure else "")

    def __str__(self) -> str:
        line = f"line {self.line}, " if self.line else ""
        about = f" ({self.about})" if self.about else ""
        return f"{line}{self.where}{about}: {self.in_words}"


class GarboardError(Exception):
    """What every exception of the core derives from: one except clause takes them all.

    Where a built-in exception says the same (ValueError), it is the second base, so that code which catches that
    still does.
    """


class ValueRefused(GarboardError, ValueError):
    """A value is not what its place takes. Whoever knows the place asks for the fault with it: `at`.

    expected, got, cure : as in `Fault`
    """

    def __init__(self, expected: str, got: str = "", cure: str = "") -> None:
        self.fault = Fault("", expected, got, cure=cure)
        super().__init__(self.fault.in_words)

    def at(self, where: str) -> Fault:
        """The fault at a place."""
        return attrs.evolve(self.fault, where=where)


class InputError(GarboardError, ValueError):
    """An input could not be used. Carries every fault found in it, not only the first.

    source : what was read (a file's path, "hull number")
    faults : at least one
    """

    def __init__(self, source: str, faults: Sequence[Fault]) -> None:
        self.source = source
        self.faults = tuple(faults)
        count = in_number(len(faults), "fault")
        super().__init__("\n".join([f"{source}: {count}", *(f"  {fault}" for fault in faults)]))


def in_words(failure: BaseException) -> str:
    """An error as a person reads it, on a terminal, a tablet or a page.

    One of ours says it itself. One of the system's is told by the file's name and without its number. Any other is a
    mistake in a program, told by its kind.

    >>> in_words(FileNotFoundError(2, "No such file or directory", "a.json"))
    'a.json: no such file or directory'
    >>> in_words(KeyError("speed"))
    "KeyError: 'speed'"
    """
    kind = type(failure).__name__
    notes = "".join(f" {note}" for note in getattr(failure, "__notes__", ()))
    try:
        if isinstance(failure, OSError) and not isinstance(failure, GarboardError) and refusal(failure):
            return ": ".join(filter(None, (str(failure.filename or ""), refusal(failure)))) + notes
        ours = isinstance(failure, GarboardError) and str(failure)
        return f"{failure}{notes}" if ours else f"{kind}: {failure}{notes}"
    except Exception:  # a plugin's own error may fail in saying what it is
        return f"{kind}{notes}"


def refuse_endless(path: Path, expected: str, *, may_stream: bool = False) -> None:
    """Refuse a path a person named where a pipe or a device stands: reading it may never end, or fill the memory.

    expected   : what should stand there, such as "a job file"
    may_stream : whether the standard input, and what a shell hands over as /dev/fd/63, are read to their end
    Raises InputError. Where nothing stands, or a folder, the reader says so itself.
    """
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        return
    is_stream = not stat.S_ISCHR(mode) and str(path).startswith(("/dev/stdin", "/dev/fd/", "/proc/self/fd/"))
    if stat.S_ISREG(mode) or stat.S_ISDIR(mode) or (may_stream and is_stream):
        return
    cure = "save what it gives as a file, and name that"
    raise InputError(str(path), [Fault("file", expected, "a pipe or a device", cure=cure)])


def refusal(error: OSError) -> str:
    """What the system refused, without its number and the path.

    >>> refusal(PermissionError(13, "Permission denied", "a.json"))
    'permission denied'
    """
    return error.strerror.lower() if error.strerror else str(error)


def in_number(count: int, one: str, more: str = "") -> str:
    """A count with its word.

    >>> in_number(1, "place"), in_number(2, "entry", "entries")
    ('1 place', '2 entries')
    """
    return f"{count} {one if count == 1 else more or f'{one}s'}"


def one_of(words: Iterable[str]) -> str:
    """What may be chosen. Each in quotes where a comma in one of them would look like the next choice.

    >>> one_of(["calm", "rough"]), one_of(["first, in trouble", "good to know"])
    ('one of calm, rough', "one of 'first, in trouble', 'good to know'")
    """
    choices = [*words]
    parted = any("," in one for one in choices)
    return f"one of {', '.join(map(repr, choices) if parted else choices)}"


def shown(value: object) -> str:
    """A value as a person would find it written in the file, cut where it is long.

    >>> shown("39 MPH"), shown({"file": None}), shown(True)
    ("'39 MPH'", '{"file": null}', 'true')
    """
    text = repr(value) if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 3]}..."
