"""`garboard templates`, `begin` and `circuits`: set a boat up from another, or from a table."""

from __future__ import annotations

import codecs
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import attrs
import click

from garboard import hull_number
from garboard.commands.hulls import (
    author_of,
    known_in,
    save_all,
    tablet_option,
    tell_not_read,
    writing_in,
)
from garboard.commands.tools import write_file
from garboard.disk.clock import moment_in_words
from garboard.disk.entries import SHOP_RECORD
from garboard.disk.hullfile import HullFolder
from garboard.faults import Fault, InputError, in_number
from garboard.history import like
from garboard.history.authoring import open_job
from garboard.history.boat import open_hull
from garboard.history.replay import HullState, replay
from garboard.records import is_equipment

if TYPE_CHECKING:
    from garboard.history.boat import Boat
    from garboard.hosting.host import PluginHost
    from garboard.report.terminal import Tools

folder_argument = click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
by_option = click.option("--by", required=True, help="Who does this.")
job_option = click.option("--job", default="", help="The job's id; not needed when the boat has one job.")


@click.group("templates", short_help="Boats kept under a name, to begin others from: list, keep, drop.")
def command() -> None:
    """Boats kept under a name, to begin others from.

    A template holds what boats of a model share: vessel, engines with their maker's limits, circuits, batteries,
    sensors, network. It holds no hull number, serial or reading; lengths of cable are only shown
    where they are measured anew. It merges and travels like the shop's settings.
    """


@command.command("list", short_help="List the templates of a folder.")
@folder_argument
def list_templates(folder: Path) -> None:
    """List the templates of a folder, with what each holds and who kept it."""
    with HullFolder(folder, read_only=True) as hulls:
        found = like.templates_in(_shop(hulls))
        tell_not_read(hulls)
    for one in found:
        pieces = len({path[:2] for path in one.facts if is_equipment(path[0])})
        told = f"{in_number(pieces, 'piece')} of equipment, {in_number(len(one.facts), 'fact')}"
        click.echo(f"{one.name}: {told}; kept by {one.by}, {moment_in_words(one.at)}")
    if not found:
        click.echo("No template is kept.")


@command.command("keep")
@folder_argument
@click.argument("hull")
@click.argument("name")
@job_option
@by_option
@tablet_option
@click.pass_obj
def keep(tools: Tools, folder: Path, hull: str, name: str, job: str, by: str, tablet: str) -> None:
    """Keep the boat of a HULL number as a template under a NAME. A template of that name is replaced."""
    with writing_in(folder, hull, job) as (hulls, boat, job):
        shop = _shop(hulls)
        facts = _facts_of_boat(boat, job, tools.host_for(folder))
        entries = like.keep_template(author_of(hulls, shop, tablet, by), shop, name, facts)
        save_all(hulls, entries)
    click.echo(f"{name} is kept" if entries else f"{name} is kept already, as the boat stands")


@command.command("drop")
@folder_argument
@click.argument("name")
@click.option("--reason", required=True, help="Why; it is kept.")
@by_option
@tablet_option
def drop(folder: Path, name: str, reason: str, by: str, tablet: str) -> None:
    """Take a template back. Boats begun from it keep what they have."""
    with HullFolder(folder) as hulls:
        shop = _shop(hulls)
        save_all(hulls, like.drop_template(author_of(hulls, shop, tablet, by), shop, name, reason))
    click.echo(f"{name} is taken back")


@click.command("begin", short_help="Open a job for a new boat, like another or from a template.")
@folder_argument
@click.argument("hull")
@click.option("--template", default="", help="Name of a template; see `garboard templates list`.")
@click.option("--like", "other", default="", help="Hull number of a boat in the folder, to begin from instead.")
@click.option("--owner", default="", help="Whose boat it is.")
@click.option("--anyway", is_flag=True, help="Also if the hull number is not well formed.")
@by_option
@tablet_option
@click.pass_obj
def begin(
    tools: Tools, folder: Path, hull: str, template: str, other: str, owner: str, anyway: bool, by: str, tablet: str
) -> None:
    """Open a job for the boat of a HULL number, with the equipment of a template or of another boat.

    What the boat has nothing entered for is filled in, but nothing of another engine, propeller or battery than it has.
    A boat that has a job keeps it, and gets no second one.
    """
    if bool(template) == bool(other):
        raise InputError("begin", [Fault("--template or --like", "one of the two", "both" if other else "neither")])
    if not anyway:
        hull_number.parse(hull)
    hull_number.refuse_no_boat(hull)
    with HullFolder(folder) as hulls:
        if template:
            facts = _facts_of_template(hulls, template)
        else:
            model = _boat(hulls, other)
            facts = _facts_of_boat(model, model.jobs[-1] if model.jobs else "", tools.host_for(folder))
        boat = open_hull(hulls, hull)
        state = boat.state if len(boat.state) else replay(hull_number.key(hull), [])
        author = author_of(hulls, state, tablet, by)
        opened = [] if boat.jobs else open_job(author, state, hull, owner=owner)
        job = opened[0].job if opened else boat.jobs[-1]
        others = like.left_out(state, facts, job)
        entries = [*opened, *like.begin_like(author, state, facts, hull, job)]
        save_all(hulls, entries)
        tell_not_read(hulls)
    told = f"job {job} is open" if opened else "it has a job already"
    click.echo(f"{hull.strip()}: {told}; {in_number(len(entries) - len(opened), 'fact')} taken over")
    if others:
        click.echo(f"Not all is taken over, as the boat has another: {', '.join(others)}. Enter what is missing there.")


@click.command("circuits", short_help="Write a boat's circuits as a table, or take a filled-in table in.")
@folder_argument
@click.argument("hull")
@click.argument("table", required=False, type=click.Path(path_type=Path, exists=True, dir_okay=False))
@job_option
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Write the circuits as a table (CSV) here.")
@click.option("--by", default="", help="Who filled the table in; needed with TABLE.")
@tablet_option
def circuits(folder: Path, hull: str, table: Path | None, job: str, out: Path | None, by: str, tablet: str) -> None:
    """Write a boat's circuits as a table for a spreadsheet (CSV), or take in a TABLE somebody filled in.

    The first line names the columns; `name` tells which circuit a row is about. An empty cell changes nothing, and a
    circuit that is not in the table stays as it is. A table does not say that a label is printed:
    `garboard labels` does.
    """
    from garboard.history.circuit_entries import take_in_circuits
    from garboard.job_files.circuit_table import circuits_as_csv, circuits_in_csv

    if (table is None) == (out is None):
        raise InputError("circuits", [Fault("TABLE or --out", "one of the two", "both" if out else "neither")])
    if out is not None:
        with HullFolder(folder, read_only=True) as hulls:
            vessel = _boat(hulls, hull).vessel(job)
            tell_not_read(hulls)
        write_file(out, circuits_as_csv(vessel.circuits).encode())
        click.echo(f"Wrote {in_number(len(vessel.circuits), 'circuit')} to {out}")
        return
    if not by.strip():
        raise InputError("circuits", [Fault("--by", "who filled the table in", "nothing")])
    assert table is not None
    said = circuits_in_csv(_text_of(table), str(table))
    with writing_in(folder, hull, job) as (hulls, boat, job):
        state = boat.vessel_home("circuits")
        author = attrs.evolve(author_of(hulls, state, tablet, by), at_job=boat.facts_of(job, state))
        entries = take_in_circuits(author, state, said)
        save_all(hulls, entries)
    named = len({name for name, _ in said})
    click.echo(f"{in_number(named, 'circuit')} in the table; {in_number(len(entries), 'fact')} changed")


def _shop(hulls: HullFolder) -> HullState:
    return replay(SHOP_RECORD, hulls.entries(SHOP_RECORD))


def _facts_of_boat(boat: Boat, job: str, host: PluginHost) -> like.Facts:
    """What boats of its model share; of what was entered in steps that of one job, where there is one."""
    entered = like.shared_entries(boat.view(job), host.steps) if job else {}
    vessel = boat.vessel(job)
    return {**like.shared_facts(vessel, host.equipment), **like.usual_lengths(vessel), **entered}


def _facts_of_template(hulls: HullFolder, name: str) -> like.Facts:
    found = like.templates_in(_shop(hulls))
    if one := like.template_named(found, name):
        return one.facts
    known = ", ".join(each.name for each in found) or "none is kept"
    raise InputError("begin", [Fault("--template", f"a template: {known}", repr(name))])


def _boat(hulls: HullFolder, number: str) -> Boat:
    boat = open_hull(hulls, number)
    if not len(boat.state):
        raise InputError(str(hulls.folder), [Fault("hull", known_in(hulls), repr(number))])
    return boat


def _text_of(table: Path) -> str:
    """A table's text, as a spreadsheet wrote it: UTF-8, "Unicode text" (UTF-16), or an older program's Windows-1252."""
    from garboard.job_files.circuit_table import LARGEST_TABLE

    if table.stat().st_size > LARGEST_TABLE:
        raise InputError(str(table), [Fault("file", f"at most {LARGEST_TABLE} bytes", str(table.stat().st_size))])
    raw = table.read_bytes()
    is_wide = raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    for encoding in ("utf-16",) if is_wide else ("utf-8-sig", "cp1252"):
        with suppress(UnicodeDecodeError):
            return raw.decode(encoding)
    raise InputError(str(table), [Fault("file", "text: UTF-8, UTF-16 or Windows-1252", "bytes that are none of them")])
