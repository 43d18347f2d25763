"""Judges a job by a check: values worked out when they are asked for, findings made of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import attrs

from garboard.checks.check import NAMED, ROW, Bound, Case, Chart, Check, Result, Value
from garboard.checks.formulas import Formula, Sort, divided_by_nothing, sides_of, worked_out
from garboard.faults import ValueRefused
from garboard.fields import Field, Kind, check_value
from garboard.findings import (
    MOST_PLACES,
    Axis,
    Figure,
    Finding,
    Lack,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Series,
    are_one,
    decimals_beside,
    in_full,
    not_enough_data,
    plain_text,
    rounded_beside,
)
from garboard.job_view import FieldKey, JobView, in_unit, nothing_at, place_of_fact
from garboard.records import JsonValue
from garboard.steps import has_none
from garboard.units import Amount
from garboard.verdict import Verdict


@attrs.define
class JobValues:
    """The values of one job. What was worked out once is kept; of what failed, that too."""

    check: Check
    view: JobView
    _kept: dict[tuple[str, str], Any] = attrs.field(factory=dict)
    _lacking: dict[tuple[str, str], NotEnoughData] = attrs.field(factory=dict)
    _over_rows: dict[int, Any] = attrs.field(factory=dict)
    _rows: dict[str, tuple[str, ...]] = attrs.field(factory=dict)
    _unusable: dict[FieldKey, None] = attrs.field(init=False)
    """Where something is entered that nobody may use as it is, in the order it stands in the view."""

    @_unusable.default
    def _found_unusable(self) -> dict[FieldKey, None]:
        misfits = (one.place for one in self.view.unreadable)
        return dict.fromkeys((*(place_of_fact(one.place) for one in self.view.disagreements), *misfits))

    def value(self, name: str, row: str) -> float | bool | str:
        """A value in the unit of its field, setting or formula. Raises NotEnoughData."""
        at = (name, row)
        if at in self._lacking:
            raise self._lacking[at]
        if at not in self._kept:
            try:
                self._kept[at] = self._found(name, row)
            except NotEnoughData as lacking:
                self._lacking[at] = lacking
                raise
        found: float | bool | str = self._kept[at]
        return found

    def _found(self, name: str, row: str) -> float | bool | str:
        if setting := self.check.setting(name):
            return self.view.setting_value(setting.key, setting.field.unit)
        if name in self.check.values:
            return self._worked_out(self.check.values[name], row)
        return self._entered(self.check.fields[name], row)

    def _entered(self, field: Field, row: str) -> float | bool | str:
        step, name, in_row, of = self.check.field_key(field.name, row)
        found = self.view.value(step, name, row=in_row, of=of)
        if found is None:
            raise NotEnoughData(nothing_at(self.view, step, name, row=in_row, of=of))
        self._refuse(attrs.evolve(field, hard=None), found, row, Lack.UNREADABLE)
        self._refuse(field, found, row, Lack.OUT_OF_RANGE)
        if field.kind is Kind.PHOTO:  # nobody reckons with it
            return True
        if field.kind is Kind.AMOUNT:
            return Amount.parse(str(found)).to(field.unit)
        return found if isinstance(found, bool | str) else float(found)  # type: ignore[arg-type]  # a count

    def _refuse(self, field: Field, found: JsonValue, row: str, lack: Lack) -> None:
        """Raise NotEnoughData for an entered value that the field does not take."""
        try:
            check_value(field, found)
        except ValueRefused as refused:
            text = f"{field.title}{self.in_row(field.name, row)}: {refused}"
            raise NotEnoughData(self._missing_at(text, lack, (field.name, row))) from None

    def in_row(self, name: str, row: str) -> str:
        """What tells the row of a name from others."""
        return self.check.in_row(self.check.terms[name].table, row)

    def _missing_at(self, text: str, lack: Lack, at: tuple[str, str]) -> Missing:
        step, field, row, of = self.check.field_key(*at)
        return Missing(text, lack=lack, step=step, field=field, row=row, of=of)

    def is_given(self, name: str, row: str) -> bool:
        """Whether a field is filled in. Raises NotEnoughData where its values disagree, or it cannot be read: what is
        judged as if it were left open could pass what somebody entered.
        """
        if self.is_entered(name, row):
            return True
        if (at := self.check.field_key(name, row)) in self._unusable:
            step, field, in_row, of = at
            raise NotEnoughData(nothing_at(self.view, step, field, row=in_row, of=of))
        return False

    def is_entered(self, name: str, row: str) -> bool:
        """Whether there is a value that can be used."""
        if name not in self.check.fields:
            return True
        step, field, in_row, of = self.check.field_key(name, row)
        return self.view.value(step, field, row=in_row, of=of) is not None

    def rows(self, table: str) -> Sequence[str]:
        if kind := self.check.kind_of(table):
            return tuple(self.view.vessel.of_kind(kind))
        if table not in self._rows:
            columns = [self.check.at(column.name) for column in self.check.fields[table].columns]
            step = self.check.place[table][0]
            found = {row for column in columns for row in self.view.rows(*column)}
            disputed = [row for in_step, field, row, _ in self._unusable if row and (in_step, field) in columns]
            own = (row for row in self.view.rows(step) if row in found)
            self._rows[table] = tuple(dict.fromkeys((*own, *disputed)))
        return self._rows[table]

    def no_row(self, table: str) -> Missing:
        """What to say of a table without a row."""
        if kind := self.check.kind_of(table):
            text = f"{self.check.table_title(table)}: none is entered"
            return Missing(text, lack=Lack.NOT_ENTERED, field=kind)
        text, (step, stored) = f"{self.check.fields[table].title}: no row is entered", self.check.at(table)
        return Missing(text, lack=Lack.NOT_ENTERED, step=step, field=stored)

    # ---- formulas

    def of(self, formula: Formula, row: str, what: str) -> float | bool | str:
        """What a formula gives. Raises NotEnoughData, naming the place, where it gives no number."""
        try:
            return worked_out(formula, self.check.terms, self, row, self._over_rows)
        except ZeroDivisionError:
            names = divided_by_nothing(formula, self.check.terms, self, row)
            titles = " and ".join(self.check.title_of(name) for name in names) or "the number of rows"
            text = f"{what}{self.check.in_row(formula.table, row)} divides by nothing: {titles} comes to 0"
        except OverflowError:
            names = tuple(formula.names)
            text = f"{what}{self.check.in_row(formula.table, row)} gives no number of a boat's size"
        raise NotEnoughData(self._missing(text, Lack.UNSUITABLE, names or tuple(formula.names), row))

    def sides_of(self, formula: Formula, row: str) -> Iterator[tuple[float, float]]:
        """The numbers that a formula compares, two by two."""
        return sides_of(formula, self.check.terms, self, row, self._over_rows)

    def _worked_out(self, value: Value, row: str) -> float | bool | str:
        found = self.of(value.formula, row, value.title)
        if value.ends is not None and isinstance(found, float) and not value.ends[0] <= found <= value.ends[1]:
            raise NotEnoughData(self._missing(self._outside(value, found, row), Lack.OUT_OF_RANGE, (value.name,), row))
        return found

    def _outside(self, value: Value, found: float, row: str) -> str:
        """What to say of a number out of its range."""
        shown = rounded_beside(found, value.ends or (), value.decimals)
        told = f"{value.title}{self.check.in_row(value.table, row)}: {shown}"
        if value.outside:
            return f"{f'{told} {value.unit}'.rstrip()}. {value.outside}"
        low, high = (in_full(end) for end in value.ends or ())
        return f"{told} lies outside {low} to {high} {value.unit}".rstrip()

    def _missing(self, text: str, lack: Lack, names: Sequence[str], row: str) -> Missing:
        """Said of the first entered value that the names rest on."""
        entered = self.entered([at for name in names for at in self._rows_of(name, "", row)])
        return self._missing_at(text, lack, entered[0]) if entered else Missing(text, lack=lack)

    # ---- what something rests on

    def entered(self, names: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
        """The entered values that names rest on, each with the row it stands in; names with the row looked at from."""
        found: dict[tuple[str, str], None] = {}
        seen = set()
        open_ones = list(reversed(names))
        while open_ones:
            name, row = open_ones.pop()
            at = (name, row if self.check.terms[name].table else "")
            if at in seen:
                continue
            seen.add(at)
            if name in self.check.values:
                open_ones += reversed(self.all_of(self.check.values[name].formula, row))
            elif name in self.check.fields:
                found[at] = None
        return list(found)

    def _rows_of(self, name: str, table: str, row: str) -> list[tuple[str, str]]:
        """A name of a formula with the rows it is looked up in: with all, where the formula stands outside."""
        own = self.check.terms[name].table
        if not own:
            return [(name, "")]
        return [(name, row)] if own == table and row else [(name, each) for each in self.rows(own)]

    def all_of(self, formula: Formula, row: str) -> list[tuple[str, str]]:
        """The names of a formula, each with the rows it is looked up in."""
        return [at for name in formula.names for at in self._rows_of(name, formula.table, row)]


def judge(check: Check, result: Result, view: JobView) -> Iterator[Finding]:
    """What a check finds by one of its results: one finding, or one for each row.

    Where a number is lacking the finding says so; raises NotEnoughData where a table has no row at all.
    """
    values = JobValues(check, view)
    rows = values.rows(result.table) if result.table else ("",)
    if not rows:
        raise NotEnoughData(values.no_row(result.table))
    behind = _formulas_behind(check, result)
    for row in rows:
        yield _Judging(check, result, values, row, behind).finding()


def is_of_nothing_aboard(check: Check, result: Result, view: JobView) -> bool:
    """Whether a result judges equipment of the check's own, and the boat has none of it.

    What rests on no piece at all could only ever be "not enough data".
    """
    tables = {result.table, *(table for one in _formulas_behind(check, result) for table in one.tables)}
    return any(has_none(view, check.kind_of(table), *check.steps_of(table)) for table in tables)


def _formulas_behind(check: Check, result: Result) -> list[Formula]:
    """Every formula a result rests on."""
    own = _formulas_of(result)
    return [*own, *check.formulas_behind([*_names_of(result), *(name for one in own for name in one.names)])]


def _formulas_of(result: Result) -> list[Formula]:
    chart = result.chart
    drawn = [chart.x, *chart.y] if chart else []
    return [*(case.when for case in result.cases if case.when is not None), *drawn]


def _names_of(result: Result) -> list[str]:
    """What a result names outside formulas."""
    bounds = [end for bound in result.bounds for end in (bound.low, bound.high) if isinstance(end, str)]
    said = [name for case in result.cases for name in NAMED.findall(case.sentence)]
    names = dict.fromkeys((*result.needs, *result.numbers, *bounds, *said, *NAMED.findall(result.about)))
    return [name for name in names if name != ROW]


@attrs.define
class _Judging:
    """One result in one row.

    behind : every formula it rests on
    """

    check: Check
    result: Result
    values: JobValues
    row: str
    behind: Sequence[Formula]
    _compared: list[tuple[float, float]] | None = attrs.field(init=False, default=None)
    _entered_once: list[tuple[str, str]] | None = attrs.field(init=False, default=None)

    def finding(self) -> Finding:
        """Raises NotEnoughData, except in a row: the other rows are judged all the same."""
        try:
            if missing := self._missing():
                raise NotEnoughData(*missing)
            return self._made(self._case())
        except NotEnoughData as lacking:
            if not self.row:
                raise
            lacked = not_enough_data(self._about(), lacking.missing, self.result.basis)
            return attrs.evolve(lacked, of=self._piece())

    def _missing(self) -> list[Missing]:
        """All that must be entered and is not; what the formulas ask for with given() may be left open."""
        found = [self.values.no_row(table) for table in self._tables() if not self.values.rows(table)]
        entered = self._entered()
        if len(entered) > MOST_PLACES:
            return [self._too_many(entered)]
        open_ones = {name for name in dict.fromkeys(name for name, _ in entered) if self._may_be_open(name)}
        for name, row in entered:
            if name in open_ones:
                continue
            try:
                self.values.value(name, row)
            except NotEnoughData as lacking:
                found += lacking.missing
        return found

    def _too_many(self, entered: Sequence[tuple[str, str]]) -> Missing:
        """What to say of more values than one finding may rest on, at the first that stands in a row."""
        name, row = next(at for at in entered if at[1])
        table = self.check.table_title(self.check.terms[name].table)
        text = (
            f"{self.result.title} rests on {len(entered)} values, and one result rests on {MOST_PLACES} at most; "
            f"take rows of {table} back that are not needed, or ask who wrote the check to judge each row"
        )
        step, field, in_row, of = self.check.field_key(name, row)
        return Missing(text, lack=Lack.NOT_COVERED, step=step, field=field, row=in_row, of=of)

    def _tables(self) -> list[str]:
        """Tables in whose rows numbers are looked for."""
        return sorted({table for one in self.behind for table in one.tables})

    def _may_be_open(self, name: str) -> bool:
        if name in self.result.needs:
            return False
        term = self.check.terms[name]
        is_guarded = any(name in formula.given for formula in self.behind)
        return is_guarded or term.sort is Sort.OTHER or (term.may_lack and bool(term.table) and not self.result.table)

    def _entered(self) -> list[tuple[str, str]]:
        """The entered values it rests on, each with its row."""
        if self._entered_once is None:
            named = [(name, self._row_of(name)) for name in _names_of(self.result)]
            asked = [at for one in _formulas_of(self.result) for at in self.values.all_of(one, self.row)]
            self._entered_once = self.values.entered([*named, *asked])
        return self._entered_once

    def _places(self) -> tuple[FieldKey, ...]:
        given = (at for at in self._entered() if self.values.is_entered(*at))
        return tuple(self.check.field_key(*at) for at in given)

    def _row_of(self, name: str) -> str:
        return self.row if self.check.terms[name].table else ""

    def _case(self) -> Case:
        """The first that holds; the last one always does."""
        return next(
            case
            for case in self.result.cases
            if case.when is None or self.values.of(case.when, self.row, self.result.title) is True
        )

    def _made(self, case: Case) -> Finding:
        numbers = {name: self._number(name) for name in self.result.numbers}
        return Finding(
            code=self.check.key(f"{self.result.name}.{case.code}"),
            verdict=case.verdict,
            about=self._about(),
            sentence=self._filled(case.sentence),
            basis=self.result.basis,
            numbers=tuple(numbers.values()),
            limits=tuple(self._limits(case.verdict, numbers)),
            figures=(self._figure(self.result.chart),) if self.result.chart else (),
            places=self._places(),
            of=self._piece(),
        )

    def _piece(self) -> str:
        """The piece of equipment it is about."""
        return self.row if self.check.kind_of(self.result.table) else ""

    def _about(self) -> str:
        try:
            about, adds_row = self._filled(self.result.about), self.result.adds_row
        except NotEnoughData:
            about, adds_row = self.result.title, True
        return f"{about}{self.check.in_row(self.result.table, self.row)}" if adds_row else about

    def _filled(self, text: str) -> str:
        names = dict.fromkeys(NAMED.findall(text))
        return NAMED.sub(lambda match: self._told(match[1], names), text)

    def _told(self, name: str, beside: Iterable[str]) -> str:
        """A value as it is told beside others of one sentence: what differs from them looks different."""
        if name == ROW:
            return self.row
        found = self.values.value(name, self._row_of(name))
        if isinstance(found, bool):
            return "yes" if found else "no"
        if isinstance(found, str):
            return found
        unit, decimals = self._unit_and_decimals(name)
        view = self.values.view
        shown = view.unit_to_tell(unit)
        if name not in self.check.values:
            decimals = len(plain_text(in_unit(found, unit, shown)).partition(".")[2])
        like = [one for one in beside if one != name and self._is_number_in(one, unit)]
        here = [float(self.values.value(one, self._row_of(one))) for one in like]
        others = [in_unit(other, unit, shown) for other in (*here, *self._compared_with(found))]
        return view.told(found, unit, decimals_beside(in_unit(found, unit, shown), others, decimals)).rstrip()

    def _is_number_in(self, name: str, unit: str) -> bool:
        is_number = name != ROW and self.check.terms[name].sort is Sort.NUMBER
        return is_number and self._unit_and_decimals(name)[0] == unit

    def _compared_with(self, found: float) -> list[float]:
        """What a number is compared with, wherever that decides what is found."""
        if self._compared is None:
            rows = ((formula, self.row if formula.table else "") for formula in self.behind)
            self._compared = [pair for formula, row in rows for pair in self.values.sides_of(formula, row)]
        return [other for pair in self._compared for one, other in (pair, pair[::-1]) if are_one(one, found)]

    def _unit_and_decimals(self, name: str) -> tuple[str, int]:
        if name in self.check.values:
            value = self.check.values[name]
            return value.unit, value.decimals
        setting = self.check.setting(name)
        field = setting.field if setting else self.check.fields[name]
        return field.unit, 0 if field.kind is Kind.COUNT else 1

    def _number(self, name: str) -> Number:
        unit, decimals = self._unit_and_decimals(name)
        value = float(self.values.value(name, self._row_of(name)))
        decimals = decimals_beside(value, self._compared_with(value), decimals)
        return Number(self._called(name), value, unit, decimals=decimals)

    def _called(self, name: str) -> str:
        """A number's title; its name where another of the result has the same title."""
        title = self.check.title_of(name)
        return name if [self.check.title_of(one) for one in self.result.numbers].count(title) > 1 else title

    def _limits(self, verdict: Verdict, numbers: dict[str, Number]) -> Iterator[Limit]:
        """The limits a verdict rests on: of a fail those that are broken, of anything else those that are kept.

        Raises NotEnoughData for a pass whose number lies beyond a limit: the check contradicts itself.
        """
        for bound in self.result.bounds:
            low, high = self._end(bound.low), self._end(bound.high)
            if low is not None and high is not None and low > high:
                raise self._contradicts(bound, low, high)
            limit = Limit(numbers[bound.number].name, low, high)
            is_kept = limit.holds(numbers[bound.number].value)
            if verdict is Verdict.PASS and not is_kept:
                raise self._passes_beyond(bound, limit)
            if verdict is Verdict.ADVISE or is_kept is (verdict is Verdict.PASS):
                yield limit

    def _passes_beyond(self, bound: Bound, limit: Limit) -> NotEnoughData:
        """Told where a case passes what a limit of its own result does not allow."""
        view, (unit, decimals) = self.values.view, self._unit_and_decimals(bound.number)
        value = float(self.values.value(bound.number, self._row_of(bound.number)))
        is_low = limit.low is not None and value < limit.low
        end = limit.low if is_low else limit.high
        allowed = view.told(end or 0.0, unit, decimals).rstrip()
        text = (
            f"{self.check.title_of(bound.number)} is {view.told(value, unit, decimals).rstrip()}. "
            f"The check contradicts itself: its limit is {'at least' if is_low else 'at most'} {allowed}, and it "
            "passes; ask who wrote the check"
        )
        return NotEnoughData(Missing(text, lack=Lack.CONTRADICTS))

    def _contradicts(self, bound: Bound, low: float, high: float) -> NotEnoughData:
        """Told where the shop's settings, or what is entered, leave no room between two ends."""
        unit, _ = self._unit_and_decimals(bound.number)
        ends = " and ".join(self.check.title_of(end) for end in (bound.low, bound.high) if isinstance(end, str))
        told = f"at least {plain_text(low)}, at most {plain_text(high)} {unit}".rstrip()
        text = f"{self.check.title_of(bound.number)}: {told}, and nothing is both; correct {ends}"
        return NotEnoughData(Missing(text, lack=Lack.CONTRADICTS))

    def _end(self, end: str | float | None) -> float | None:
        return float(self.values.value(end, self._row_of(end))) if isinstance(end, str) else end

    def _figure(self, chart: Chart) -> Figure:
        rows = self.values.rows(chart.table)
        x = [float(self.values.of(chart.x, row, chart.title)) for row in rows]
        series = []
        for label, formula in zip(chart.labels[1:], chart.y, strict=True):
            y = [float(self.values.of(formula, row, chart.title)) for row in rows]
            points = sorted(zip(x, y, strict=True))
            series.append(Series(label, tuple(one for one, _ in points), tuple(other for _, other in points)))
        axes = [Axis(label, unit) for label, unit in zip(chart.labels[:2], chart.units[:2], strict=True)]
        return Figure(chart.title, axes[0], axes[1], tuple(series))
