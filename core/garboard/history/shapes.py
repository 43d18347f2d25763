"""The one place that checks what shape an entry has: whether this program can read what it says.

An entry of a shape nobody expected is kept and passed on as it came. It is marked, and nothing is worked out from it.
What a plugin's field takes, such as a unit, is the plugin's to check: here it is only what every reader relies on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum

import attrs

from garboard.disk.entries import (
    ALIKE,
    DEEPEST,
    FORECAST,
    ISSUED,
    PLAN,
    STRAY,
    TEMPLATE,
    VIEW,
    Entry,
    carried_by,
    is_list_of_text,
)
from garboard.faults import InputError, shown
from garboard.history.moves import JOINING, LEAVING, named_hull, named_job
from garboard.records import EQUIPMENT, Forecast, Job, JsonValue, Note, SignOff, StepState

_ARRIVING = "from"
_TYPED = {str, int, bool}


class Shape(StrEnum):
    """What was expected where an entry cannot be read."""

    ENTRY = "the bytes of an entry"
    SUBJECT = "a subject of as many texts as its kind has"
    VALUE = "text, a whole number, yes or no, or a file"
    EQUIPMENT = "an object with the parts of a piece of equipment"
    SETTING = "text, a whole number, or yes or no"
    TEMPLATE = "a name, a piece of equipment, and lines that each end in a value"
    JOB = "a fact about a job"
    STEP = "the state of a step"
    NOTE = "a remark with its text"
    ALIKE = "a list of kinds of boats"
    VIEW = "a view's name and what it asks"
    PLAN = "a text that a manager plans with"
    FORECAST = "a propeller with what is expected of each engine"
    ISSUED = "a book with its SHA-256 and its root"
    SIGNATURE = "a signature with role and name"
    RECORDING = "a recording with its file"
    TAKEN_BACK = "the kind of what is taken back"
    HULL = "another hull number"
    OTHER_JOB = "another job"
    REPLACED = "the ids of entries it replaces"


_LISTS = {"subject": Shape.SUBJECT, "replaces": Shape.REPLACED}


@attrs.frozen
class Misfit:
    """Why an entry cannot be read.

    expected : what should stand there
    got      : what does, shortened
    """

    expected: Shape
    got: str


def misfit_of(entry: Entry) -> Misfit | None:
    """Why an entry cannot be read; None where it can be, and for one of a kind or format not known here."""
    if not entry.kind or entry.kind == STRAY:
        carried = carried_by(entry)
        raw = entry.raw if carried is None else carried
        return Misfit(Shape.ENTRY, shown(raw[:60].decode(errors="replace")))
    if not entry.is_understood or is_reading(entry):
        return None
    if not entry.has_lists:
        wrong = "replaces" if is_list_of_text(entry.fields.get("subject")) else "subject"
        return Misfit(_LISTS[wrong], _in_short(entry.fields.get(wrong)))
    if isinstance(entry.value, dict | list) and not _is_plain(entry.value, 0):
        return Misfit(Shape.VALUE, _in_short(entry.value))
    found = _OF_KIND[entry.kind](entry)
    if found is None:
        return None
    return Misfit(found, _in_short([*entry.subject] if found is Shape.SUBJECT else entry.value))


def is_reading(entry: Entry) -> bool:
    """Whether it is a typed reading in order, as nearly all entries of a boat are: replay asks this of every one."""
    return entry.kind == "measure" and len(entry.subject) == 4 and type(entry.value) in _TYPED and entry.has_lists


def _in_short(value: JsonValue) -> str:
    try:
        return shown(value)
    except RecursionError:  # it has more levels than Python walks down
        return "a list or an object of very many levels"


def _is_plain(value: JsonValue, depth: int) -> bool:
    """Whether a value keeps to what an entry may hold. What another program wrote in a hull file need not."""
    if isinstance(value, dict | list):
        inner = value.values() if isinstance(value, dict) else value
        return depth < DEEPEST and all(_is_plain(item, depth + 1) for item in inner)
    return value is None or isinstance(value, str | int)


def _measure(entry: Entry) -> Shape | None:
    if len(entry.subject) != 4:
        return Shape.SUBJECT
    return None if _is_simple(entry.value) or _is_file(entry.value) else Shape.VALUE


def _is_simple(value: JsonValue) -> bool:
    return not isinstance(value, dict | list)


def _is_file(value: JsonValue) -> bool:
    """A recording or a photo. Its name and where it came from are text where they stand."""
    if not isinstance(value, dict) or not isinstance(value.get("file"), str):
        return False
    return all(isinstance(value.get(name, ""), str) for name in ("name", "origin"))


def _run(entry: Entry) -> Shape | None:
    if len(entry.subject) != 5:
        return Shape.SUBJECT
    return None if _is_file(entry.value) else Shape.RECORDING


def _field(entry: Entry) -> Shape | None:
    """What a record takes is known once the vessel is put together; see `HullState.vessel`."""
    if not entry.subject:
        return Shape.SUBJECT
    of_a_piece = entry.subject[0] in EQUIPMENT and len(entry.subject) < 3
    return Shape.EQUIPMENT if of_a_piece and not isinstance(entry.value, dict) else None


def _setting(entry: Entry) -> Shape | None:
    if len(entry.subject) != 1:
        return Shape.SUBJECT
    return None if _is_simple(entry.value) else Shape.SETTING


def _template(entry: Entry) -> Shape | None:
    """The name; then nothing for the boat itself, or kind and name of a piece."""
    lines = entry.value
    is_sound = len(entry.subject) in (1, 3) and isinstance(lines, list) and all(map(_is_line, lines))
    return None if is_sound else Shape.TEMPLATE


def _is_line(line: JsonValue) -> bool:
    return isinstance(line, list) and len(line) > 1 and is_list_of_text(line[:-1])


def _job(entry: Entry) -> Shape | None:
    if len(entry.subject) != 1:
        return Shape.SUBJECT
    return None if _makes({entry.subject[0]: entry.value, "id": entry.job}, Job) else Shape.JOB


def _step(entry: Entry) -> Shape | None:
    if len(entry.subject) != 1:
        return Shape.SUBJECT
    return None if _makes_signed(entry, StepState, step=entry.subject[0]) else Shape.STEP


def _note(entry: Entry) -> Shape | None:
    return None if _makes_signed(entry, Note) else Shape.NOTE


def _alike(entry: Entry) -> Shape | None:
    return None if isinstance(entry.value, list) else Shape.ALIKE


def _plan(entry: Entry) -> Shape | None:
    """The job and what is said of it; a comment has a name of its own besides."""
    return None if len(entry.subject) in (2, 3) and isinstance(entry.value, str) else Shape.PLAN


def _view(entry: Entry) -> Shape | None:
    value = entry.value if isinstance(entry.value, dict) else {}
    is_sound = len(entry.subject) == 1 and all(isinstance(value.get(name), str) for name in ("name", "asked"))
    return None if is_sound else Shape.VIEW


def _forecast(entry: Entry) -> Shape | None:
    return None if _makes_signed(entry, Forecast) else Shape.FORECAST


def _issued(entry: Entry) -> Shape | None:
    """Job and hash of the file, and a root; what further stands there is text, numbers and lists of text."""
    if len(entry.subject) != 2:
        return Shape.SUBJECT
    is_sound = isinstance(entry.value, dict) and isinstance(entry.value.get("root"), str)
    return None if is_sound else Shape.ISSUED


def _signoff(entry: Entry) -> Shape | None:
    value = entry.value
    if not isinstance(value, dict) or not is_list_of_text(value.get("covers", [])):
        return Shape.SIGNATURE
    if "signature" in value and not _is_file(value["signature"]):
        return Shape.SIGNATURE
    return None if _makes_signed(entry, SignOff) else Shape.SIGNATURE


def _retract(entry: Entry) -> Shape | None:
    value = entry.value
    is_sound = (
        isinstance(value, dict) and isinstance(value.get("kind"), str) and isinstance(value.get("reason", ""), str)
    )
    return None if is_sound else Shape.TAKEN_BACK


def _alias(entry: Entry) -> Shape | None:
    return None if named_hull(entry) else Shape.HULL


def _move(entry: Entry) -> Shape | None:
    if entry.subject == JOINING:
        return None if named_job(entry) else Shape.OTHER_JOB
    if entry.subject == LEAVING or entry.subject[:1] == (_ARRIVING,):
        return None if named_hull(entry) else Shape.HULL
    return Shape.SUBJECT


def signed(entry: Entry) -> dict[str, JsonValue]:
    """What an entry says, with who says it and when."""
    value = entry.value if isinstance(entry.value, dict) else {}
    return {"by": entry.by, "at": entry.at, **value}


def _makes_signed(entry: Entry, kind: type[object], **more: JsonValue) -> bool:
    plain = {name: value for name, value in signed(entry).items() if name not in ("covers", "stale", "not_covered")}
    return isinstance(entry.value, dict) and _makes({**plain, **more}, kind)


def _makes(plain: dict[str, JsonValue], kind: type[object]) -> bool:
    """Whether plain data makes a record."""
    from garboard.job_files.convert import structure  # here: it takes long to load, and few entries need it

    try:
        structure(plain, kind, "entry")
    except InputError:
        return False
    return True


_OF_KIND: Mapping[str, Callable[[Entry], Shape | None]] = {
    "measure": _measure,
    "step": _step,
    "field": _field,
    "note": _note,
    "retract": _retract,
    "signoff": _signoff,
    "alias": _alias,
    "move": _move,
    "job": _job,
    "run": _run,
    "setting": _setting,
    TEMPLATE: _template,
    FORECAST: _forecast,
    ALIKE: _alike,
    PLAN: _plan,
    VIEW: _view,
    ISSUED: _issued,
}
