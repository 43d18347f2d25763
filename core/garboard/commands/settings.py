"""`garboard settings`: what the shop decided, and deciding it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from garboard.commands.hulls import author_of, chosen_job, save_all
from garboard.commands.tools import checked_value, declared_setting
from garboard.disk.clock import moment_in_words
from garboard.disk.entries import SHOP_RECORD, Entry
from garboard.disk.hullfile import HullFolder
from garboard.faults import Fault, InputError, shown
from garboard.history.authority import damage_of_list, managers_of
from garboard.history.boat import Boat, open_hull
from garboard.history.registers import name_of, register_of
from garboard.history.replay import HullState, replay
from garboard.history.setting_entries import reset_setting, set_setting, settings_of, shop_settings
from garboard.report.settings_used import setting_in_words, value_in_words
from garboard.settings import JOB, SettingSet, SettingUsed, in_force

if TYPE_CHECKING:
    from garboard.hosting.host import PluginHost
    from garboard.job_view import JobView
    from garboard.records import JsonValue
    from garboard.report.terminal import Tools

folder_argument = click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
hull_option = click.option("--hull", default="", help="A boat's number: its job's own settings instead of the shop's.")
job_option = click.option("--job", default="", help="The job's id; not needed when the boat has one job.")
by_option = click.option("--by", required=True, help="Who decides this.")
reason_option = click.option("--reason", required=True, help="Why; it is kept with the decision.")
anyway_option = click.option("--anyway", is_flag=True, help="Also on a signed job, whose signatures become stale.")
tablet_option = click.option("--tablet", default="", help="Name of this machine in what it writes.")


@click.group("settings", short_help="What the shop decided: list, show, set, reset.")
def command() -> None:
    """Settings of the shop, or of one job with --hull."""


@command.command("list")
@folder_argument
@hull_option
@job_option
@click.option("--all", "every", is_flag=True, help="Those at their default, too.")
@click.pass_context
def list_settings(context: click.Context, folder: Path, hull: str, job: str, every: bool) -> None:
    """List the settings that are not at their default."""
    host = _host(context, folder)
    values, used = _holding(host, folder, hull, job)
    for damaged in damage_of_list(folder):
        click.echo(str(damaged), err=True)
    for setting in host.settings:
        if setting.key in used:
            click.echo(f"{setting.key}: {setting_in_words(used[setting.key])}")
        elif every:
            click.echo(f"{setting.key}: {setting.field.title}: {value_in_words(values[setting.key])}, the default.")
    if not used and not every:
        click.echo("Every setting is at its default.")


@command.command("show")
@folder_argument
@click.argument("key")
@hull_option
@job_option
@click.pass_context
def show_setting(context: click.Context, folder: Path, key: str, hull: str, job: str) -> None:
    """Show a setting: value, default, range, basis, and who set it and why."""
    host = _host(context, folder)
    setting = declared_setting(host, key)
    values, used = _holding(host, folder, hull, job)
    plain = f"{setting.field.title}: {value_in_words(values[key])}, the default."
    click.echo(setting_in_words(used[key]) if key in used else plain)
    click.echo(f"  default {value_in_words(setting.default)}; {setting.allowed}")
    click.echo(f"  {setting.basis}")
    for one in used[key].set if key in used else ():
        click.echo(f"  {_who(one)}")


@command.command("set")
@folder_argument
@click.argument("key")
@click.argument("value")
@hull_option
@job_option
@by_option
@reason_option
@anyway_option
@tablet_option
@click.pass_context
def set_one(
    context: click.Context,
    folder: Path,
    key: str,
    value: str,
    hull: str,
    job: str,
    by: str,
    reason: str,
    anyway: bool,
    tablet: str,
) -> None:
    """Set a setting, for the shop or for one job. A value outside its range is refused."""
    plain = checked_value(declared_setting(_host(context, folder), key), value)
    with _writing(folder, hull, job) as (hulls, state, chosen):
        author = author_of(hulls, state, tablet, by)
        _save(hulls, state, set_setting(author, state, key, plain, reason, chosen, managers_of(folder)), anyway)
    click.echo(f"{key} is {value_in_words(plain)} for {_whose(chosen)}")


@command.command("reset")
@folder_argument
@click.argument("key")
@hull_option
@job_option
@by_option
@reason_option
@anyway_option
@tablet_option
def reset(folder: Path, key: str, hull: str, job: str, by: str, reason: str, anyway: bool, tablet: str) -> None:
    """Take back what was set. The default holds again; what was set stays readable."""
    with _writing(folder, hull, job) as (hulls, state, chosen):
        managers = managers_of(folder)
        there = sorted({one.key for one in settings_of(state, chosen, managers)})
        if key not in there:
            expected = f"one that is set: {', '.join(there) or 'none is'}"
            raise InputError("settings", [Fault("KEY", expected, shown(key))])
        author = author_of(hulls, state, tablet, by)
        _save(hulls, state, reset_setting(author, state, key, reason, chosen, managers), anyway)
    click.echo(f"{key} is no longer set for {_whose(chosen)}")


def _save(hulls: HullFolder, state: HullState, entry: Entry, anyway: bool) -> None:
    """Keep a decision. One that makes signatures stale is refused, naming them, unless the person knows.

    Raises InputError.
    """
    before = {one.sign_off.id for one in state.stale(entry.job)}
    state.add(entry)
    stale = [name_of(register_of(one.sign_off)) for one in state.stale(entry.job) if one.sign_off.id not in before]
    if stale and not anyway:
        expected = "a job nobody has signed; with --anyway the signatures become stale and everyone signs again"
        raise InputError("settings", [Fault("--hull", expected, f"job {entry.job}, {', '.join(stale)}")])
    save_all(hulls, [entry])
    for signature in stale:
        click.echo(f"{signature} is now stale: have job {entry.job} signed again")


def _whose(job: str) -> str:
    return f"job {job}" if job else "the shop"


def _host(context: click.Context, folder: Path) -> PluginHost:
    tools: Tools = context.obj
    host = tools.host_for(folder)
    tools.tell_broken_plugins(host)
    return host


def _who(one: SettingSet) -> str:
    where = "for this job" if one.source == JOB else "for the shop"
    when = f" on {moment_in_words(one.at)}" if one.at else ""
    return f"{value_in_words(one.value)}, set {where} by {one.by or 'the job file'}{when}: {one.reason}"


def _holding(
    host: PluginHost, folder: Path, hull: str, job: str
) -> tuple[dict[str, JsonValue], dict[str, SettingUsed]]:
    """The values that hold for the shop, or for a job, and those that are not simply at their default."""
    with HullFolder(folder, read_only=True) as hulls:
        if not hull:
            return in_force(host.settings, shop_settings(hulls.entries(SHOP_RECORD), managers_of(folder)))
        boat = _boat(hulls, hull)
        view: JobView = boat.view(chosen_job(boat, job))
        return in_force(host.settings, view.settings_set, view.signed_under)


@contextmanager
def _writing(folder: Path, hull: str, job: str) -> Iterator[tuple[HullFolder, HullState, str]]:
    """The folder, the state the setting is kept in, and the job; no job for the shop's own."""
    with HullFolder(folder) as hulls:
        if not hull:
            yield hulls, replay(SHOP_RECORD, hulls.entries(SHOP_RECORD)), ""
            return
        boat = _boat(hulls, hull)
        chosen = chosen_job(boat, job)
        yield hulls, boat.state_of(chosen), chosen


def _boat(hulls: HullFolder, hull: str) -> Boat:
    boat = open_hull(hulls, hull)
    if not len(boat.state):
        raise InputError("settings", [Fault("--hull", f"one of {', '.join(hulls.boats()) or 'none'}", shown(hull))])
    return boat
