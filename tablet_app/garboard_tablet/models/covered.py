"""What a signature stands for: every value it covers, in tables, a table for each step."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import attrs

from garboard.findings import Table
from garboard.history.registers import RegisterKey
from garboard.hosting.equipment import kind_title
from garboard.records import JsonValue
from garboard_tablet.models.asks import shown
from garboard_tablet.models.tablet import Tablet


@attrs.frozen
class CoveredPart:
    """What is covered of one step, or of one kind of thing.

    whose : which of several parts of one title: its rows or pieces by name, empty for what is of the step itself
    """

    title: str
    table: Table
    whose: str = ""


@attrs.frozen
class Covered:
    """What a sign-off written now covers.

    count : entries
    parts : all of them, those about one thing together
    """

    count: int
    parts: tuple[CoveredPart, ...]


class _Cell(NamedTuple):
    row: str
    heading: str
    text: str


def coverage(tablet: Tablet, hull: str, job: str) -> Covered:
    """Exactly what a signature stands for: counted, and every value named."""
    state = tablet.state_of(hull, job)
    ids = set(state.coverage(job))
    covered = [(key, entry.value) for key in sorted(state.registers) for entry in state.current(key) if entry.id in ids]
    return Covered(len(covered), tuple(_parts(tablet, covered)))


def _parts(tablet: Tablet, covered: Sequence[tuple[RegisterKey, JsonValue]]) -> Iterator[CoveredPart]:
    steps = {step.key: step for step in tablet.host.steps}
    of_step: dict[str, list[tuple[RegisterKey, JsonValue]]] = {key: [] for key in steps}
    of_kind: dict[str, list[tuple[str, str]]] = {title: [] for title in (JOB, STATES, REMARKS, VESSEL, KEPT)}
    pieces: dict[str, list[_Cell]] = {}
    for key, value in covered:
        if key.kind == "measure" and len(key.subject) == 4:
            of_step.setdefault(key.subject[0], []).append((key, value))
        elif key.kind == "field" and len(key.subject) > 2:
            kind, piece, *rest = key.subject
            pieces.setdefault(kind, []).append(_Cell(piece, _plain(rest), shown(value)))
        else:
            kind, what, text = _in_words(tablet, key, value)
            of_kind.setdefault(kind, []).append((what, text))
    yield from _pairs(JOB, of_kind.pop(JOB))
    for step_key, found in of_step.items():
        yield from _of_step(tablet, step_key, found)
    yield from _pairs(VESSEL, of_kind.pop(VESSEL))
    for kind, cells in pieces.items():
        yield CoveredPart(kind_title(kind, tablet.host.equipment), _table("", cells))
    for title, pairs in of_kind.items():
        yield from _pairs(title, pairs)


JOB, VESSEL, STATES, REMARKS, KEPT = "Job", "Vessel", "Steps", "Remarks", "Recordings kept"


def _in_words(tablet: Tablet, key: RegisterKey, value: JsonValue) -> tuple[str, str, str]:
    """Kind of thing, what of it, and the value."""
    if key.kind == "step" and isinstance(value, dict):
        step = tablet.step(key.subject[0])
        reason = f", {value['reason']}" if value.get("reason") else ""
        return STATES, step.title if step else key.subject[0], f"{value.get('state')}{reason}"
    if key.kind == "run" and key.subject:
        step = tablet.step(key.subject[0])
        return KEPT, step.title if step else key.subject[0], shown(value)
    if key.kind == "note" and isinstance(value, dict):
        return REMARKS, str(value.get("text")), "put right" if value.get("settled") else "open"
    title = {"job": JOB, "field": VESSEL}.get(key.kind, key.kind.capitalize())
    return title, _plain(key.subject), shown(value)


def _of_step(tablet: Tablet, step_key: str, found: Sequence[tuple[RegisterKey, JsonValue]]) -> Iterator[CoveredPart]:
    """What was entered in a step: single values as pairs, those of rows and of each piece as tables."""
    step = tablet.step(step_key)
    declared = tuple(step.all_fields()) if step else ()
    pairs: list[tuple[str, str]] = []
    rows: list[_Cell] = []
    each: list[_Cell] = []

    def place(one: tuple[RegisterKey, JsonValue]) -> tuple[int, str]:
        name = one[0].subject[1]
        return next((at for at, field in enumerate(declared) if field.is_called(name)), len(declared)), name

    for key, value in sorted(found, key=place):
        _, name, row, of = key.subject
        title = next((field.title for field in declared if field.is_called(name)), _plain([name]))
        if row:
            rows.append(_Cell(row, f"{title}, {of}" if of else title, shown(value)))
        elif of:
            each.append(_Cell(of, title, shown(value)))
        else:
            pairs.append((title, shown(value)))
    title = step.title if step else step_key
    yield from _pairs(title, pairs)
    for cells, corner in ((rows, "Row"), (each, "")):
        if cells:
            table = _table(corner, cells)
            yield CoveredPart(title, table, _named([_whose(corner, row[0]) for row in table.rows]))


def _named(names: Sequence[str]) -> str:
    """The first few names, and how many more.

    >>> _named(["port", "starboard"]), _named([f"row {number}" for number in range(1, 41)])
    ('port, starboard', 'row 1, row 2, row 3, row 4 and 36 more')
    """
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return f"{', '.join(names[:MOST_NAMED])}{more}"


MOST_NAMED = 4
"""So many rows or pieces of a part are named on its line."""


def _whose(corner: str, row: str) -> str:
    return f"{corner.lower()} {row}" if row.isdigit() else row


def _pairs(title: str, pairs: Sequence[tuple[str, str]]) -> Iterator[CoveredPart]:
    if pairs:
        yield CoveredPart(title, Table(title, ("What", "As entered"), tuple(pairs)))


def _table(corner: str, cells: Sequence[_Cell]) -> Table:
    headings = tuple(dict.fromkeys(cell.heading for cell in cells))
    rows = sorted(dict.fromkeys(cell.row for cell in cells), key=lambda row: (not row.isdigit(), row.zfill(6)))
    at: dict[tuple[str, str], str] = {}
    for cell in cells:  # two values that disagree stand side by side
        at[cell.row, cell.heading] = " / ".join(filter(None, (at.get((cell.row, cell.heading)), cell.text)))
    return Table("", (corner, *headings), tuple((row, *(at.get((row, h), "") for h in headings)) for row in rows))


def _plain(words: Sequence[str]) -> str:
    text = " ".join(words).replace("_", " ")
    return f"{text[:1].upper()}{text[1:]}"
