"""Reads a check file: TOML into a check, or every fault of it with its line, what was expected and what to do."""

from __future__ import annotations

import keyword
import re
import tomllib
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

import attrs

from garboard import cautions as shared_cautions
from garboard.checks.built_in import BuiltIn, Changes
from garboard.checks.built_in_entries import built_in_step, leave_out, read_of, stricter
from garboard.checks.check import NAMED, ROW, Bound, Case, Chart, Check, Result, Section, Value
from garboard.checks.entries import Entry, Faults
from garboard.checks.formulas import OF_VALUES, OVER_ROWS, Formula, Sort, Term, read_formula, sort_and_unit
from garboard.checks.lines import lines_of
from garboard.checks.module import FORMAT, is_check
from garboard.checks.quantities import Unit, same_unit, unit_of
from garboard.checks.refused import CheckFault, CheckRefused
from garboard.faults import Fault, refuse_endless
from garboard.fields import Field, Kind
from garboard.findings import OF_VESSEL, Basis, BasisKind, in_full, plain_text
from garboard.records import EQUIPMENT
from garboard.settings import Setting
from garboard.steps import DIESEL, GASOLINE, MOST_FACTS, Caution, EquipmentKind, Phase, Step
from garboard.units import UNITS_OF, Amount
from garboard.verdict import Verdict

VERSION = 1
LARGEST = 1 << 16
"""Bytes of a check file."""
LONGEST_LINE = 4000
DEEPEST = 10
"""A column's choices are seven deep."""
MOST_KINDS, MOST_STEPS, MOST_FIELDS, MOST_COLUMNS, MOST_SETTINGS = 10, 10, 60, 20, 40
MOST_VALUES, MOST_RESULTS, MOST_CASES, MOST_SECTIONS = 60, 40, 12, 10
_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")
_LONGEST_TITLE = 120
_KIND = "kind of equipment"
_KINDS_LEFT_OUT = (Kind.SIGNATURE, Kind.RECORDING)
_SORT_OF = {
    Kind.AMOUNT: Sort.NUMBER,
    Kind.COUNT: Sort.NUMBER,
    Kind.YES_NO: Sort.YES_NO,
    Kind.CHOICE: Sort.TEXT,
    Kind.TEXT: Sort.TEXT,
}
_ORDER_OF_QUANTITIES = sorted(UNITS_OF, key=lambda quantity: (quantity == "distance", -len(UNITS_OF[quantity])))
"""Where nothing else is said feet and metres are lengths, and of others the quantity counts that takes most units."""


def read_check(path: Path, taken: Collection[str] = (), built_in: BuiltIn | None = None) -> Check:
    """Read a check file.

    taken    : names with which the keys of the built-in plugins begin
    built_in : their steps and settings, where the file may change them
    errors : CheckRefused with every fault; InputError for a pipe; OSError
    """
    refuse_endless(path, "a check file")
    if path.stat().st_size > LARGEST:
        cure = "make two checks of it: a check holds no tables of data"
        fault = Fault("file", f"at most {LARGEST} bytes", f"{path.stat().st_size}", cure=cure)
        raise CheckRefused([CheckFault(fault, "too_large")])
    return check_of(path.read_bytes(), taken, built_in, path.stem)


def check_of(content: bytes, taken: Collection[str] = (), built_in: BuiltIn | None = None, file: str = "") -> Check:
    """The same of a file's content.

    file : what the file is called, without its ending; "" where nobody has given it a name yet
    """
    text, plain = plain_of(content)
    faults = Faults(lines_of(text))
    entry = Entry(plain, (), faults)
    _check_heading(entry, content)
    if faults.found:
        raise CheckRefused(faults.found)
    check = _Reading(entry, faults, taken, built_in or BuiltIn()).read()
    if file and file != check.name:
        # lists, --only and the shop's register go by the file, keys and codes by the name: two files of one name would
        # ask the same, and an old one could stay at work beside the new
        cure = f'call the file {check.name}.toml, or write name = "{file}" if no job has used it yet'
        entry.refuse("name", f"the name of its file, {file!r}", repr(check.name), cure, "wrong_name")
    if faults.found:
        raise CheckRefused(faults.found)
    return check


def plain_of(content: bytes) -> tuple[str, dict[str, Any]]:
    """The text of a check file and what stands in it. Raises CheckRefused for what is no TOML."""
    try:
        text = content.decode()
        _refuse_long_lines(text)
        plain = tomllib.loads(text)
        _refuse_deep(text, plain)
        return text, plain
    except UnicodeDecodeError as failure:
        line = content.count(b"\n", 0, failure.start) + 1
        fault = Fault("file", "text saved as UTF-8", f"byte {content[failure.start]:#04x}", line, cure="save it anew")
        raise CheckRefused([CheckFault(fault, "not_utf8")]) from None
    except RecursionError:
        fault = Fault("file", "TOML", "brackets in brackets without end", cure="take them out")
    except ValueError as failure:  # also of a number with thousands of digits
        found = re.search(r"at line (\d+)", str(failure))
        fault = Fault("file", "TOML", str(failure)[:200], int(found[1]) if found else 0, cure="correct that line")
    raise CheckRefused([CheckFault(fault, "syntax_error")])


def _refuse_long_lines(text: str) -> None:
    """A key of thousands of parts takes a reader of TOML work that grows as a square; and no key has two lines."""
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE:
            cure = "put each text of a list into a line of its own"
            fault = Fault("file", f"lines of at most {LONGEST_LINE} letters", f"{len(line)}", number, cure=cure)
            raise CheckRefused([CheckFault(fault, "too_large")])


def _refuse_deep(text: str, plain: dict[str, Any]) -> None:
    """Whatever walks through the tables later may do so by calling itself."""
    level: list[Any] = [plain]
    for _ in range(DEEPEST):
        level = [one for each in level for one in (each.values() if isinstance(each, dict) else each)]
        level = [one for one in level if isinstance(one, dict | list)]
    if level:
        lines = text.split("\n")
        number = max(range(len(lines)), key=lambda at: sum(map(lines[at].count, ".{["))) + 1
        fault = Fault("file", f"tables in tables at most {DEEPEST} deep", "more", number, cure="take them out")
        raise CheckRefused([CheckFault(fault, "wrong_value")])


def _check_heading(entry: Entry, content: bytes) -> None:
    stated = entry.text("format")
    if not is_check(content):  # it is told from other files by its first line
        expected = f'"{FORMAT}" in the first line'
        entry.refuse("format", expected, repr(stated), f'begin the file with format = "{FORMAT}"')
    version = entry.whole("version", None, 1, 9999)
    if version > VERSION:
        cure = "update the program, or get another version of the check"
        entry.refuse("version", f"{VERSION} or less", str(version), cure, "other_version")


@attrs.define
class _Reading:
    """Reads one file, part by part: fields and settings first, then formulas over them."""

    entry: Entry
    faults: Faults
    taken: Collection[str]
    built_in: BuiltIn
    title: str = attrs.field(init=False, default="")
    basis: Basis = attrs.field(init=False)
    names: dict[str, str] = attrs.field(factory=dict)
    """Every name of a value, field or setting, with what it is."""
    fields: dict[str, Field] = attrs.field(factory=dict)
    place: dict[str, tuple[str, str]] = attrs.field(factory=dict)
    terms: dict[str, Term] = attrs.field(factory=dict)
    values: dict[str, Value] = attrs.field(factory=dict)
    equipment: list[EquipmentKind] = attrs.field(factory=list)
    kinds: dict[str, str] = attrs.field(factory=dict)
    """Kinds of equipment that are asked of, by the name they have here, each with its key."""
    steps: dict[str, Step] = attrs.field(factory=dict)
    """By the name results call them: its own, and those of the program's to which it adds."""
    added: dict[str, tuple[Field, ...]] = attrs.field(factory=dict)
    """What it adds to steps of the program's own, by their keys."""
    stored: dict[str, str] = attrs.field(factory=dict)
    settings: list[Setting] = attrs.field(factory=list)

    def read(self) -> Check:
        entry = self.entry
        name = entry.text("name", longest=40)
        if not _NAME.fullmatch(name):
            entry.refuse("name", "small letters, digits and _, a letter first", repr(name))
        if name.removeprefix("garboard_") in self.taken:
            cure = "call the check otherwise"
            entry.refuse("name", "none of the program's own", repr(name), cure, "others_key")
        title, edition = entry.text("title", longest=_LONGEST_TITLE), entry.text("edition", longest=40)
        self.title, found = title, _basis(entry)
        if found is None:
            entry.refuse(
                "basis", "where the rule comes from", "nothing", 'add basis = {kind = "shop rule", text = "..."}'
            )
        self.basis = found or Basis(BasisKind.SHOP_RULE, "?")
        for one in entry.entries("setting", MOST_SETTINGS):
            self._read_setting(one, name)
        for one in entry.entries("equipment", MOST_KINDS):
            self._read_kind(one, name)
        for one in entry.entries("step", MOST_STEPS):
            self._read_step(one, name)
        own = tuple(self.steps.values())
        for one in entry.entries("add_to", MOST_STEPS):
            self._read_added(one, name)
        changes = self._read_changes(title, edition)
        if not self.steps and not changes and not self.faults.found:
            entry.refuse("step", "at least one step", "none", "add [[step]]")
        self._read_values([*entry.entries("value", MOST_VALUES)])
        results = self._read_results()
        sections = [self._section(one, results) for one in entry.entries("section", MOST_SECTIONS)]
        self._refuse_twice("section", [one.name for one in sections])
        entry.end()
        return Check(
            name=name,
            title=title,
            edition=edition,
            basis=self.basis,
            equipment=tuple(self.equipment),
            steps=own,
            settings=tuple(self.settings),
            fields=self.fields,
            place=self.place,
            terms=self.terms,
            values=self.values,
            results=tuple(results),
            sections=tuple(sections),
            stored=self.stored,
            changes=changes,
        )

    # ---- what it changes of the program's own

    def _read_changes(self, title: str, edition: str) -> Changes:
        """Each step and each setting is changed at most once."""
        called = f"{title} {edition}"
        left = [leave_out(one, called, self.built_in) for one in self.entry.entries("leave_out", MOST_STEPS)]
        asked = [stricter(one, called, self.built_in) for one in self.entry.entries("stricter", MOST_SETTINGS)]
        self._refuse_twice("stricter", [one.key if one else str(place) for place, one in enumerate(asked)], "setting")
        return Changes(
            title=title,
            leave_out=tuple(one for one in left if one is not None),
            stricter=tuple(one for one in asked if one is not None),
            fields=self.added,
        )

    def _read_added(self, entry: Entry, check: str) -> None:
        """Fields that a step of the program's own asks besides, and those of its fields that results read."""
        name, step = entry.text("name", longest=40), built_in_step(entry, self.built_in)
        if not _NAME.fullmatch(name) or name in self.steps:
            cure = "rename one of them" if name in self.steps else ""
            entry.refuse("name", "a name of its own of small letters, digits and _", repr(name), cure)
        key = step.key if step else ""
        fields = [self._field(one, key) for one in entry.entries("field", MOST_FIELDS)]
        for one in entry.entries("read", MOST_FIELDS):
            self._read_built_in(one, step)
        entry.end()
        if step is None:
            return
        self.steps.setdefault(name, step)
        found = [self._as_stored(field, check) for field in fields if field is not None]
        self.added[key] = (*self.added.get(key, ()), *found)

    def _as_stored(self, field: Field, check: str) -> Field:
        """A field under the name by which no other of the step goes, now or later."""
        self.stored[field.name] = name = f"{check}.{field.name}"
        columns = tuple(self._as_stored(column, check) for column in field.columns)
        former = tuple(f"{check}.{one}" for one in field.renamed_from)
        told = field.help or f"The shop's check {self.title} asks this."
        return attrs.evolve(field, name=name, columns=columns, renamed_from=former, help=told)

    def _read_built_in(self, entry: Entry, step: Step | None) -> None:
        """A field of a built-in step under a name for formulas; a column brings its table."""
        name, field = self._new_name(entry, "field"), entry.text("field", longest=80)
        entry.end()
        found = read_of(entry, step, field) if step is not None else None
        if step is None or found is None:
            return
        one, table, each = found.field, found.table, found.each
        here = attrs.evolve(one, name=name, renamed_from=())
        self.stored[name] = one.name
        if each:
            self._take_kind(entry, "field", each)
        elif table is not None:
            if self.names.setdefault(table.name, f"table of {step.key}") != f"table of {step.key}":
                entry.refuse("field", "a column of a table that is called like nothing else", repr(table.name))
                return
            read = self.fields[table.name].columns if table.name in self.fields else ()
            self.place[table.name] = (step.key, "")
            self.fields[table.name] = attrs.evolve(table, columns=(*read, here))
        self._keep_field(here, step.key, each or (table.name if table else ""), entry)

    def _take_kind(self, entry: Entry, key: str, kind: str) -> bool:
        """Let a kind of the program's own equipment be a table; told where something else has its name."""
        taken = self.names.setdefault(kind, _KIND)
        if taken != _KIND:
            entry.refuse(key, f"nothing else called {kind}", f"a {taken}", "rename that")
        self.kinds.setdefault(kind, kind)
        return taken == _KIND

    def _new_name(self, entry: Entry, what: str) -> str:
        """A name that formulas use. One name stands for one thing in the whole file."""
        name = entry.text("name", longest=40)
        if not _NAME.fullmatch(name) or keyword.iskeyword(name) or name in (*OVER_ROWS, *OF_VALUES, ROW):
            expected = "small letters, digits and _, a letter first, and no word of formulas"
            entry.refuse("name", expected, repr(name), "choose another name")
        elif name in self.names:
            entry.refuse("name", "a name of its own", f"{name!r}, which is a {self.names[name]}", "rename one of them")
        self.names.setdefault(name, what)
        return name

    def _refuse_twice(self, what: str, names: Sequence[str], key: str = "name") -> None:
        cure = "rename one of them" if key == "name" else "take one of them out"
        for place, name in enumerate(names):
            if name in names[:place]:
                self.faults.add((what, place, key), f"a {key} of its own", repr(name), cure)

    # ---- settings and steps

    def _read_setting(self, entry: Entry, check: str) -> None:
        name, title, unit = self._new_name(entry, "setting"), entry.text("title", longest=120), entry.text("unit", "")
        quantity, ends = self._quantity(entry, unit), entry.ends("range")
        default = entry.number("default")
        if ends is None:
            entry.refuse("range", "the lowest and the highest value a shop may set", "nothing", "add range = [2, 20]")
        help_text, basis, stricter = entry.text("help", ""), _basis(entry) or self.basis, entry.text("stricter", "")

        def made() -> Setting:
            field = Field(name=name, title=title, kind=Kind.AMOUNT, quantity=quantity, unit=unit,
                          hard=ends or (0, 1e9), help=help_text)  # fmt: skip
            text = f"{plain_text(default, 15)} {unit}".rstrip()
            return Setting(key=f"{check}.{name}", field=field, default=text, basis=basis, stricter=stricter)

        setting = self.faults.attempt(entry.path, made, None) if quantity else None
        entry.end()
        self.terms.setdefault(name, Term(sort=Sort.NUMBER, unit=self._unit(entry, unit)))
        if setting is not None:
            self.settings.append(setting)

    def _read_kind(self, entry: Entry, check: str) -> None:
        """A kind of equipment. In formulas its name stands for a table whose rows are its pieces."""
        name = self._new_name(entry, _KIND)
        fields = [self._field(one, OF_VESSEL, name) for one in entry.entries("field", MOST_FACTS)]
        title, one = entry.text("title", longest=_LONGEST_TITLE), entry.text("one", longest=_LONGEST_TITLE)
        given: dict[str, Any] = {
            "order": entry.whole("order", 500, 0, 9999),
            "named_by": entry.text("named_by", "What is it called?", _LONGEST_TITLE),
            "names": entry.texts("names"),
            "only_one": entry.flag("only_one", False),
        }
        entry.end()
        self.kinds[name] = f"{check}.{name}"
        if None in fields:
            return

        def made() -> EquipmentKind:
            facts = tuple(field for field in fields if field is not None)
            return EquipmentKind(key=f"{check}.{name}", title=title, one=one, fields=facts, **given)

        kind = self.faults.attempt(entry.path, made, None)
        if kind is not None:
            self.equipment.append(kind)

    def _each(self, entry: Entry) -> str:
        """The kind of equipment that a field is asked of, by its name here."""
        name = entry.text("each", "")
        if not name:
            return ""
        if name in EQUIPMENT:
            return name if self._take_kind(entry, "each", name) else ""
        if name not in self.kinds:
            own = [kind for kind in self.kinds if kind not in EQUIPMENT]
            entry.refuse("each", f"one of {', '.join((*own, *EQUIPMENT))}", repr(name), "", "unknown_kind")
            return ""
        return name

    def _unit(self, entry: Entry, unit: str) -> Unit:
        return self.faults.attempt(entry.at("unit"), lambda: unit_of(unit), Unit())

    def _quantity(self, entry: Entry, unit: str) -> str:
        """The quantity of an amount: as stated, or the one its unit is of. "" where the unit is unknown."""
        stated = entry.text("quantity", "")
        fitting = [one for one in _ORDER_OF_QUANTITIES if unit in UNITS_OF[one] and stated in ("", one)]
        if not fitting:
            known = ", ".join(dict.fromkeys(unit for units in UNITS_OF.values() for unit in units if unit))
            expected = f"a unit of {stated}" if stated in UNITS_OF else f"one of {known}"
            entry.refuse("unit", expected, repr(unit), "choose one of them; a plain number has none")
        return fitting[0] if fitting else ""

    def _read_step(self, entry: Entry, check: str) -> None:
        name, title = entry.text("name", longest=40), entry.text("title", longest=_LONGEST_TITLE)
        if not _NAME.fullmatch(name) or name in self.steps:
            cure = "rename one of them" if name in self.steps else ""
            entry.refuse("name", "a name of its own of small letters, digits and _", repr(name), cure)
        key = f"{check}.{name}"
        phase, order = entry.word("phase", Phase), entry.whole("order", None, 0, 9999)
        cautions = [self._caution(one) for one in entry.entries("caution", 10)]
        fields = [self._field(one, key) for one in entry.entries("field", MOST_FIELDS)]
        at_hand = entry.texts("at_hand")
        entry.end()
        if not fields:
            entry.refuse("field", "at least one field", "none", "add [[step.field]]")
        if any(field is None for field in fields):
            return

        def made() -> Step:
            found = tuple(field for field in fields if field is not None)
            return Step(key=key, title=title, phase=phase, order=order, fields=found,
                        cautions=tuple(cautions), at_hand=at_hand)  # fmt: skip

        step = self.faults.attempt(entry.path, made, None)
        if step is not None:
            self.steps.setdefault(name, step)

    def _caution(self, entry: Entry) -> Caution:
        known = {name.lower(): name for name in shared_cautions.__all__}
        shared = entry.text("shared", "")
        if shared:
            if shared not in known:
                entry.refuse("shared", f"one of {', '.join(known)}", repr(shared))
            entry.end()
            caution: Caution = getattr(shared_cautions, known.get(shared, "DEFER"))
            return caution
        text, fuels = entry.text("text"), entry.texts("fuels")
        if set(fuels) - {GASOLINE, DIESEL}:
            entry.refuse("fuels", f"{GASOLINE} or {DIESEL}", ", ".join(fuels))
        basis = _basis(entry) or self.basis
        entry.end()
        return Caution(text, basis, fuels)

    def _field(self, entry: Entry, step: str, table: str = "") -> Field | None:
        """One field, or a column of a table."""
        name, title = self._new_name(entry, "field"), entry.text("title", longest=_LONGEST_TITLE)
        if name == "fuel" and step != OF_VESSEL and step not in self.built_in.steps:
            cure = "call it what burns it, such as heater_fuel"
            entry.refuse(
                "name", "another name: by this one a boat's cautions are chosen", repr(name), cure, "others_key"
            )
        left_out = (*_KINDS_LEFT_OUT, Kind.TABLE) if table else _KINDS_LEFT_OUT
        kind = entry.word("kind", Kind, but=(*left_out, Kind.PHOTO) if step == OF_VESSEL else left_out)
        each = self._each(entry) if not table and kind is not Kind.TABLE else ""
        unit = entry.text("unit", "", 20) if kind is Kind.AMOUNT else ""
        quantity = self._quantity(entry, unit) if kind is Kind.AMOUNT else ""
        columns = [
            self._field(one, step, name)
            for one in (entry.entries("column", MOST_COLUMNS) if kind is Kind.TABLE else ())
        ]
        if kind is Kind.TABLE and not columns:
            entry.refuse("column", "at least one column", "none", "add [[step.field.column]]")
        given: dict[str, Any] = {
            "choices": entry.texts("choices") if kind is Kind.CHOICE else (),
            "plausible": entry.ends("plausible") if kind in (Kind.AMOUNT, Kind.COUNT) else None,
            "hard": entry.ends("hard") if kind in (Kind.AMOUNT, Kind.COUNT) else None,
            "doubted_outside": entry.ends("doubted_outside") if kind in (Kind.AMOUNT, Kind.COUNT) else None,
            "offers": entry.texts("offers") if kind in (Kind.AMOUNT, Kind.TEXT) else (),
            "required": entry.flag("required", True),
            "help": entry.text("help", ""),
            "renamed_from": entry.texts("renamed_from"),
            "each": self.kinds.get(each, ""),
            "of_model": entry.flag("of_model", False),
        }
        entry.end()
        if None in columns or (kind is Kind.AMOUNT and not quantity):
            return None

        def made(more: Mapping[str, Any] = given) -> Field:
            inner = tuple(column for column in columns if column is not None)
            return Field(name=name, title=title, kind=kind, quantity=quantity, unit=unit, columns=inner, **more)

        field = self.faults.attempt(entry.path, made, None)
        if field is None:  # told; whatever names it is not told as well
            with suppress(ValueError):
                field = made({"choices": given["choices"], "each": given["each"]})
        if field is not None:
            self._keep_field(field, step, table or each, entry)
        return field

    def _keep_field(self, field: Field, step: str, table: str, entry: Entry) -> None:
        self.fields.setdefault(field.name, field)
        self.place.setdefault(field.name, (step, table))
        sort = _SORT_OF.get(field.kind, Sort.OTHER)
        unit = self._unit(entry, field.unit) if field.kind is Kind.AMOUNT else Unit()
        term = Term(sort=sort, unit=unit, table=table, choices=field.choices, may_lack=not field.required)
        if field.kind is not Kind.TABLE:
            self.terms.setdefault(field.name, term)

    # ---- what is worked out

    def _read_values(self, entries: Sequence[Entry]) -> None:
        """Values may rest on one another in any order, and never on themselves."""
        waiting = {name: one for one in entries if (name := self._new_name(one, "value"))}
        needs = {name: _words(str(one.table.get("formula", ""))) & set(waiting) for name, one in waiting.items()}
        while ready := [name for name in waiting if not needs[name] & set(waiting)]:
            for name in ready:
                self._read_value(waiting.pop(name), name)
        if waiting:
            circle = _circle(next(iter(waiting)), {name: needs[name] & set(waiting) for name in waiting})
            for name in dict.fromkeys(circle):
                path = waiting[name].at("formula")
                cure = "let one of them rest on what is entered"
                self.faults.add(path, "a value that does not rest on itself", " -> ".join(circle), cure)

    def _read_value(self, entry: Entry, name: str) -> None:
        title, table = entry.text("title", longest=_LONGEST_TITLE), self._table(entry)
        unit, decimals, ends = entry.text("unit", "", 40), entry.whole("decimals", 1, 0, 9), entry.ends("range")
        outside = entry.text("outside", "")
        if outside and ends is None:
            entry.refuse("outside", "a range it is told outside of", "none", "add range = [low, high]")
        declared = self._unit(entry, unit)
        formula = self._formula(entry, "formula", table)
        entry.end()
        found = self._sort(entry, "formula", formula)
        if formula is None or found is None:
            self.terms.setdefault(name, Term(sort=Sort.NUMBER, unit=declared, table=table))
            return
        if found.sort is Sort.NUMBER:
            self.faults.attempt(entry.at("unit"), lambda: same_unit(declared, found.unit, "give it"), declared)
        elif found.sort is Sort.TEXT:
            entry.refuse("formula", "a number, or a yes or no", "a text")
        self.terms.setdefault(name, found if found.sort is not Sort.NUMBER else attrs.evolve(found, unit=declared))
        self.values[name] = Value(
            name=name,
            title=title,
            formula=formula,
            table=table,
            unit=unit,
            decimals=decimals,
            ends=ends,
            outside=outside.rstrip("."),
        )

    def _table(self, entry: Entry) -> str:
        table = entry.text("rows", "")
        tables = [*(name for name, field in self.fields.items() if field.kind is Kind.TABLE), *self.kinds]
        if table and table not in tables:
            entry.refuse("rows", f"one of the tables {', '.join(tables)}" if tables else "no rows", repr(table))
            return ""
        return table

    def _formula(self, entry: Entry, name: str, table: str, default: str | None = None) -> Formula | None:
        text = entry.text(name, default, 10_000)
        if not text:
            return None
        return self.faults.attempt(entry.at(name), lambda: read_formula(text, self.terms, table), None)

    def _sort(self, entry: Entry, name: str, formula: Formula | None) -> Term | None:
        if formula is None:
            return None
        return self.faults.attempt(entry.at(name), lambda: sort_and_unit(formula, self.terms), None)

    # ---- what is judged and said

    def _read_results(self) -> list[Result]:
        results = [self._result(one) for one in self.entry.entries("result", MOST_RESULTS)]
        self._refuse_twice("result", [one.name for one in results])
        if not results and not {"leave_out", "stricter"} & self.entry.table.keys():
            self.entry.refuse("result", "at least one result", "none", "add [[result]]")
        return results

    def _result(self, entry: Entry) -> Result:
        name, title = entry.text("name", longest=40), entry.text("title", longest=_LONGEST_TITLE)
        if not _NAME.fullmatch(name):
            entry.refuse("name", "small letters, digits and _, a letter first", repr(name))
        step, table = entry.text("step"), self._table(entry)
        if step not in self.steps and self.steps:
            entry.refuse("step", f"one of {', '.join(self.steps)}", repr(step))
        basis = _basis(entry) or self.basis
        about = self._sentence(entry, "about", table)
        named = NAMED.findall(about)
        names_row = ROW in named or any(self.terms[one].table for one in named if one in self.terms)
        numbers = self._numbers(entry, table)
        cases = [self._case(one, table, basis) for one in entry.entries("case", MOST_CASES)]
        self._check_cases(entry, cases)
        bounds = [self._bound(one, numbers) for one in entry.entries("limit", 10)]
        result = Result(
            name=name,
            title=title,
            step=self.steps[step].key if step in self.steps else "",
            about=about,
            adds_row=bool(table) and not names_row,  # two rows are told apart, whatever its author thought of
            cases=tuple(cases),
            basis=(basis,),
            table=table,
            order=entry.whole("order", 500, 0, 9999),
            needs=self._needs(entry, table),
            numbers=numbers,
            bounds=tuple(bounds),
            chart=self._chart(entry, table),
        )
        entry.end()
        return result

    def _needs(self, entry: Entry, table: str) -> tuple[str, ...]:
        """Names of fields that must be entered, such as a photo."""
        names = entry.texts("needs", MOST_FIELDS)
        here = [
            name
            for name, term in self.terms.items()
            if name in self.fields and term.table in ("", table)  # a setting and a value are always there
        ]
        if unknown := [name for name in names if name not in here]:
            entry.refuse("needs", f"fields of {', '.join(here)}"[:300], repr(unknown[0]))
        return names

    def _numbers(self, entry: Entry, table: str) -> tuple[str, ...]:
        """Names of the numbers a finding tells."""
        names = entry.texts("numbers")
        for name in names:
            term = self.terms.get(name)
            if term is None or term.sort is not Sort.NUMBER or term.table not in ("", table):
                here = [one for one, it in self.terms.items() if it.sort is Sort.NUMBER and it.table in ("", table)]
                entry.refuse("numbers", f"numbers of {', '.join(here)}"[:300], repr(name))
        return names

    def _case(self, entry: Entry, table: str, basis: Basis) -> Case:
        verdict = entry.word("verdict", Verdict, but=(Verdict.NOT_ENOUGH_DATA,))
        code, sentence = entry.text("code", longest=40), self._sentence(entry, "sentence", table)
        if not _NAME.fullmatch(code):
            entry.refuse("code", "small letters, digits and _, a letter first", repr(code))
        when = self._formula(entry, "when", table, "")
        found = self._sort(entry, "when", when)
        if found is not None and found.sort is not Sort.YES_NO:
            entry.refuse("when", "a comparison, such as 'gap < least_gap'", found.sort.value)
        if when is not None and not when.names:
            entry.refuse("when", "a condition that rests on a value", repr(when.text), "name a field, setting or value")
        if when is not None and verdict is Verdict.FAIL and basis.kind is BasisKind.COMMON_PRACTICE:
            self._refuse_unsourced(entry, when)
        entry.end()
        return Case(verdict=verdict, code=code, sentence=sentence, when=when)

    def _refuse_unsourced(self, entry: Entry, when: Formula) -> None:
        """Common practice alone fails only what a person answered."""
        if any(self.terms[name].sort is Sort.NUMBER for name in when.names):
            cure = "write advise, or give the result a shop rule as its basis"
            entry.refuse("verdict", "advise, as common practice alone fails no number", "fail", cure)

    def _check_cases(self, entry: Entry, cases: Sequence[Case]) -> None:
        open_ones = [place for place, case in enumerate(cases) if "when" not in _case_table(entry, place)]
        if not cases or open_ones != [len(cases) - 1]:
            cure = "leave out when in the last case, and in no other"
            entry.refuse("case", "cases of which the last alone holds always", f"{len(open_ones)} without when", cure)
        for place, case in enumerate(cases):
            if case.code in [one.code for one in cases[:place]]:
                path = (*entry.at("case"), place, "code")
                self.faults.add(path, "a code of its own", repr(case.code), "rename one of them")

    def _sentence(self, entry: Entry, name: str, table: str) -> str:
        """A text with values in it."""
        text = entry.text(name)
        for named in NAMED.findall(text):
            term = self.terms.get(named)
            is_row = named == ROW and table
            if not is_row and (term is None or term.table not in ("", table) or term.sort is Sort.OTHER):
                known = [one for one, it in self.terms.items() if it.table in ("", table) and it.sort is not Sort.OTHER]
                entry.refuse(name, f"names of {', '.join([*known, *([ROW] if table else [])])}"[:400], f"{{{named}}}")
        if set(NAMED.sub("", text)) & set("{}"):
            entry.refuse(name, "a name in each pair of { }", repr(text[:60]), "write a value as {name}")
        return text

    def _bound(self, entry: Entry, numbers: Sequence[str]) -> Bound:
        number = entry.text("number")
        if number not in numbers:
            entry.refuse("number", f"one of numbers, {', '.join(numbers) or 'which names none'}", repr(number))
        low, high = (self._end(entry, one, number) for one in ("low", "high"))
        if low is None and high is None:
            entry.refuse("low", "a low or a high end", "neither", "add low or high")
        first, last = self._at_first(low), self._at_first(high)
        if first is not None and last is not None and first > last:
            entry.refuse(
                "low", f"at most the high end, {in_full(last)}", in_full(first), "nothing can be both: turn them round"
            )
        entry.end()
        return Bound(number=number, low=low, high=high)

    def _at_first(self, end: str | float | None) -> float | None:
        """An end of a limit as long as the shop has set nothing; None where it is worked out."""
        if not isinstance(end, str):
            return end
        setting = next((one for one in self.settings if one.field.name == end), None)
        return Amount.parse(str(setting.default)).to(setting.field.unit) if setting else None

    def _end(self, entry: Entry, name: str, number: str) -> str | float | None:
        if name not in entry.table:
            entry.taken.add(name)
            return None
        if not isinstance(entry.table[name], str):
            return entry.number(name)
        text = entry.text(name)
        term, of = self.terms.get(text), self.terms.get(number)
        if term is None or term.sort is not Sort.NUMBER or of is None:
            entry.refuse(name, "a number, or the name of a setting or value", repr(text))
        else:
            self.faults.attempt(entry.at(name), lambda: same_unit(of.unit, term.unit, "hold it against"), of.unit)
        return text

    def _chart(self, entry: Entry, table: str) -> Chart | None:
        inner = entry.inner("figure")
        if inner is None:
            return None
        if table:
            inner.refuse("", "no figure in a result with rows", "one", "give it to a result without rows")
        rows, title, labels = self._table(inner), inner.text("title", longest=120), inner.texts("labels")
        x = self._formula(inner, "x", rows)
        y = [self._of_list(inner, place, text, rows) for place, text in enumerate(inner.texts("y", 6))]
        if len(labels) != len(y) + 1 or not y or not rows:
            inner.refuse("labels", "rows, one label for x, and one for each y", f"{len(labels)} labels")
        found = [self._number_of(inner, name, one) for name, one in (("x", x), *(("y", one) for one in y))]
        inner.end()
        if x is None or None in found:
            return None
        units = tuple(str(one.unit) for one in found if one is not None)
        for one in found[2:]:
            if one is not None and found[1] is not None:
                work = partial(same_unit, found[1].unit, one.unit, "draw")
                self.faults.attempt(inner.at("y"), work, found[1].unit)
        return Chart(
            title=title, table=rows, x=x, y=tuple(one for one in y if one is not None), labels=labels, units=units
        )

    def _number_of(self, entry: Entry, name: str, formula: Formula | None) -> Term | None:
        """What a formula of a figure gives; None, and told, where that is no number."""
        found = self._sort(entry, name, formula)
        if found is not None and found.sort is not Sort.NUMBER:
            entry.refuse(name, "a number", found.sort.value)
            return None
        return found

    def _of_list(self, entry: Entry, place: int, text: str, table: str) -> Formula | None:
        path = (*entry.at("y"), place)
        return self.faults.attempt(path, lambda: read_formula(text, self.terms, table), None)

    def _section(self, entry: Entry, results: Sequence[Result]) -> Section:
        known = [one.name for one in results]
        section = Section(
            name=entry.text("name", longest=40),
            title=entry.text("title", longest=_LONGEST_TITLE),
            order=entry.whole("order", 500, 0, 9999),
            text=entry.texts("text"),
            results=entry.texts("results", MOST_RESULTS),
        )
        if unknown := [one for one in section.results if one not in known]:
            entry.refuse("results", f"results of {', '.join(known)}", repr(unknown[0]))
        if not _NAME.fullmatch(section.name):
            entry.refuse("name", "small letters, digits and _, a letter first", repr(section.name))
        entry.end()
        return section


def _case_table(entry: Entry, place: int) -> Any:
    return entry.table["case"][place]


def _words(text: str) -> set[str]:
    return set(re.findall(r"[a-z][a-z0-9_]*", text[:10_000]))


def _circle(first: str, needs: dict[str, set[str]]) -> list[str]:
    """A way from a value back to one that was met before."""
    way = [first]
    while (following := min(needs[way[-1]])) not in way:
        way.append(following)
    return [*way[way.index(following) :], following]


def _basis(entry: Entry) -> Basis | None:
    inner = entry.inner("basis")
    if inner is None:
        return None
    basis = Basis(inner.word("kind", BasisKind), inner.text("text"), inner.text("note", ""))
    inner.end()
    return basis
