"""Reads what a check file changes of the program's own steps and settings: each with why, who and since when."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from difflib import get_close_matches

import attrs

from garboard.checks.built_in import FACTS, BuiltIn, LeaveOut
from garboard.checks.entries import Entry
from garboard.checks.formulas import Sort, read_formula, sort_and_unit
from garboard.faults import ValueRefused
from garboard.fields import Field, Kind, check_value
from garboard.job_view import LeftOut
from garboard.settings import SHOP, Setting, SettingSet
from garboard.steps import Step


def built_in_step(entry: Entry, built_in: BuiltIn) -> Step | None:
    """The step an entry names; None, and told, where the program has none of that key."""
    key = entry.text("step")
    if key not in built_in.steps:
        _unknown(entry, "step", key, built_in.steps)
    return built_in.steps.get(key)


def _unknown(entry: Entry, name: str, key: str, known: Collection[str]) -> None:
    near = get_close_matches(key, known, n=3)
    cure = f"perhaps {' or '.join(near)}" if near else "'garboard plugins --reference' lists them"
    entry.refuse(name, f"the key of a {name} that comes with the program", repr(key), cure)


def _decided(entry: Entry) -> tuple[str, str, str]:
    """Why, who decided it, and since when."""
    reason, by, on = entry.text("reason"), entry.text("by", longest=80), entry.text("on", longest=10)
    try:
        date.fromisoformat(on)
    except ValueError:
        entry.refuse("on", 'the day it was decided, such as "2026-05-14"', repr(on))
    return reason, by, on


def leave_out(entry: Entry, check: str, built_in: BuiltIn) -> LeaveOut | None:
    """A step that is left out.

    check : the check and its edition, as people are told
    """
    step, (reason, by, on) = built_in_step(entry, built_in), _decided(entry)
    text = entry.text("when", None, 10_000)
    when = entry.faults.attempt(entry.at("when"), lambda: read_formula(text, FACTS), None) if text else None
    found = entry.faults.attempt(entry.at("when"), lambda: sort_and_unit(when, FACTS), None) if when else None
    if when is not None and not when.names:
        entry.refuse("when", f"a condition that rests on {', '.join(FACTS)}", repr(text))
    if found is not None and found.sort is not Sort.YES_NO:
        entry.refuse("when", "a comparison, such as \"job_kind == 'yearly check'\"", found.sort.value)
    entry.end()
    if step is None or when is None or found is None:
        return None
    return LeaveOut(left_out=LeftOut(step=step.key, reason=reason, by=by, on=on, check=check), when=when)


def stricter(entry: Entry, check: str, built_in: BuiltIn) -> SettingSet | None:
    """A setting that is made stricter, never looser: which way that is, the setting says."""
    key, text = entry.text("setting"), entry.text("value", longest=40)
    setting, (reason, by, on) = built_in.settings.get(key), _decided(entry)
    entry.end()
    if setting is None:
        known = [one.key for one in built_in.settings.values() if one.stricter]
        _unknown(entry, "setting", key, known)
        return None
    value = setting.typed(text)
    try:
        check_value(setting.field, value)
    except ValueRefused as refused:
        entry.refuse("value", refused.fault.expected, repr(text), refused.fault.cure)
        return None
    if not setting.is_looser(setting.default, value):
        entry.refuse(*_not_stricter(setting), repr(text), "give a stricter value, or leave it out")
        return None
    return SettingSet(key=key, value=value, source=SHOP, by=f"{by} in the check {check}", at=on, reason=reason)


def _not_stricter(setting: Setting) -> tuple[str, str]:
    if not setting.stricter:
        return "setting", "a setting of which one way is stricter; 'garboard plugins --reference' tells which"
    return "value", f"{setting.stricter} than {setting.default}, which the program itself asks"


@attrs.frozen
class Read:
    """A field of a built-in step that a check reads.

    table : the numbered table it is a column of
    each  : the kind of equipment it is asked of
    """

    field: Field
    table: Field | None = None
    each: str = ""


def read_of(entry: Entry, step: Step, name: str) -> Read | None:
    """The field an entry names; None, and told, where the step has none that formulas can use."""
    for field in step.fields:
        if field.name == name and field.kind is not Kind.TABLE:
            return Read(field, each=field.each)
        for column in field.columns if field.kind is Kind.TABLE else ():
            if column.name == name:
                return _column_of(entry, column, field)
    known = [one.name for one in step.all_fields() if one.kind is not Kind.TABLE]
    near = get_close_matches(name, known, n=1)
    expected = f"a field of {step.key}, one of {', '.join(known)}"[:300]
    entry.refuse("field", expected, repr(name), f"perhaps {near[0]!r} is meant" if near else "")
    return None


def _column_of(entry: Entry, column: Field, table: Field) -> Read | None:
    """A column; of a table whose rows are pieces of equipment, what is asked of each."""
    if column.each and not table.each:
        expected = "a field that is asked once, in each row, or of each piece"
        cure = f"write a plugin in Python for what is asked of each of the {column.each.replace('_', ' ')} in each row"
        entry.refuse("field", expected, repr(column.name), cure)
        return None
    return Read(column, each=table.each) if table.each else Read(column, table)
