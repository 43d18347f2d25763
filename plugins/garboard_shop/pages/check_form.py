"""A manager writes a check on a page: what was typed becomes a check file, which is read, shown, tried and approved.

The page holds no judgement of its own: whatever it makes is the text of a check file, and read as every other one.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import attrs

from garboard import cautions
from garboard.checks.changes import is_list_of_tables
from garboard.checks.check import Check
from garboard.checks.file import LARGEST as LARGEST
from garboard.checks.file import VERSION, check_of
from garboard.checks.module import FORMAT
from garboard.checks.refused import CheckFault, CheckRefused
from garboard.disk.scratch import ScratchFolder
from garboard.faults import Fault, InputError
from garboard.fields import Field, Kind
from garboard.findings import BasisKind
from garboard.hosting.equipment import Kinds, kind_title
from garboard.hosting.host import BUILT_IN, PluginHost
from garboard.hosting.sources import CHECK
from garboard.job_view import JobView
from garboard.records import EQUIPMENT
from garboard.steps import Phase
from garboard_shop import own_plugins
from garboard_shop.pages.plugins import DryRun, approve_copy, content_of, dry_run_of
from garboard_shop.store import ShopPlugin, Store

ROWS_OF_FORM: Mapping[str, int] = {
    "fact": 8, "field": 10, "limit": 4, "value": 6, "result": 3, "case": 4, "leave": 2, "stricter": 2,
}  # fmt: skip
"""How many of each the page has room for; a check with more is written as text."""
OWN_KIND = "piece of its own equipment"
"""Where a field or a judgement is of each: of the equipment that the form itself names."""
_ONCE = (Kind.TABLE, Kind.SIGNATURE, Kind.RECORDING)
WORDS: Mapping[str, tuple[str, ...]] = {
    "bases": tuple(dict.fromkeys(kind.value for kind in (BasisKind.SHOP_RULE, *BasisKind))),
    "phases": tuple(phase.value for phase in Phase),
    "kinds": tuple(kind.value for kind in Kind if kind not in _ONCE),
    "facts": tuple(kind.value for kind in Kind if kind not in (*_ONCE, Kind.PHOTO)),
    "each": ("", OWN_KIND, *(kind.replace("_", " ") for kind in EQUIPMENT)),
    "shared": ("", *(name.lower() for name in cautions.__all__)),
}
"""The words a manager chooses from on the page."""
_NUMBERS = ("low", "high", "default")
_CHOSEN = ("kind", "verdict", "rows", "each", "model")
"""Boxes of a row that are never empty, or are ticked: they say nothing of whether it was filled in."""

Typed = Mapping[str, str]


@attrs.frozen(kw_only=True)
class Look:
    """What a manager sees of a check before it is approved.

    text    : the check file
    faults  : what is wrong with it; then there is nothing else to see
    dry_run : what it adds, and how it did on the shop's own jobs
    changes : what it changes of the one approved before
    was     : mark of that one
    """

    text: str
    faults: tuple[CheckFault, ...] = ()
    check: Check | None = None
    dry_run: DryRun | None = None
    changes: own_plugins.Changes = attrs.field(factory=own_plugins.Changes)
    was: str = ""


def look(text: str, store: Store, host: PluginHost, jobs: Iterable[JobView]) -> Look:
    """Read the text of a check file, and where it is right try it."""
    text = "\n".join(text.splitlines()) + "\n"  # a browser sends its own ends of lines
    content = text.encode()
    try:
        check = _read(content, host)
    except CheckRefused as refused:
        return Look(text=text, faults=refused.faults)
    was = own_plugins.mark_of(own_plugins.said_of(store.register, check.name))
    with _laid_out(check, content) as file:
        dry_run = dry_run_of(file, store, host, jobs)
    changes = own_plugins.changes_from(store.register, check.name, content, partial(content_of, store))
    return Look(text=text, check=check, dry_run=dry_run, changes=changes, was=was)


def approve(
    text: str,
    store: Store,
    host: PluginHost,
    by: str,
    now: int,
    jobs: Iterable[JobView],
    tell: Callable[[str], object],
    was: str | None = None,
) -> ShopPlugin:
    """Approve a check as it was shown. Only data comes in this way: what is no check file is refused.

    was    : mark of what was said of its name when it was shown
    errors : InputError; Overtaken; storage.NotSaved
    """
    content = text.replace("\r\n", "\n").encode()
    try:
        check = _read(content, host)
    except CheckRefused as refused:
        raise InputError("check", [one.fault for one in refused.faults]) from None
    seen = own_plugins.as_seen(store.register, check.name, was)
    with _laid_out(check, content) as file:
        return approve_copy(store, file, by, now, jobs, tell, seen)


def _read(content: bytes, host: PluginHost) -> Check:
    return check_of(content, [name.removeprefix("garboard_") for name in BUILT_IN], host.built_in)


_PARTS: Mapping[str, str] = {
    "equipment[].field[]": "What is entered of each",
    "equipment[]": "Equipment of its own",
    "step[].field[].column[]": "Field",
    "step[].field[]": "Field",
    "step[]": "The step",
    "setting[]": "Limit",
    "value[]": "Number worked out",
    "result[].case[]": "Judgement {}, case",
    "result[]": "Judgement",
    "section[]": "Part of the book",
    "leave_out[]": "Built-in step left out",
    "stricter[]": "Built-in limit made stricter",
}
"""What the form calls the parts of a check file."""
_ROWS: Mapping[str, str] = {
    "equipment[].field[]": "fact",
    "step[].field[].column[]": "field",
    "step[].field[]": "field",
    "setting[]": "limit",
    "value[]": "value",
    "result[].case[]": "result",
    "result[]": "result",
    "leave_out[]": "leave",
    "stricter[]": "stricter",
}
"""How the rows of the form begin that become such a part."""
_ONLY_ONE = ("equipment[]", "step[]", "section[]")
_BOXES: Mapping[str, str] = {
    "about": "What it is about",
    "when": "Condition",
    "sentence": "What to say",
    "range": "The shop may set from, to",
    "default": "At first",
    "stricter": "What asks more of a boat",
    "plausible": "Usual from, to",
    "rows": "Of each",
    "each": "Asked of each",
    "number": "Number it shows",
    "needs": "Fields that must be entered first",
    "order": "Place",
    "phase": "Part of the job",
    "text": "What to say before them",
    "basis": "Where the rule comes from",
}
"""What the form calls a box, where its name is not simply that word."""


def on_form(fault: Fault, form: Typed) -> str:
    """A fault as one reads it who filled in the form, and never saw the file that it makes.

    >>> on_form(Fault("value[1].formula", "a formula", "'6 %'", line=44), {"value1_name": "lifted"})
    "Number worked out 2, Formula: expected a formula, got '6 %'"
    >>> on_form(Fault("result[1].case[2].when", "a condition"), {"result0_name": "lift"})
    'Judgement 1, case 2, Condition: expected a condition'
    """
    whole, _, box = fault.where.rpartition(".") if not fault.where.endswith("]") else (fault.where, "", "")
    plain = re.sub(r"\[\d+\]", "[]", whole)
    counted = [int(one) for one in re.findall(r"\[(\d+)\]", whole)]
    told = [_BOXES.get(box, box.replace("_", " ").capitalize())] if box else []
    if plain in _PARTS:
        place = 0 if plain == "result[].case[]" else -1
        counted[place] = _row_of_form(plain, counted[place], form)
        part = _PARTS[plain].format(*counted)
        told.insert(0, part if plain in _ONLY_ONE else f"{part} {counted[-1]}")
    elif plain:
        told.insert(0, _BOXES.get(plain, plain))
    return f"{', '.join(told)}: {fault.in_words}"


def _row_of_form(part: str, number: int, form: Typed) -> int:
    """Which row of the form an entry of the file came from: rows that were left empty are not in the file."""
    what = _ROWS.get(part, "")
    rows = list(_filled(form, what)) if what else []
    if what == "field":
        columns = [one for one in rows if form.get(f"{one}rows")]
        is_column = "column" in part  # else the table counts once, where its first column stands
        rows = columns if is_column else [one for one in rows if one not in columns[1:]]
    return int(rows[number - 1].removeprefix(what).rstrip("_")) + 1 if number <= len(rows) else number


@contextmanager
def _laid_out(check: Check, content: bytes) -> Iterator[Path]:
    """The file of a check under its own name, as long as it is needed."""
    with ScratchFolder("plugins") as place:
        file = Path(place) / f"{check.name}{CHECK}"
        file.write_bytes(content)
        yield file


# ---- what the tablet asks


@attrs.frozen
class Asked:
    """One thing a tablet asks, as the page shows it."""

    title: str
    kind: str
    unit: str
    choices: tuple[str, ...]
    table: str = ""


def asked(check: Check) -> dict[str, tuple[Asked, ...]]:
    """What a tablet asks in each step and of each kind of equipment, in its order, under the title of its table."""
    kinds = {kind.key: kind for kind in check.equipment}
    of_steps = {step.key: tuple(_asked(step.fields, kinds)) for step in check.steps}
    added = {step: tuple(_asked(fields, kinds)) for step, fields in check.changes.fields.items() if fields}
    return of_steps | added | {key: tuple(_asked(kind.fields, kinds)) for key, kind in kinds.items()}


def _asked(fields: Iterable[Field], kinds: Kinds, table: str = "") -> Iterator[Asked]:
    for field in fields:
        if field.columns:
            yield from _asked(field.columns, kinds, field.title)
        else:
            of_each = kind_title(field.each, kinds) if field.each else table
            yield Asked(field.title, field.kind.value, field.unit, field.choices, of_each)


# ---- from the form to the text of a file


def text_of_form(form: Typed, by: str, today: str) -> str:
    """The check file that a filled-in form stands for. What was left empty is left out, and told as missing.

    by, today : who decides what changes of the program's own steps, and when
    """
    name = form.get("name", "").strip()
    plain: dict[str, Any] = {"format": FORMAT, "version": VERSION}
    plain |= _given(form, "", ("name", "title", "edition"))
    plain["basis"] = {"kind": form.get("basis_kind", ""), "text": form.get("basis_text", "").strip()}
    plain["setting"] = [_limit(form, before) for before in _filled(form, "limit")]
    leave, stricter = [*_filled(form, "leave")], [*_filled(form, "stricter")]
    plain["equipment"] = _equipment(form)
    rows = [one for what in ("field", "value", "result") for one in _filled(form, what)]
    is_asking = bool(rows or form.get("step_title", "").strip())
    plain["step"] = [_step(form, name)] if is_asking or not (leave or stricter) else []
    decided = {"by": by, "on": today}
    plain["leave_out"] = [{**_given(form, one, ("step", "when", "reason")), **decided} for one in leave]
    plain["stricter"] = [{**_given(form, one, ("setting", "value", "reason")), **decided} for one in stricter]
    plain["value"] = [
        {**_given(form, before, ("name", "title", "formula", "unit")), **_in_rows(form, before)}
        for before in _filled(form, "value")
    ]
    plain["result"] = [_result(form, before, name) for before in _filled(form, "result")]
    plain["section"] = _section(form, [one["name"] for one in plain["result"] if "name" in one])
    return toml_text(plain)


def _equipment(form: Typed) -> list[Any]:
    """The kind of equipment of the check's own, where anything of one was written."""
    texts, facts = _given(form, "kind_", ("name", "title", "one", "named_by")), [*_filled(form, "fact")]
    names = _words(form, "kind_names")
    if not texts and not names and not facts:
        return []
    found: dict[str, Any] = texts | ({"names": names} if names else {})
    found |= {"only_one": True} if form.get("kind_only") else {}
    fields = [_field(form, one) | ({"of_model": True} if form.get(f"{one}model") else {}) for one in facts]
    return [{**found, "field": fields}]


def _section(form: Typed, results: list[Any]) -> list[Any]:
    """The part of the handover book, where it was given a title: all that is judged stands in it."""
    if not form.get("section_title", "").strip():
        return []
    found: dict[str, Any] = {"name": "book", "title": form["section_title"].strip()}
    if order := form.get("section_order", "").strip():
        found["order"] = _number(order)
    text = [one for one in [form.get("section_text", "").strip()] if one]
    return [{**found, "text": text, "results": results}]


def _filled(form: Typed, what: str, before: str = "") -> Iterator[str]:
    """The beginnings of the names of those rows of the form in which somebody wrote something."""
    written = [name for name, text in form.items() if text.strip() and name.rpartition("_")[2] not in _CHOSEN]
    for number in range(ROWS_OF_FORM[what]):
        begin = f"{before}{what}{number}_"
        if any(name.startswith(begin) for name in written):
            yield begin


def _given(form: Typed, before: str, names: Iterable[str]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name in names:
        if text := form.get(f"{before}{name}", "").strip():
            found[name] = _number(text) if name in _NUMBERS else text
    return found


def _number(text: str) -> Any:
    """A number where it is one; else what was typed, which the file's reader refuses with its place."""
    try:
        return float(text) if "." in text else int(text)
    except ValueError:
        return text


def _in_rows(form: Typed, before: str) -> dict[str, Any]:
    if each := _each(form, before):
        return {"rows": each}
    return {"rows": form.get("table_name", "").strip()} if form.get(f"{before}rows") else {}


def _each(form: Typed, before: str) -> str:
    """The kind of equipment that something is of each; one that has no name yet is told by the file's reader."""
    word = form.get(f"{before}each", "").strip()
    return (form.get("kind_name", "").strip() or word) if word == OWN_KIND else word.replace(" ", "_")


def _words(form: Typed, name: str) -> list[str]:
    """What was typed with commas between."""
    return [one.strip() for one in form.get(name, "").split(",") if one.strip()]


def _range(found: dict[str, Any], name: str) -> dict[str, Any]:
    """Two ends as one range."""
    ends = [found.pop(end) for end in ("low", "high") if end in found]
    return {**found, name: ends} if ends else found


def _limit(form: Typed, before: str) -> dict[str, Any]:
    return _range(_given(form, before, ("name", "title", "unit", "low", "high", "default", "stricter")), "range")


def _step(form: Typed, name: str) -> dict[str, Any]:
    step: dict[str, Any] = {"name": name, **_given(form, "step_", ("title", "phase"))}
    step["order"] = _number(form.get("step_order", "").strip())
    basis: Any = {"kind": "common practice, no source", "text": "said by the shop"}
    own: list[Any] = [{"text": text, "basis": basis} for text in [form.get("caution", "").strip()] if text]
    shared: list[Any] = [{"shared": one} for one in [form.get("shared", "").strip()] if one]
    step["caution"] = [*shared, *own]
    begins = [*_filled(form, "field")]
    columns: list[Any] = [_field(form, one) for one in begins if form.get(f"{one}rows")]
    table: Any = {**_given(form, "table_", ("name", "title")), "kind": "table", "column": columns}
    fields: list[Any] = []
    for one in begins:  # the table stands where the first of its columns does
        found = table if form.get(f"{one}rows") else _field(form, one)
        fields += [found] if found not in fields else []
    step["field"] = fields
    return step


def _field(form: Typed, before: str) -> Any:
    found = _range(_given(form, before, ("name", "title", "kind", "unit", "low", "high")), "plausible")
    if choices := _words(form, f"{before}choices"):
        found["choices"] = choices
    if each := _each(form, before):
        found["each"] = each
    if former := form.get(f"{before}renamed_from", "").strip():
        found["renamed_from"] = [former]
    return found


def _result(form: Typed, before: str, step: str) -> Any:
    found = {**_given(form, before, ("name", "title", "about")), "step": step, **_in_rows(form, before)}
    if needs := _words(form, f"{before}needs"):
        found["needs"] = needs
    if number := form.get(f"{before}number", "").strip():
        found["numbers"] = [number]
        ends = _given(form, before, ("low", "high"))
        if ends:
            found["limit"] = [{"number": number, **ends}]
    if form.get(f"{before}figure_title", "").strip():
        found["figure"] = _figure(form, f"{before}figure_")
    found["case"] = [
        _given(form, case, ("verdict", "code", "when", "sentence")) for case in _filled(form, "case", before)
    ]
    return found


def _figure(form: Typed, before: str) -> dict[str, Any]:
    """A figure over the rows of the form's table, with one line in it."""
    typed = {name: form.get(f"{before}{name}", "").strip() for name in ("title", "x", "y", "x_label", "y_label")}
    labels: Any = [typed["x_label"], typed["y_label"]]
    rows = form.get("table_name", "").strip()
    return {"title": typed["title"], "rows": rows, "x": typed["x"], "y": [typed["y"]], "labels": labels}


def toml_text(plain: Mapping[str, Any], before: str = "") -> str:
    """Plain data as TOML: values first, then lists of tables under their headings.

    >>> print(toml_text({"a": 1, "b": [{"c": "x"}]}))
    a = 1
    <BLANKLINE>
    [[b]]
    c = "x"
    <BLANKLINE>
    """
    lists = {key: value for key, value in plain.items() if is_list_of_tables(value)}
    lines = [f"{key} = {_toml(value)}" for key, value in plain.items() if key not in lists and value != []]
    text = "".join(f"{line}\n" for line in lines)
    for key, tables in lists.items():
        for table in tables if isinstance(tables, list) else ():
            inner = toml_text(table, f"{before}{key}.") if isinstance(table, dict) else ""
            text += f"\n[[{before}{key}]]\n{inner}"
    return text


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False)  # text, numbers, true and false read alike in both
