"""A job file to fill in: every key of the boat and every value of its steps, each explained."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, get_args, get_type_hints

import attrs

from garboard.faults import one_of
from garboard.fields import Field, Kind
from garboard.hosting.host import PluginHost
from garboard.job_files.job_file import EXPLAINED, JOB_FILE
from garboard.records import EQUIPMENT, RECORD_OF, Job, JsonValue, Vessel
from garboard.steps import EquipmentKind, Step
from garboard.units import amount_in_words, in_full

_WITHIN = ("propeller", "devices")
"""What a piece of equipment holds within."""

_MORE_OF_A_KEY: Mapping[str, str] = {
    "job.id": "tells this job from others of the boat",
    "job.opened": "a date, such as 2026-05-14",
    "job.technicians": "a list of names in [ ]",
    "vessel.hull_number": "as on the transom; everything merges by it",
    "vessel.displacement_as_run": "the weight of the boat as it is tried",
    "vessel.displacement_full_load": "the weight with all the people, fuel and gear it is used with",
    "vessel.plate_power": "the largest engine power on the capacity plate",
    "engines.position": "centre; port, starboard; port, centre, starboard; or port outer to starboard outer",
    "engines.gear_ratio": "engine turns for each turn of the propeller",
    "engines.full_throttle_low": "lower end of the maker's allowed engine speed at full throttle",
    "engines.full_throttle_high": "upper end of the maker's allowed engine speed at full throttle",
    "engines.charging_current": "what its alternator gives the batteries at cruising speed",
    "engines.network_instance": "its number on the instrument network, from 0",
    "engines.fitted": "name of the one of propellers that is on it now; left out for the one it came with",
    "engines.mounting_height": "a bolt hole, counted from the top, or the plate over the propeller above the bottom",
    "propeller.pitch": "as stamped on it",
    "propeller.diameter": "as stamped on it",
    "propeller.pitch_measured": "on a pitch gauge; it stands before the stamp",
    "propeller.maker_text": "whatever else is stamped or printed on it",
    "propeller.stock_number": "the shop's",
    "propellers.name": "tells it from the others tried on this boat; runs name it",
    "batteries.name": "what it serves: house, start port",
    "circuits.name": "its label",
    "circuits.use": "left out for an ordinary load; a panel feed carries other circuits",
    "circuits.conductor_awg": 'American wire gauge, such as "16" or "2/0"; or else conductor_area',
    "circuits.length": "one way, from the source to the load",
    "circuits.protection_distance": "along the conductor, from its connection to the source",
    "circuits.battery": "name of the battery it is fed from",
    "heading_sensors.source": "the name its samples carry in a recording; several with commas between",
    "networks.devices": "a list of what hangs on it, each in { }",
    "networks.cable": "light, mid or heavy",
    "devices.load_equivalency": "as its maker gives it; 1 is 50 mA",
    "devices.current": "where the maker gives no load equivalency",
    "devices.leg": "which side of the power tee it is on; devices of one leg share its cable",
}
"""What the kind of a key does not say by itself."""


def takes(field: Field) -> str:
    """What a field takes, in words ("a speed in kn, mph, km/h or m/s, such as '38.2 kn'; from 0 to 100 kn")."""
    what = {
        Kind.AMOUNT: amount_in_words(field.quantity) if field.kind is Kind.AMOUNT else "",
        Kind.COUNT: "a whole number",
        Kind.CHOICE: one_of(field.choices),
        Kind.YES_NO: "true or false",
        Kind.TEXT: "text",
        Kind.PHOTO: '{"file": "name of a picture beside the job file"}',
        Kind.RECORDING: '{"file": "name of a recording beside the job file"}',
        Kind.SIGNATURE: "given on a tablet",
        Kind.TABLE: "a row for each",
    }[field.kind]
    ends = f"; from {in_full(field.hard[0])} to {in_full(field.hard[1])} {field.unit}".rstrip() if field.hard else ""
    return what + ends


def blank_job(host: PluginHost, hull_number: str, names: Mapping[str, Sequence[str]]) -> dict[str, JsonValue]:
    """A job file as plain data. What is left null in it counts as not entered.

    names : of the pieces of equipment, by their list in the vessel ("batteries": ("house", "start"))
    """
    vessel: dict[str, JsonValue] = {"hull_number": hull_number}
    vessel |= {key: None for key in _keys(Vessel) if key not in EQUIPMENT and key != "hull_number"}
    vessel |= {
        kind: [_blank(RECORD_OF[kind], by, name) for name in names.get(kind, ())] for kind, by in EQUIPMENT.items()
    }
    vessel |= {key: [_blank_of(kind, name) for name in names.get(key, ())] for key, kind in host.equipment.items()}
    job: dict[str, JsonValue] = {**dict.fromkeys(_keys(Job)), "id": "1", "technicians": []}
    explained: dict[str, JsonValue] = {
        "null": "not entered yet. This part, explained, is not read; it may be deleted",
        **dict(_explained_records()),
        **dict(_explained_kinds(host)),
        **dict(_explained_steps(host)),
    }
    return {
        "format": JOB_FILE.name,
        "version": JOB_FILE.version,
        "vessel": vessel,
        "job": job,
        "measurements": [*_blank_measurements(host, names)],
        EXPLAINED: explained,
    }


def _keys(record: type[Any]) -> list[str]:
    return [field.name for field in attrs.fields(record) if field.name != "more"]


def _blank(record: type[Any], by: str, name: str) -> JsonValue:
    blank: dict[str, JsonValue] = {**dict.fromkeys(_keys(record)), by: name}
    for within in _WITHIN:
        if within in blank:
            one: dict[str, JsonValue] = dict.fromkeys(_keys(RECORD_OF[within]))
            blank[within] = [] if within == "devices" else one
    return blank


def _explained_records() -> Iterator[tuple[str, str]]:
    for name, record in RECORD_OF.items():
        kinds = get_type_hints(record)
        for field in attrs.fields(record):
            if field.name not in ("more", *EQUIPMENT, *_WITHIN):
                key = f"{name}.{field.name}"
                texts = (_MORE_OF_A_KEY.get(key, ""), _takes(field, kinds[field.name]))
                yield key, "; ".join(filter(None, texts))


def _blank_of(kind: EquipmentKind, name: str) -> JsonValue:
    return {"name": name, **{field.name: None for field in kind.fields}}


def _explained_kinds(host: PluginHost) -> Iterator[tuple[str, str]]:
    """Equipment that plugins declare."""
    for key, kind in host.equipment.items():
        yield f"{key}.name", f"{kind.title}: {kind.named_by}"
        for field in kind.fields:
            yield f"{key}.{field.name}", "; ".join(filter(None, (field.title, takes(field), field.help.rstrip("."))))


def _takes(field: attrs.Attribute[Any], kind: Any) -> str:
    if "quantity" in field.metadata:
        return amount_in_words(field.metadata["quantity"])
    if "choices" in field.metadata:
        return one_of(field.metadata["choices"])
    plain = {bool: "true or false", int: "a whole number", str: "text"}
    return next((plain[one] for one in (kind, *get_args(kind)) if one in plain), "")


def _explained_steps(host: PluginHost) -> Iterator[tuple[str, str]]:
    for step in host.steps:
        for field in step.all_fields():
            if field.kind not in (Kind.TABLE, Kind.SIGNATURE):
                needed = "" if field.required else "may be left out"
                texts = (takes(field), field.help.rstrip("."), needed)
                yield f"{step.key} {field.name}", f"{step.title}: {field.title}; " + "; ".join(filter(None, texts))


def _blank_measurements(host: PluginHost, names: Mapping[str, Sequence[str]]) -> Iterator[JsonValue]:
    for step in host.steps:
        for field, row, each in _asked_for(step):
            for of in names.get(each, ()) if each else ("",):
                place = {"step": step.key, "field": field.name, "row": row, "of": of}
                yield {**{key: text for key, text in place.items() if text}, "value": None}


def _asked_for(step: Step) -> Iterator[tuple[Field, str, str]]:
    """Fields, each with the row and the list of equipment it is asked for: columns of a free table under row 1."""
    for field in step.fields:
        if field.kind is Kind.TABLE:
            row = "" if field.each else "1"
            yield from ((column, row, column.each or field.each) for column in field.columns)
        elif field.kind is not Kind.SIGNATURE:
            yield field, "", field.each
