"""What a plugin's author looks up, made from the code itself: `garboard plugins --reference`."""

from __future__ import annotations

import inspect
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from types import ModuleType
from typing import Any

import garboard
from garboard import (
    cautions,
    fields,
    findings,
    fittings,
    hooks,
    hull_number,
    job_view,
    labels,
    numeric,
    owner_pages,
    records,
    samples,
    series,
    settings,
    steps,
    testing,
    uncertainty,
    units,
)
from garboard.fields import Field, Kind
from garboard.findings import (
    Axis,
    Band,
    Basis,
    BasisKind,
    Doubt,
    Figure,
    Finding,
    Lack,
    Limit,
    Marker,
    Missing,
    NotEnoughData,
    Number,
    Series,
    Table,
    Verdict,
    in_full,
)
from garboard.hosting.codes import NOT_ENOUGH_DATA, NOT_JUDGED, PLUGIN_FAILED
from garboard.hosting.failures import cures
from garboard.hosting.host import HOOKS, PluginHost
from garboard.job_view import InputCollector, JobView
from garboard.owner_pages import OWNER_RECORDS
from garboard.records import EQUIPMENT, RECORD_OF, Job, JsonValue, Vessel
from garboard.samples import HARD_RANGE, UNIT_OF_QUANTITY, Recording, Sample, Stream, StreamKey
from garboard.settings import Setting
from garboard.steps import (
    Assessed,
    Calculator,
    Caution,
    EquipmentKind,
    Guidance,
    LiveGuide,
    RecordingJudge,
    ReportSection,
    Step,
)
from garboard.uncertainty import MeasuredValue, Part
from garboard.units import EXAMPLE_OF, UNITS_OF

EXAMPLES: Mapping[Kind, tuple[JsonValue, str]] = {
    Kind.AMOUNT: ("12.6 V", "quantity and unit; a number and its unit as text"),
    Kind.COUNT: (3, "a whole number"),
    Kind.CHOICE: ("calm", "choices; one of these words"),
    Kind.YES_NO: (True, "true or false"),
    Kind.TEXT: ("as fitted", "text; pattern and offers limit and shorten it"),
    Kind.PHOTO: ({"file": "bilge.jpg"}, "a picture beside the job file"),
    Kind.SIGNATURE: ("M. Office", "the name of who signs"),
    Kind.RECORDING: ({"file": "run.csv"}, "instrument data beside the job file; made_recording makes one for a test"),
    Kind.TABLE: (None, "columns, the fields of one row; each value has its row"),
}
"""A value of each kind as a job file has it, and what a field of it needs."""

DECLARED = (
    Step,
    Field,
    Caution,
    EquipmentKind,
    Setting,
    Calculator,
    LiveGuide,
    Guidance,
    RecordingJudge,
    ReportSection,
)
GIVEN = (
    Finding,
    Basis,
    Number,
    Limit,
    Doubt,
    NotEnoughData,
    Missing,
    Table,
    Figure,
    Axis,
    Series,
    Band,
    Marker,
    MeasuredValue,
    Part,
    *OWNER_RECORDS,
)
READ = (JobView, InputCollector, Vessel, Job, Assessed, Recording, Stream, StreamKey, Sample)
"""Classes of which a plugin's author needs every argument, or every method."""
MODULES: tuple[ModuleType, ...] = (
    hooks,
    steps,
    fields,
    settings,
    findings,
    owner_pages,
    job_view,
    records,
    fittings,
    units,
    samples,
    series,
    uncertainty,
    numeric,
    labels,
    hull_number,
    cautions,
    testing,
)
"""Modules from which a plugin, or its test, imports."""
FORMER_NAMES: Mapping[str, str] = {
    "garboard.findings.Number.uncertainty": "garboard.findings.Number.expanded_uncertainty",
    "garboard.findings.with_spread": "garboard.findings.with_uncertainty",
    "garboard.job_view.Asking": "garboard.job_view.InputCollector",
    "garboard.job_view.JobView.setting_amount": "garboard.job_view.JobView.setting_value",
    "garboard.job_view.Place": "garboard.job_view.FieldKey",
    "garboard.job_view.amount_or_fault": "garboard.units.parse_amount",
    "garboard.series.Steady.spreads": "garboard.series.Steady.standard_deviations",
    "garboard.series.spread": "garboard.series.standard_deviation",
}
"""Names that older plugins may use, each with the one to write now. All work as long as version 1 of the front door."""


def reference(host: PluginHost) -> dict[str, Any]:
    """Everything, as plain data."""
    return {
        "format": "garboard plugin reference",
        "version": 1,
        "front_door": {"newest": garboard.API_VERSION, "oldest": garboard.OLDEST_API_VERSION},
        "modules": [{"module": one.__name__, "names": [*_names_of_today(one)]} for one in MODULES],
        "former_names": [{"name": former, "now": now} for former, now in FORMER_NAMES.items()],
        "hooks": [_of_hook(name) for name in sorted((*HOOKS, "register_commands"))],
        "kinds": [
            {"kind": kind.name, "word": kind.value, "example": example, "needs": needs}
            for kind, (example, needs) in EXAMPLES.items()
        ],
        "units": [
            {"quantity": quantity, "units": list(units), "example": EXAMPLE_OF[quantity]}
            for quantity, units in UNITS_OF.items()
        ],
        "recorded": [
            {"quantity": quantity, "unit": unit, "range": list(HARD_RANGE[quantity])}
            for quantity, unit in UNIT_OF_QUANTITY.items()
        ],
        "equipment": [
            {"each": kind, "named_by": name, "facts": [*_arguments(RECORD_OF[kind])]}
            for kind, name in EQUIPMENT.items()
        ]
        + [
            {"each": key, "named_by": "name", "facts": [field.name for field in kind.fields]}
            for key, kind in host.equipment.items()
        ],
        "cautions": [
            {"name": name, "text": one.text, "basis": str(one.basis), "fuels": list(one.fuels)}
            for name, one in vars(cautions).items()
            if isinstance(one, Caution)
        ],
        "orders_taken": [*_orders(host)],
        "settings": [
            {"key": one.key, "title": one.field.title, "default": one.default, "stricter": one.stricter}
            for one in host.settings
        ],
        "verdicts": {one.name: one.value for one in Verdict},
        "bases": {one.name: one.value for one in BasisKind},
        "lacks": {one.name: one.value for one in Lack},
        "codes_made": [NOT_ENOUGH_DATA, PLUGIN_FAILED, *NOT_JUDGED],
        "faults": [{"code": code, "cure": cure} for code, cure in sorted(cures().items())],
        "classes": [
            *(_of_class(one, "declared") for one in DECLARED),
            *(_of_class(one, "given") for one in GIVEN),
            *(_of_class(one, "read") for one in READ),
        ],
    }


def _of_hook(name: str) -> dict[str, Any]:
    function = getattr(hooks, name)
    return {"hook": name, "takes": list(inspect.signature(function).parameters), "text": _doc(function)}


def _arguments(record: type) -> Iterator[str]:
    return (name for name in inspect.signature(record).parameters if name != "more")  # what a newer program knows


def _orders(host: PluginHost) -> Iterator[dict[str, Any]]:
    """Every place that is taken: a step's in its phase, a calculator's in its step, a section's in the book."""
    for step in host.steps:
        yield {"of": "step", "in": step.phase.name, "order": step.order, "key": step.key, "title": step.title}
    for one in host.calculators:
        yield {"of": "calculator", "in": one.step, "order": one.order, "key": one.key, "title": one.title}
    for section in host.report_sections:
        yield {"of": "section", "in": "book", "order": section.order, "key": section.key, "title": section.title}


def _of_class(one: type, use: str) -> dict[str, Any]:
    return {
        "class": one.__name__,
        "from": one.__module__,
        "use": use,
        "takes": _takes(one),
        "text": _doc(one),
        "methods": [{"method": name, "takes": takes, "text": text} for name, takes, text in _methods(one, use)],
    }


def _takes(function: Callable[..., Any]) -> list[str]:
    """Its arguments as they are written, with "*" before those that are given by name."""
    found: list[str] = []
    for name, one in inspect.signature(function).parameters.items():
        if one.kind is one.KEYWORD_ONLY and "*" not in found:
            found.append("*")
        found.append(("*" if one.kind is one.VAR_POSITIONAL else "") + name + _default(one))
    return found


def _default(parameter: inspect.Parameter) -> str:
    if parameter.default is inspect.Parameter.empty:
        return ""
    plain = isinstance(parameter.default, str | int | float | bool | tuple | type(None))
    return f"={parameter.default!r}" if plain else "=..."


def _methods(one: type, use: str) -> Iterator[tuple[str, list[str], str]]:
    """What is asked of a class that is read, and the ways to make one of the others."""
    for name, found in vars(one).items():
        is_maker = isinstance(found, classmethod)
        function = found.__func__ if is_maker else found.fget if isinstance(found, property) else found
        if name.startswith("_") or not (is_maker or use == "read") or not inspect.isfunction(function):
            continue
        yield name, [] if isinstance(found, property) else _takes(function)[1:], _doc(function)


def _names_of_today(module: ModuleType) -> Iterator[str]:
    yield from (name for name in module.__all__ if f"{module.__name__}.{name}" not in FORMER_NAMES)


def _doc(of: object) -> str:
    return inspect.cleandoc(getattr(of, "__doc__", None) or "")  # none where Python was told to drop them


def as_text(found: Mapping[str, Any]) -> str:
    """The same for a person."""
    return "\n".join(_lines(found))


def _lines(found: Mapping[str, Any]) -> Iterator[str]:
    door = found["front_door"]
    yield f"FRONT DOOR: version {door['newest']}; plugins written_for {door['oldest']} to {door['newest']} work"
    yield from _part("MODULES, and what is imported from each")
    yield from (f"  {one['module']}: {', '.join(one['names'])}" for one in found["modules"])
    yield from _part("FORMER NAMES, which older plugins may use: each with the one to write now")
    yield from (f"  {one['name']}: {one['now']}" for one in found["former_names"])
    yield from _part("HOOKS, each a function marked @hookimpl")
    for one in found["hooks"]:
        yield f"  {one['hook']}({', '.join(one['takes'])})"
        yield from _indented(one["text"])
    yield from _part("KINDS of a field, garboard.fields.Kind: needs, and a value in a job file")
    for one in found["kinds"]:
        example = "" if one["example"] is None else f", such as {json.dumps(one['example'])}"
        yield f"  Kind.{one['kind']}: {one['needs']}{example}"
    yield from _part("UNITS of an amount, by quantity")
    yield from (
        f"  {one['quantity']}: {', '.join(filter(None, one['units'])) or 'none, leave unit out'}"
        for one in found["units"]
    )
    yield from _part("QUANTITIES of a recording: unit, range")
    for one in found["recorded"]:
        low, high = one["range"]
        yield f"  {one['quantity']} [{one['unit']}] {in_full(low)} to {in_full(high)}"
    yield from _part("EQUIPMENT, for `each`: what tells a piece, and its facts")
    yield from (f"  {one['each']} by {one['named_by']}: {', '.join(one['facts'])}" for one in found["equipment"])
    yield from _part("CAUTIONS of garboard.cautions")
    yield from (f"  {one['name']}: {one['text']}" for one in found["cautions"])
    yield from _part("ORDERS TAKEN")
    yield from (
        f"  {one['of']} in {one['in']}, {one['order']}: {one['key']} ({one['title']})" for one in _placed(found)
    )
    yield from _part("SETTINGS: default, and what asks more of a boat")
    yield from (
        f"  {one['key']} ({one['title']}): {one['default']}{one['stricter'] and ', stricter ' + one['stricter']}"
        for one in found["settings"]
    )
    for title, name in (("VERDICTS", "verdicts"), ("BASES, BasisKind", "bases"), ("LACKS, Lack", "lacks")):
        yield from _part(title)
        yield from (f"  {key}: {word}" for key, word in found[name].items())
    yield from _part("CODES the host makes, behind a calculator's key")
    yield f"  {', '.join(found['codes_made'])}; without a code of its own, the verdict"
    yield from _part("FAULTS of a plugin, and what to do")
    yield from (f"  {one['code']}: {one['cure']}" for one in found["faults"])
    for use in ("declared", "given", "read"):
        yield from _part(f"CLASSES {use}")
        yield from _classes(one for one in found["classes"] if one["use"] == use)


def _placed(found: Mapping[str, Any]) -> Iterable[Mapping[str, Any]]:
    return (one for one in found["orders_taken"] if one["of"] != "calculator")  # hundreds of little use: see --json


def _classes(classes: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    for one in classes:
        yield f"  {one['from']}.{one['class']}({', '.join(one['takes'])})"
        yield from _indented(one["text"])
        for method in one["methods"]:
            yield f"    .{method['method']}({', '.join(method['takes'])})"
            yield from _indented(method["text"], "        ")


def _part(title: str) -> tuple[str, str]:
    return "", title


def _indented(text: str, before: str = "      ") -> Iterator[str]:
    return (f"{before}{line}".rstrip() for line in text.splitlines())
