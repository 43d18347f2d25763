"""A check as it was read: what is asked, worked out, judged and said. Data alone."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

import attrs

from garboard.checks.built_in import Changes
from garboard.checks.formulas import Formula, Term
from garboard.fields import Field
from garboard.findings import OF_VESSEL, Basis, row_in_words
from garboard.job_view import FieldKey
from garboard.records import EQUIPMENT
from garboard.settings import Setting
from garboard.steps import EquipmentKind, Step
from garboard.verdict import Verdict

NAMED = re.compile(r"\{([a-z][a-z0-9_]*)\}")
"""A value in a sentence."""
ROW = "row"
"""In a sentence the name of the row itself."""


@attrs.frozen(kw_only=True)
class Value:
    """Something that is worked out.

    table   : in whose rows; "" for once
    unit    : its numbers are in
    ends    : outside of which there is no number, in `unit`
    outside : what to do then; "" where the range itself says enough
    """

    name: str
    title: str
    formula: Formula
    table: str = ""
    unit: str = ""
    decimals: int = 1
    ends: tuple[float, float] | None = None
    outside: str = ""


@attrs.frozen(kw_only=True)
class Case:
    """One thing a result can be. Without `when` it holds where none before it does."""

    verdict: Verdict
    code: str
    sentence: str
    when: Formula | None = None


@attrs.frozen(kw_only=True)
class Bound:
    """What a verdict holds a number against: each end the name of a setting or a value, a number, or open."""

    number: str
    low: str | float | None = None
    high: str | float | None = None


@attrs.frozen(kw_only=True)
class Chart:
    """A figure over the rows of a table: one series for each formula of y."""

    title: str
    table: str
    x: Formula
    y: tuple[Formula, ...]
    labels: tuple[str, ...]
    units: tuple[str, ...]


@attrs.frozen(kw_only=True)
class Result:
    """One judgement: of each row of a table, or once.

    about    : what it is about
    adds_row : whether what tells the row from others stands behind that
    needs    : fields that must be entered, though no formula asks for them
    """

    name: str
    title: str
    step: str
    about: str
    cases: tuple[Case, ...]
    basis: tuple[Basis, ...]
    table: str = ""
    order: int = 500
    needs: tuple[str, ...] = ()
    numbers: tuple[str, ...] = ()
    bounds: tuple[Bound, ...] = ()
    chart: Chart | None = None
    adds_row: bool = False


@attrs.frozen(kw_only=True)
class Section:
    """A part of the handover book."""

    name: str
    title: str
    order: int
    text: tuple[str, ...]
    results: tuple[str, ...]


@attrs.frozen(kw_only=True)
class Check:
    """A whole check.

    edition : the shop's own count of it
    place   : the step and the table of each field ("" where it stands once), by the field's name. A fact of a piece of
              equipment stands under `OF_VESSEL`; its table, as that of a field asked of each, is the kind's name
    terms   : all names a formula may use
    stored  : what jobs call a field of a built-in step, where the check calls it otherwise
    changes : what it changes of the program's own steps and settings
    """

    name: str
    title: str
    edition: str
    basis: Basis
    equipment: tuple[EquipmentKind, ...] = ()
    steps: tuple[Step, ...] = ()
    settings: tuple[Setting, ...] = ()
    fields: Mapping[str, Field] = attrs.field(factory=dict)
    place: Mapping[str, tuple[str, str]] = attrs.field(factory=dict)
    terms: Mapping[str, Term] = attrs.field(factory=dict)
    values: Mapping[str, Value] = attrs.field(factory=dict)
    results: tuple[Result, ...] = ()
    sections: tuple[Section, ...] = ()
    stored: Mapping[str, str] = attrs.field(factory=dict)
    changes: Changes = attrs.field(factory=Changes)

    def at(self, name: str) -> tuple[str, str]:
        """Step and field under which a job holds what is entered for a field."""
        return self.place[name][0], self.stored.get(name, name)

    def key(self, name: str) -> str:
        """The key under which jobs and findings know something of it."""
        return f"{self.name}.{name}"

    def kind_of(self, table: str) -> str:
        """The kind of equipment whose pieces are the rows of a table; "" of a table of a step."""
        if table in EQUIPMENT and table not in self.fields:
            return table
        return self.key(table) if any(kind.key == self.key(table) for kind in self.equipment) else ""

    def steps_of(self, table: str) -> frozenset[str]:
        """The steps in which fields of a table are asked."""
        return frozenset(step for step, of in self.place.values() if of == table and step != OF_VESSEL)

    def field_key(self, name: str, row: str) -> FieldKey:
        """Where a field is kept: a row of a table of equipment is the name of a piece."""
        (step, stored), kind = self.at(name), self.kind_of(self.place[name][1])
        if not kind:
            return step, stored, row, ""
        return step, f"{kind}.{name}" if step == OF_VESSEL else stored, "", row

    def in_row(self, table: str, row: str) -> str:
        """What tells a row from others behind the name of a value."""
        return "" if not row else f", {row if self.kind_of(table) else row_in_words(row)}"

    def table_title(self, table: str) -> str:
        own = (kind.title for kind in self.equipment if kind.key == self.key(table))
        return self.fields[table].title if table in self.fields else next(own, table.replace("_", " ").capitalize())

    def setting(self, name: str) -> Setting | None:
        return next((one for one in self.settings if one.field.name == name), None)

    def title_of(self, name: str) -> str:
        """What a person calls a value, a field or a setting."""
        setting = self.setting(name)
        return setting.field.title if setting else (self.values.get(name) or self.fields[name]).title

    def formulas_behind(self, names: Iterable[str]) -> list[Formula]:
        """The formulas of these values, and of those that they rest on."""
        found: dict[str, Formula] = {}
        waiting = list(names)
        while waiting:
            name = waiting.pop()
            if name in self.values and name not in found:
                found[name] = self.values[name].formula
                waiting += found[name].names
        return list(found.values())

    def codes(self) -> Iterator[str]:
        """Every code it writes."""
        for result in self.results:
            yield from (self.key(f"{result.name}.{case.code}") for case in result.cases)
