"""The yes-or-no points of a step: what was tried, what did not work, what is still to try."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

import attrs

from garboard.fields import LONG_AGO
from garboard.findings import Basis, Finding, Lack, Missing, NotEnoughData, Number, Verdict, row_in_words
from garboard.job_view import JobView, nothing_at
from garboard.record_types import frozen
from garboard.records import EQUIPMENT, NEW_BOAT
from garboard.steps import Calculator, Field, Kind, Step
from garboard_engine_trial.bases import MAKER, TRIED


@frozen(kw_only=True)
class Danger:
    """A point whose "no" says first what nobody may do.

    code     : of the finding
    sentence : what not to do, and what to do
    basis    : the rule it rests on
    """

    code: str
    sentence: str
    basis: Basis


@frozen
class Point:
    """A point of a step: its place, called as the person knows it, and its answer."""

    place: Missing
    answer: bool | None
    required: bool


def check_of(
    step: Step, codes: tuple[str, str, str], dangers: Mapping[str, Danger] | None = None, order: int = 100
) -> Calculator:
    """The check of a step's points.

    codes   : of what is in order, of what failed, of what is still to try
    dangers : points by field whose "no" is a finding of its own
    """

    def compute(view: JobView) -> Iterator[Finding]:
        if view.state_of(step.key) == "not fitted":
            return
        _see_that_it_is_tried(view, step.key, "not tried yet; try it")
        points = list(points_of(view, step))
        yield from _dangers(points, dangers or {})
        yield from _failed(step, [one for one in points if one.place.field not in (dangers or {})], codes[1])
        yield from _still_to_try(step, points, codes[2])
        answers = [point.answer for point in points]
        if points and False not in answers and not _open(points):
            tried = answers.count(True)
            yield Finding(
                code=codes[0],
                verdict=Verdict.PASS,
                about=step.title,
                sentence=f"{tried} {'point' if tried == 1 else 'points'} tried and in order.",
                basis=(TRIED,),
                numbers=(Number("points in order", tried, decimals=0),),
            )

    return Calculator(
        key=f"{step.key}.check", title=step.title, step=step.key, order=order, compute=compute, basis=(TRIED,)
    )


def tried_of(step: Step) -> Calculator:
    """Of a step whose points others judge: says once that nothing of it is entered."""

    def compute(view: JobView) -> Iterator[Finding]:
        if view.state_of(step.key) != "not fitted":
            _see_that_it_is_tried(view, step.key, "nothing entered yet; enter it")
        yield from ()

    return Calculator(
        key=f"{step.key}.tried", title=step.title, step=step.key, order=100, compute=compute, basis=(TRIED,)
    )


def _see_that_it_is_tried(view: JobView, step: str, to_do: str) -> None:
    if is_left_out(view, step):
        raise NotEnoughData(f"{to_do}, or mark the step as not fitted", lack=Lack.NOT_TRIED, step=step)


def _dangers(points: Sequence[Point], dangers: Mapping[str, Danger]) -> Iterator[Finding]:
    for field, danger in dangers.items():
        of = [point.place.of for point in points if point.place.field == field and point.answer is False]
        if of:
            named = ", ".join(filter(None, of))
            yield Finding(
                code=danger.code,
                verdict=Verdict.FAIL,
                about=f"{named} engine" if named else "engine",
                sentence=danger.sentence,
                basis=(danger.basis, MAKER),
            )


def _failed(step: Step, points: Sequence[Point], code: str) -> Iterator[Finding]:
    failed = [point.place.text for point in points if point.answer is False]
    if failed:
        yield Finding(
            code=code,
            verdict=Verdict.FAIL,
            about=step.title,
            sentence=f"Answered no: {'; '.join(failed)}. Put right and try again.",
            basis=(TRIED,),
        )


def _open(points: Sequence[Point]) -> tuple[Missing, ...]:
    """Places where an answer is still to be given, or to be chosen."""
    return tuple(
        point.place
        for point in points
        if point.answer is None and (point.required or point.place.lack is Lack.DISAGREES)
    )


def _still_to_try(step: Step, points: Sequence[Point], code: str) -> Iterator[Finding]:
    missing = _open(points)
    if missing:
        to_try = "; ".join(place.text for place in missing if place.lack is not Lack.DISAGREES)
        to_choose = "; ".join(place.text for place in missing if place.lack is Lack.DISAGREES)
        said = (
            f"Still to try: {to_try}." if to_try else "",
            f"Answers disagree, choose one: {to_choose}." if to_choose else "",
        )
        yield Finding(
            code=code,
            verdict=Verdict.NOT_ENOUGH_DATA,
            about=step.title,
            sentence=" ".join(filter(None, said)),
            basis=(TRIED,),
            missing=missing,
        )


def is_left_out(view: JobView, step: str) -> bool:
    """Whether a step is not fitted, or nothing is entered in it yet: then its check alone says so."""
    entered = any(one.step == step for one in view.measurements)
    disputed = any(one.place[0] == step for one in view.disagreements)
    return view.state_of(step) == "not fitted" or not (entered or disputed)


def points_of(view: JobView, step: Step) -> Iterator[Point]:
    """Every yes-or-no point of a step, those of a table's rows and of each piece of equipment among them."""
    for field in step.fields:
        if field.kind is Kind.YES_NO:
            yield from _asked(view, step, field, ("",), pieces(view, field.each))
        elif field.kind is Kind.TABLE and any(column.kind is Kind.YES_NO for column in field.columns):
            rows = ("",) if field.each else rows_of(view, step.key, field)
            yield from _unnamed(view, step, field, rows)
            for column in field.columns:
                if column.kind is Kind.YES_NO:
                    yield from _asked(view, step, column, rows, pieces(view, field.each or column.each), field)


def _unnamed(view: JobView, step: Step, table: Field, rows: Sequence[str]) -> Iterator[Point]:
    """The name of each row that has none: nobody knows what was tried. A table that is needed has one row at least."""
    name = table.columns[0]
    for row in rows or (("1",) if table.required else ()):
        if row and not str(view.value(step.key, name.name, row=row) or "").strip():
            text = f"{name.title.lower()}, {row_in_words(row)}" if rows else f"{table.title.lower()}: none entered"
            place = attrs.evolve(nothing_at(view, step.key, name.name, row=row), text=text)
            yield Point(place, None, True)


def _asked(
    view: JobView, step: Step, field: Field, rows: Sequence[str], of_pieces: Sequence[str], table: Field | None = None
) -> Iterator[Point]:
    for row in rows:
        for of in of_pieces:
            value = view.value(step.key, field.name, row=row, of=of)
            called = ", ".join(filter(None, (row_name(view, step.key, table, row), of)))
            text = f"{field.title} ({called})" if called else field.title
            place = attrs.evolve(nothing_at(view, step.key, field.name, row=row, of=of), text=text)
            yield Point(place, value if isinstance(value, bool) else None, field.required)


def row_name(view: JobView, step: str, table: Field | None, row: str) -> str:
    """What a person calls a row: what its first column says, else its number."""
    if table is None or not row:
        return ""
    said = view.value(step, table.columns[0].name, row=row)
    return " ".join(said.split()) if isinstance(said, str) and said.strip() else row_in_words(row)


def is_entered(view: JobView, step: str, *fields: str, row: str = "", of: str = "") -> bool:
    """Whether anything stands in any of some fields of a step, also where its values disagree."""
    return any(
        view.value(step, field, row=row, of=of) is not None or view.in_dispute(step, field, row=row, of=of)
        for field in fields
    )


def settled(view: JobView, step: str, field: str, unit: str, *, row: str = "", of: str = "") -> float | None:
    """An amount that may be left out [unit]; None where it is. Raises NotEnoughData where its values disagree."""
    if view.in_dispute(step, field, row=row, of=of):
        raise NotEnoughData(nothing_at(view, step, field, row=row, of=of))
    return view.amount(step, field, unit, row=row, of=of)


def rows_of(view: JobView, step: str, table: Field) -> tuple[str, ...]:
    """Rows of a table in which anything is entered, also where its values disagree."""
    columns = {column.name for column in table.columns}
    entered = (one.row for one in view.measurements if one.step == step and one.row and one.field in columns)
    disputed = (
        row for where, field, row, _ in (one.place for one in view.disagreements) if where == step and field in columns
    )
    return tuple(dict.fromkeys([*entered, *filter(None, disputed)]))


def pieces(view: JobView, each: str) -> tuple[str, ...]:
    """Names of the vessel's pieces of one kind of equipment; one without a name where the field is of the vessel."""
    if not each:
        return ("",)
    return tuple(str(getattr(piece, EQUIPMENT[each])) for piece in getattr(view.vessel, each))


def engines(view: JobView) -> tuple[str, ...]:
    """Positions of the engines."""
    return pieces(view, "engines")


def day_opened(view: JobView) -> date:
    """The day the job was opened; the first of all days where that is not known."""
    try:
        return date.fromisoformat(view.job.opened[:10])
    except ValueError:
        return date.min


def long_ago(view: JobView, day: date) -> bool:
    """Whether a day lies years before the job: a slip in the year, for what is done on a newly rigged boat."""
    opened = day_opened(view)
    return view.job.kind == NEW_BOAT and opened > date.min and opened - day > LONG_AGO
