"""`garboard steps`: what a job asks for; `garboard new-job`: a job file to fill in."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from garboard.commands.tools import beside_option, no_step
from garboard.disk.storage import write_whole
from garboard.faults import Fault, InputError, shown
from garboard.fields import Field, Kind
from garboard.job_files.blank import blank_job, takes
from garboard.record_types import is_text
from garboard.records import ENGINE_POSITIONS, JsonValue
from garboard.report.terminal import Tools
from garboard.steps import Step

if TYPE_CHECKING:
    from garboard.hosting.host import PluginHost

_Command = TypeVar("_Command", bound=Callable[..., object])


@click.command("steps", short_help="List steps, what each asks for, and in which units.")
@click.argument("keys", metavar="[STEP]...", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="Print the list as JSON.")
@beside_option
@click.pass_obj
def command(tools: Tools, keys: tuple[str, ...], as_json: bool, beside: Path) -> None:
    """List the steps of the loaded plugins: each field with its unit, choices and range.

    A key and a field name are what a job file writes under "step" and "field". Without STEP all are listed.
    """
    host = tools.host_for(beside)
    tools.tell_broken_plugins(host)
    known = {step.key: step for step in host.steps}
    unknown = [key for key in keys if key not in known]
    if unknown:
        raise InputError("steps", [no_step("STEP", key, known) for key in unknown])
    steps = [known[key] for key in dict.fromkeys(keys)] or list(known.values())
    if as_json:
        listed = {"format": "garboard steps", "version": 1, "steps": [_as_plain(step) for step in steps]}
        click.echo(json.dumps(listed, indent=1, ensure_ascii=False))
    else:
        click.echo("\n".join(line for step in steps for line in _as_text(step)))


def _as_text(step: Step) -> Iterator[str]:
    yield f"{step.key}  {step.title} ({step.phase.value})"
    for field in step.fields:
        yield from _field_as_text(field, "  ")


def _field_as_text(field: Field, before: str) -> Iterator[str]:
    each = f", of each of {field.each.rpartition('.')[2].replace('_', ' ')}" if field.each else ""
    optional = "" if field.required else "; may be left out"
    what = "a table" if field.kind is Kind.TABLE else takes(field)
    yield f"{before}{field.name}: {field.title}{each}: {what}{optional}"
    for column in field.columns:
        yield from _field_as_text(column, before + "  ")


def _as_plain(step: Step) -> dict[str, object]:
    return {
        "step": step.key,
        "title": step.title,
        "phase": step.phase.value,
        "fields": [_field_as_plain(field) for field in step.fields],
    }


def _field_as_plain(field: Field) -> dict[str, object]:
    return {
        "field": field.name,
        "title": field.title,
        "kind": field.kind.value,
        "unit": field.unit,
        "choices": list(field.choices),
        "refused_outside": field.hard and list(field.hard),
        "asked_about_outside": field.plausible and list(field.plausible),
        "doubted_outside": field.doubted_outside and list(field.doubted_outside),
        "each": field.each,
        "required": field.required,
        "help": field.help,
        "columns": [_field_as_plain(column) for column in field.columns],
    }


def _names_option(name: str, *default: str) -> Callable[[_Command], _Command]:
    return click.option(
        f"--{name}",
        name.replace("-", "_"),
        multiple=True,
        default=default,
        show_default=True,
        metavar="NAME",
        help=f"Name of a {name.replace('-', ' ')}. Can be repeated.",
    )


@click.command("new-job")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.argument("hull")
@click.option(
    "--engines", type=click.IntRange(1, len(ENGINE_POSITIONS)), default=1, show_default=True, help="How many."
)
@_names_option("propeller")
@_names_option("battery", "house", "start")
@_names_option("tank", "main")
@_names_option("circuit", "Bilge pump")
@_names_option("heading-sensor", "compass")
@_names_option("network", "backbone")
@click.option(
    "--piece",
    "pieces",
    multiple=True,
    metavar="KIND=NAME",
    help="A piece of a kind that a plugin declares, such as our_yard.trailers=road. Can be repeated.",
)
@click.pass_obj
def new_job(
    tools: Tools, /, file: Path, hull: str, engines: int, pieces: tuple[str, ...], **names: tuple[str, ...]
) -> None:
    """Write a blank job file for the boat of a HULL number. Every key in it is explained.

    Put a value where "null" stands. What stays null is not entered. `garboard assess FILE` judges it.
    """
    equipment = {
        "engines": ENGINE_POSITIONS[engines],
        "propellers": names["propeller"],
        "batteries": names["battery"],
        "tanks": names["tank"],
        "circuits": names["circuit"],
        "heading_sensors": names["heading_sensor"],
        "networks": names["network"],
    }
    if faults := [*_faults_of_names(hull, names)]:
        raise InputError("new-job", faults)
    host = tools.host_for(file)
    tools.tell_broken_plugins(host)
    equipment |= _pieces_of_plugins(pieces, host)
    text = _a_measurement_a_line(blank_job(host, hull.strip(), equipment))
    if file.exists():
        raise InputError("new-job", [Fault("FILE", "the name of a new file", f"{file}, which is there already")])
    write_whole(file, [text.encode()])
    click.echo(
        f"{file}: fill it in (its part \"explained\" says what each key takes), then run 'garboard assess {file}'"
    )


def _pieces_of_plugins(pieces: Sequence[str], host: PluginHost) -> dict[str, tuple[str, ...]]:
    """Names of pieces by their kind. Raises InputError for a kind that no plugin at work declares."""
    found: dict[str, tuple[str, ...]] = {}
    for piece in pieces:
        kind, _, name = (part.strip() for part in piece.partition("="))
        if kind not in host.equipment or not name or not is_text(name) or name in found.get(kind, ()):
            known = ", ".join(host.equipment) or "no plugin at work declares one"
            raise InputError("new-job", [Fault("--piece", f"KIND=NAME, each name once; kinds: {known}", shown(piece))])
        found[kind] = (*found.get(kind, ()), name)
    return found


def _faults_of_names(hull: str, names: Mapping[str, Sequence[str]]) -> Iterator[Fault]:
    """Names a job file cannot have: none, bytes that are no text, one twice in a list."""
    if not hull.strip() or not is_text(hull):
        yield Fault("HULL", "the hull number on the transom", shown(hull) if hull.strip() else "nothing")
    for option, given in names.items():
        for name in given:
            if not name.strip() or not is_text(name) or given.count(name) > 1:
                yield Fault(f"--{option.replace('_', '-')}", "a name of its own for each", shown(name))


def _a_measurement_a_line(blank: dict[str, JsonValue]) -> str:
    """The file as text; hundreds of measurements are easier to fill in where each stands on one line."""
    measurements = blank["measurements"]
    lines = [json.dumps(one, ensure_ascii=False) for one in measurements] if isinstance(measurements, list) else []
    before, _, after = json.dumps({**blank, "measurements": []}, indent=1, ensure_ascii=False).rpartition(_EMPTY)
    return f"{before}{_EMPTY[:-1]}\n  {f',{chr(10)}  '.join(lines)}\n ]{after}\n"


_EMPTY = '\n "measurements": []'
"""As it stands in the file, one space in: no name in it begins a line."""
